"""People, firms and the practice: invited, changed, let in and kept out."""

import hashlib
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib.auth.password_validation import validate_password
from django.core import signing
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.intake.pictures import Picture
from consult.logs import without_tokens
from consult.models import AccessEvent, Client, Firm, OutboundMail, Practice, User
from consult.models.texts import as_one_line
from consult.services.changes import held, refuse_overtaken
from consult.services.entry_keys import digest_of, enter_once, enter_or_change
from consult.services.mail import name_of_practice, queue_mail

INVITATION_HOLDS = timedelta(days=7)
INVITATION = "consult.invitation"
OWN_CONTACT = ("email", "phone", "address")
EDITABLE = ("email", "name", "role", "firm", "language", "is_manager")


def record_event(
    *,
    kind: AccessEvent.Kind,
    now: datetime,
    by: User | None = None,
    about: User | None = None,
    what: str = "",
    address: str | None = None,
) -> AccessEvent:
    """Write a line of the access log."""
    line = as_one_line(without_tokens(what))[:300]
    event = AccessEvent(at=now, kind=kind, user=by, about=about, what=line, address=address)
    event.full_clean()
    event.save(force_insert=True)
    return event


def invite_person(
    *, by: User, site: str, now: datetime, key: UUID | None = None, **fields: Any
) -> User:
    """Enter somebody without a password and send the link by which they set one.

    A person in the role of a client is tied to the client with the same e-mail.
    """

    def enter() -> User:
        _refuse_taken(fields["email"])
        client = _client_to_tie(fields["email"]) if fields["role"] == User.Role.CLIENT else None
        try:
            with transaction.atomic():
                user = User.objects.create_user(**fields)
        except IntegrityError:
            _refuse_taken(fields["email"])  # by somebody in this very moment
            raise
        if client is not None:
            client.user = user
            client.full_clean()
            client.save(update_fields=["user"])
        send_invitation(user=user, by=by, site=site, now=now)
        return user

    with transaction.atomic():
        return enter_once(User, digest_of(key, "person", None, fields), enter)


def _refuse_taken(email: str, by_other_than: User | None = None) -> None:
    others = User.objects.filter(email__iexact=email)
    if by_other_than is not None:
        others = others.exclude(pk=by_other_than.pk)
    if others.exists():
        raise ValidationError({"email": _("Somebody has a log-in with this e-mail.")})


def _client_to_tie(email: str) -> Client:
    client = Client.objects.filter(email__iexact=email, user=None).order_by("pk").first()
    if client is None:
        raise ValidationError(
            {"email": _("No client without a log-in has this e-mail; enter it there first.")}
        )
    return client


def send_invitation(
    *, user: User, by: User, site: str, now: datetime, key: UUID | None = None
) -> OutboundMail:
    """Send somebody who has no password yet the link to set one; `site` is its scheme and host."""
    if user.has_usable_password() or not user.is_active:
        raise ValidationError(_("%(name)s has a password already.") % {"name": user.name})

    def enter() -> OutboundMail:
        record_event(kind=AccessEvent.Kind.INVITED, now=now, by=by, about=user)
        return _mail_invitation(user, by, site, now)

    with transaction.atomic():
        return enter_once(OutboundMail, digest_of(key, "invitation", user.pk, {}), enter)


def _mail_invitation(user: User, by: User, site: str, now: datetime) -> OutboundMail:
    link = site.rstrip("/") + reverse("invitation", args=[invitation_token(user)])
    practice = name_of_practice()
    with override(user.language):
        return queue_mail(
            key=f"invitation:{user.pk}:{now:%Y%m%d%H%M%S%f}",
            user=user,
            to=user.email,
            subject=_("Your log-in at %(practice)s") % {"practice": practice},
            body=_(
                "Good day %(name)s,\n\n%(by)s has set up a log-in for you. Choose a password here:"
                "\n\n%(link)s\n\nThe link holds for %(days)s days and works once.\n\n%(practice)s\n"
            )
            % {
                "name": user.name,
                "by": by.name,
                "link": link,
                "days": INVITATION_HOLDS.days,
                "practice": practice,
            },
        )


def invitation_token(user: User) -> str:
    """A signed token for `user` that expires once they have a password."""
    return signing.dumps([user.pk, _stamp(user)], salt=INVITATION)


def _stamp(user: User) -> str:
    return salted_hmac(INVITATION, f"{user.password}{user.email}").hexdigest()[:24]


