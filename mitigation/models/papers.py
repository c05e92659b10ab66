"""What the practice keeps on a case for itself: notes and attached files."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from mitigation.models.cases import Case


class NoteQuerySet(AtPropertyQuerySet["Note"]):
    """Office and the property's assessors; never a client or an electrician."""

    property_ref = "case__property"


class AttachmentQuerySet(AtPropertyQuerySet["Attachment"]):
    """Office and the property's assessors; never a client or an electrician."""

    property_ref = "case__property"


class Note(models.Model):
    """Something that the practice should know about a case. It is added, never changed."""

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


class Attachment(models.Model):
    """A file that belongs to a case, for the practice alone."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="attachments")
    name = models.CharField(_("name"), max_length=200)
    kind = models.CharField(max_length=80)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    file = models.FileField(max_length=200)
    added_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    added_at = models.DateTimeField()

    objects = AttachmentQuerySet.as_manager()

    class Meta:
        ordering = ["-added_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["case", "sha256"], name="file_is_attached_once"),
        ]

    def __str__(self) -> str:
        return self.name
