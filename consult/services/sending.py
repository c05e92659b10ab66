"""How a letter reaches its client: a link by e-mail, or the post."""

from datetime import datetime, timedelta
from uuid import UUID

from django.core import signing
from django.core.exceptions import ValidationError
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Client, Letter, OutboundMail, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.mail import name_of_practice, queue_mail

LINK_HOLDS = timedelta(days=14)
LINK = "consult.letter-link"


def letter_token(letter: Letter) -> str:
    """A signed token that shows this letter to whoever holds it, until it expires."""
    return signing.dumps([letter.pk, letter.client_id], salt=LINK)


def letter_of_token(token: str) -> Letter | None:
    """The ready letter that a link shows; None when the link is too old or not ours.

    A letter whose client was erased, or that changed hands, is not shown any more.
    """
    try:
        pk, client = signing.loads(token, salt=LINK, max_age=LINK_HOLDS)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    letters = Letter.objects.select_related("client", "corrects")
    return letters.filter(pk=pk, client=client, state=Letter.State.READY).first()


def email_letter(
    *, letter: Letter, by: User, site: str, now: datetime, key: UUID | None = None
) -> OutboundMail:
    """Send the client a link to a ready letter; `site` is its scheme and host."""
    client = letter.client
    if letter.state != Letter.State.READY:
        raise ValidationError(_("The letter is not ready yet."))
    if client is None or not client.email:
        raise ValidationError(_("The client has no e-mail; print the letter and post it."))

    def enter() -> OutboundMail:
        Letter.objects.filter(pk=letter.pk).update(emailed_at=now, emailed_by=by)
        return _mail_link(letter, client, site, now)

    with transaction.atomic():
        digest = digest_of(key, "e-mailed letter", letter.pk, {"to": client.email})
        return enter_once(OutboundMail, digest, enter)


def _mail_link(letter: Letter, client: Client, site: str, now: datetime) -> OutboundMail:
    link = site.rstrip("/") + reverse("letter_link", args=[letter_token(letter)])
    practice = name_of_practice()
    with override(letter.language):
        return queue_mail(
            key=f"{_mail_key(letter)}{now:%Y%m%d%H%M%S%f}",
            to=client.email,
            subject=_("Your letter %(number)s from %(practice)s")
            % {"number": letter.number, "practice": practice},
            body=_(
                "Good day %(name)s,\n\nyour letter %(number)s is ready:\n\n%(link)s\n\n"
                "The link shows this letter for %(days)s days to whoever holds it, so please do "
                "not pass it on.\n\n%(practice)s\n"
            )
            % {
                "name": client.name,
                "number": letter.number,
                "link": link,
                "days": LINK_HOLDS.days,
                "practice": practice,
            },
        )


def mails_of(letter: Letter) -> list[OutboundMail]:
    """Every link that was sent for a letter, latest first."""
    return list(OutboundMail.objects.filter(key__startswith=_mail_key(letter)))


def mark_posted(*, letter: Letter, by: User, now: datetime) -> None:
    """Note that a ready letter went out by post; the first note stays."""
    if letter.state != Letter.State.READY:
        raise ValidationError(_("The letter is not ready yet."))
    noted = Letter.objects.filter(pk=letter.pk, posted_at=None).update(posted_at=now, posted_by=by)
    if not noted:
        raise ValidationError(_("The letter is marked as posted already."))


def _mail_key(letter: Letter) -> str:
    return f"letter-link:{letter.pk}:"
