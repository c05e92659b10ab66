"""The places of a home as its page and its spreadsheet show them."""

from django.db.models import QuerySet

from consult.models import Property
from surveys.models import Appliance, Panel, Room


def rooms_of(home: Property) -> QuerySet[Room]:
    """The rooms as the page has them, each with its spots."""
    return Room.objects.filter(property=home).prefetch_related("spots")


def panels_of(home: Property) -> QuerySet[Panel]:
    """The panels as the page has them, each with its circuits."""
    return Panel.objects.filter(property=home).prefetch_related("circuits")


def appliances_of(home: Property) -> QuerySet[Appliance]:
    """The appliances as the page has them, with circuit and room."""
    return Appliance.objects.at(home.pk).select_related("circuit", "room")
