"""Which visits a letter speaks of: the visit points to its letter, never the other way."""

from django.db import models

from consult.models import Letter
from consult.models.clients import AtPropertyQuerySet
from surveys.models.visits import Visit


class LetterVisitQuerySet(AtPropertyQuerySet["LetterVisit"]):
    property_ref = "visit__property"


class LetterVisit(models.Model):
    """A visit whose readings a letter reports; the database keeps it so."""

    letter = models.ForeignKey(Letter, on_delete=models.PROTECT, related_name="letter_visits")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="letter_visits")

    objects = LetterVisitQuerySet.as_manager()

    class Meta:
        ordering = ["letter", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["letter", "visit"], name="visit_is_once_in_a_letter"),
        ]

    def __str__(self) -> str:
        return f"{self.visit} in letter {self.letter}"
