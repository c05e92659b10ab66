"""A person's own data on their way to them: the file, and the wish for it."""

from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.access import RoleScopedQuerySet
from consult.models.clients import Client
from consult.models.people import User


class DataPackageQuerySet(RoleScopedQuerySet["DataPackage"]):
    def seen_by_office(self, user: User) -> Self:
        """The office hands out what is about clients; who runs the practice, the rest too."""
        return self.all() if user.is_manager else self.filter(client__isnull=False)


class DataPackage(models.Model):
    """One ZIP with all that is held of a client or a log-in, for a few days."""

    class State(models.TextChoices):
        QUEUED = "queued", _("queued")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    token = models.CharField(max_length=43, unique=True)
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.CASCADE, related_name="packages"
    )
    user = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    asked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    asked_at = models.DateTimeField()
    state = models.CharField(max_length=6, choices=State.choices, default=State.QUEUED)
    failure = models.TextField(blank=True)
    file = models.FileField(max_length=200)
    size = models.PositiveBigIntegerField(default=0)
    ready_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField(db_index=True)

    objects = DataPackageQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(client__isnull=False) ^ models.Q(user__isnull=False),
                name="package_is_of_one_person",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "ready", "failed"]),
                name="package_state_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.client or self.user}, {self.asked_at:%Y-%m-%d}"


class DataRequestQuerySet(RoleScopedQuerySet["DataRequest"]):
    def seen_by_client(self, user: User) -> Self:
        return self.filter(client__user=user)

    def open(self) -> Self:
        """What the office has not answered yet, the oldest first."""
        return self.filter(done_at=None).select_related("client").order_by("asked_at", "pk")


class DataRequest(models.Model):
    """A client asks for a copy of their data, or to be erased."""

    class Kind(models.TextChoices):
        COPY = "copy", _("a copy of all data")
        ERASURE = "erasure", _("erasure")

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="data_requests")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    asked_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = DataRequestQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["client", "kind"],
                condition=models.Q(done_at__isnull=True),
                name="one_open_wish_of_a_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=["copy", "erasure"]), name="wish_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.client}: {self.kind}"
