"""Reports of a firm: half of one is kept, a signed one stays, values are held against limits."""

import threading
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils import timezone

from consult.models import Job, Letter
from consult.services.changes import version_of
from consult.tasks import run_job
from mitigation.models import (
    PlanItem,
    Stage,
    TestInstrument,
    TestValue,
    WorkOrder,
    WorkReport,
    WorkResult,
)
from mitigation.services.confirmations import confirm_works
from mitigation.services.work_orders import change_order
from mitigation.services.work_reports import (
    accept_report,
    add_value,
    begin_again,
    drop_value,
    return_report,
    sign_off,
)
from tests.factories import UserFactory
from tests.mitigation.ordered_works import (
    case_at_works,
    electrician,
    keep,
    reported,
    sent_order,
)
from tests.mitigation.test_work_orders import step

State = WorkOrder.State


@pytest.fixture
def office():
    return UserFactory(name="Ines Feld")


@pytest.fixture
def order(db):
    return sent_order(case_at_works())


@pytest.fixture
def ole(order):
    return electrician(order.firm, name="Ole Brand")


def value(order, by, **given):
    usual = {
        "test": "insulation", "about": "F3", "value": 200.0, "qualifier": "", "passed": None,
        "test_voltage_v": 500.0, "device": "", "rated_ma": None, "instrument": None, "remark": "",
    }  # fmt: skip
    row = order.items.first()
    return add_value(order=order, work_item=row, by=by, now=timezone.now(), **usual | given)


def sign(order, by, **more):
    usual = {
        "now": timezone.now(), "name": by.name, "licence": "HWK 4711", "remark": "",
        "shown_sha256": order.content_sha256,
    }  # fmt: skip
    return sign_off(order=order, by=by, **usual | more)


@pytest.mark.django_db
def test_half_a_report_is_kept_and_is_not_signed(order, ole) -> None:
    first, second = order.items.all()
    keep(order, first, ole)
    with pytest.raises(ValidationError, match="R2"):
        sign(order, ole)
    report = WorkReport.objects.get()
    assert report.signed_at is None and report.results.get().work_item == first
    keep(order, second, ole, result="not possible", words="The wall is concrete.")
    assert sign(order, ole).signed_name == "Ole Brand"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"result": "done differently"}, "how it was done"),
        ({"result": "not possible"}, "not possible"),
        ({"done_on": None}, "on which day"),
        ({"done_on": timezone.localdate().replace(year=timezone.localdate().year + 1)}, "ahead"),
    ],
)
def test_a_result_says_what_it_has_to(order, ole, values, words) -> None:
    with pytest.raises(ValidationError, match=words):
        keep(order, order.items.first(), ole, **values)
    assert not WorkResult.objects.exists()


@pytest.mark.django_db
def test_an_older_copy_of_a_result_does_not_undo_a_newer_one(order, ole) -> None:
    row = order.items.first()
    seen = version_of(keep(order, row, ole))
    keep(order, row, ole, seen=seen, result="done differently", words="Two switches.")
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        keep(order, row, ole, seen=seen, result="not possible", words="No room.")
    assert WorkResult.objects.get().words == "Two switches."


@pytest.mark.django_db
def test_the_same_value_twice_is_one(order, ole) -> None:
    uid = uuid4()
    assert value(order, ole, uid=uid) == value(order, ole, uid=uid)
    with pytest.raises(ValidationError, match="other content"):
        value(order, ole, uid=uid, value=3.0)
    value(order, ole, uid=uuid4())
    assert TestValue.objects.count() == 2


@pytest.mark.django_db
def test_a_value_that_misses_its_limit_wants_a_remark_and_stays_as_it_is(order, ole) -> None:
    with pytest.raises(ValidationError, match="misses its limit"):
        value(order, ole, value=0.4)
    row = value(order, ole, value=0.4, remark="Damp; dries until Friday.")
    assert row.is_missed and row.value == 0.4
    assert not value(order, ole, value=1.0).is_missed
    assert value(
        order, ole, test="polarity", value=None, passed=False, test_voltage_v=None, remark="Swapped"
    ).is_missed
    assert not value(order, ole, test="bond", value=9.0, test_voltage_v=None).is_missed


