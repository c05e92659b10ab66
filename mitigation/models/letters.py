"""Which case a letter is about: the case points to its letters, never the other way."""

from django.db import models

from consult.models import Letter
from consult.models.clients import AtPropertyQuerySet
from mitigation.models.cases import Case


class CaseLetterQuerySet(AtPropertyQuerySet["CaseLetter"]):
    property_ref = "case__property"


class CaseLetter(models.Model):
    """A letter of a case; the database keeps it so."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="case_letters")
    letter = models.OneToOneField(Letter, on_delete=models.PROTECT, related_name="case_letter")

    objects = CaseLetterQuerySet.as_manager()

    class Meta:
        ordering = ["case", "pk"]

    def __str__(self) -> str:
        return f"{self.letter} of {self.case}"
