"""Who came in, who was refused, who changed whom: only ever added to."""

from typing import Any, Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.access import RoleScopedQuerySet
from consult.models.people import User
from consult.models.texts import PlainTexts


class AccessEventQuerySet(RoleScopedQuerySet["AccessEvent"]):
    def seen_by_office(self, user: User) -> Self:
        """The log is for who runs the practice."""
        return self.all() if user.is_manager else self.none()

    def for_list(self) -> Self:
        """One query for a list: who acted, and on whom."""
        return self.select_related("user", "about")

    def about_person(self, pk: int) -> Self:
        """What somebody did at the door, or had done to them."""
        return self.filter(models.Q(user=pk) | models.Q(about=pk))


class AccessEvent(PlainTexts):
    """Something that happened at the door. Never changed, never deleted."""

    class Kind(models.TextChoices):
        LOGGED_IN = "logged-in", _("logged in")
        LOGIN_REFUSED = "login-refused", _("log-in refused")
        PAGE_REFUSED = "page-refused", _("page refused")
        INVITED = "invited", _("invited")
        ACCEPTED = "accepted", _("set a password")
        CHANGED = "changed", _("changed")
        DEACTIVATED = "deactivated", _("deactivated")
        REACTIVATED = "reactivated", _("let in again")

    at = models.DateTimeField(db_index=True)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    user = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    about = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    what = models.CharField(max_length=300, blank=True)
    address = models.GenericIPAddressField(null=True, blank=True)

    objects = AccessEventQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "logged-in",
                        "login-refused",
                        "page-refused",
                        "invited",
                        "accepted",
                        "changed",
                        "deactivated",
                        "reactivated",
                    ]
                ),
                name="access_event_kind_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.kind}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("an event of the log is never changed")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise TypeError("an event of the log is never deleted")
