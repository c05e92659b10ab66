"""Outcomes: what a comparison said on the day it was put into a letter."""

from django.db import models

from consult.models import Letter
from consult.models.clients import AtPropertyQuerySet
from mitigation.models.cases import Case
from surveys.models import Visit


class OutcomeQuerySet(AtPropertyQuerySet["Outcome"]):
    property_ref = "case__property"


class Outcome(models.Model):
    """A frozen comparison of two visits, with the letter that says it; the database keeps it so."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="outcomes")
    baseline = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="+")
    follow_up = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="+")
    result = models.JSONField()
    letter = models.OneToOneField(Letter, on_delete=models.PROTECT, related_name="outcome")
    created_at = models.DateTimeField(auto_now_add=True)

    objects = OutcomeQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.case}: {self.letter}"
