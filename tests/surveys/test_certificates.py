"""A newer certificate that ends earlier than the older one has the same answer everywhere."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from mitigation.comparison import compare
from surveys.models import Instrument, Measurand, Reading
from surveys.results import visit_results
from surveys.services import visits
from surveys.services.repeat import cautions_before_sealing
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

DAY = dt.timedelta(days=1)


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def meter():
    return Instrument.objects.create(name="meter with two certificates")


@pytest.fixture
def newer(meter, today):
    """Replaces a certificate that would have lasted another year, and ended yesterday."""
    CalibrationFactory(
        instrument=meter, certificate="long", calibrated_on=today - 300 * DAY,
        due_on=today + 400 * DAY,
    )  # fmt: skip
    return CalibrationFactory(
        instrument=meter, certificate="short", calibrated_on=today - 100 * DAY, due_on=today - DAY
    )


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


@pytest.fixture
def visit(today):
    return VisitFactory(
        date=today, sealed_at=None, assessor="A. Brook", supply_voltage_v=230.0,
        humidity_percent=40.0,
    )  # fmt: skip


def typed(visit, meter, office):
    return visits.record_reading(
        visit=visit, by=office, spot=SpotFactory(home=visit.property), unit="V/m", total=4.0,
        measurand=Measurand.ELECTRIC_FIELD_POTENTIAL_FREE, instrument=meter,
    )  # fmt: skip


def test_register_desk_and_the_page_of_the_instrument_say_that_it_ended(
    client, office, meter, newer
):
    standings = client.get(reverse("instrument_list")).context["standings"]
    assert [(one.calibration, one.days_left, one.is_late) for one in standings] == [
        (newer, -1, True)
    ]
    assert list(client.get(reverse("desk")).context["certificates"]) == [newer]
    page = client.get(reverse("instrument_detail", args=[meter.pk]))
    assert page.context["late"] == {newer.pk}


def test_typing_takes_it_and_the_page_of_the_reading_says_that_it_ended(
    client, office, visit, meter, newer
):
    reading = typed(visit, meter, office)
    assert reading.calibration == newer
    page = client.get(reverse("reading_detail", args=[reading.pk]))
    assert page.context["in_force"] is False
    assert len(cautions_before_sealing(visit, None)) == 1


def test_the_seal_pins_it_and_results_leave_the_target_undecided(office, visit, meter, newer):
    reading = typed(visit, meter, office)
    visits.seal_visit(visit=visit, by=office, now=timezone.now())
    assert Reading.objects.get(pk=reading.pk).calibration == newer
    case = CaseFactory(property=visit.property)
    case.visits.add(visit)
    (finding,) = visit_results([visit], guideline=case.guideline, placement=0.05).findings.values()
    assert finding.certified is False and finding.out_of_date is True
    (row,) = compare(case).rows
    assert "instrument out of calibration on the day of its visit" in row.result["blocks"]
    assert row.result["target"]["decision"] == "undecided"


def test_the_day_before_everything_held(client, office, visit, meter, newer, today):
    """The same set-up a day earlier: what refuses above is the day and nothing else."""
    visit = visits.change_conditions(visit=visit, by=office, date=today - DAY)
    reading = typed(visit, meter, office)
    page = client.get(reverse("reading_detail", args=[reading.pk]))
    assert page.context["in_force"] is True
    assert cautions_before_sealing(visit, None) == []


def test_one_that_is_still_to_begin_replaces_none_yet(client, office, meter, newer, today):
    newer.due_on = today + 10 * DAY
    newer.save()
    CalibrationFactory(
        instrument=meter, certificate="ordered", calibrated_on=today + 5 * DAY, due_on=None
    )
    standings = client.get(reverse("instrument_list")).context["standings"]
    assert [(one.calibration, one.days_left) for one in standings] == [(newer, 10)]
    assert list(client.get(reverse("desk")).context["certificates"]) == [newer]


def test_a_first_certificate_that_is_still_to_begin_is_not_in_force(client, office, meter, today):
    CalibrationFactory(instrument=meter, calibrated_on=today + 5 * DAY, due_on=None)
    assert "not yet in force" in client.get(reverse("instrument_list")).content.decode()


def test_a_due_day_without_any_certificate_runs_out_nowhere(client, office, meter, today):
    CalibrationFactory(instrument=meter, certificate="", calibrated_on=None, due_on=today)
    (standing,) = client.get(reverse("instrument_list")).context["standings"]
    assert standing.days_left is None
    assert client.get(reverse("desk")).context["certificates"] == []


def test_the_form_offers_the_unit_of_the_certificate_in_force(client, office, visit, meter, today):
    """A row without a day is the oldest on either database."""
    CalibrationFactory(instrument=meter, unit="kV/m", calibrated_on=today - DAY)
    CalibrationFactory(instrument=meter, unit="V/m", calibrated_on=None, certificate="")
    chosen = {"measurand": "electric-field-potential-free", "instrument": meter.pk}
    address = reverse("reading_fields", args=[visit.pk])
    page = client.get(address, chosen, headers={"HX-Request": "true"})
    assert '<option value="kV/m" selected' in page.content.decode()
