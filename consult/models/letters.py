"""Letters: frozen once issued."""

from typing import Self

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.fields.json import KT
from django.utils.translation import gettext_lazy as _

from consult import letter_kinds
from consult.models.clients import AtPropertyQuerySet, Client, Property
from consult.models.files import StoredFile
from consult.models.people import Firm, User


class LetterQuerySet(AtPropertyQuerySet["Letter"]):
    def seen_by_assessor(self, user: User) -> Self:
        """Of the properties assigned to them, the kinds that assessors read."""
        kinds = letter_kinds.read_by(User.Role.ASSESSOR)
        return super().seen_by_assessor(user).filter(kind__in=kinds)

    def seen_by_client(self, user: User) -> Self:
        """A client reads what is addressed to them, once it is ready."""
        kinds = letter_kinds.read_by(User.Role.CLIENT)
        return self.filter(client__user=user, state=Letter.State.READY, kind__in=kinds)

    def seen_by_electrician(self, user: User) -> Self:
        """What was sent to their own firm, once it is ready."""
        kinds = letter_kinds.read_by(User.Role.ELECTRICIAN)
        return self.filter(firm=user.firm_id, state=Letter.State.READY, kind__in=kinds)

    def for_list(self) -> Self:
        """One query for a list: addressee, property, subject; what it says is fetched when read."""
        subject = KT("content__subject")
        rows = self.select_related("client", "property", "firm", "corrects").annotate(
            subject=subject
        )
        return rows.defer("content", "corrects__content")

    def for_case(self) -> Self:
        """The same for a list under their case: without addressee and property, which it names."""
        return self.annotate(subject=KT("content__subject")).select_related("corrects").only(
            "number", "kind", "state", "failure", "issued_at", "emailed_at", "posted_at",
            "erased_at", "corrects__number",
        )  # fmt: skip


class Letter(models.Model):
    """An issued letter. Its content is what was said; it is never edited, the row never deleted."""

    class State(models.TextChoices):
        QUEUED = "queued", _("queued")
        RENDERING = "rendering", _("being made")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")
        ERASED = "erased", _("erased")

    number = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=16)  # a registered one, see consult.letter_kinds
    case_reference = models.CharField(max_length=40, db_index=True)
    client = models.ForeignKey(Client, null=True, on_delete=models.SET_NULL, related_name="letters")
    property = models.ForeignKey(
        Property, null=True, on_delete=models.SET_NULL, related_name="letters"
    )
    # Whom it is addressed to, where that is not the client.
    firm = models.ForeignKey(
        Firm, null=True, blank=True, on_delete=models.PROTECT, related_name="letters"
    )
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    # Printed on the letter and no part of its content: the same words issued again have it too.
    # Empty on letters of before.
    check_code = models.CharField(max_length=20, blank=True, editable=False)
    rules = models.JSONField(default=list)
    language = models.CharField(max_length=5)
    paper = models.CharField(max_length=6, choices=[("A4", "A4"), ("Letter", "Letter")])
    template_version = models.CharField(max_length=20)
    corrects = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrections"
    )
    issued_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    issued_at = models.DateTimeField()

    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    failure = models.TextField(blank=True)
    stored = models.OneToOneField(
        StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # Its digest stays as a proof when an erasure has taken the file.
    sha256 = models.CharField(max_length=64, blank=True)
    rendered_at = models.DateTimeField(null=True, blank=True)
    rendered_with = models.JSONField(default=dict)

    emailed_at = models.DateTimeField(null=True, blank=True)
    emailed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    posted_at = models.DateTimeField(null=True, blank=True)
    posted_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    erased_at = models.DateTimeField(null=True, blank=True)
    erased_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = LetterQuerySet.as_manager()

    class Meta:
        ordering = ["-issued_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(state="ready")
                | (
                    models.Q(stored__isnull=False)
                    & ~models.Q(sha256="")
                    & models.Q(rendered_at__isnull=False)
                ),
                name="ready_letter_has_its_file",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "rendering", "ready", "failed", "erased"]),
                name="letter_state_is_known",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "issued_at"], name="letter_state_issued"),
            models.Index(fields=["-issued_at", "-id"], name="letter_newest_first"),
        ]

    def __str__(self) -> str:
        return self.number

    def clean(self) -> None:
        if letter_kinds.letter_kind(self.kind) is None:
            words = _("There is no letter of the kind %(kind)s.")
            raise ValidationError({"kind": words % {"kind": self.kind}})

    def get_kind_display(self) -> str:
        """The label of its kind; the bare code where this version does not know it."""
        kind = letter_kinds.letter_kind(self.kind)
        return str(kind.label) if kind else self.kind

    def is_correctable(self) -> bool:
        """Whether a letter of some kind takes the place of one like this."""
        return letter_kinds.correcting(self.kind) is not None

    def file_key(self) -> str:
        """The one place of this letter's PDF: made twice, it is written to the same place."""
        return f"letters/{self.number}-{self.content_sha256[:16]}.pdf"
