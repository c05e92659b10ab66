"""Orders to firms: made from accepted items, sent, answered, amended, called off."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letter_kinds import Draft
from consult.models import Firm, Letter, OutboundMail, User
from consult.services.changes import held, refuse_overtaken, save_row
from consult.services.letters import content_sha256
from consult.services.mail import name_of_practice, queue_mail
from mitigation.letters.work_order import KIND, order_letter, order_words
from mitigation.models import ENDS, Attachment, Case, PlanItem, Remedy, WorkItem, WorkOrder
from mitigation.models.remedies import PlanItemQuerySet
from mitigation.services.appointment_files import end_appointments
from mitigation.services.cases import add_note, go_on
from mitigation.services.letters import Basis, HeadMaker, issue_case_letter
from mitigation.services.order_sheets import firm_addressee, order_sheet
from mitigation.services.reminder_plans import plan_order_reminder
from mitigation.services.works_progress import is_ordered

ORDER_LINK = "mitigation.order-link"
LINK_HOLDS = timedelta(days=42)
"""An electrician may come weeks after the order: a house rule, beside what ends a link at once."""

State = WorkOrder.State
EDITABLE = ("access", "contact", "wished_days", "due_on", "words")
OF_FIRMS = (Remedy.DoneBy.ELECTRICIAN, Remedy.DoneBy.ANYBODY)


def items_to_order(case: Case) -> PlanItemQuerySet:
    """Accepted items for a firm that no live order has."""
    accepted = PlanItem.objects.filter(case=case, state=PlanItem.State.ACCEPTED)
    rows = accepted.filter(remedy__done_by__in=OF_FIRMS).exclude(is_ordered())
    return rows.order_by("position")


@transaction.atomic
def make_orders(
    *,
    case: Case,
    by: User,
    now: datetime,
    firm_of: Mapping[int, Firm],
    words_of: Mapping[int, str] | None = None,
    documents: Sequence[Attachment] = (),
    **given: Any,
) -> list[WorkOrder]:
    """One order for each firm, of the items that `firm_of` names by their keys.

    An item that an order has by now is passed over: of a double click the second makes nothing.
    """
    Case.objects.select_for_update().get(pk=case.pk)
    if case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you order works."))
    waiting = {item.pk: item for item in items_to_order(case)}
    of_firms: dict[Firm, list[PlanItem]] = {}
    for pk, firm in firm_of.items():
        if pk in waiting:
            of_firms.setdefault(firm, []).append(waiting[pk])
    plan = case.plans.filter(decision__answer="accepted").order_by("-number").first()
    number = case.orders.aggregate(highest=Max("number"))["highest"] or 0
    orders = []
    for firm, items in sorted(of_firms.items(), key=lambda pair: pair[0].name):
        number += 1
        order = WorkOrder(
            case=case, number=number, firm=firm, plan=plan, made_by=by, made_at=now, **given
        )
        save_row(row=order, by=by)
        order.documents.set(_of_case(case, documents))
        for position, item in enumerate(sorted(items, key=lambda item: item.position)):
            see_to = (words_of or {}).get(item.pk, "")
            row = WorkItem(order=order, item=item, position=position, words=see_to)
            row.full_clean()
            row.save()
        orders.append(order)
    return orders


@transaction.atomic
def change_order(
    *, order: WorkOrder, by: User, now: datetime, seen: int | None, values: Mapping[str, Any]
) -> WorkOrder:
    """Put right what an order says; one that was sent is frozen anew and sent again."""
    row = held(order)
    if row.state not in (State.DRAFT, *WorkOrder.AT_WORK):
        raise ValidationError(_("This order is %(state)s. It stays as it is.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    for name in EDITABLE:
        if name in values:
            setattr(row, name, values[name])
    refuse_overtaken(row, seen)
    save_row(row=row, by=by)
    if "documents" in values:
        row.documents.set(_of_case(row.case, values["documents"]))
    if row.state != State.DRAFT:
        _freeze(row, by, now)
    return row


def _of_case(case: Case, documents: Sequence[Attachment]) -> Sequence[Attachment]:
    """The documents, if all are files of the case."""
    if any(row.case_id != case.pk for row in documents):
        raise ValidationError({"documents": _("Choose files of this case.")})
    return documents


def why_not_licensed(firm: Firm, now: datetime) -> list[str]:
    """What stands against sending an order to a firm: a licence or an insurance without a day."""
    today = timezone.localdate(now)
    reasons = []
    if not firm.licence:
        reasons.append(_("No licence of %(firm)s is entered.") % {"firm": firm})
    for until, words in (
        (firm.licence_until, _("The licence of %(firm)s ran out on %(day)s.")),
        (firm.insurance_until, _("The insurance of %(firm)s ran out on %(day)s.")),
    ):
        if until is not None and until < today:
            reasons.append(words % {"firm": firm, "day": date_format(until)})
    return reasons


@transaction.atomic
def send_order(*, order: WorkOrder, by: User, now: datetime, reason: str = "") -> WorkOrder:
    """Freeze the sheet, make its letter and mail its link; a second click sends nothing more."""
    row = held(order)
    if row.state in WorkOrder.AT_WORK:
        return row
    if row.state != State.DRAFT:
        raise ValidationError(_("This order is %(state)s. It is not sent again.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    if row.case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you order works."))
    if (missing := why_not_licensed(row.firm, now)) and not reason.strip():
        missing.append(_("Say why it is sent all the same."))
        raise ValidationError(missing)
    row.state, row.sent_at, row.sent_by = State.SENT, now, by
    row.licence_reason = reason.strip() if missing else ""
    save_row(row=row, by=by)
    _freeze(row, by, now)
    go_on(case=Case.objects.select_for_update().get(pk=row.case_id), by=by, now=now)
    return row


def renew_sheet(*, order: WorkOrder, by: User | None, now: datetime) -> None:
    """Freeze the sheet of an order that is with its firm anew, where it would say another thing."""
    if order.state in WorkOrder.AT_WORK:
        _freeze(order, by, now)


def _freeze(order: WorkOrder, by: User | None, now: datetime) -> None:
    """Freeze the words of an order and have its letter made; the same words again are the same."""
    words = order_words(order_sheet(order, now), order.firm.language)
    digest = content_sha256(words)
    if digest == order.content_sha256:
        return
    before = order.letter
    order.content, order.content_sha256, order.seen_at = words, digest, None
    save_row(row=order, by=by)
    issue_case_letter(
        kind=KIND,
        case=order.case,
        by=by,
        now=now,
        corrects=before,
        reason=_("The order was changed.") if before else "",
        about=order,
    )
    order.refresh_from_db(fields=["letter"])
    if order.firm.email:
        _mail_order(order)
        plan_order_reminder(order, now)


def _mail_order(order: WorkOrder) -> OutboundMail:
    letter = order.letter
    assert letter is not None  # made in the same transaction
    key = f"order:{order.pk}:{order.content_sha256[:16]}"
    address = reverse("order_link", args=[order_token(order, key)])
    with override(order.firm.language):
        return queue_mail(
            key=key,
            letter=letter,
            to=order.firm.email,
            subject=_("Work order %(number)s of case %(case)s")
            % {"number": order.number, "case": order.case.reference},
            body=_(
                "Good day %(firm)s,\n\nwe have a work order for you:\n\n%(link)s\n\n"
                "There you can read it, print it, take it on or refuse it. To report the work, "
                "log in. The link holds for %(days)s days; please do not pass it on.\n\n"
                "%(practice)s\n"
            )
            % {
                "firm": order.firm.name,
                "link": settings.SITE_URL.rstrip("/") + address,
                "days": LINK_HOLDS.days,
                "practice": name_of_practice(),
            },
        )


def order_token(order: WorkOrder, mail_key: str) -> str:
    """A signed token that shows this one order to whoever holds it, while the link holds."""
    return signing.dumps([order.pk, order.firm_id, mail_key], salt=ORDER_LINK)


def order_of_token(token: str) -> WorkOrder | None:
    """The order that a link shows; None when it is too old, replaced, called off or not ours."""
    try:
        pk, firm, key = signing.loads(token, salt=ORDER_LINK, max_age=LINK_HOLDS)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    rows = WorkOrder.objects.live().select_related("case__property__client", "firm", "letter")
    order = rows.filter(pk=pk, firm=firm).exclude(state=State.DRAFT).first()
    if order is None or order.is_erased:
        return None
    mails = OutboundMail.objects.filter(key=key, to=order.firm.email, withdrawn_at=None)
    return order if key.endswith(order.content_sha256[:16]) and mails.exists() else None


def see_order(*, order: WorkOrder, now: datetime) -> None:
    """Note that somebody of the firm opened an order; the first time stays."""
    if order.seen_at is not None:  # nothing to write at each look
        return
    WorkOrder.objects.filter(pk=order.pk, seen_at=None).update(seen_at=now)


@transaction.atomic
def take_order(*, order: WorkOrder, name: str, by: User | None, now: datetime) -> WorkOrder:
    """Note that the firm takes an order on; the first word stays."""
    row = _to_answer(order)
    if row.taken_at is None:
        row.taken_at, row.answered_by, row.seen_at = now, name, row.seen_at or now
        save_row(row=row, by=by)
    return row


@transaction.atomic
def refuse_order(
    *, order: WorkOrder, name: str, reason: str, by: User | None, now: datetime
) -> WorkOrder:
    """The firm refuses an order; its items wait for another one."""
    if order.state == State.REFUSED:
        return order
    row = _to_answer(order)
    if not reason.strip():
        raise ValidationError(_("Say why."))
    row.state, row.refused_at, row.refusal = State.REFUSED, now, reason.strip()
    row.answered_by, row.seen_at = name, row.seen_at or now
    end_appointments(order=row, now=now)
    save_row(row=row, by=by)
    with override(row.sent_by.language if row.sent_by else None):
        text = _("Order %(number)s was refused by %(firm)s (%(name)s): %(reason)s")
        words = {"number": row.number, "firm": row.firm, "name": name, "reason": reason.strip()}
        add_note(case=row.case, text=text % words, by=by, now=now)
    return row


def _to_answer(order: WorkOrder) -> WorkOrder:
    row = held(order)
    if row.state != State.SENT:
        raise ValidationError(_("This order is %(state)s by now.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    return row


@transaction.atomic
def call_off_order(*, order: WorkOrder, by: User, now: datetime, reason: str) -> WorkOrder:
    """Take an order back, with why; what was reported stays readable."""
    row = held(order)
    if row.state == State.CALLED_OFF:
        return row
    if row.state in (State.ACCEPTED, State.REFUSED):
        raise ValidationError(_("This order is %(state)s. It stays as it is.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    if row.state != State.DRAFT and not reason.strip():
        raise ValidationError(_("Say why."))
    was_sent = row.state != State.DRAFT
    row.state, row.refusal = State.CALLED_OFF, reason.strip()
    end_appointments(order=row, now=now)
    save_row(row=row, by=by)
    if was_sent and row.firm.email:
        _mail_called_off(row)
    return row


def _mail_called_off(order: WorkOrder) -> None:
    with override(order.firm.language):
        queue_mail(
            key=f"order-off:{order.pk}",
            letter=order.letter,
            to=order.firm.email,
            subject=_("Work order %(number)s of case %(case)s is called off")
            % {"number": order.number, "case": order.case.reference},
            body=_(
                "Good day %(firm)s,\n\nthis order is called off: %(reason)s\n\n"
                "Please do not carry it out. Call us if you have begun.\n\n%(practice)s\n"
            )
            % {
                "firm": order.firm.name,
                "reason": order.refusal,
                "practice": name_of_practice(),
            },
        )


# -- Its letter -----------------------------------------------------------------------------------


def missing_for_order(basis: Basis) -> str:
    """Why there is no order to put into a letter."""
    return "" if isinstance(basis.about, WorkOrder) else _("A letter of an order needs its order.")


def draft_order(basis: Basis, head_for: HeadMaker) -> Draft:
    """The letter of an order, from its frozen words."""
    order: WorkOrder = basis.about
    firm = firm_addressee(order.firm)

    def content(number: str, at: datetime) -> dict[str, Any]:
        return order_letter(frozen=order.content, head=head_for(number, at), firm=firm)

    def keep(letter: Letter) -> None:
        WorkOrder.objects.filter(pk=order.pk).update(letter=letter)

    return Draft(content, [], keep, firm=order.firm, language=order.firm.language)
