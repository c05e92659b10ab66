"""Visits with their ground checks and readings, and the files they came from."""

import datetime as dt
from typing import Self
from uuid import uuid4

from django.db import models
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import Property, StoredFile, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from surveys.models.circuits import Appliance, Circuit
from surveys.models.instruments import Calibration, Instrument
from surveys.models.measurands import MEASURAND_CHOICES
from surveys.models.places import GroundPoint, Spot

MISTYPED = "mistyped"
"""Why a reading was set aside that never stood on the display, and so is no danger."""


def is_mistyped(reason: str) -> bool:
    """Whether a reading set aside for this reason never stood on the display."""
    return reason.strip().casefold() == MISTYPED


def aside_words(reason: str) -> str:
    """Why a reading was set aside, for somebody who reads it."""
    if is_mistyped(reason):
        return gettext("mistyped: never stood on the display")
    return reason


class SourceFileQuerySet(AtPropertyQuerySet["SourceFile"]):
    pass


class SourceFile(PlainTexts):
    """A case folder as it came in, kept byte by byte."""

    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="source_files")
    name = models.CharField(max_length=200)
    stored = models.OneToOneField(StoredFile, on_delete=models.PROTECT, related_name="+")
    # Of what is in the folder, whatever it was packed as.
    sha256 = models.CharField(max_length=64, unique=True)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = SourceFileQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name


class VisitQuerySet(AtPropertyQuerySet["Visit"]):
    def not_begun(self) -> Self:
        """Those at which nothing has been entered yet."""
        return self.filter(sealed_at=None, source=None).exclude(
            models.Exists(Reading.objects.filter(visit=models.OuterRef("pk")))
            | models.Exists(GroundCheck.objects.filter(visit=models.OuterRef("pk")))
        )

    def for_list(self) -> Self:
        """One query for a list: the number of readings, counted for those that are shown alone.

        What corrects a sealed reading is no further look at the meter.
        """
        looks = Reading.objects.filter(visit=models.OuterRef("pk"), corrects__isnull=True)
        readings = looks.order_by().values("visit")
        n_readings = models.Subquery(readings.values(n=models.Count("pk")))
        return self.annotate(n_readings=Coalesce(n_readings, 0))


class Visit(PlainTexts):
    """A survey on one day. Sealed, it is immutable."""

    class Kind(models.TextChoices):
        BASELINE = "baseline", _("baseline")
        FOLLOW_UP = "follow-up", _("follow-up")

    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="visits")
    label = models.CharField(_("Name of the visit"), max_length=80)
    kind = models.CharField(_("Kind"), max_length=10, choices=Kind.choices)
    date = models.DateField(_("Day"))
    position = models.PositiveIntegerField(default=0)
    assessor = models.CharField(
        _("Who measures"), max_length=120, blank=True
    )  # as letters print it
    # None for somebody outside the practice.
    measured_by = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        verbose_name=_("Person of the practice"),
    )
    temperature_c = models.FloatField(_("Temperature [°C]"), null=True, blank=True)
    humidity_percent = models.FloatField(_("Relative humidity [%]"), null=True, blank=True)
    supply_voltage_v = models.FloatField(_("Supply voltage [V]"), null=True, blank=True)
    note = models.TextField(_("Note"), blank=True)  # letters print it
    # Never in a letter or an export.
    instructions = models.TextField(_("For the assessor alone"), blank=True)
    deviations = models.TextField(_("Deviations from the method"), blank=True)
    sampling = models.TextField(_("How the spots were chosen"), blank=True)
    source = models.ForeignKey(
        SourceFile, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    sealed_at = models.DateTimeField(_("Sealed"), null=True, blank=True)
    sealed_by = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        verbose_name=_("Sealed by"),
    )
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["uid"])

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["date", "position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["baseline", "follow-up"]), name="visit_kind_is_known"
            ),
            models.CheckConstraint(
                condition=models.Q(humidity_percent__isnull=True)
                | models.Q(humidity_percent__gte=0, humidity_percent__lte=100),
                name="visit_humidity_is_a_percentage",
            ),
        ]
        indexes = [
            models.Index(fields=["-date", "-id"], name="visit_latest_first"),
            models.Index(fields=["measured_by", "date", "id"], name="visit_of_person_by_day"),
            models.Index(
                fields=["date", "position", "id"],
                name="visit_open_first",
                condition=models.Q(sealed_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} ({self.date})"

    def turn(self) -> tuple[dt.date, int, int]:
        """Its place among visits that were fetched already, by the order of the model."""
        return self.date, self.position, self.pk


class GroundCheckQuerySet(AtPropertyQuerySet["GroundCheck"]):
    property_ref = "visit__property"


class ReadingQuerySet(AtPropertyQuerySet["Reading"]):
    property_ref = "visit__property"

    def counted(self) -> Self:
        """Readings as used that count: neither set aside nor corrected."""
        return self.filter(state=Reading.State.AS_USED, set_aside="", corrections__isnull=True)

    def trials(self) -> Self:
        """Readings of switching trials that count: neither set aside nor corrected."""
        return self.filter(state=Reading.State.TRIAL, set_aside="", corrections__isnull=True)

    def uncorrected(self) -> Self:
        """What was read: without the readings that another one stands for."""
        return self.exclude(corrections__replacement__isnull=False)


class GroundCheck(PlainTexts):
    """A ground point tried at a visit: its outlet test, its voltage to another point."""

    class OutletTest(models.TextChoices):
        OK = "ok", _("ok")
        FAULT = "fault", _("fault")
        NOT_TESTED = "not tested", _("not tested")

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="ground_checks")
    point = models.ForeignKey(
        GroundPoint, on_delete=models.PROTECT, related_name="checks", verbose_name=_("Ground point")
    )
    other_point = models.ForeignKey(
        GroundPoint,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        verbose_name=_("Against"),
    )
    voltage_v = models.FloatField(_("Voltage [V]"), null=True, blank=True)
    outlet_test = models.CharField(
        _("Outlet test"), max_length=10, choices=OutletTest.choices, default=OutletTest.NOT_TESTED
    )
    note = models.TextField(_("Note"), blank=True)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["uid"])

    objects = GroundCheckQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.point} at {self.visit}"