@pytest.mark.django_db
def test_no_limit_of_230_v_is_held_against_a_120_v_home(order, ole) -> None:
    home = order.case.property
    home.supply_voltage_v = 120.0
    home.save()
    assert not value(order, ole, value=0.4).is_missed


@pytest.mark.django_db
def test_a_signed_report_stays(order, ole, office) -> None:
    row = value(order, ole)
    report = reported(order, ole)
    with pytest.raises(Exception, match="signed is not changed"), transaction.atomic():
        WorkReport.objects.filter(pk=report.pk).update(remark="no")
    with pytest.raises(Exception, match="signed is not changed"), transaction.atomic():
        TestValue.objects.filter(pk=row.pk).update(value=1.0)
    with pytest.raises(Exception, match="signed is not changed"), transaction.atomic():
        WorkResult.objects.filter(report=report).update(words="no")
    with pytest.raises(ValidationError, match="Nothing more"):
        drop_value(order=order, value=row)
    with pytest.raises(ValidationError, match="Nothing more"):
        keep(order, order.items.first(), ole)
    with pytest.raises(ValidationError, match="Nothing more"):
        value(order, ole)


@pytest.mark.django_db
def test_a_signed_report_has_its_letter_with_the_firms_values(order, ole) -> None:
    instrument = TestInstrument.objects.create(
        firm=order.firm, name="installation tester", calibrated_until="2026-01-31"
    )
    value(order, ole, value=0.4, remark="Damp.", instrument=instrument)
    letter = reported(order, ole).letter
    words = str(letter.content)
    assert "MISSED" in words and "IEC 60364-6" in words and "Damp." in words
    assert "ran out on 31 January 2026" in words and "1 value to be looked at" in words
    run_job(Job.objects.get(key=f"render-letter:{letter.number}").pk)
    letter.refresh_from_db()
    assert letter.state == Letter.State.READY, letter.failure


@pytest.mark.django_db
def test_who_signs_the_same_report_twice_has_signed_once_and_another_is_told(order, ole) -> None:
    report = reported(order, ole)
    assert sign(order, ole) == report
    other = electrician(order.firm, name="Ada Kern")
    with pytest.raises(ValidationError, match="Ole Brand signed this report"):
        sign(order, other)


@pytest.mark.django_db
def test_an_order_that_was_changed_meanwhile_is_looked_at_before_the_signature(
    order, ole, office
) -> None:
    shown = order.content_sha256
    for row in order.items.all():
        keep(order, row, ole)
    order.refresh_from_db()
    change_order(
        order=order, by=office, now=timezone.now(), seen=version_of(order),
        values={"access": "Ring twice"},
    )  # fmt: skip
    with pytest.raises(ValidationError, match="changed meanwhile"):
        sign(order, ole, shown_sha256=shown)
    order.refresh_from_db()
    assert sign(order, ole).signed_at is not None


@pytest.mark.django_db
def test_an_accepted_report_settles_its_items_and_takes_the_case_on(order, ole, office) -> None:
    case = order.case
    report = reported(order, ole)
    assert step(case) == "look at the report on the works"
    accept_report(report=report, by=office, now=timezone.now())
    accept_report(report=report, by=office, now=timezone.now())  # a second click
    case.refresh_from_db()
    assert case.stage == Stage.FOLLOW_UP and step(case) == "plan the follow-up visit"
    item = case.items.first()
    assert item.state == PlanItem.State.DONE and item.done_on == timezone.localdate()
    assert item.done_by == f"{order.firm.name}, Ole Brand"


