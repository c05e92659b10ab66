"""Reports of a firm: kept item by item, signed off once, accepted or sent back."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files import File
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import User
from consult.services.changes import held, refuse_overtaken, save_row
from consult.services.entry_keys import enter_or_change
from mitigation.calc.electrical_tests import KIND_OF, keeps, limit_of, practice_of
from mitigation.letters.work_report import KIND
from mitigation.models import (
    Case,
    TestInstrument,
    TestValue,
    WorkItem,
    WorkOrder,
    WorkPhoto,
    WorkReport,
    WorkResult,
)
from mitigation.services.attachments import attach_file
from mitigation.services.cases import add_note, go_on
from mitigation.services.letters import issue_case_letter
from mitigation.services.plan_items import finish_item
from surveys.services.entries import known_names, sent_before, with_uid

State = WorkOrder.State
VALUE = frozenset(
    {"test", "about", "value", "qualifier", "passed", "test_voltage_v", "device", "rated_ma",
     "instrument", "remark"}
)  # fmt: skip


def open_report(order: WorkOrder) -> WorkReport | None:
    """The version that nobody signed yet."""
    return order.reports.filter(signed_at=None).first()


def latest_report(order: WorkOrder) -> WorkReport | None:
    """The version that was signed last."""
    return order.reports.all().signed().order_by("-number").first()


def _report_of(order: WorkOrder, by: User, now: datetime) -> WorkReport:
    """The unsigned version of an order that is held, begun where there is none."""
    row = open_report(order)
    if row is None:
        row = WorkReport(order=order, number=_next_number(order), began_by=by, began_at=now)
        row.full_clean()
        row.save(force_insert=True)
    return row


def _next_number(order: WorkOrder) -> int:
    highest: int | None = order.reports.aggregate(highest=Max("number"))["highest"]
    return (highest or 0) + 1


def _held_at_work(order: WorkOrder) -> WorkOrder:
    row = held(order)
    if row.state not in WorkOrder.AT_WORK and open_report(row) is None:
        raise ValidationError(
            _("This order is %(state)s. Nothing more is entered in its report.")
            % {"state": row.get_state_display()}
        )
    if row.state in (State.CALLED_OFF, State.REFUSED):
        raise ValidationError(
            _("This order is %(state)s. Nothing more is entered in its report.")
            % {"state": row.get_state_display()}
        )
    return row


@transaction.atomic
def keep_result(
    *,
    order: WorkOrder,
    work_item: WorkItem,
    by: User,
    now: datetime,
    seen: int | None,
    values: Mapping[str, Any],
) -> WorkResult:
    """Keep how an item ended; a copy that is older than what stands is refused."""
    known_names(values, frozenset({"result", "done_on", "words"}))
    report = _report_of(_held_at_work(order), by, now)
    row = report.results.select_for_update().filter(work_item=work_item).first()
    is_new = row is None
    row = row or WorkResult(report=report, work_item=work_item)
    for name, value in values.items():
        setattr(row, name, value)
    if row.result == WorkResult.Result.NOT_POSSIBLE:
        row.done_on = None
    if not is_new:
        refuse_overtaken(row, seen)
    _refuse_unsaid(row, now)
    save_row(row=row, by=by)
    return row


def _refuse_unsaid(row: WorkResult, now: datetime) -> None:
    if row.result != WorkResult.Result.DONE and not row.words.strip():
        raise ValidationError({"words": _("Say how it was done, or why it is not possible.")})
    if row.result != WorkResult.Result.NOT_POSSIBLE:
        if row.done_on is None:
            raise ValidationError({"done_on": _("Say on which day it was done.")})
        if row.done_on > timezone.localdate(now):
            raise ValidationError({"done_on": _("This day lies ahead.")})


@transaction.atomic
def add_value(
    *,
    order: WorkOrder,
    work_item: WorkItem,
    by: User,
    now: datetime,
    uid: UUID | None = None,
    **given: Any,
) -> TestValue:
    """Keep a test with what the tester showed, once under its key; it is held against the limit."""
    known_names(given, VALUE)
    held_order = _held_at_work(order)
    known = sent_before(TestValue, uid, {"work_item": work_item, **given})
    if known is not None:
        return known
    report = _report_of(held_order, by, now)
    row = with_uid(TestValue(report=report, work_item=work_item, **given), uid)
    row.is_missed = _is_missed(row, held_order.case.property.supply_voltage_v)
    if row.is_missed and not row.remark.strip():
        raise ValidationError(
            {"remark": _("This misses its limit or is not in order. Say what you think of it.")}
        )
    row.full_clean()
    row.save(force_insert=True)
    return row


def _is_missed(row: TestValue, supply_voltage_v: float) -> bool:
    if row.test not in KIND_OF:
        raise ValidationError({"test": _("There is no such test.")})
    if row.value is None:
        return not row.passed
    limit = limit_of(
        row.test,
        practice_of(supply_voltage_v),
        test_voltage_v=row.test_voltage_v,
        device=row.device,
    )
    return limit is not None and not keeps(limit, row.value, row.qualifier)


@transaction.atomic
def drop_value(*, order: WorkOrder, value: TestValue) -> None:
    """Take a value out of a report that nobody signed yet."""
    _held_at_work(order)
    if not TestValue.objects.filter(pk=value.pk, report__signed_at=None).delete()[0]:
        raise ValidationError(_("The report was signed; its values stay."))


def add_photo(
    *,
    order: WorkOrder,
    work_item: WorkItem | None,
    name: str,
    content: "File[bytes]",
    by: User,
    now: datetime,
) -> WorkPhoto:
    """Keep a photo with a report; the same photo again is the one that is there."""
    attachment = attach_file(case=order.case, name=name, content=content, by=by, now=now)
    with transaction.atomic():
        report = _report_of(_held_at_work(order), by, now)
        row, _new = WorkPhoto.objects.get_or_create(
            report=report, attachment=attachment, defaults={"work_item": work_item}
        )
    return row


@transaction.atomic
def sign_off(
    *,
    order: WorkOrder,
    by: User,
    now: datetime,
    name: str,
    licence: str,
    remark: str,
    shown_sha256: str,
) -> WorkReport:
    """Sign the report: from then on it stays. Of two who sign at once the second is told so."""
    row = held(order)
    report = open_report(row)
    if report is None:
        signed = latest_report(row)
        if signed is not None and signed.signed_by == by and signed.signed_name == name:
            return signed
        raise ValidationError(_already_signed(signed))
    row = _held_at_work(row)
    if shown_sha256 != row.content_sha256:
        raise ValidationError(
            _("The order was changed meanwhile. Look at it again before you sign.")
        )
    _refuse_half(row, report)
    report.signed_at, report.signed_by, report.signed_name = now, by, name
    report.licence, report.remark, report.order_sha256 = licence, remark, shown_sha256
    report.full_clean()
    report.save()
    row.state = State.REPORTED
    save_row(row=row, by=by)
    issue_case_letter(kind=KIND, case=row.case, by=by, now=now, about=report)
    go_on(case=Case.objects.select_for_update().get(pk=row.case_id), by=by, now=now)
    report.refresh_from_db()
    return report


def _already_signed(report: WorkReport | None) -> str:
    if report is None or report.signed_at is None:
        return _("Nothing has been reported yet.")
    when = date_format(timezone.localtime(report.signed_at), "DATETIME_FORMAT")
    words = _("%(who)s signed this report on %(when)s. It stays as it is.")
    return words % {"who": report.signed_name, "when": when}


def _refuse_half(order: WorkOrder, report: WorkReport) -> None:
    reported = report.results.values("work_item")
    missing = order.items.exclude(pk__in=reported).select_related("item")
    if names := [row.item.name for row in missing]:
        words = _("Say how these items ended: %(names)s.")
        raise ValidationError(words % {"names": ", ".join(names)})


@transaction.atomic
def begin_again(*, order: WorkOrder, by: User, now: datetime, reason: str) -> WorkReport:
    """Begin another version of a signed report, with all that the last one says."""
    row = held(order)
    known = open_report(row)
    if known is not None:
        return known
    last = latest_report(row)
    if last is None or row.state not in (State.REPORTED, State.RETURNED, State.ACCEPTED):
        raise ValidationError(_("Only a report that was signed is put right by another one."))
    if not reason.strip():
        raise ValidationError({"reason": _("Say why.")})
    report = WorkReport(
        order=row,
        number=_next_number(row),
        began_by=by,
        began_at=now,
        reason=reason.strip(),
        remark=last.remark,
    )
    report.full_clean()
    report.save(force_insert=True)
    _copy(last, report, by)
    return report


def _copy(last: WorkReport, report: WorkReport, by: User) -> None:
    for result in last.results.all():
        row = WorkResult(
            report=report,
            work_item=result.work_item,
            result=result.result,
            done_on=result.done_on,
            words=result.words,
        )
        save_row(row=row, by=by)
    for value in last.values.all():
        copied = {name: getattr(value, name) for name in VALUE}
        TestValue.objects.create(
            report=report, work_item=value.work_item, is_missed=value.is_missed, **copied
        )
    for photo in last.photos.all():
        WorkPhoto.objects.create(
            report=report, work_item=photo.work_item, attachment=photo.attachment
        )


@transaction.atomic
def accept_report(
    *, report: WorkReport, by: User, now: datetime, charged: Decimal | None = None
) -> WorkReport:
    """Take a report as the word on its items, and the case on; a second click changes nothing."""
    order = held(report.order)
    row = held(report)
    if row.accepted_at is not None:
        return row
    _refuse_not_latest(order, row)
    row.accepted_at, row.accepted_by = now, by
    row.save(update_fields=["accepted_at", "accepted_by"])
    order.state = State.ACCEPTED
    order.charged = order.charged if charged is None else charged
    save_row(row=order, by=by)
    who = f"{order.firm.name}, {row.signed_name}"[:120]
    for result in row.results.select_related("work_item__item"):
        finish_item(
            item=result.work_item.item,
            by=by,
            state=result.result,
            done_on=result.done_on,
            done_by=who if result.done_on else "",
        )
    go_on(case=Case.objects.select_for_update().get(pk=order.case_id), by=by, now=now)
    return row


@transaction.atomic
def return_report(*, report: WorkReport, by: User, now: datetime, reason: str) -> WorkReport:
    """Send a report back to the firm with why; the firm goes on from what it says."""
    order = held(report.order)
    row = held(report)
    if not reason.strip():
        raise ValidationError(_("Say why."))
    if row.returned_at is not None:
        return row
    _refuse_not_latest(order, row)
    row.returned_at, row.returned_by, row.return_reason = now, by, reason.strip()
    row.save(update_fields=["returned_at", "returned_by", "return_reason"])
    order.state = State.RETURNED
    save_row(row=order, by=by)
    begin_again(order=order, by=by, now=now, reason=reason)
    with override(by.language):
        text = _("Report on order %(number)s sent back: %(reason)s")
        words = {"number": order.number, "reason": reason.strip()}
        add_note(case=order.case, text=text % words, by=by, now=now)
    return row


def _refuse_not_latest(order: WorkOrder, report: WorkReport) -> None:
    latest = latest_report(order)
    if latest is None or latest.pk != report.pk or order.state != State.REPORTED:
        raise ValidationError(
            _("This report was answered, or a newer one is there. Look at the order again.")
        )


# -- Instruments of a firm ------------------------------------------------------------------------


@transaction.atomic
def save_test_instrument(
    *, instrument: TestInstrument, by: User, key: UUID | None = None, seen: int | None = None
) -> TestInstrument:
    """Keep an instrument of a firm, new or changed by nobody else since `seen`."""
    return enter_or_change(instrument, by, seen, key)