def invited_person(token: str) -> User | None:
    """Whom an invitation is for; None when it is spent, too old or not ours."""
    try:
        pk, stamp = signing.loads(token, salt=INVITATION, max_age=INVITATION_HOLDS)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    user = User.objects.filter(pk=pk, is_active=True).first()
    if user is None or user.has_usable_password():
        return None
    return user if constant_time_compare(stamp, _stamp(user)) else None


def accept_invitation(*, token: str, password: str, now: datetime) -> User:
    """Give an invited person the password of their choice, once."""
    with transaction.atomic():
        user = invited_person(token)
        if user is None:
            raise ValidationError(_("This invitation has been used or is too old."))
        validate_password(password, user)
        before = user.password
        user.set_password(password)
        # Two answers at once: the second finds the row changed.
        if not User.objects.filter(pk=user.pk, password=before).update(password=user.password):
            raise ValidationError(_("This invitation has been used or is too old."))
        record_event(kind=AccessEvent.Kind.ACCEPTED, now=now, by=user, about=user)
    return user


def change_person(
    *, user: User, by: User, now: datetime, seen: int | None = None, **fields: Any
) -> User:
    """Change what the practice says about somebody; they cannot lock themselves out.

    `seen` is the version that the form was opened with.
    """
    unknown = set(fields) - set(EDITABLE)
    if unknown:
        raise TypeError(f"not editable: {sorted(unknown)}")
    if user.pk == by.pk and (not fields.get("is_manager", True) or fields.get("role") not in
                             (None, User.Role.OFFICE)):  # fmt: skip
        raise ValidationError(_("You cannot take the practice out of your own hands."))
    with transaction.atomic():
        stored = _held(user, by)
        before = stored.email
        changes = [
            f"{name}: {getattr(stored, name)} \u2192 {value}"
            for name, value in fields.items()
            if getattr(stored, name) != value
        ]
        if not changes:
            return stored
        _refuse_taken(fields.get("email", stored.email), by_other_than=stored)
        for name, value in fields.items():
            setattr(stored, name, value)
        refuse_overtaken(stored, seen)
        stored.full_clean()
        stored.save(update_fields=list(fields))
        _tie_or_untie(stored)
        # The log-in library keeps e-mails of its own, lets people in by them and writes to them;
        # it makes them anew from the person when it needs one.
        EmailAddress.objects.filter(user=stored).exclude(email=stored.email).delete()
        event = record_event(
            kind=AccessEvent.Kind.CHANGED, now=now, by=by, about=stored, what="; ".join(changes)
        )
        if stored.email != before:
            _tell_of_new_email(stored, before, by, key=f"new-email:{event.pk}")
    return stored


def _tell_of_new_email(user: User, before: str, by: User, *, key: str) -> None:
    """Tell both addresses: whoever reads the old one may be the one who was shut out."""
    practice = name_of_practice()
    with override(user.language):
        for place, to in (("old", before), ("new", user.email)):
            queue_mail(
                key=f"{key}:{place}",
                user=user,
                to=to,
                subject=_("The e-mail of your log-in at %(practice)s") % {"practice": practice},
                body=_(
                    "Good day %(name)s,\n\n%(by)s has changed the e-mail by which you log in from "
                    "%(before)s to %(after)s. If this is wrong, call the office at once.\n\n"
                    "%(practice)s\n"
                )
                % {
                    "name": user.name,
                    "by": by.name,
                    "before": before,
                    "after": user.email,
                    "practice": practice,
                },
            )


def _held(user: User, by: User) -> User:
    """Lock the row of `user`, if `by` still runs the practice.

    If two managers deactivate each other at once, the second is refused.
    """
    rows = User.objects.select_for_update().order_by("pk").in_bulk([user.pk, by.pk])
    if not (rows[by.pk].is_active and rows[by.pk].is_manager):
        raise ValidationError(_("You do not run the practice any more. Nothing was done."))
    return rows[user.pk]


def _tie_or_untie(user: User) -> None:
    """Somebody in the role of a client has a client's record, and nobody else has."""
    own = Client.objects.filter(user=user)
    if user.role == User.Role.CLIENT:
        client = None if own.exists() else _client_to_tie(user.email)
    else:
        client = own.first()
    if client is not None:
        client.user = user if user.role == User.Role.CLIENT else None
        client.full_clean()
        client.save(update_fields=["user"])


