"""Instruments and their certificates."""

from datetime import date

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models.texts import PlainTexts
from surveys.calc.certificates import covers
from surveys.models.measurands import QUANTITY_CHOICES


class Instrument(PlainTexts):
    """A meter of the practice, known by the name on its label."""

    name = models.CharField(_("Instrument"), max_length=80, unique=True)
    maker = models.CharField(_("Maker"), max_length=80, blank=True)
    serial = models.CharField(_("Serial number"), max_length=80, blank=True)
    is_retired = models.BooleanField(_("Out of use"), default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Calibration(PlainTexts):
    """What an instrument is good for in one quantity, and the certificate that says so.

    A row without certificate and date describes an instrument that has none. Numbers are in `unit`
    as the row gives them; results convert them.
    """

    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="calibrations"
    )
    quantity = models.CharField(_("Quantity"), max_length=24, choices=QUANTITY_CHOICES)
    # Of the sensor for this quantity: an instrument may have two.
    description = models.CharField(_("Description"), max_length=200, blank=True)
    axes = models.PositiveSmallIntegerField(_("Axes"), null=True, blank=True)
    unit = models.CharField(_("Unit"), max_length=6)
    gain_percent = models.FloatField(
        _("Gain [%]"), help_text=_("Expanded relative uncertainty, k = 2.")
    )
    resolution = models.FloatField(_("Resolution"))
    noise = models.FloatField(_("Noise"), null=True, blank=True)
    floor = models.FloatField(_("Floor"), null=True, blank=True)
    ceiling = models.FloatField(_("Ceiling"), null=True, blank=True)
    low_hz = models.FloatField(_("From [Hz]"), null=True, blank=True)
    high_hz = models.FloatField(_("To [Hz]"), null=True, blank=True)
    certificate = models.CharField(_("Certificate"), max_length=80, blank=True)
    calibrated_on = models.DateField(_("Calibrated on"), null=True, blank=True)
    due_on = models.DateField(_("Due on"), null=True, blank=True)
    laboratory = models.CharField(_("Calibration laboratory"), max_length=120, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["instrument", "quantity", "calibrated_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(gain_percent__gte=0, resolution__gt=0),
                name="calibration_gain_and_resolution_are_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument}, {self.quantity}, {self.certificate or 'no certificate'}"

    @property
    def is_certified(self) -> bool:
        """A row that names a certificate or the day of a calibration has one."""
        return bool(self.certificate) or self.calibrated_on is not None

    def covers(self, day: date) -> bool:
        """Whether it is a certificate that has begun by `day` and is not past due."""
        return self.is_certified and covers(day, self.calibrated_on, self.due_on)
