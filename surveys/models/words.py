"""The assessor's own words for the letter about a visit: never needed, open after the seal."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from surveys.models.places import Spot
from surveys.models.visits import Visit


class AssessorWordsQuerySet(AtPropertyQuerySet["AssessorWords"]):
    property_ref = "visit__property"


class PlaceRemarkQuerySet(AtPropertyQuerySet["PlaceRemark"]):
    property_ref = "visit__property"


class AssessorWords(PlainTexts):
    """What the assessor says of a visit as a whole, in the client's language."""

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="words")
    summary = models.TextField(_("summary"), max_length=2_000, blank=True)
    recommendations = models.TextField(_("recommendations"), max_length=4_000, blank=True)
    written_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    written_at = models.DateTimeField()
    history = HistoricalRecords()

    objects = AssessorWordsQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.visit}: {self.summary[:60]}"


class PlaceRemark(PlainTexts):
    """What the assessor says of one place at a visit, in the client's language."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="remarks")
    spot = models.ForeignKey(Spot, on_delete=models.CASCADE, related_name="remarks")
    text = models.TextField(_("remark"), max_length=1_000)
    history = HistoricalRecords()

    objects = PlaceRemarkQuerySet.as_manager()

    class Meta:
        ordering = ["visit", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "spot"], name="place_has_one_remark_a_visit"),
            models.CheckConstraint(condition=~models.Q(text=""), name="remark_says_something"),
        ]

    def __str__(self) -> str:
        return f"{self.spot}: {self.text[:60]}"
