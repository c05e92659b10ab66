"""A plan is offered: it freezes, replaces the one before, and its letter goes out."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letter_kinds import Draft
from consult.models import Letter, OutboundMail, User, current_practice
from consult.services.jobs import Run, enqueue
from consult.services.letters import content_sha256
from consult.services.mail import name_of_practice, queue_mail
from consult.services.sending import email_letter, letter_token
from mitigation.letters.plan_facts import OfferFacts
from mitigation.letters.plan_letter import KIND, offered, plan_content
from mitigation.models import ENDS, Case, Plan, PlanItem, Prediction
from mitigation.planning.items import OPEN
from mitigation.planning.plans import Planning, planning_of
from mitigation.services.cases import go_on
from mitigation.services.letters import Basis, HeadMaker, issue_case_letter, lock_case
from mitigation.services.offer_facts import MOST_OPTIONS, offer_facts
from mitigation.services.trial_fits import KeptFits

SEND_OFFER = "send-offer"
REMIND_OFFER = "remind-offer"
REMINDER_DAYS = (7, 21)
"""Days after an offer on which a client who did not answer is reminded: a house assumption."""

FIGURES = ("median", "low", "high", "probability", "overall")
"""What a prediction keeps of what was foretold."""

_MAIL_KEYS = UUID("5d9a4c1e-3f0b-5f8c-9b7e-2c6f6d1f0a43")
"""Makes the key of the mail of a letter."""


def items_state(case: Case) -> str:
    """What stands in the items of a case, in digits that no later change leaves as they are."""
    rows = PlanItem.history.filter(case=case.pk)
    latest = rows.aggregate(latest=Max("history_id"))["latest"]
    return str(latest or 0)


def offer_plan(
    *,
    case: Case,
    by: User,
    now: datetime,
    options: Sequence[Sequence[str]],
    may_be_parted: bool = False,
    words: str = "",
    seen: str = "",
    send: bool = True,
) -> Plan:
    """Freeze a version with its letter and replace the open one before it.

    `options` are the names of the items of one to three options; `seen` the state of the items
    that the person looked at. The same version again is the one that is open.
    """
    _refuse_wrong(case, options)
    state = items_state(case)
    if seen and seen != state:
        raise _changed_meanwhile()
    # Outside of the transaction: it takes a second, and the one writer of SQLite would wait.
    planning = planning_of(case, look_up=KeptFits().look_up)
    if any(row.is_pending for row in planning.rows):
        raise ValidationError(_("What the trials say is still being computed. Try again then."))
    facts = offer_facts(
        planning=planning,
        options=options,
        number=0,  # its own is known once nobody else can take it
        valid_until=timezone.localdate(now) + timedelta(days=current_practice().offer_days),
        may_be_parted=may_be_parted,
        words=words,
    )
    with transaction.atomic():
        lock_case(case)
        if items_state(case) != state:
            raise _changed_meanwhile()
        before = case.plans.select_for_update().order_by("-number").first()
        facts = replace(facts, number=before.number + 1 if before else 1)
        content = offered(facts, case.property.client.language)
        if before is not None and _is_same(before, content):
            return before
        case.plans.open().update(replaced_at=now)
        plan = _frozen(case, facts, content, by, now)
        _freeze_predictions(plan, planning, facts)
        issue_case_letter(
            kind=KIND, case=case, by=by, now=now, when_ready=SEND_OFFER if send else ""
        )
        plan.refresh_from_db(fields=["letter"])
        go_on(case=Case.objects.select_for_update().get(pk=case.pk), by=by, now=now)
        _plan_reminders(plan, now)
    return plan


def _changed_meanwhile() -> ValidationError:
    return ValidationError(
        _("Somebody changed the items meanwhile. Look at the plan again before you offer it.")
    )


def _frozen(
    case: Case, facts: OfferFacts, content: dict[str, Any], by: User, now: datetime
) -> Plan:
    plan = Plan(
        case=case,
        number=facts.number,
        content=content,
        content_sha256=content_sha256(content),
        valid_until=facts.valid_until,
        offered_by=by,
        offered_at=now,
    )
    plan.full_clean()
    plan.save(force_insert=True)
    return plan


def _refuse_wrong(case: Case, options: Sequence[Sequence[str]]) -> None:
    if case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you offer a plan."))
    if not 1 <= len(options) <= MOST_OPTIONS:
        raise ValidationError(_("A plan has one to three options."))
    rows = {row.name: row for row in case.items.all()}
    for names in options:
        if not names:
            raise ValidationError(_("An option has at least one item."))
        if unknown := set(names) - set(rows):
            words = _("No item %(names)s in this case.")
            raise ValidationError(words % {"names": ", ".join(sorted(unknown))})
        if decided := [name for name in names if rows[name].state not in OPEN]:
            words = _("Item %(names)s is not open any more.")
            raise ValidationError(words % {"names": ", ".join(decided)})


def _is_same(before: Plan, content: dict[str, Any]) -> bool:
    """A second click: but for its number the open version says the same."""
    is_open = before.replaced_at is None and not hasattr(before, "decision")
    renumbered = before.content | {"number": content["number"]}
    return is_open and content_sha256(renumbered) == content_sha256(content)


def _freeze_predictions(plan: Plan, planning: Planning, facts: OfferFacts) -> None:
    """What the words of the plan say of each row, in numbers; empty where nobody can know."""
    spot_of = {row.place: row.spot for row in planning.rows}
    Prediction.objects.bulk_create(
        Prediction(
            plan=plan,
            option=option.letter,
            spot=spot_of[row["room"], row["spot"], row["measurand"]],
            measurand=row["measurand"],
            basis=row["basis"],
            limit=row["limit"],
            before=row["before"],
            **{name: (row["predicted"] or {}).get(name) for name in FIGURES},
        )
        for option in facts.options
        for row in option.rows
    )


def _plan_reminders(plan: Plan, now: datetime) -> None:
    """The reminders of a client who is silent."""
    for days in REMINDER_DAYS:
        enqueue(
            kind=REMIND_OFFER,
            key=f"{REMIND_OFFER}:{plan.pk}:{days}",
            arguments={"plan": plan.pk, "days": days},
            run_after=now + timedelta(days=days),
        )


# -- Its letter -----------------------------------------------------------------------------------


def missing_for_plan(basis: Basis) -> str:
    """Why there is no plan to put into a letter."""
    if not basis.case.plans.filter(replaced_at=None).exists():
        return _("Case %(case)s has no plan that was offered.") % {"case": basis.case.reference}
    return ""


def draft_plan(basis: Basis, head_for: HeadMaker) -> Draft:
    """The letter of the latest version, from its frozen words."""
    plan = basis.case.plans.filter(replaced_at=None).latest("number")

    def content(number: str, at: datetime) -> dict[str, Any]:
        return plan_content(frozen=plan.content, head=head_for(number, at))

    def keep(letter: Letter) -> None:
        """The links of a corrected letter end: the plan is answered by those of the new one."""
        plan.letter = letter
        plan.save(update_fields=["letter"])

    return Draft(content, plan.content["rules"], keep)


# -- The jobs -------------------------------------------------------------------------------------


def send_offer(arguments: dict[str, Any], run: Run) -> None:
    """E-mail the letter of a plan that became ready; nobody is told of one that is over."""
    pk = arguments.get("letter")
    plan = _waiting(letter=pk) if pk else _waiting(pk=arguments["plan"])
    if plan is None or plan.letter is None or plan.offered_by is None:
        return
    letter, client = plan.letter, plan.letter.client
    if letter.state != Letter.State.READY or letter.emailed_at or not (client and client.email):
        return  # the page of the letter says how it goes by post
    email_letter(
        letter=letter,
        by=plan.offered_by,
        site=settings.SITE_URL,
        now=timezone.now(),
        key=uuid5(_MAIL_KEYS, str(letter.pk)),
    )


def remind_offer(arguments: dict[str, Any], run: Run) -> None:
    """Remind a client who did not answer; the key of the mail lets none go out twice."""
    plan = _waiting(pk=arguments["plan"])
    now = timezone.now()
    if plan is None or plan.letter is None or plan.case.on_hold_reason:
        return
    client = plan.case.property.client
    if not client.email or timezone.localdate(now) > plan.valid_until:
        return
    if plan.letter.emailed_at is None:  # it went by post: the office calls
        return
    _mail_reminder(plan, arguments["days"])


def _mail_reminder(plan: Plan, days: int) -> OutboundMail:
    client, letter = plan.case.property.client, plan.letter
    assert letter is not None
    key = f"letter-link:{letter.pk}:reminder-{days}"
    address = reverse("plan_link", args=[letter_token(letter, key)])
    with override(client.language):
        return queue_mail(
            key=key,
            client=client,
            letter=letter,
            to=client.email,
            subject=_("Our plan for you waits for an answer"),
            body=_(
                "Good day %(name)s,\n\nour plan of remedies for your home waits for your answer. "
                "You can look at it, accept it, decline it or ask us something here:\n\n%(link)s\n"
                "\n%(valid)s\n\n%(practice)s\n"
            )
            % {
                "name": client.name,
                "link": settings.SITE_URL.rstrip("/") + address,
                "valid": plan.content["valid_words"],
                "practice": name_of_practice(),
            },
        )


def _waiting(**which: int) -> Plan | None:
    """A plan that nobody decided on and no newer one replaced."""
    rows = Plan.objects.open().select_related("letter__client", "case__property__client")
    return rows.select_related("offered_by").filter(**which).first()
