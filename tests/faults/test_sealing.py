"""Two people seal one visit at the same moment, each on a connection of their own."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone

from surveys.models import Measurand, Visit
from surveys.services import visits
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db(transaction=True)
WAIT_S = 30


def _visit_to_seal(office):
    visit = visits.plan_visit(
        home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office, assessor="A. Brook"
    )
    visits.change_conditions(visit=visit, by=office, supply_voltage_v=230.0)
    calibration = CalibrationFactory(quantity="magnetic flux density", unit="nT", resolution=1.0)
    typed = {
        "spot": SpotFactory(home=visit.property),
        "measurand": Measurand.MAGNETIC_FLUX_DENSITY,
        "instrument": calibration.instrument,
        "unit": "nT",
        "total": 120.0,
    }
    visits.record_reading(visit=visit, by=office, **typed)
    return visit, typed


def _at_once(*works):
    """Run each work in a thread; what each returned or raised, in their order."""
    start = threading.Barrier(len(works))
    found: list[object] = [None] * len(works)

    def run(place, work):
        try:
            start.wait(WAIT_S)
            found[place] = work()
        except ValidationError as error:
            found[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=each) for each in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)
    assert not any(thread.is_alive() for thread in threads)
    return found


@pytest.mark.parametrize("time", range(5))
def test_one_seals_and_the_other_is_told(time):
    first, second = UserFactory(), UserFactory()
    visit, _typed = _visit_to_seal(first)
    now = timezone.now()
    found = _at_once(
        lambda: visits.seal_visit(visit=visit, by=first, now=now),
        lambda: visits.seal_visit(visit=visit, by=second, now=now + timedelta(seconds=1)),
    )
    sealed = [one for one in found if isinstance(one, Visit)]
    told = [one for one in found if isinstance(one, ValidationError)]
    assert (len(sealed), len(told)) == (1, 1)
    row = Visit.objects.get(pk=visit.pk)
    assert (row.sealed_by, row.sealed_at) == (sealed[0].sealed_by, sealed[0].sealed_at)
    assert str(row.sealed_by) in told[0].messages[0]
    assert row.history.filter(sealed_at__isnull=False).count() == 1


@pytest.mark.parametrize("time", range(5))
def test_a_reading_that_comes_with_the_seal_is_in_or_refused(time):
    office, other = UserFactory(), UserFactory()
    visit, typed = _visit_to_seal(office)
    found = _at_once(
        lambda: visits.seal_visit(visit=visit, by=office, now=timezone.now()),
        lambda: visits.record_reading(visit=visit, by=other, **typed),
    )
    assert isinstance(found[0], Visit)
    refused = isinstance(found[1], ValidationError)
    assert visit.readings.count() == (1 if refused else 2)
    assert not visit.readings.filter(calibration=None).exists()
