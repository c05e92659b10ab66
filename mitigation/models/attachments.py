"""Files that belong to a case, for the practice alone."""

from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import StoredFile, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case


class AttachmentQuerySet(AtPropertyQuerySet["Attachment"]):
    """Office and the property's assessors; never a client or an electrician."""

    property_ref = "case__property"

    def for_list(self) -> Self:
        """What a list says of a file; the small pictures are asked for one by one."""
        return self.select_related("stored").defer("small", "sketch")


class Attachment(PlainTexts):
    """A file that belongs to a case, for the practice alone.

    A picture is handed out once a worker has written it anew; what was uploaded is then gone, and
    known by its digest if it comes again.
    """

    class State(models.TextChoices):
        CLEANING = "cleaning", _("being cleaned")
        READY = "ready", _("ready")
        REFUSED = "refused", _("refused")

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="attachments")
    name = models.CharField(_("name"), max_length=200)
    given_sha256 = models.CharField(max_length=64)
    # What was uploaded, until it is cleaned; then what is handed out. Of a refused one, nothing.
    stored = models.OneToOneField(
        StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.READY)
    refusal = models.CharField(max_length=200, blank=True)
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    small = models.BinaryField(null=True, blank=True)
    # Printed in letters as a sketch of what was measured; drawn by a job when it is first marked.
    is_sketch = models.BooleanField(default=False)
    sketch = models.BinaryField(null=True, blank=True)
    added_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    added_at = models.DateTimeField()

    objects = AttachmentQuerySet.as_manager()

    class Meta:
        ordering = ["-added_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["case", "given_sha256"], name="file_is_attached_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=["cleaning", "ready", "refused"]),
                name="attachment_state_is_known",
            ),
            models.CheckConstraint(
                condition=models.Q(state="refused") ^ models.Q(stored__isnull=False),
                name="attachment_has_its_file_unless_refused",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def kind(self) -> str:
        """The media type of its file; empty where it was refused."""
        return self.stored.kind if self.stored else ""

    def given_key(self) -> str:
        """Where the file lies as it was uploaded."""
        return f"attachments/{self.case_id}/{self.given_sha256}"

    def clean_key(self) -> str:
        """Where a picture lies once it was written anew."""
        return f"{self.given_key()}-clean"
