"""Every list of the site: how it gets one more row, and where its table stands."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone

from consult.intake.contents import PDF
from consult.models import AccessEvent, Client, DataRequest, Erasure, Letter, StoredFile
from mitigation.models import (
    Appointment,
    CaseLetter,
    CaseVisit,
    KeptEffect,
    KeptPromise,
    Note,
    Plan,
    Prediction,
    Remedy,
    Stage,
    TestValue,
    WorkItem,
    WorkOrder,
    WorkReport,
    WorkResult,
)
from mitigation.services.attachments import attach_file
from mitigation.services.plan_drafts import keep_draft
from mitigation.services.plan_items import add_item, choose_items
from mitigation.services.remedies import add_remedy
from surveys.models import Circuit, GroundCheck, GroundPoint, Instrument, Panel, Reading, Visit
from surveys.services.registers import add_guideline
from tests.cast import Cast
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    ClientFactory,
    FirmFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
    add_reading,
)

DAY = dt.date(2026, 1, 10)


def named(n: int) -> str:
    """A name that a careless spreadsheet would take for a formula."""
    return f"=1+1 no. {n:03}"


def one_more_case(cast: Cast, n: int) -> None:
    home = PropertyFactory(client=ClientFactory(name=named(n)))
    CaseFactory(
        reference=f"X-{n:03}", property=home, stage=Stage.WORKS, due_on=timezone.localdate()
    )


def one_more_order(cast: Cast, n: int) -> None:
    home = PropertyFactory(client=ClientFactory(name=named(n)))
    case = CaseFactory(reference=f"W-{n:03}", property=home, stage=Stage.WORKS)
    WorkOrder.objects.create(
        case=case, number=1, firm=FirmFactory(name=named(n)), made_at=timezone.now(), state="sent"
    )


def one_more_day(cast: Cast, n: int) -> None:
    """A visit and an agreed appointment from today on."""
    day = timezone.localdate() + dt.timedelta(days=n % 12)
    home = PropertyFactory(client=ClientFactory(name=named(n)))
    VisitFactory(property=home, date=day, sealed_at=None)
    one_more_order(cast, n)
    order = WorkOrder.objects.latest("pk")
    starts = timezone.make_aware(dt.datetime.combine(day, dt.time(9)))
    Appointment.objects.create(
        order=order, side="office", minutes=60, state="agreed", proposed_at=starts,
        proposed_name="-", answered_at=starts, starts_at=starts,
        ends_at=starts + dt.timedelta(hours=1),
    )  # fmt: skip


def one_more_client(cast: Cast, n: int) -> None:
    PropertyFactory(client=ClientFactory(name=named(n)))


def one_more_home(cast: Cast, n: int) -> None:
    CaseFactory(reference=named(n), property=PropertyFactory(client=cast.case.property.client))


def one_more_visit(cast: Cast, n: int) -> None:
    VisitFactory(label=named(n))


def one_more_letter(cast: Cast, n: int, **fields: Any) -> None:
    home = cast.case.property
    letter = Letter.objects.create(
        number=f"L-{n:03}",
        kind="outcome",
        case_reference=cast.case.reference,
        client=Client.objects.get(pk=home.client_id),
        property=home,
        content={"subject": named(n)},
        content_sha256="0" * 64,
        language="en",
        paper="A4",
        template_version="1",
        issued_at=timezone.now(),
        **fields,
    )
    CaseLetter.objects.create(case=cast.case, letter=letter)


def one_more_ready_letter(cast: Cast, n: int) -> None:
    now, digest = timezone.now(), "0" * 64
    stored = StoredFile.objects.create(
        file=f"letters/{n}.pdf", kind=PDF, size=1, sha256=digest, stored_at=now
    )
    ready = {"state": Letter.State.READY, "stored": stored, "sha256": digest}
    one_more_letter(cast, n, **ready, rendered_at=now)


def one_more_person(cast: Cast, n: int) -> None:
    UserFactory(name=named(n))


def one_more_firm(cast: Cast, n: int) -> None:
    UserFactory(role="electrician", firm=FirmFactory(name=named(n)))


def one_more_event(cast: Cast, n: int) -> None:
    manager = cast.people["manager"]
    AccessEvent.objects.create(
        at=timezone.now(), kind="changed", user=manager, about=cast.people["office"], what=named(n)
    )


def one_more_erasure(cast: Cast, n: int) -> None:
    Erasure.objects.create(
        at=timezone.now(), by=cast.people["manager"], reason=named(n), clients=[[900 + n, ""]]
    )


def one_more_instrument(cast: Cast, n: int) -> None:
    CalibrationFactory(instrument=Instrument.objects.create(name=named(n)))
    Instrument.objects.create(name=f"not described {n:03}")


def one_more_certificate(cast: Cast, n: int) -> None:
    instrument = _reading(cast).instrument
    day = DAY + dt.timedelta(days=n)
    CalibrationFactory(instrument=instrument, certificate=named(n), calibrated_on=day)


def one_more_guideline(cast: Cast, n: int) -> None:
    bounds = dict.fromkeys(
        ("electric-field-ground", "electric-field-potential-free", "body-voltage",
         "magnetic-flux-density"), (1.0, 2.0, 3.0),
    )  # fmt: skip
    add_guideline(
        by=cast.people["office"], code=named(n), title="Own", source="Own",
        bounds=bounds, band_names=("one", "two", "three", "four"),
    )  # fmt: skip


def one_more_remedy(cast: Cast, n: int) -> None:
    add_remedy(
        by=cast.people["manager"], code=f"kind-{n:03}", name=named(n), acts_on="spots",
        works_percent=100.0, done_by="anybody",
    )  # fmt: skip


def one_more_effect(cast: Cast, n: int) -> None:
    """A kind of its own with as many homes as clients are shown it from, one of them the cast's."""
    one_more_remedy(cast, n)
    kind = Remedy.objects.latest("pk")
    home = cast.case.property
    cases = [cast.case, *(CaseFactory(reference=f"Y-{n}-{at}", property=home) for at in range(4))]
    KeptEffect.objects.bulk_create(
        KeptEffect(
            case=case, remedy=kind.key, group="electric", n_rows=1, effect=-1.0 - at / 10,
            variance=0.01, left_out={"at least": 1},
        )
        for at, case in enumerate(cases)
    )  # fmt: skip
    one_more_promise(cast, n)


