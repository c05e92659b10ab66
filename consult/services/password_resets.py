"""A forgotten password: a job looks for the log-in, so that its answer tells nobody who has one."""

from typing import Any
from uuid import uuid4

from allauth.account.forms import default_token_generator
from allauth.account.internal.userkit import filter_users_by_email
from allauth.account.utils import user_pk_to_url_str
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Job, User
from consult.services.jobs import Run, enqueue
from consult.services.mail import name_of_practice, queue_mail

RESET_PASSWORD = "reset-password"


def ask_reset(*, email: str, site: str) -> None:
    """Have a link sent to `email` if somebody logs in by it; `site` is its scheme and host."""
    enqueue(
        kind=RESET_PASSWORD,
        key=f"{RESET_PASSWORD}:{uuid4()}",
        arguments={"email": email, "site": site},
    )


def mail_reset(arguments: dict[str, Any], run: Run) -> None:
    """The job: mail the link, and keep nothing of what was typed."""
    email, site = arguments.get("email", ""), arguments.get("site", "")
    with transaction.atomic():
        for user in filter_users_by_email(
            email, is_active=True, prefer_verified=True, for_login=True
        ):
            _mail_link(user, site, key=f"password-reset:{run.job_id}:{user.pk}")
        Job.objects.filter(pk=run.job_id).update(arguments={})


def _mail_link(user: User, site: str, *, key: str) -> None:
    token = default_token_generator.make_token(user)
    where = [user_pk_to_url_str(user), token]
    practice = name_of_practice()
    with override(user.language):
        queue_mail(
            key=key,
            user=user,
            to=user.email,
            subject=_("A new password at %(practice)s") % {"practice": practice},
            body=_(
                "Good day %(name)s,\n\nsomebody, probably you, asked for a new password for your "
                "log-in. Choose it here:\n\n%(link)s\n\nIf you did not ask for it, you need not do "
                "anything.\n\n%(practice)s\n"
            )
            % {
                "name": user.name,
                "link": site.rstrip("/") + reverse("account_reset_password_from_key", args=where),
                "practice": practice,
            },
        )
