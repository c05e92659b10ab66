"""A client's wish for a copy of their data, or to be erased."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Client, DataRequest, User, current_practice
from consult.services.mail import queue_mail


@transaction.atomic
def ask_for_data(*, client: Client, kind: str, now: datetime) -> DataRequest:
    """Note the wish on the client's page and the desk, and tell the practice by e-mail.

    Asking again while the office has not answered is the same wish.
    """
    Client.objects.select_for_update().get(pk=client.pk)
    known = DataRequest.objects.filter(client=client, kind=kind, done_at=None).first()
    if known is not None:
        return known
    wish = DataRequest(client=client, kind=kind, asked_at=now)
    wish.full_clean()
    wish.save()
    practice = current_practice()
    if practice.email:
        with override("de" if practice.country in ("DE", "AT", "CH") else "en"):
            queue_mail(
                key=f"data-request:{wish.pk}",
                to=practice.email,
                subject=_("A client asks about their data"),
                # No name: the mail outlives the client's data.
                body=_("Client number %(pk)s asks for: %(kind)s. See the desk.\n")
                % {"pk": client.pk, "kind": wish.get_kind_display()},
            )
    return wish


@transaction.atomic
def answer_request(*, wish: DataRequest, by: User, now: datetime) -> None:
    """The office did what was asked, or wrote why not; the first word stays."""
    DataRequest.objects.filter(pk=wish.pk, done_at=None).update(done_at=now, done_by=by)