def deactivate_person(*, user: User, by: User, now: datetime) -> None:
    """Keep somebody out from this moment on: their sessions end, their row stays."""
    if user.pk == by.pk:
        raise ValidationError(_("You cannot deactivate yourself."))
    with transaction.atomic():
        stored = _held(user, by)
        if not stored.is_active:
            return
        stored.is_active = False
        stored.save(update_fields=["is_active"])
        for session in UserSession.objects.filter(user=stored):
            session.end()
        record_event(kind=AccessEvent.Kind.DEACTIVATED, now=now, by=by, about=stored)


def drop_second_factor(*, user: User, by: User, now: datetime) -> None:
    """Let somebody in by the password alone who lost phone, key and codes, and tell them."""
    if user.pk == by.pk:
        raise ValidationError(_("You take off your own second factor on the page of your log-in."))
    with transaction.atomic():
        stored = _held(user, by)
        if not Authenticator.objects.filter(user=stored).delete()[0]:
            raise ValidationError(_("%(name)s has no second factor.") % {"name": stored.name})
        for session in UserSession.objects.filter(user=stored):
            session.end()
        what = "\u2212 second factor"
        event = record_event(kind=AccessEvent.Kind.CHANGED, now=now, by=by, about=stored, what=what)
        _tell_of_dropped_factor(stored, by, key=f"second-factor:{event.pk}")


def _tell_of_dropped_factor(user: User, by: User, *, key: str) -> None:
    practice = name_of_practice()
    with override(user.language):
        queue_mail(
            key=key,
            user=user,
            to=user.email,
            subject=_("Your second factor at %(practice)s") % {"practice": practice},
            body=_(
                "Good day %(name)s,\n\n%(by)s has taken the second factor, passkeys and recovery "
                "codes off your log-in. You log in with your password alone until you set up new "
                "ones. If you did not ask for this, call the office.\n\n%(practice)s\n"
            )
            % {"name": user.name, "by": by.name, "practice": practice},
        )


def reactivate_person(*, user: User, by: User, now: datetime) -> None:
    """Let somebody in again, with the password they had."""
    with transaction.atomic():
        stored = _held(user, by)
        if stored.is_active:
            return
        stored.is_active = True
        stored.save(update_fields=["is_active"])
        record_event(kind=AccessEvent.Kind.REACTIVATED, now=now, by=by, about=stored)


def set_own_language(*, user: User, language: str) -> None:
    """Pages in the language that somebody chose; a client's letters follow it."""
    with transaction.atomic():
        user.language = language
        user.full_clean()
        user.save(update_fields=["language"])
        client = Client.objects.filter(user=user).first()
        if client is not None and client.language != language:
            client.language = language
            client.full_clean()
            client.save(update_fields=["language"])


@transaction.atomic
def save_firm(*, firm: Firm, by: User, key: UUID | None = None, seen: int | None = None) -> Firm:
    """Keep a contractor firm, new or changed by nobody else since `seen`."""
    return enter_or_change(firm, by, seen, key)


def save_practice(
    *,
    practice: Practice,
    logo: Picture | None = None,
    remove_logo: bool = False,
    seen: int | None = None,
) -> Practice:
    """Keep what stands at the head of every letter from now on; issued letters stay as they are.

    `seen` is the version that the form was opened with.
    """
    if logo is not None:
        practice.logo, practice.logo_sha256 = logo.data, hashlib.sha256(logo.data).hexdigest()
    elif remove_logo:
        practice.logo, practice.logo_sha256 = None, ""
    with transaction.atomic():
        before = Practice.objects.select_for_update().defer("logo").filter(pk=practice.pk).first()
        if before is not None:
            refuse_overtaken(practice, seen)
            if before.second_factor_days is None and practice.second_factor_days is not None:
                practice.second_factor_since = timezone.localdate()
        practice.full_clean()
        practice.save()
    return practice


def correct_own_contact(*, client: Client, seen: int | None = None, **fields: Any) -> Client:
    """A client corrects how they are reached; the history keeps what stood there before.

    `seen` is the version that the form was opened with: the office may have changed it since.
    """
    unknown = set(fields) - set(OWN_CONTACT)
    if unknown:
        raise TypeError(f"not a client's to change: {sorted(unknown)}")
    with transaction.atomic():
        stored = held(client)
        for name, value in fields.items():
            setattr(stored, name, value)
        refuse_overtaken(stored, seen)
        stored.full_clean()
        stored.save(update_fields=list(fields))
    return stored
