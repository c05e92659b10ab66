"""A case folder on its way in, from its check to its case."""

from datetime import datetime
from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.access import RoleScopedQuerySet
from consult.models import User
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case


class PendingUploadQuerySet(RoleScopedQuerySet["PendingUpload"]):
    def seen_by_office(self, user: User) -> Self:
        """Their own, and what waits for the office; not even it sees what else others brought."""
        return self.filter(models.Q(owner=user) | models.Q(state=PendingUpload.State.OFFICE))

    def seen_by_assessor(self, user: User) -> Self:
        return self.filter(owner=user)

    def for_office(self, now: datetime) -> Self:
        """Those that wait for the office, the oldest first, with who brought them."""
        waiting = self.filter(state=PendingUpload.State.OFFICE, expires_at__gt=now)
        return waiting.select_related("owner").order_by("received_at", "pk")

    def decided(self) -> Self:
        """Those that the office has decided on, with who did."""
        return self.exclude(decision="").select_related("decided_by")


class PendingUpload(PlainTexts):
    """A case folder that was handed over: checked, then confirmed or cancelled, then imported.

    Where it brings certificates that its owner may not add, the office confirms or refuses it.
    """

    class State(models.TextChoices):
        CHECKING = "checking", _("being checked")
        READY = "ready", _("ready to import")
        OFFICE = "office", _("waiting for the office")
        IMPORTING = "importing", _("being imported")
        DONE = "done", _("imported")
        REFUSED = "refused", _("not imported")
        FAILED = "failed", _("failed")

    class Decision(models.TextChoices):
        """What the office says of an upload that waits for it."""

        NONE = "", ""
        CONFIRMED = "confirmed", _("confirmed")
        REFUSED = "refused", _("refused")

    class Step(models.TextChoices):
        """Where the work on it is, while a worker has it or is waited for."""

        NONE = "", ""
        WAITING = "waiting", _("Waiting")
        CHECKING = "checking", _("Checking")
        STORING = "storing", _("Storing")

    token = models.CharField(max_length=43, unique=True)
    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=200)
    file = models.FileField(max_length=200)
    size = models.PositiveBigIntegerField()
    received_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.READY)
    step = models.CharField(max_length=10, choices=Step.choices, blank=True)
    n_readings = models.PositiveIntegerField(default=0)
    content_sha256 = models.CharField(max_length=64, blank=True)
    preview = models.JSONField(default=dict)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    into = models.ForeignKey(  # the case that gets further visits; none: the files make a case
        Case, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    case = models.ForeignKey(
        Case, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    failure = models.TextField(blank=True)
    # The certificates that it brings for known instruments: plain data of `BroughtCertificate`.
    certificates = models.JSONField(default=list, blank=True)
    # How often the import found that the register had changed since it was confirmed.
    times_returned = models.PositiveSmallIntegerField(default=0)
    decision = models.CharField(max_length=10, choices=Decision.choices, blank=True)
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decision_reason = models.TextField(blank=True)

    objects = PendingUploadQuerySet.as_manager()

    class Meta:
        ordering = ["-received_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    state__in=[
                        "checking",
                        "ready",
                        "office",
                        "importing",
                        "done",
                        "refused",
                        "failed",
                    ]
                ),
                name="upload_state_is_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="importing") | models.Q(confirmed_at__isnull=False),
                name="upload_is_imported_when_confirmed",
            ),
            models.CheckConstraint(
                condition=models.Q(decision="", decided_at__isnull=True)
                | models.Q(decision__in=["confirmed", "refused"], decided_at__isnull=False),
                name="upload_decision_has_its_time",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="office") | models.Q(decision=""),
                name="upload_that_waits_for_the_office_is_undecided",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_moving(self) -> bool:
        """True while a worker has it, or is waited for."""
        return self.state in (self.State.CHECKING, self.State.IMPORTING)