class Reading(PlainTexts):
    """One look at the meter: up to three axes or a total, in the unit of its display.

    `calibration` is what the instrument was good for on the day; it is fixed when the visit is
    sealed, so that a certificate entered later changes no sealed number.
    """

    class State(models.TextChoices):
        AS_USED = "as-used", _("as used")
        TRIAL = "trial", _("trial")

    MARK = [("", ""), ("<", "<"), (">", ">")]

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="readings")
    position = models.PositiveIntegerField()
    spot = models.ForeignKey(
        Spot, on_delete=models.PROTECT, related_name="readings", verbose_name=_("Spot")
    )
    measurand = models.CharField(_("Quantity"), max_length=30, choices=MEASURAND_CHOICES)
    ground_point = models.ForeignKey(
        GroundPoint,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="readings",
        verbose_name=_("Ground point"),
    )
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="readings", verbose_name=_("Instrument")
    )
    calibration = models.ForeignKey(
        Calibration, null=True, blank=True, on_delete=models.PROTECT, related_name="readings"
    )
    x = models.FloatField(null=True, blank=True)
    x_mark = models.CharField(max_length=1, blank=True, choices=MARK)
    y = models.FloatField(null=True, blank=True)
    y_mark = models.CharField(max_length=1, blank=True, choices=MARK)
    z = models.FloatField(null=True, blank=True)
    z_mark = models.CharField(max_length=1, blank=True, choices=MARK)
    total = models.FloatField(null=True, blank=True)
    total_mark = models.CharField(max_length=1, blank=True, choices=MARK)
    unit = models.CharField(_("Unit"), max_length=6)
    state = models.CharField(_("State"), max_length=8, choices=State.choices, default=State.AS_USED)
    # As it was written; rows link what it names.
    circuits_off = models.TextField(_("Circuits off"), blank=True)
    main_switch_off = models.BooleanField(default=False, editable=False)
    off_circuits = models.ManyToManyField(Circuit, through="CircuitOff", related_name="readings")
    off_appliances = models.ManyToManyField(
        Appliance, through="ApplianceOff", related_name="readings"
    )
    taken_at_text = models.CharField(_("Time"), max_length=40, blank=True)  # as it was typed
    taken_at = models.DateTimeField(null=True, blank=True)  # where the text tells it for sure
    set_aside = models.TextField(
        _("Set aside"), blank=True, help_text=_("Why this reading does not count.")
    )
    body_distance_m = models.FloatField(_("Distance of the body [m]"), null=True, blank=True)
    surface_distance_m = models.FloatField(_("Surface away [m]"), null=True, blank=True)
    height_m = models.FloatField(_("Height above the floor [m]"), null=True, blank=True)
    load = models.CharField(_("What was running"), max_length=200, blank=True)
    note = models.TextField(_("Note"), blank=True)
    recorded_at = models.DateTimeField(  # by the server's clock
        null=True, blank=True, default=timezone.now, editable=False
    )
    device_at = models.DateTimeField(null=True, blank=True)  # by the clock of who sent it
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(
        excluded_fields=["uid", "taken_at", "recorded_at", "device_at", "main_switch_off"]
    )

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["visit", "position"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    total__isnull=False, x__isnull=True, y__isnull=True, z__isnull=True
                )
                | (
                    models.Q(total__isnull=True)
                    & (
                        models.Q(x__isnull=False)
                        | models.Q(y__isnull=False)
                        | models.Q(z__isnull=False)
                    )
                ),
                name="reading_has_axes_or_a_total",
            ),
            models.CheckConstraint(
                condition=(models.Q(x__isnull=True) | models.Q(x__gte=0))
                & (models.Q(y__isnull=True) | models.Q(y__gte=0))
                & (models.Q(z__isnull=True) | models.Q(z__gte=0))
                & (models.Q(total__isnull=True) | models.Q(total__gte=0)),
                name="reading_is_not_negative",
            ),
            models.UniqueConstraint(fields=["visit", "position"], name="one_reading_per_position"),
        ]

    def __str__(self) -> str:
        return f"{self.spot}: {self.measurand}"


class CircuitOff(models.Model):
    """A circuit that was off while the meter was read."""

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="+")
    circuit = models.ForeignKey(Circuit, on_delete=models.PROTECT, related_name="times_off")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["reading", "circuit"], name="circuit_is_off_once_in_a_reading"
            )
        ]

    def __str__(self) -> str:
        return f"{self.circuit}: {self.reading}"


class ApplianceOff(models.Model):
    """An appliance that was off while the meter was read."""

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="+")
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="times_off")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["reading", "appliance"], name="appliance_is_off_once_in_a_reading"
            )
        ]

    def __str__(self) -> str:
        return f"{self.appliance}: {self.reading}"