def one_more_promise(cast: Cast, n: int) -> None:
    """A row of an offered plan that did not come out."""
    spot, now = _reading(cast).spot, timezone.now()
    case = CaseFactory(reference=named(n), property=cast.case.property)
    plan = Plan.objects.create(
        case=case, number=1, content={"options": []}, content_sha256="0" * 64,
        valid_until=now.date(), offered_at=now,
    )  # fmt: skip
    prediction = Prediction.objects.create(
        plan=plan, option="A", spot=spot, measurand="electric-field-ground", basis="spot",
        limit=5.0, before=40.0, median=2.0, low=1.0, high=3.0, probability=0.9, overall=0.9,
    )  # fmt: skip
    KeptPromise.objects.create(
        case=case, prediction=prediction, after=20.0, inside=False, probability=0.9, met=False,
        ln_ratio=2.3,
    )  # fmt: skip


def one_more_repeat(cast: Cast, n: int) -> None:
    spot = SpotFactory(home=cast.case.property, name=named(n))
    reading = _reading(cast)
    for total in (10.0, 11.0):
        add_reading(reading.visit, spot, reading.calibration, total=total)


def one_more_compared_spot(cast: Cast, n: int) -> None:
    """And whatever else the page of a case lists."""
    case = cast.case
    spot = SpotFactory(home=case.property, name=named(n))
    calibration = _reading(cast).calibration
    for visit in Visit.objects.filter(cases=case).exclude(label__startswith="="):
        add_reading(visit, spot, calibration, total=10.0)
    open_visit = VisitFactory(property=case.property, label=named(n), sealed_at=None)
    CaseVisit.objects.create(case=case, visit=open_visit)
    one_more_letter(cast, n)
    now = timezone.now()
    Note.objects.create(case=case, text=named(n), written_by=cast.people["office"], written_at=now)
    attach_file(
        case=case, name=f"{n}.txt", content=ContentFile(b"a"), by=cast.people["office"], now=now
    )


