"""Two at once: on one sealed reading, on one form, on a certificate while a visit is sealed."""

import threading
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils import timezone

from mitigation.models import Outcome
from surveys.models import Correction, GroundCheck, Reading, Visit
from surveys.services import corrections, ground_checks, registers, visits
from tests.factories import UserFactory, compared_case, issue_outcome_letter
from tests.faults.test_sealing import WAIT_S, _at_once, _visit_to_seal

pytestmark = pytest.mark.django_db(transaction=True)
A_MOMENT_S = 0.7


def _sealed(office):
    visit, typed = _visit_to_seal(office)
    visits.seal_visit(visit=visit, by=office, now=timezone.now())
    return visit.readings.get(), {name: typed[name] for name in ("instrument", "unit", "total")}


def _correct(reading, by, typed, key=None):
    return corrections.correct_sealed_reading(
        reading=reading, by=by, now=timezone.now(), reason="digits transposed", key=key, **typed
    )


@pytest.mark.parametrize("time", range(3))
def test_of_two_who_correct_one_reading_the_second_is_told(time):
    first, second = UserFactory(), UserFactory()
    reading, typed = _sealed(first)
    found = _at_once(
        lambda: _correct(reading, first, typed | {"total": 210.0}),
        lambda: _correct(reading, second, typed | {"total": 102.0}),
    )
    made = [one for one in found if isinstance(one, Reading)]
    told = [one for one in found if isinstance(one, ValidationError)]
    assert (len(made), len(told)) == (1, 1)
    assert "stands in the place" in told[0].messages[0]
    assert Correction.objects.get().replacement == made[0]
    assert reading.visit.readings.count() == 2


@pytest.mark.parametrize("time", range(3))
def test_a_double_click_makes_one_row(time):
    office = UserFactory()
    visit, typed = _visit_to_seal(office)
    key = uuid4()
    row = typed | {"total": 150.0}
    found = _at_once(
        *[lambda: visits.record_reading(visit=visit, by=office, uid=key, **row)] * 3,
    )
    assert all(isinstance(one, Reading) for one in found)
    assert len(set(found)) == 1
    assert visit.readings.count() == 2
    point = visits.add_ground_point(visit=visit, by=office, name="rod")
    check_key = uuid4()
    found = _at_once(
        *[
            lambda: ground_checks.record_ground_check(
                visit=visit, by=office, uid=check_key, point=point, outlet_test="ok"
            )
        ]
        * 2,
    )
    assert len({one.pk for one in found}) == GroundCheck.objects.count() == 1


@pytest.mark.parametrize("time", range(3))
def test_a_double_click_on_a_correction_makes_one_row(time):
    office = UserFactory()
    reading, typed = _sealed(office)
    key = uuid4()
    found = _at_once(*[lambda: _correct(reading, office, typed | {"total": 210.0}, key)] * 2)
    assert len({one.pk for one in found}) == 1
    assert Correction.objects.count() == 1
    assert reading.visit.readings.count() == 2


@pytest.mark.parametrize("time", range(3))
def test_a_correction_that_comes_with_the_seal_is_after_it_or_refused(time):
    office, other = UserFactory(), UserFactory()
    visit, typed = _visit_to_seal(office)
    reading = visit.readings.get()
    right = {name: typed[name] for name in ("instrument", "unit")} | {"total": 210.0}
    found = _at_once(
        lambda: visits.seal_visit(visit=visit, by=office, now=timezone.now()),
        lambda: _correct(reading, other, right),
    )
    assert isinstance(found[0], Visit)
    assert Reading.objects.get(pk=reading.pk).total == 120.0
    assert Correction.objects.count() == visit.readings.count() - 1
    if isinstance(found[1], ValidationError):
        assert "still open" in found[1].messages[0]
        assert not Correction.objects.exists()


def _while(first, second):
    """Do `second` while the transaction of `first` is open; what it came to after the commit."""
    found: list[object] = []

    def run():
        try:
            found.append(second())
        except ValidationError as error:
            found.append(error)
        finally:
            connection.close()

    thread = threading.Thread(target=run)
    with transaction.atomic():
        first()
        thread.start()
        thread.join(A_MOMENT_S)
        assert not found, "it did not wait"
    thread.join(WAIT_S)
    return found[0]


def _changed_certificate(calibration, by):
    names = ("quantity", "unit", "resolution", "certificate", "calibrated_on", "due_on")
    given = {name: getattr(calibration, name) for name in names} | {"gain_percent": 30.0}
    return registers.change_calibration(calibration=calibration, by=by, **given)


def test_a_certificate_does_not_change_in_the_instant_of_a_seal():
    office, other = UserFactory(), UserFactory()
    visit, _typed = _visit_to_seal(office)
    calibration = visit.readings.get().calibration
    refused = _while(
        lambda: visits.seal_visit(visit=visit, by=office, now=timezone.now()),
        lambda: _changed_certificate(calibration, other),
    )
    assert isinstance(refused, ValidationError)
    calibration.refresh_from_db()
    assert calibration.gain_percent == 6.0


def test_a_seal_waits_for_a_certificate_that_is_being_changed():
    office, other = UserFactory(), UserFactory()
    visit, _typed = _visit_to_seal(office)
    calibration = visit.readings.get().calibration
    sealed = _while(
        lambda: _changed_certificate(calibration, other),
        lambda: visits.seal_visit(visit=visit, by=office, now=timezone.now()),
    )
    assert isinstance(sealed, Visit)
    assert visit.readings.get().calibration.gain_percent == 30.0


def test_a_new_certificate_waits_for_a_seal_and_changes_nothing_in_it():
    office, other = UserFactory(), UserFactory()
    visit, _typed = _visit_to_seal(office)
    old = visit.readings.get().calibration
    added = _while(
        lambda: visits.seal_visit(visit=visit, by=office, now=timezone.now()),
        lambda: registers.add_calibration(
            instrument=old.instrument, by=other, quantity=old.quantity, unit="nT",
            gain_percent=4.0, resolution=1.0, certificate="K-300", calibrated_on=visit.date,
        ),
    )  # fmt: skip
    assert added.pk != old.pk
    assert visit.readings.get().calibration == old


def test_a_letter_waits_for_a_correction_that_is_being_made():
    office = UserFactory()
    case = compared_case(before=48.0, after=2.4)
    reading = case.visits.get(kind="follow-up").readings.get()
    right = {"instrument": reading.instrument, "unit": reading.unit, "total": 4.2}
    letter = _while(
        lambda: _correct(reading, office, right),
        lambda: issue_outcome_letter(case=case, by=office, now=timezone.now()),
    )
    after = Outcome.objects.get(letter=letter).result["spots"][0]["after"]
    assert after["value"] == 4.2
