"""Rooms, spots and ground points of a property."""

from typing import Self
from uuid import uuid4

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import Property
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from surveys.models.names import LONGEST, LONGEST_FOLDED, FoldedField, folded


class RoomQuerySet(AtPropertyQuerySet["Room"]):
    def named(self, name: str) -> Self:
        """Rooms of that name, however it is spelt."""
        return self.filter(folded=folded(name))


class SpotQuerySet(AtPropertyQuerySet["Spot"]):
    property_ref = "room__property"

    def named(self, name: str) -> Self:
        """Spots of that name, however it is spelt."""
        return self.filter(folded=folded(name))


class GroundPointQuerySet(AtPropertyQuerySet["GroundPoint"]):
    pass


class Room(PlainTexts):
    """A room, by its name. Under another name it is the same room."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="rooms")
    name = models.CharField(_("room"), max_length=LONGEST)
    folded = FoldedField(max_length=LONGEST_FOLDED)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["folded", "uid"])

    objects = RoomQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["property", "folded"], name="room_name_is_unique_at_home"
            )
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        self.folded = folded(self.name)


class Spot(PlainTexts):
    """A place where a person is: bed head, bed middle, desk seat."""

    class Use(models.TextChoices):
        SLEEPING = "sleeping", _("sleeping")
        SEATING = "seating", _("seating")
        WORK = "work", _("work")
        OTHER = "other", _("other")

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="spots")
    name = models.CharField(_("spot"), max_length=LONGEST)
    folded = FoldedField(max_length=LONGEST_FOLDED)
    use = models.CharField(_("use"), max_length=8, choices=Use.choices, default=Use.OTHER)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["folded", "uid"])

    objects = SpotQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["room", "folded"], name="spot_name_is_unique_in_room")
        ]

    def __str__(self) -> str:
        return f"{self.room}, {self.name}"

    def clean(self) -> None:
        self.folded = folded(self.name)


class GroundPoint(PlainTexts):
    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="ground_points")
    name = models.CharField(max_length=80)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)

    objects = GroundPointQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["property", "name"], name="ground_point_name_is_unique_at_home"
            )
        ]

    def __str__(self) -> str:
        return self.name
