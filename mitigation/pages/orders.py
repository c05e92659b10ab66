"""What the page of an order shows: to the office, to the firm, and behind a link."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import get_language

from consult.letters.formats import Formats
from consult.models import User
from mitigation.calc.electrical_tests import limit_of, practice_of
from mitigation.forms.orders import AcceptForm, OrderAnswerForm, ReasonForm
from mitigation.forms.reports import SignatureForm
from mitigation.letters.test_words import conditions_words, limit_words, test_name, value_words
from mitigation.letters.work_order import order_words
from mitigation.models import TestValue, WorkItem, WorkOrder, WorkPhoto, WorkReport, WorkResult
from mitigation.pages.appointments import appointments_of
from mitigation.services.order_sheets import order_sheet
from mitigation.services.work_orders import why_not_licensed

PAGE = "mitigation/work_order.html"
State = WorkOrder.State
OfItem = TypeVar("OfItem", TestValue, WorkPhoto)


@dataclass(frozen=True)
class ShownValue:
    """A test value in the reader's language."""

    row: TestValue
    test: str
    shown: str
    conditions: str
    limit: str
    is_run_out: bool  # the calibration of its instrument


@dataclass
class ShownItem:
    """An item with its frozen words and what was reported of it."""

    work_item: WorkItem
    words: dict[str, Any]
    result: WorkResult | None
    values: list[ShownValue]
    photos: list[WorkPhoto]


def order_for(user: User, pk: int) -> WorkOrder:
    """An order that somebody may see, with what its page needs beside its report; else 404."""
    rows = WorkOrder.objects.visible_to(user).select_related(
        "case__property__client", "firm", "letter", "made_by", "sent_by"
    )
    order: WorkOrder = get_object_or_404(rows, pk=pk)
    return order


def order_page(
    request: HttpRequest,
    order: WorkOrder,
    user: User | None,
    *,
    token: str = "",
    status: int = 200,
    **forms: Any,
) -> HttpResponse:
    """The page of an order for somebody with a log-in, or behind a link in the active language."""
    context = order_context(order, user, now=timezone.now(), token=token, **forms)
    return render(request, PAGE, context, status=status)


def order_context(
    order: WorkOrder,
    user: User | None,
    *,
    now: datetime,
    token: str = "",
    answer_form: OrderAnswerForm | None = None,
    sign_form: SignatureForm | None = None,
    send_form: ReasonForm | None = None,
) -> dict[str, Any]:
    """An order with its report, and the forms of whoever may act on it."""
    role = user.role if user is not None and not token else ""
    reports = list(order.reports.select_related("letter", "signed_by"))
    half = next((report for report in reports if report.signed_at is None), None)
    signed = next((report for report in reports if report.signed_at is not None), None)
    content = order.content or _preview(order, now)
    items = _items(order, content, half or signed, now)
    context = {
        "order": order,
        "case": order.case,
        "content": content,
        "items": items,
        "half": half,
        "signed": signed,
        "earlier": [row for row in reports if row is not (half or signed) and row.signed_at],
        "is_firm": role == User.Role.ELECTRICIAN,
        "is_office": role == User.Role.OFFICE,
        "token": token,
        "documents": list(order.documents.defer("small", "sketch").order_by("pk")),
        "is_late": order.is_late(timezone.localdate(now)),
        "unsaid": [item for item in items if item.result is None],
        "missed": [value for item in items for value in item.values if value.row.is_missed],
        "answer_form": answer_form or _answer(user if role == User.Role.ELECTRICIAN else None),
        "appointments": appointments_of(order, user, now=now, token=token),
        "sign_form": sign_form or _signature(order, user, half),
        "send_form": send_form or ReasonForm(),
    }
    return context | _acts(order, role, half, token=token, now=now)


def _acts(
    order: WorkOrder, role: str, half: WorkReport | None, *, token: str, now: datetime
) -> dict[str, Any]:
    """What the reader may do with an order as it stands."""
    is_firm, is_office = role == User.Role.ELECTRICIAN, role == User.Role.OFFICE
    return {
        "may_report": (is_firm or is_office) and _may_report(order, half),
        "may_answer": (is_firm or bool(token)) and order.state == State.SENT,
        "may_judge": is_office and order.state == State.REPORTED and half is None,
        "may_begin_again": (is_firm or is_office)
        and half is None
        and order.state in (State.REPORTED, State.ACCEPTED),
        "may_change": is_office and order.state in (State.DRAFT, *WorkOrder.AT_WORK),
        "accept_form": AcceptForm(),
        "licence_words": why_not_licensed(order.firm, now) if is_office else [],
    }


def _answer(electrician: User | None) -> OrderAnswerForm:
    return OrderAnswerForm(initial={"name": electrician.name if electrician else ""})


def _may_report(order: WorkOrder, half: WorkReport | None) -> bool:
    """Whether something may be entered in the report: half of it is there, or none of it yet."""
    if order.state in WorkOrder.AT_WORK:
        return True
    return half is not None and order.state in (State.REPORTED, State.ACCEPTED)


def _signature(order: WorkOrder, user: User | None, half: WorkReport | None) -> SignatureForm:
    is_firm = user is not None and user.role == User.Role.ELECTRICIAN
    initial = {
        "name": user.name if user is not None and is_firm else "",
        "licence": order.firm.licence,
        "remark": half.remark if half else "",
        "shown": order.content_sha256,
    }
    return SignatureForm(initial=initial)


def _preview(order: WorkOrder, now: datetime) -> dict[str, Any]:
    """How the sheet of a draft would read today; nothing of one that was erased."""
    return {} if order.is_erased else order_words(order_sheet(order, now), order.firm.language)


def _items(
    order: WorkOrder,
    content: dict[str, Any],
    report: WorkReport | None,
    now: datetime,
) -> list[ShownItem]:
    words = {item["name"]: item for item in content.get("items", [])}
    results = {row.work_item_id: row for row in WorkResult.objects.filter(report=report)}
    values = TestValue.objects.filter(report=report).select_related("instrument")
    photos = WorkPhoto.objects.filter(report=report).select_related("attachment__stored")
    values_of, photos_of = _by_item(values), _by_item(photos)
    formats = Formats(get_language() or "en", order.case.property.country)
    supply = order.case.property.supply_voltage_v
    today = timezone.localdate(now)
    return [
        ShownItem(
            work_item=row,
            words=words.get(row.item.name, {"name": row.item.name}),
            result=results.get(row.pk),
            values=[_shown(value, supply, formats, today) for value in values_of[row.pk]],
            photos=photos_of[row.pk],
        )
        for row in order.items.select_related("item")
    ]


def _by_item(rows: Iterable[OfItem]) -> dict[int | None, list[OfItem]]:
    """Rows of a report by the key of their item."""
    by_item: dict[int | None, list[OfItem]] = defaultdict(list)
    for row in rows:
        by_item[row.work_item_id].append(row)
    return by_item


def _shown(row: TestValue, supply_voltage_v: float, formats: Formats, today: Any) -> ShownValue:
    limit = limit_of(
        row.test,
        practice_of(supply_voltage_v),
        test_voltage_v=row.test_voltage_v,
        device=row.device,
    )
    until = row.instrument.calibrated_until if row.instrument else None
    return ShownValue(
        row=row,
        test=test_name(row.test),
        shown=value_words(row.test, row.value, row.qualifier, row.passed, formats),
        conditions=conditions_words(row.test_voltage_v, row.device, row.rated_ma, formats),
        limit=limit_words(limit, formats) if limit else "",
        is_run_out=until is not None and until < today,
    )