def one_more_planned_spot(cast: Cast, n: int) -> None:
    """A spot with a trial, items on its circuit, and a kept version."""
    reading, by = _reading(cast), cast.people["office"]
    spot = SpotFactory(home=cast.case.property, name=named(n))
    add_reading(reading.visit, spot, reading.calibration, total=10.0)
    for off in ("", f"C{n}"):
        add_reading(reading.visit, spot, reading.calibration, total=9.0, state="trial",
                    circuits_off=off)  # fmt: skip
    panel, _created = Panel.objects.get_or_create(property=cast.case.property, name="panel")
    circuit = Circuit.objects.create(panel=panel, name=f"C{n}")
    kind = Remedy.objects.get(key="demand-switch")
    item = add_item(case=cast.case, by=by, remedy=kind, circuits=[circuit], note=named(n))
    choose_items(case=cast.case, by=by, names=[item.name])
    keep_draft(
        case=cast.case, by=by, now=timezone.now(), name=named(n), items=[],
        rows=[{"room": "Bedroom", "spot": named(n), "measurand": reading.measurand, "unit": "V/m",
               "predicted": None, "probability": None, "overall": None}],
    )  # fmt: skip


def one_more_reading(cast: Cast, n: int) -> None:
    reading = _reading(cast)
    spot = SpotFactory(home=cast.case.property, name=named(n))
    point = GroundPoint.objects.create(property=cast.case.property, name=named(n))
    add_reading(reading.visit, spot, reading.calibration, total=10.0, ground_point=point)
    GroundCheck.objects.create(visit=reading.visit, point=point, outlet_test="fault", voltage_v=60)


def one_more_spot(cast: Cast, n: int) -> None:
    SpotFactory(home=cast.case.property, name=named(n))


def one_more_task(cast: Cast, n: int) -> None:
    """Something on each list of the desk."""
    today = timezone.localdate()
    home = PropertyFactory(client=ClientFactory(name=named(n)))
    due = {"stage": Stage.WORKS, "due_on": today - dt.timedelta(days=100 - n)}
    case = CaseFactory(reference=f"X-{n:03}", property=home, **due)
    visit = VisitFactory(property=home, label=named(n), date=today, sealed_at=None)
    CaseVisit.objects.create(case=case, visit=visit)
    one_more_letter(cast, n, state=Letter.State.FAILED, failure="-")
    CalibrationFactory(instrument=Instrument.objects.create(name=named(n)), due_on=today)
    DataRequest.objects.create(client=home.client, kind="copy", asked_at=timezone.now())


def _reading(cast: Cast) -> Reading:
    return Reading.objects.select_related("visit", "instrument", "calibration").earliest("pk")


def _nothing(cast: Cast) -> dict[str, Any]:
    return {}


@dataclass(frozen=True)
class ListPage:
    """A page with a list, and its export under the same name with `_export` behind it."""

    page: str
    region: str  # the label of its table
    grow: Callable[[Cast, int], None]
    columns: tuple[int, ...] = (0,)  # cells of a row of the export that stand in the page's row
    sheet: int = 0
    asker: str = "office"
    arguments: Callable[[Cast], dict[str, Any]] = field(default=_nothing)
    shows: int | None = None  # the page lists this many, the export all of them


def _case(cast: Cast) -> dict[str, Any]:
    return {"reference": cast.case.reference}


def _visit(cast: Cast) -> dict[str, Any]:
    return {"pk": _reading(cast).visit_id}


def _home(cast: Cast) -> dict[str, Any]:
    return {"pk": cast.case.property_id}


def _instrument(cast: Cast) -> dict[str, Any]:
    return {"pk": _reading(cast).instrument_id}


