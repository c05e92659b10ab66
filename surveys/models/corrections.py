"""What was put right after the seal: rows that are added, never changed."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from surveys.models.visits import Reading


class CorrectionQuerySet(AtPropertyQuerySet["Correction"]):
    property_ref = "reading__visit__property"


class Correction(PlainTexts):
    """A reading of a sealed visit counts no more: another stands in its place, or none does.

    The reading itself stays as it was sealed. Once another reading stands in its place only that
    one can be corrected, so the readings of a chain have one end, and the end counts.
    """

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="corrections")
    replacement = models.OneToOneField(
        Reading, null=True, blank=True, on_delete=models.RESTRICT, related_name="corrects"
    )
    reason = models.TextField(_("why"), max_length=2_000)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField()

    objects = CorrectionQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["reading"],
                condition=models.Q(replacement__isnull=False),
                name="one_reading_stands_for_a_corrected_one",
            ),
            models.UniqueConstraint(
                fields=["reading"],
                condition=models.Q(replacement__isnull=True),
                name="sealed_reading_is_set_aside_once",
            ),
            # A replacement is always the younger row, so no chain can close into a ring.
            models.CheckConstraint(
                condition=models.Q(replacement__isnull=True)
                | models.Q(replacement__gt=models.F("reading")),
                name="correction_comes_after_what_it_corrects",
            ),
            models.CheckConstraint(
                condition=~models.Q(reason=""), name="correction_has_its_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reading}: {self.reason[:60]}"
