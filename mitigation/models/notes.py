"""Notes: what the practice should know about a case."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case


class NoteQuerySet(AtPropertyQuerySet["Note"]):
    """Office and the property's assessors; never a client or an electrician."""

    property_ref = "case__property"


class Note(PlainTexts):
    """Something that the practice should know about a case.

    It is added and never changed, by the database too; another one puts right what was wrong.
    """

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="notes")
    text = models.TextField(_("note"), max_length=4_000)
    written_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    written_at = models.DateTimeField()

    objects = NoteQuerySet.as_manager()

    class Meta:
        ordering = ["-written_at", "-pk"]

    def __str__(self) -> str:
        return self.text[:80]
