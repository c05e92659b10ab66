"""Guidelines: tables of bands, with their source."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models.texts import PlainTexts
from surveys.models.measurands import MEASURAND_CHOICES


class Guideline(PlainTexts):
    """A published table of bands. The built-in ones are read-only."""

    USUAL = "SBM-2015"  # where nobody names one

    code = models.CharField(_("Short name"), max_length=30, unique=True)
    title = models.CharField(_("Title"), max_length=200)
    source = models.TextField(_("Source"))
    note = models.TextField(_("Note"), blank=True)
    is_built_in = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Band(PlainTexts):
    """One step of a guideline for one measurand; the last step has no upper bound."""

    guideline = models.ForeignKey(Guideline, on_delete=models.CASCADE, related_name="bands")
    measurand = models.CharField(max_length=30, choices=MEASURAND_CHOICES)
    number = models.PositiveSmallIntegerField()
    upper = models.FloatField(null=True, blank=True, help_text=_("V/m, mV or nT; empty above."))
    name = models.CharField(max_length=60)
    history = HistoricalRecords()

    class Meta:
        ordering = ["guideline", "measurand", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["guideline", "measurand", "number"], name="one_band_per_number"
            ),
            models.CheckConstraint(
                condition=models.Q(number__in=[1, 2, 3], upper__gt=0)
                | models.Q(number=4, upper__isnull=True),
                name="band_bounds_are_1_2_3_and_open",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.guideline} {self.measurand} {self.number}: {self.name}"
