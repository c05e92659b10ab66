"""Jobs and mail as rows: a job exists when its row commits, not when a message is sent."""

from datetime import datetime
from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models.clients import Client
from consult.models.letters import Letter
from consult.models.people import User
from consult.models.texts import PlainTexts


class JobQuerySet(models.QuerySet["Job"]):
    def due(self, now: datetime) -> Self:
        """Waiting jobs whose time has come, and running ones whose worker is gone."""
        return self.filter(
            models.Q(state=Job.State.WAITING, run_after__lte=now)
            | models.Q(state=Job.State.RUNNING, lease_until__lt=now)
        )


class Job(models.Model):
    """One piece of work to be done once, however often it is started."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        DEAD = "dead", _("gave up")

    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120, unique=True)
    arguments = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    run_after = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    progress_percent = models.PositiveSmallIntegerField(default=0)
    last_error = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["run_after", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=["waiting", "running", "done", "dead"]),
                name="job_state_is_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="running") | models.Q(lease_until__isnull=False),
                name="running_job_has_a_lease",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "run_after"], name="job_state_run_after"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class OutboundMail(PlainTexts):
    """A message on its way out: written with the change it tells of, sent once by a job."""

    key = models.CharField(max_length=120, unique=True)
    # Whose it is: an address alone says nothing, because the office may have mistyped it.
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.SET_NULL, related_name="mails"
    )
    user = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="mails"
    )
    letter = models.ForeignKey(
        Letter, null=True, blank=True, on_delete=models.SET_NULL, related_name="mails"
    )
    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    ics = models.TextField(blank=True)  # the calendar file that goes with it
    sender_name = models.CharField(max_length=120, blank=True)
    reply_to = models.EmailField(blank=True)
    message_id = models.CharField(max_length=200, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)  # its link opens nothing any more

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.subject} to {self.to}"


class Heartbeat(models.Model):
    """Shows that a worker does work: it beats, and it says when it last finished a job."""

    worker = models.CharField(max_length=120, unique=True)
    beat_at = models.DateTimeField()
    last_job_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.worker