LISTS = [
    ListPage("case_list", "Cases", one_more_case, (0, 1)),
    ListPage("client_list", "Clients", one_more_client),
    ListPage("visit_list", "Visits", one_more_visit),
    ListPage("letter_list", "Letters", one_more_letter, (0, 3, 4)),
    ListPage("letter_list", "Letters", one_more_ready_letter, (0, 4), asker="its client"),
    ListPage("person_list", "People", one_more_person, (0, 1), asker="manager"),
    ListPage("firm_list", "Firms", one_more_firm, asker="manager"),
    ListPage("access_log", "Access log", one_more_event, (2, 4), asker="manager"),
    ListPage("erasure_list", "Erasures", one_more_erasure, (1, 2, 6), asker="manager"),
    ListPage("guideline_list", "", one_more_guideline, (3,)),
    ListPage("remedy_list", "Remedies", one_more_remedy),
    ListPage("order_list", "Orders", one_more_order, (0, 3)),
    ListPage("calendar_list", "Calendar", one_more_day, (2, 3)),
    ListPage("evidence_list", "Kinds of remedies", one_more_effect),
    ListPage("promise_list", "Promises that were not kept", one_more_promise),
    ListPage("placement", "Repeated spots", one_more_repeat, (0, 1, 2)),
    ListPage("instrument_list", "What falls due", one_more_instrument, (0, 2)),
    ListPage(
        "instrument_detail", "Certificates", one_more_certificate, (0, 1), arguments=_instrument
    ),
    ListPage("visit_detail", "Readings", one_more_reading, (1, 2, 5), arguments=_visit),
    ListPage(
        "visit_detail", "Findings per spot", one_more_reading, (0, 1), sheet=1, arguments=_visit
    ),
    ListPage("visit_detail", "Ground checks", one_more_reading, sheet=2, arguments=_visit),
    ListPage("case_detail", "Comparison", one_more_compared_spot, (0, 1, 2), arguments=_case),
    ListPage(
        "case_plan", "What the plan brings", one_more_planned_spot, (0, 1, 2), arguments=_case
    ),
    ListPage("place_list", "", one_more_spot, (1,), arguments=_home),
    ListPage("desk", "Due today and late", one_more_task, (0, 1), shows=12),
    ListPage("desk", "Visits of the next two weeks", one_more_task, (1, 2), sheet=1, shows=12),
    ListPage("desk", "Letters", one_more_task, (0, 4), sheet=2, shows=12),
]


def one_more_work(cast: Cast, n: int) -> None:
    """An item that was done, in an order with one more circuit, with a value in its report."""
    case, now = cast.case, timezone.now()
    order = case.orders.first()
    if order is None:
        order = WorkOrder.objects.create(
            case=case, number=1, firm=cast.people["its electrician"].firm, made_at=now
        )
        WorkReport.objects.create(order=order, number=1, began_at=now)
    one_more_order(cast, n)
    item = add_item(
        case=case,
        by=cast.people["office"],
        remedy=Remedy.objects.get(key="bonded-shield"),
        room=case.property.rooms.get(),
    )
    type(item).objects.filter(pk=item.pk).update(state="done", done_on=now.date())
    row = WorkItem.objects.create(order=order, item=item, position=n)
    report = order.reports.get()
    WorkResult.objects.create(report=report, work_item=row, result="done", done_on=now.date())
    TestValue.objects.create(report=report, work_item=row, test="bond", value=0.2)


def _order(cast: Cast) -> dict[str, Any]:
    return {"pk": cast.case.orders.get().pk}


# Pages that list rows without an export of their own, and exports of another kind: their queries
# are counted all the same.
OTHERS: dict[str, tuple[Callable[[Cast, int], None], str, Callable[[Cast], dict[str, Any]]]] = {
    "plan_choice": (one_more_planned_spot, "its assessor", _case),
    "plan_drafts": (one_more_planned_spot, "office", _case),
    "case_history": (one_more_compared_spot, "office", _case),
    "case_show": (one_more_compared_spot, "its assessor", _case),
    "case_export": (one_more_compared_spot, "office", lambda cast: _case(cast) | {"form": "xlsx"}),
    "client_detail": (
        one_more_home, "office", lambda cast: {"pk": cast.case.property.client_id},
    ),
    "client_evidence": (one_more_effect, "its client", _nothing),
    "client_home": (one_more_home, "its client", _nothing),
    "calendar": (one_more_day, "office", _nothing),
    "case_works": (one_more_work, "its assessor", _case),
    "work_order": (one_more_work, "office", _order),
    "visit_sheet": (one_more_reading, "office", _visit),
    "person_detail": (
        one_more_event, "manager", lambda cast: {"pk": cast.people["manager"].pk},
    ),
}  # fmt: skip