@pytest.mark.django_db
def test_a_case_waits_for_what_its_client_does(ole, office) -> None:
    case = case_at_works("demand-switch", "moved-bed")
    order = sent_order(case)
    assert order.items.count() == 1  # moving a bed is no work for a firm
    accept_report(report=reported(order, electrician(order.firm)), by=office, now=timezone.now())
    case.refresh_from_db()
    assert case.stage == Stage.WORKS and step(case) == "say when their own part is done"
    client = UserFactory(role="client", name="Rosa Lind")
    given = {
        "case": case, "items": ["R2"], "name": "Rosa Lind", "words": "", "by": client,
        "now": timezone.now(), "uid": uuid4(),
    }  # fmt: skip
    assert confirm_works(**given) == confirm_works(**given)
    case.refresh_from_db()
    assert case.stage == Stage.FOLLOW_UP
    assert case.items.get(name="R2").done_by == "Rosa Lind"


@pytest.mark.django_db
def test_what_a_client_may_confirm_is_their_own(order, office) -> None:
    client = UserFactory(role="client")
    given = {"case": order.case, "name": "Rosa", "by": client, "now": timezone.now()}
    with pytest.raises(ValidationError, match="your own part"):
        confirm_works(**given, items=["R1"], words="")
    with pytest.raises(ValidationError, match="Tick what is done"):
        confirm_works(**given, items=[], words=" ")
    confirm_works(**given, items=[], words="When does the switch come?")
    assert order.case.notes.get().text.endswith("When does the switch come?")


@pytest.mark.django_db
def test_a_report_that_is_sent_back_goes_on_from_what_it_says(order, ole, office) -> None:
    value(order, ole)
    report = reported(order, ole)
    now = timezone.now()
    with pytest.raises(ValidationError, match="Say why"):
        return_report(report=report, by=office, now=now, reason="")
    return_report(report=report, by=office, now=now, reason="Which RCD was it?")
    order.refresh_from_db()
    half = order.reports.get(signed_at=None)
    assert order.state == State.RETURNED and half.reason == "Which RCD was it?"
    assert half.results.count() == 2 and half.values.get().value == 200.0
    with pytest.raises(ValidationError, match="answered"):
        accept_report(report=report, by=office, now=now)
    again = sign(order, ole)
    accept_report(report=again, by=office, now=now)
    assert again.number == 2 and report.letter != again.letter


@pytest.mark.django_db
def test_a_correction_after_acceptance_is_another_version(order, ole, office) -> None:
    accept_report(report=reported(order, ole), by=office, now=timezone.now())
    with pytest.raises(ValidationError, match="Say why"):
        begin_again(order=order, by=ole, now=timezone.now(), reason="")
    begin_again(order=order, by=ole, now=timezone.now(), reason="The other circuit.")
    order.refresh_from_db()
    row = order.items.first()
    result = WorkResult.objects.get(report__signed_at=None, work_item=row)
    keep(order, row, ole, seen=version_of(result), result="done differently", words="On F4.")
    report = sign(order, ole)
    order.refresh_from_db()
    assert order.state == State.REPORTED
    accept_report(report=report, by=office, now=timezone.now())
    assert row.item.__class__.objects.get(pk=row.item_id).state == "done differently"


@pytest.mark.django_db(transaction=True)
def test_of_two_who_sign_at_once_one_signs(order, ole) -> None:
    for row in order.items.all():
        keep(order, row, ole)
    order.refresh_from_db()
    people = [ole, electrician(order.firm, name="Ada Kern")]
    barrier, refused = threading.Barrier(2), []

    def run(person) -> None:
        try:
            barrier.wait()
            sign(order, person)
        except ValidationError as error:
            refused.append(" ".join(error.messages))
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[person]) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    report = WorkReport.objects.get()
    assert report.signed_at is not None and len(refused) == 1
    assert f"{report.signed_name} signed this report" in refused[0]
    assert Letter.objects.filter(kind="work-report").count() == 1
