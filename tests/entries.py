"""Every form that makes a row, filled in; and every other form, with why it makes none twice."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from consult.models import (
    Client,
    Contact,
    DataPackage,
    DataRequest,
    Firm,
    Letter,
    OutboundMail,
    Property,
    User,
)
from mitigation.models import (
    Appointment,
    Attachment,
    Case,
    LetterDraft,
    Note,
    PendingUpload,
    Plan,
    PlanDraft,
    PlanItem,
    Remedy,
    Stage,
    TestInstrument,
    TestValue,
    WorkOrder,
    WorkPhoto,
    WorksConfirmation,
)
from mitigation.services.offers import items_state
from mitigation.services.plan_items import add_item
from mitigation.services.work_orders import make_orders, send_order
from surveys.models import (
    Appliance,
    Calibration,
    Circuit,
    Correction,
    GroundCheck,
    GroundPoint,
    Guideline,
    Instrument,
    Measurand,
    Reading,
    Room,
    Spot,
    Visit,
)
from surveys.services import circuits, visits
from tests.cast import Cast
from tests.factories import BASELINE_DAY, UserFactory, ready_letter
from tests.surveys.case_folders import as_zip

PHOTO = bytes.fromhex(  # the smallest PNG
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55"
    "0000000a49444154789c636800000082008177cd72b60000000049454e44ae426082"
)

# What makes no row that another click could make again, and why.
MAKES_NONE = {
    "letter_check": "asks and changes nothing",
    "letter_check_file": "asks and changes nothing",
    "own_language": "changes one's own row",
    "own_contact": "changes the client's row",
    "person_detail": "knows the state that was seen",
    "invitation": "the password that it replaces decides who was first",
    "client_edit": "knows the state that was seen",
    "client_merge": "the record that is merged is gone",
    "contact_edit": "knows the state that was seen",
    "contact_remove": "the contact is gone",
    "property_edit": "knows the state that was seen",
    "practice": "one row",
    "retention": "one row",
    "firm_edit": "knows the state that was seen",
    "data_request_answer": "the first answer stays",
    "person_erase": "who is erased is erased",
    "letter_withdraw": "a link is withdrawn once",
    "letter_retry": "the state decides who was first",
    "plan_decide": "one answer for each plan",
    "plan_link_decide": "one answer for each plan",
    "plan_ask": "the same words at once are one note",
    "plan_link_ask": "the same words at once are one note",
    "order_edit": "knows the state that was seen",
    "order_send": "an order is sent once",
    "order_call_off": "an order is called off once",
    "order_answer": "the first answer stays",
    "order_link_answer": "the first answer stays",
    "appointment_answer": "the first answer stays",
    "own_appointment_answer": "the first answer stays",
    "own_calendar_act": "one feed for each person",
    "order_link_appointment": "the first answer stays",
    "appointment_call_off": "an appointment is called off once",
    "report_result": "one result for each item of a report",
    "report_value_remove": "the value is gone",
    "report_sign": "a signed report is not signed again",
    "report_again": "one version that nobody signed",
    "report_judge": "a report is answered once",
    "test_instrument_edit": "knows the state that was seen",
    "case_edit": "knows the state that was seen",
    "case_skip": "knows the stage that was seen",
    "enquiry_edit": "knows the state that was seen; a contact of that name is there already",
    "medical_device_withdraw": "what is withdrawn is gone",
    "case_act": "knows the stage that was seen",
    "plan_choose": "what is ticked is ticked",
    "plan_compute": "one job under the digests of the trials",
    "evidence_renew": "the digests of cases decide what is computed",
    "plan_item_edit": "knows the state that was seen",
    "plan_item_remove": "the item is gone",
    "plan_draft_remove": "the version is gone",
    "attachment_remove": "the file is gone",
    "attachment_sketch": "changes what letters print",
    "upload_decide": "the first decision stays",
    "upload_act": "one job under the upload's token",
    "visit_call_off": "the visit is gone",
    "visit_edit": "knows the state that was seen",
    "visit_words": "knows the state that was seen",
    "visit_seal": "a sealed visit is not sealed again",
    "ground_check_correct": "knows the state that was seen",
    "instrument_edit": "knows the state that was seen",
    "calibration_edit": "knows the state that was seen",
    "guideline_remove": "the guideline is gone",
    "remedy_edit": "knows the state that was seen",
    "room_edit": "knows the state that was seen",
    "spot_edit": "knows the state that was seen",
    "panel_edit": "knows the state that was seen",
    "panel_remove": "the panel is gone",
    "circuit_edit": "knows the state that was seen",
    "circuit_remove": "the circuit is gone",
    "appliance_edit": "knows the state that was seen",
    "appliance_remove": "the appliance is gone",
}


@dataclass(frozen=True)
class Entry:
    """A form that makes a row of `model`, as it is sent; `other` makes it another entry."""

    url: str
    model: Any
    sent: dict[str, Any] = field(default_factory=dict)
    other: dict[str, Any] = field(default_factory=dict)
    by: str = "manager"
    keyed: bool = True  # False: the service knows the same thing again without a key

    def again(self) -> dict[str, Any]:
        """What is sent, files anew: the one that was sent is read to its end."""
        return {
            name: SimpleUploadedFile(*value) if isinstance(value, tuple) else value
            for name, value in self.sent.items()
        }


def _url(name: str, *args: Any) -> str:
    return reverse(name, args=args)


BOUNDS = {
    f"{measurand}-{bound}": value
    for measurand in Measurand
    for bound, value in (("b1", "1"), ("b2", "5"), ("b3", "50"))
}
PERSON = {"name": "Ines Lund", "email": "ines@example.org", "role": "office", "language": "en"}


def _of_clients(cast: Cast) -> dict[str, Entry]:
    client, home = cast.case.property.client_id, cast.case.property_id
    name, other = {"name": "Rosa Lindqvist"}, {"name": "Rosa Lindquist"}
    place = {"address": "Quay 4", "country": "DE", "supply_voltage_v": "230", "frequency_hz": "50",
             "phases": "1"}  # fmt: skip
    case = {"guideline": cast.case.guideline_id, "target_band": "2", "placement_percent": "5"}
    return {
        "client_add": Entry(_url("client_add"), Client, name | {"language": "en"}, other),
        "contact_add": Entry(
            _url("contact_add", client), Contact, name | {"part": "landlord"}, other
        ),
        "property_add": Entry(_url("property_add", client), Property, place, {"address": "Quay 5"}),
        "case_open": Entry(_url("case_open", home), Case, case, {"target_band": "1"}),
        "case_open with a reference": Entry(
            _url("case_open", home), Case, case | {"reference": "Q-7"}, {"reference": "Q-8"}
        ),
        "firm_add": Entry(
            _url("firm_add"),
            Firm,
            {"name": "Quay Wiring", "language": "en"},
            {"name": "Quay Wiring Ltd"},
        ),
        "person_invite": Entry(
            _url("person_invite"), User, PERSON, {"email": "ines.lund@example.org"}
        ),
        "own_data": Entry(
            _url("own_data"), DataRequest, {"kind": "copy"}, by="its client", keyed=False
        ),
        "person_data": Entry(_url("person_data", "client", client), DataPackage),
    }


def _of_cases(cast: Cast) -> dict[str, Entry]:
    case = cast.case.reference
    words, day = {"text": "Ring twice."}, {"day": "2027-03-01", "kind": "baseline"}
    plan = day | {"assessor": cast.people["its assessor"].pk}
    bedroom = cast.case.property.rooms.get()
    surface = f"{Remedy.objects.get(key='shielded-surface').pk}-room-{bedroom.pk}"
    return {
        "note_add": Entry(_url("note_add", case), Note, words, keyed=False),
        "file_attach": Entry(
            _url("file_attach", case), Attachment, {"file": ("a.txt", b"words")}, keyed=False
        ),
        "visit_plan": Entry(_url("visit_plan", case), Visit, plan, keyed=False),
        "letter_issue": Entry(_url("letter_issue", case, "outcome"), Letter, keyed=False),
        "plan_make_offer": Entry(_url("plan_make_offer", case), Plan, _offer_of(cast), keyed=False),
        "draft_make": Entry(_url("draft_make", case, "outcome"), LetterDraft, keyed=False),
        "plan_item_add": Entry(
            _url("plan_item_add", case, "bonded-shield"), PlanItem, {"cost": "400"}, {"cost": "410"}
        ),
        "plan_put_in": Entry(_url("plan_put_in", case), PlanItem, {"offer": surface}, keyed=False),
        "plan_draft_keep": Entry(
            _url("plan_draft_keep", case), PlanDraft, {"name": "cheap"}, {"name": "dear"}
        ),
        "upload": Entry(_url("upload"), PendingUpload, {"folder": ("a.zip", as_zip().data)}),
    }


def _of_works(cast: Cast) -> dict[str, Entry]:
    case, electrician = cast.case, cast.people["its electrician"]
    for kind in ("bonded-shield", "moved-bed", "bonded-shield"):
        effect = {"effect_db": 6.0, "spread_db": 3.0} if kind == "moved-bed" else {}
        add_item(
            case=case,
            by=cast.people["office"],
            remedy=Remedy.objects.get(key=kind),
            room=Room.objects.filter(property=case.property)[0],
            **effect,
        )
    case.items.update(state=PlanItem.State.ACCEPTED)
    Case.objects.filter(pk=case.pk).update(stage=Stage.WORKS, stage_since=timezone.now())
    first, own, later = case.items.all()
    assert electrician.firm is not None
    [order] = make_orders(
        case=case,
        by=cast.people["office"],
        now=timezone.now(),
        firm_of={first.pk: electrician.firm},
    )
    send_order(order=order, by=cast.people["office"], now=timezone.now(), reason="It is filed.")
    row = order.items.get()
    value = {"test": "bond", "value": "0.2"}
    return {
        "orders_make": Entry(
            _url("orders_make", case.reference),
            WorkOrder,
            {f"firm-{later.pk}": str(electrician.firm_id)},
            keyed=False,
        ),
        "appointment_propose": Entry(
            _url("appointment_propose", order.pk),
            Appointment,
            {"asked": "firm", "first": _in_days(8), "minutes": "120"},
            {"first": _in_days(9)},
            keyed=False,
        ),
        "report_value_add": Entry(
            _url("report_value_add", order.pk, row.pk),
            TestValue,
            value,
            {"value": "0.3"},
            by="its electrician",
        ),
        "report_photo": Entry(
            _url("report_photo", order.pk, row.pk),
            WorkPhoto,
            {"photo": ("a.png", PHOTO)},
            by="its electrician",
            keyed=False,
        ),
        "works_confirm": Entry(
            _url("works_confirm", case.reference),
            WorksConfirmation,
            {"item": [own.name], "name": "Rosa Lind"},
            {"words": "When is the day?"},
            by="its client",
        ),
        "test_instrument_add": Entry(
            _url("test_instrument_add"),
            TestInstrument,
            {"name": "installation tester"},
            {"name": "loop tester"},
            by="its electrician",
        ),
    }


def _in_days(days: int) -> str:
    """A moment to come, as a form is sent it."""
    return f"{timezone.localtime() + timedelta(days=days):%Y-%m-%dT09:00}"


def _offer_of(cast: Cast) -> dict[str, Any]:
    """The ticks of an offer with one item."""
    item = add_item(
        case=cast.case,
        by=cast.people["office"],
        remedy=Remedy.objects.get(key="bonded-shield"),
        room=Room.objects.filter(property=cast.case.property)[0],
        cost=500,
    )
    return {f"A-{item.pk}": "on", "seen": items_state(cast.case)}


def _of_letters(cast: Cast) -> dict[str, Entry]:
    cast.case.property.client.email = "mina@example.org"
    cast.case.property.client.save()
    letter = ready_letter(cast.case)
    uninvited = UserFactory(name="Nils Brandt")
    uninvited.set_unusable_password()
    uninvited.save()
    return {
        "letter_send": Entry(_url("letter_send", letter.number, "email"), OutboundMail),
        "letter_correct": Entry(
            _url("letter_correct", letter.number), Letter, {"reason": "The bed was named wrongly."}
        ),
        "person_act": Entry(_url("person_act", uninvited.pk, "invite"), OutboundMail),
    }


def _of_registers(cast: Cast) -> dict[str, Entry]:
    meter = Instrument.objects.get(name="field meter A")
    row = {"quantity": "electric field", "unit": "V/m", "gain_percent": "5", "resolution": "0.1",
           "certificate": "K-200", "calibrated_on": "2026-08-01"}  # fmt: skip
    head = {"code": "HOUSE-1", "title": "House rules", "source": "Our own, 2026"}
    names = {f"name_{number}": f"step {number}" for number in range(1, 5)}
    kind = {"code": "own-kind", "name": "own kind", "acts_on": "spots", "is_electric": "on",
            "effect_db": "12", "spread_db": "6", "works_percent": "100",
            "done_by": "electrician"}  # fmt: skip
    known = Remedy.objects.get(key="demand-switch")
    return {
        "remedy_add": Entry(_url("remedy_add"), Remedy, kind, {"code": "other-kind"}),
        "remedy_follow": Entry(
            _url("remedy_follow", known.pk), Remedy, kind, {"code": "other-kind"}
        ),
        "instrument_add": Entry(
            _url("instrument_add"), Instrument, {"name": "field meter Z"}, {"name": "field meter Y"}
        ),
        "calibration_add": Entry(
            _url("calibration_add", meter.pk),
            Calibration,
            row,
            {"calibrated_on": "2026-08-02", "certificate": "K-8"},
        ),
        "guideline_add": Entry(
            _url("guideline_add"), Guideline, head | names | BOUNDS, {"code": "HOUSE-2"}
        ),
    }


def _of_visits(cast: Cast) -> dict[str, Entry]:
    sealed = Reading.objects.filter(visit__in=cast.case.visits.all()).order_by("pk")[0]
    home = cast.case.property
    visit = visits.plan_visit(
        home=home, kind="baseline", day=BASELINE_DAY, by=cast.people["office"], assessor="A. Brook"
    )
    point = GroundPoint.objects.create(property=home, name="water pipe")
    total = {"instrument": sealed.instrument_id, "total": "5", "unit": "V/m", "state": "as-used"}
    row = total | {"spot": sealed.spot_id, "measurand": sealed.measurand}
    circuits.add_circuit(home=home, by=cast.people["office"], name="F1")
    trial = {"spot": sealed.spot_id, "measurand": sealed.measurand,
             "instrument": sealed.instrument_id, "source": ["F1"]}  # fmt: skip
    place = {"place-room": "Study", "place-spot": "desk seat", "place-use": "work"}
    return {
        "reading_add": Entry(_url("reading_add", visit.pk), Reading, row, {"total": "6"}),
        "reading_correct": Entry(
            _url("reading_correct", sealed.pk), Reading, total | {"reason": "Digits transposed."}
        ),
        "reading_set_aside": Entry(
            _url("reading_set_aside", sealed.pk), Correction, {"reason": "The lead was loose."}
        ),
        "trial_walk": Entry(
            _url("trial_walk", visit.pk) + "?" + urlencode(trial, doseq=True),
            Reading,
            {"off": "F1", "nth": "0", "total": "5"},
            keyed=False,
        ),
        "ground_check_add": Entry(
            _url("ground_check_add", visit.pk),
            GroundCheck,
            {"check-point": point.pk, "check-outlet_test": "ok"},
            {"check-outlet_test": "fault"},
        ),
        "circuit_add": Entry(
            _url("circuit_add", home.pk), Circuit, {"name": "F3", "phase": "L2"}, {"name": "F2"}
        ),
        "appliance_add": Entry(
            _url("appliance_add", home.pk), Appliance, {"name": "lamp"}, {"name": "heater"}
        ),
        "spot_add": Entry(_url("spot_add", visit.pk), Spot, place, keyed=False),
        "ground_point_add": Entry(
            _url("ground_point_add", visit.pk), GroundPoint, {"point-name": "rod"}, keyed=False
        ),
    }


GROUPS: tuple[tuple[Callable[[Cast], dict[str, Entry]], Iterable[str]], ...] = (
    (
        _of_clients,
        ("client_add", "contact_add", "property_add", "case_open", "case_open with a reference",
         "firm_add", "person_invite", "own_data", "person_data"),
    ),
    (
        _of_cases,
        ("note_add", "file_attach", "visit_plan", "letter_issue", "draft_make", "plan_make_offer",
         "upload", "plan_item_add", "plan_put_in", "plan_draft_keep"),
    ),
    (
        _of_works,
        ("orders_make", "appointment_propose", "report_value_add", "report_photo", "works_confirm",
         "test_instrument_add"),
    ),
    (_of_letters, ("letter_send", "letter_correct", "person_act")),
    (
        _of_registers,
        ("instrument_add", "calibration_add", "guideline_add", "remedy_add", "remedy_follow"),
    ),
    (
        _of_visits,
        ("reading_add", "reading_correct", "reading_set_aside", "trial_walk", "ground_check_add",
         "circuit_add", "appliance_add", "spot_add", "ground_point_add"),
    ),
)  # fmt: skip
NAMES = [name for _group, names in GROUPS for name in names]


def entry(name: str, cast: Cast) -> Entry:
    """The form filled in for this cast, with a key of its own where it has one."""
    (group,) = (group for group, names in GROUPS if name in names)
    found = group(cast)[name]
    prefix = "check-" if name == "ground_check_add" else ""
    if found.keyed:
        found.sent[f"{prefix}key"] = str(uuid4())
    return found
