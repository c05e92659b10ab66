"""The proof of an erasure: that it was done, never whom it was about by name."""

import uuid
from typing import Self

from django.db import models
from django.utils.translation import gettext as _

from consult.access import RoleScopedQuerySet
from consult.models.people import User
from consult.models.texts import PlainTexts


class ErasureQuerySet(RoleScopedQuerySet["Erasure"]):
    def seen_by_office(self, user: User) -> Self:
        """The proofs are for who runs the practice."""
        return self.all() if user.is_manager else self.none()

    def for_list(self) -> Self:
        """One query for a list: who erased."""
        return self.select_related("by")


class Erasure(PlainTexts):
    """Somebody's data were erased. It says whom by numbers, so that it can be done again.

    `clients` and `users` hold pairs of a row's number and the moment it was entered: after an older
    backup is restored, a number may be somebody else's.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    at = models.DateTimeField()
    by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    clients = models.JSONField(default=list)
    users = models.JSONField(default=list)
    reason = models.CharField(max_length=200, blank=True)
    counted = models.JSONField(default=dict)
    files_left = models.JSONField(default=list)
    n_files = models.PositiveIntegerField(default=0)
    files_gone_at = models.DateTimeField(null=True, blank=True)
    repeated_at = models.DateTimeField(null=True, blank=True)

    objects = ErasureQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d} {self.uid}"

    def numbers(self) -> str:
        """Whom it was about, such as `client 17, log-in 4`."""
        names = [_("client %(number)s") % {"number": pk} for pk, _since in self.clients]
        names += [_("log-in %(number)s") % {"number": pk} for pk, _since in self.users]
        return ", ".join(names)
