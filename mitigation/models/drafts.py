"""Letters to look at before they are issued: without a number, gone after a day."""

from datetime import datetime, timedelta
from typing import Self
from uuid import uuid4

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.letter_kinds import letter_kind
from consult.models import StoredFile, User
from consult.models.clients import AtPropertyQuerySet
from mitigation.models.cases import Case

KEPT = timedelta(days=1)


class LetterDraftQuerySet(AtPropertyQuerySet["LetterDraft"]):
    """Office and the property's assessors; never a client or an electrician."""

    property_ref = "case__property"

    def live(self, now: datetime) -> Self:
        """Those whose day is not over; the others are as good as gone, whenever their job comes."""
        return self.filter(expires_at__gt=now)


class LetterDraft(models.Model):
    """What a letter of a case would say if it was issued as the case stood at that moment."""

    class State(models.TextChoices):
        QUEUED = "queued", _("queued")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="drafts")
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    kind = models.CharField(max_length=16)  # a registered one, see consult.letter_kinds
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    asked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    asked_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)
    state = models.CharField(max_length=6, choices=State.choices, default=State.QUEUED)
    stored = models.OneToOneField(
        StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = LetterDraftQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "ready", "failed"]),
                name="draft_state_is_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="ready") | models.Q(stored__isnull=False),
                name="ready_draft_has_its_file",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.case}"

    def get_kind_display(self) -> str:
        """The label of its kind."""
        kind = letter_kind(self.kind)
        return str(kind.label) if kind else self.kind

    def file_key(self) -> str:
        """The one place of this draft's PDF."""
        return f"drafts/{self.uid}.pdf"
