"""Letters of a case, of whatever kind: issued once for the same words, corrected by a new one."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.letter_kinds import Content, Draft, correcting, letter_kind
from consult.letters.content import Head, paper_for
from consult.letters.html import TEMPLATE_VERSION
from consult.models import Letter, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.letters import content_sha256, issue_letter
from mitigation.comparison import latest_visit, sealed_visits
from mitigation.models import Case, CaseLetter
from surveys.models import Visit
from surveys.services import facts

HeadMaker = Callable[[str, datetime], Head]


@dataclass(frozen=True)
class Basis:
    """What a letter of a case can rest on."""

    case: Case
    visits: tuple[Visit, ...]  # the sealed ones
    about: Any = None  # the row that a letter is about, where a case has several of them

    @property
    def baseline(self) -> Visit | None:
        """The latest baseline."""
        return latest_visit(self.visits, Visit.Kind.BASELINE)

    @property
    def follow_up(self) -> Visit | None:
        """The latest follow-up."""
        return latest_visit(self.visits, Visit.Kind.FOLLOW_UP)


@transaction.atomic
def issue_case_letter(
    *,
    kind: str,
    case: Case,
    by: User | None,
    now: datetime,
    corrects: Letter | None = None,
    reason: str = "",
    about: Any = None,
    when_ready: str = "",
) -> Letter:
    """Freeze a letter of `case` and queue its PDF; the newest one if it already says the same.

    `when_ready` is the kind of the job that follows once a new one is ready.
    """
    lock_case(case)
    draft = drafted(kind=kind, case=case, corrects=corrects, reason=reason, about=about)
    same = None if corrects else _letter_of_the_same_words(case, kind, draft.content)
    if same is not None:
        return same
    home = case.property
    letter = issue_letter(
        kind=kind,
        build=lambda number: draft.content(number, now),
        client=home.client,
        property=home,
        case_reference=case.reference,
        rules=draft.rules,
        language=draft.language or home.client.language,
        firm=draft.firm,
        paper=paper_for(home.country),
        template_version=TEMPLATE_VERSION,
        by=by,
        corrects=corrects,
        now=now,
        when_ready=when_ready,
    )
    link = CaseLetter(case=case, letter=letter)
    link.full_clean()
    link.save(force_insert=True)
    draft.keep(letter)
    return letter


def drafted(
    *,
    kind: str,
    case: Case,
    corrects: Letter | None = None,
    reason: str = "",
    about: Any = None,
) -> Draft:
    """What a letter of `case` says as the case stands; ValidationError where something misses."""
    entry = letter_kind(kind)
    if entry is None:
        raise ValidationError(_("There is no letter of the kind %(kind)s.") % {"kind": kind})
    basis = Basis(case, sealed_visits(case), about)
    if missing := entry.needs(basis):
        raise ValidationError(missing)
    draft: Draft = entry.draft(basis, partial(head_of, case, corrects, reason))
    return draft


def lock_case(case: Case) -> None:
    """Two people, or one double click: the second waits here and gets the first one's letter.

    So does a correction of what was measured: it is in the letter or after it.
    """
    Case.objects.select_for_update().get(pk=case.pk)
    list(case.visits.select_for_update(of=("self",)).order_by("pk").values("pk"))


def _letter_of_the_same_words(case: Case, kind: str, content: Content) -> Letter | None:
    """The newest letter of its kind, if built anew for its number and day it would be the same."""
    letters = Letter.objects.filter(case_letter__case=case, kind=kind)
    newest = letters.order_by("-pk").first()
    if newest is None or newest.template_version != TEMPLATE_VERSION:
        return None
    again = content_sha256(content(newest.number, newest.issued_at))
    return newest if again == newest.content_sha256 else None


def head_of(case: Case, corrects: Letter | None, reason: str, number: str, now: datetime) -> Head:
    home = case.property
    return Head(
        number=number,
        case_reference=case.reference,
        issued_on=timezone.localdate(now),
        sender=facts.sender(),
        addressee=facts.addressee(home),
        property_address=home.address,
        country=home.country,
        corrects=corrects.number if corrects else "",
        corrects_on=timezone.localdate(corrects.issued_at) if corrects else None,
        correction_reason=reason,
        check_address=settings.SITE_URL.rstrip("/") + reverse("letter_check"),
    )


def correct_letter(
    *,
    letter: Letter,
    case: Case,
    reason: str,
    by: User | None,
    now: datetime,
    key: UUID | None = None,
) -> Letter:
    """Issue the letter anew from the case as it stands; the old one stays and is referred to."""
    if letter.state != Letter.State.READY:
        raise ValidationError(_("Only a letter that is ready can be corrected."))
    kind = correcting(letter.kind)
    if kind is None:
        raise ValidationError(_("A letter of this kind is not corrected by another one."))
    code = kind.code

    def enter() -> Letter:
        if letter.corrections.exists():
            raise ValidationError(_("Letter %(number)s has been corrected already; correct the "
                                    "newer one.") % {"number": letter.number})  # fmt: skip
        return issue_case_letter(
            kind=code, case=case, by=by, now=now, corrects=letter, reason=reason
        )

    with transaction.atomic():
        # Two people correcting one letter: the second waits here, and is told.
        Letter.objects.select_for_update().get(pk=letter.pk)
        digest = digest_of(key, "corrected letter", letter.pk, {"reason": reason})
        return enter_once(Letter, digest, enter)
