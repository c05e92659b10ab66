"""The enquiry: what the office asked when the client called. All of it may stay empty."""

from django.db import models
from django.db.models.functions import Length
from django.db.models.lookups import LessThanOrEqual
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case

LONGEST = {
    "reason": 2_000,
    "sleepers": 2_000,
    "fitted": 2_000,
    "wishes": 200,
    "heard_of_us": 200,
}


class EnquiryQuerySet(AtPropertyQuerySet["Enquiry"]):
    """Office and the property's assessors."""

    property_ref = "case__property"


class Enquiry(PlainTexts):
    """What the client said when they called."""

    case = models.OneToOneField(Case, on_delete=models.CASCADE, related_name="enquiry")
    reason = models.TextField(_("Reason of the call"), max_length=LONGEST["reason"], blank=True)
    sleepers = models.TextField(_("Who sleeps where"), max_length=LONGEST["sleepers"], blank=True)
    fitted = models.TextField(_("Fitted already"), max_length=LONGEST["fitted"], blank=True)
    wishes = models.CharField(_("Wishes for days"), max_length=LONGEST["wishes"], blank=True)
    heard_of_us = models.CharField(
        _("How they found us"), max_length=LONGEST["heard_of_us"], blank=True
    )
    history = HistoricalRecords()

    objects = EnquiryQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "enquiries"
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=LessThanOrEqual(Length(name), most),
                name=f"enquiry_{name}_is_not_too_long",
            )
            for name, most in LONGEST.items()
        ]

    @property
    def is_empty(self) -> bool:
        """Whether all of it was taken away again."""
        return not any(getattr(self, name) for name in LONGEST)

    def __str__(self) -> str:
        return f"enquiry of {self.case}"
