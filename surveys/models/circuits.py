"""What the panels of a home switch: circuits with their breakers, and appliances on them."""

from collections.abc import Iterable
from typing import Self
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import Property
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from surveys.models.names import LONGEST, LONGEST_FOLDED, FoldedField, folded
from surveys.models.places import Room

MAIN_SWITCH = "*"  # in a list of what was off, alone: everything was
BETWEEN_NAMES = ";"


def validate_source_name(name: str) -> None:
    """Refuse a name that could not stand in a list of what was off."""
    if BETWEEN_NAMES in name or name.strip() == MAIN_SWITCH:
        raise ValidationError(_("A name without a semicolon, and not the sign * alone."))


def with_label(name: str, label: str) -> str:
    """A circuit as people read it, with what it feeds: "F1 (bedroom sockets)"."""
    return f"{name} ({label})" if label else name


def names_in(text: str) -> list[str]:
    """The names that stand in a text such as "F1; F3", each once as it is first spelt."""
    names: dict[str, str] = {}
    for part in filter(None, map(str.strip, text.split(BETWEEN_NAMES))):
        names.setdefault(folded(part), part)
    return list(names.values())


def as_list(names: Iterable[str]) -> str:
    """Names as a cell or a field lists them: "F1; F3"."""
    return f"{BETWEEN_NAMES} ".join(names)


class PanelQuerySet(AtPropertyQuerySet["Panel"]):
    def named(self, name: str) -> Self:
        """Panels of that name, however it is spelt."""
        return self.filter(folded=folded(name))


class CircuitQuerySet(AtPropertyQuerySet["Circuit"]):
    property_ref = "panel__property"

    def at(self, home: int) -> Self:
        """The circuits of all panels of a home."""
        return self.filter(panel__property=home)

    def named(self, name: str) -> Self:
        """Circuits of that name, however it is spelt."""
        return self.filter(folded=folded(name))


class ApplianceQuerySet(AtPropertyQuerySet["Appliance"]):
    property_ref = "property"

    def at(self, home: int) -> Self:
        """The appliances of a home."""
        return self.filter(property=home)

    def named(self, name: str) -> Self:
        """Appliances of that name, however it is spelt."""
        return self.filter(folded=folded(name))


class Panel(PlainTexts):
    """A board with breakers."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="panels")
    name = models.CharField(_("panel"), max_length=LONGEST)
    folded = FoldedField(max_length=LONGEST_FOLDED)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["folded", "uid"])

    objects = PanelQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["property", "folded"], name="panel_name_is_unique_at_home"
            )
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        self.folded = folded(self.name)


class Circuit(PlainTexts):
    """A circuit with its breaker, as it is numbered on the panel."""

    class Phase(models.TextChoices):
        L1 = "L1", "L1"
        L2 = "L2", "L2"
        L3 = "L3", "L3"

    class Rcd(models.TextChoices):
        YES = "yes", _("yes")
        NO = "no", _("no")

    panel = models.ForeignKey(Panel, on_delete=models.CASCADE, related_name="circuits")
    name = models.CharField(_("circuit"), max_length=LONGEST, validators=[validate_source_name])
    folded = FoldedField(max_length=LONGEST_FOLDED)
    label = models.CharField(_("what it feeds"), max_length=200, blank=True)
    phase = models.CharField(_("phase"), max_length=2, blank=True, choices=Phase.choices)
    rating_a = models.FloatField(_("rating [A]"), null=True, blank=True)
    rcd = models.CharField(
        _("residual-current protection"), max_length=3, blank=True, choices=Rcd.choices
    )
    poles = models.PositiveSmallIntegerField(
        _("poles that its switch opens"), null=True, blank=True, choices=[(1, "1"), (2, "2")]
    )
    note = models.TextField(_("note"), blank=True)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["folded", "uid"])

    objects = CircuitQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["panel", "folded"], name="circuit_name_is_unique_in_panel"
            ),
            models.CheckConstraint(
                condition=models.Q(phase__in=["", "L1", "L2", "L3"]), name="circuit_phase_is_known"
            ),
            models.CheckConstraint(
                condition=models.Q(rcd__in=["", "yes", "no"]), name="circuit_rcd_is_known"
            ),
            models.CheckConstraint(
                condition=models.Q(poles__isnull=True) | models.Q(poles__in=[1, 2]),
                name="circuit_has_one_pole_or_two",
            ),
            models.CheckConstraint(
                condition=models.Q(rating_a__isnull=True) | models.Q(rating_a__gt=0),
                name="circuit_rating_is_above_0",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        self.folded = folded(self.name)


class Appliance(PlainTexts):
    """What is taken off by its plug; it hangs on a circuit, and is off with it."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="appliances")
    name = models.CharField(_("appliance"), max_length=LONGEST, validators=[validate_source_name])
    folded = FoldedField(max_length=LONGEST_FOLDED)
    circuit = models.ForeignKey(
        Circuit, null=True, blank=True, on_delete=models.PROTECT, related_name="appliances"
    )
    room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.PROTECT, related_name="appliances"
    )
    note = models.TextField(_("note"), blank=True)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["folded", "uid"])

    objects = ApplianceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["property", "folded"], name="appliance_name_is_unique_at_home"
            )
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        self.folded = folded(self.name)
