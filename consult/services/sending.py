"""How a letter reaches its client: a link by e-mail, or the post."""

from datetime import datetime, timedelta
from uuid import UUID

from django.core import signing
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Client, Letter, OutboundMail, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.jobs import enqueue
from consult.services.mail import name_of_practice, queue_mail

LINK_HOLDS = timedelta(days=14)
LINK = "consult.letter-link"
LETTER_SENT = "letter-sent"


def letter_token(letter: Letter, mail_key: str) -> str:
    """A signed token that shows this one letter to whoever holds it, while the link holds."""
    return signing.dumps([letter.pk, letter.client_id, mail_key], salt=LINK)


def letter_of_token(token: str) -> Letter | None:
    """The ready letter that a link shows; None when the link is too old, withdrawn or not ours.

    A link ends by itself when the letter is corrected, when its client has another e-mail, was
    erased, or is another client. Links of earlier versions name no mail: any of its mails will do.
    """
    try:
        pk, client, *keys = signing.loads(token, salt=LINK, max_age=LINK_HOLDS)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    mails = OutboundMail.objects.filter(
        letter=pk, client=client, withdrawn_at=None, to=F("client__email")
    )
    if keys:
        mails = mails.filter(key=keys[0])
    letters = Letter.objects.select_related("client", "corrects").filter(
        pk=pk, client=client, state=Letter.State.READY, corrections=None
    )
    return letters.first() if mails.exists() else None


def withdraw_link(*, mail: OutboundMail, now: datetime) -> None:
    """Have the link of a mail open nothing any more; the first time stays."""
    OutboundMail.objects.filter(pk=mail.pk, withdrawn_at=None).update(withdrawn_at=now)


def email_letter(
    *, letter: Letter, by: User, site: str, now: datetime, key: UUID | None = None
) -> OutboundMail:
    """Send the client a link to a ready letter; `site` is its scheme and host."""
    client = letter.client
    if letter.state != Letter.State.READY:
        raise ValidationError(_("The letter is not ready yet."))
    if letter.firm_id is not None:
        raise ValidationError(_("This letter is for a firm, which has its own link."))
    if client is None or not client.email:
        raise ValidationError(_("The client has no e-mail; print the letter and post it."))

    def enter() -> OutboundMail:
        Letter.objects.filter(pk=letter.pk).update(emailed_at=now, emailed_by=by)
        _tell_sent(letter, now)
        return _mail_link(letter, client, site, now)

    with transaction.atomic():
        digest = digest_of(key, "e-mailed letter", letter.pk, {"to": client.email})
        return enter_once(OutboundMail, digest, enter)


def _mail_link(letter: Letter, client: Client, site: str, now: datetime) -> OutboundMail:
    key = f"{_mail_key(letter)}{now:%Y%m%d%H%M%S%f}"
    link = site.rstrip("/") + reverse("letter_link", args=[letter_token(letter, key)])
    practice = name_of_practice()
    with override(letter.language):
        return queue_mail(
            key=key,
            client=client,
            letter=letter,
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
    return list(letter.mails.all())


def link_ends(*, mail: OutboundMail, letter: Letter, now: datetime) -> datetime | None:
    """Until when the link of a mail shows the letter; None where it has ended."""
    ends = mail.created_at + LINK_HOLDS
    holds = mail.withdrawn_at is None and letter.client is not None and ends > now
    return ends if holds and letter.client and mail.to == letter.client.email else None


def _tell_sent(letter: Letter, now: datetime) -> None:
    """What follows is a job, because letters know nothing of what they are about."""
    key = f"{LETTER_SENT}:{letter.pk}:{now:%Y%m%d%H%M%S%f}"
    enqueue(kind=LETTER_SENT, key=key, arguments={"letter": letter.pk})


@transaction.atomic
def mark_posted(*, letter: Letter, by: User, now: datetime) -> None:
    """Note that a ready letter went out by post; the first note stays."""
    if letter.state != Letter.State.READY:
        raise ValidationError(_("The letter is not ready yet."))
    noted = Letter.objects.filter(pk=letter.pk, posted_at=None).update(posted_at=now, posted_by=by)
    if not noted:
        raise ValidationError(_("The letter is marked as posted already."))
    _tell_sent(letter, now)


def _mail_key(letter: Letter) -> str:
    return f"letter-link:{letter.pk}:"
