"""The places of a home as its page and its spreadsheet show them."""

from django.db.models import QuerySet

from consult.models import Property
from surveys.models import Room


def rooms_of(home: Property) -> QuerySet[Room]:
    """The rooms as the page has them, each with its spots."""
    return Room.objects.filter(property=home).prefetch_related("spots")
