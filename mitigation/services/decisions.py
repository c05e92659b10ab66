"""The client's answer to an offered plan: once, on the version that was shown."""

from collections.abc import Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, override

from consult.models import User
from consult.services.changes import save_row
from mitigation.models import Case, Decision, Note, Plan, PlanItem
from mitigation.services.cases import add_note, go_on
from mitigation.services.evidence import follow_evidence

Answer, Way = Decision.Answer, Decision.Way


class DecidedAlready(ValidationError):
    """Somebody decided before; the answer that stands is the first one."""


@transaction.atomic
def decide(
    *,
    plan: Plan,
    answer: str,
    shown_sha256: str,
    name: str,
    way: str,
    now: datetime,
    by: User | None = None,
    option: str = "",
    items: Sequence[str] = (),
    words: str = "",
) -> Decision:
    """Keep an answer and take the case on; `items` are those of the option that are accepted.

    Of two who decide at once the second is told of the first one's answer; the same answer again,
    as a double click sends it, is the one that stands.
    """
    row = Plan.objects.select_for_update().get(pk=plan.pk)
    if row.is_erased:
        raise ValidationError(_("The words of this plan were erased with its client."))
    stands = Decision.objects.filter(plan=row).first()
    accepted = _accepted(row, answer, option, items)
    if stands is not None:
        if (stands.answer, stands.option, stands.items) == (answer, option, accepted):
            return stands
        raise DecidedAlready(already_decided(stands))
    refuse_closed(row, now)
    if shown_sha256 != row.content_sha256:
        raise ValidationError(_("The plan is not the one that you were shown. Look at it again."))
    decision = Decision(
        plan=row,
        answer=answer,
        option=option if answer == Answer.ACCEPTED else "",
        items=accepted,
        content_sha256=row.content_sha256,
        name=name,
        words=words,
        way=way,
        decided_by=by,
        decided_at=now,
    )
    decision.full_clean()
    decision.save(force_insert=True)
    _settle_items(row, decision, by)
    if words:
        remark = gettext_lazy("Said with the decision on plan %(number)s: %(words)s")
        _note(row, remark, {"words": words}, by, now)
    go_on(case=Case.objects.select_for_update().get(pk=row.case_id), by=by, now=now)
    follow_evidence(cases=Case.objects.filter(pk=row.case_id))
    return decision


def refuse_closed(plan: Plan, now: datetime) -> None:
    """Refuse an answer to a version that was replaced or whose day is over."""
    if plan.replaced_at is not None:
        raise ValidationError(_("A newer plan replaced this one. Please look at that."))
    if timezone.localdate(now) > plan.valid_until:
        words = _("This offer held until %(day)s. Please ask us for a new one.")
        raise ValidationError(words % {"day": date_format(plan.valid_until)})


def already_decided(decision: Decision) -> str:
    """Who answered what, and when."""
    when = date_format(timezone.localtime(decision.decided_at), "DATETIME_FORMAT")
    words = (
        _("%(who)s accepted this plan on %(when)s. That answer stands.")
        if decision.answer == Answer.ACCEPTED
        else _("%(who)s declined this plan on %(when)s. That answer stands.")
    )
    return words % {"who": decision.name, "when": when}


def _accepted(plan: Plan, answer: str, option: str, items: Sequence[str]) -> list[str]:
    """The accepted items of the option: all, or those that are named where they may be parted."""
    if answer != Answer.ACCEPTED:
        return []
    names = [item["name"] for item in plan.items_of(option)]
    if not names:  # an option has at least one
        raise ValidationError(_("Choose one of the options."))
    if not plan.content["may_be_parted"]:
        return names
    if not set(items) <= set(names):
        raise ValidationError(_("Choose items of the option."))
    chosen = [name for name in names if name in items]
    if not chosen:
        raise ValidationError(_("Choose at least one item, or decline the plan."))
    return chosen


def _settle_items(plan: Plan, decision: Decision, by: User | None) -> None:
    """The accepted items are accepted; of the same option the others are declined."""
    if decision.answer != Answer.ACCEPTED:
        return
    offered = {item["name"] for item in plan.items_of(decision.option)}
    rows = plan.case.items.select_for_update(of=("self",)).filter(name__in=offered)
    for item in rows.order_by("pk"):
        taken = item.name in decision.items
        item.state = PlanItem.State.ACCEPTED if taken else PlanItem.State.DECLINED
        item.is_chosen = taken
        save_row(row=item, by=by, fields=["state", "is_chosen"])


@transaction.atomic
def ask_about_plan(*, plan: Plan, name: str, words: str, by: User | None, now: datetime) -> Note:
    """Keep a client's question as a note of the case."""
    question = gettext_lazy("Question about plan %(number)s by %(name)s: %(words)s")
    return _note(plan, question, {"name": name, "words": words}, by, now)


def _note(
    plan: Plan, template: Promise, words: dict[str, str], by: User | None, now: datetime
) -> Note:
    """What a client says, as a note of the practice: in the language of who offered the plan."""
    with override(plan.offered_by.language if plan.offered_by else None):
        text = str(template) % {"number": plan.number, **words}
    return add_note(case=plan.case, text=text, by=by, now=now)
