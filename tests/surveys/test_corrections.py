"""A sealed reading is put right by a row more: who may, what counts, what the pages say."""

import datetime as dt
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from surveys.models import Correction, Guideline, Instrument, Reading, Visit
from surveys.results import visit_results
from surveys.results.dangers import dangers_of
from surveys.services import corrections, visits
from surveys.services.repeat import to_repeat
from tests.cast import make_cast
from tests.factories import BASELINE_DAY, CalibrationFactory, add_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def office(cast):
    return cast.people["office"]


@pytest.fixture
def sealed(cast):
    """The sealed reading of the baseline: 48 V/m."""
    return Reading.objects.get(visit__kind="baseline", visit__cases=cast.case)


@pytest.fixture
def right(sealed):
    """What the display really showed."""
    return {"instrument": sealed.instrument, "total": 84.0, "unit": "V/m"}


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


def correct(reading, by, reason="digits transposed", **typed):
    return corrections.correct_sealed_reading(
        reading=reading, by=by, now=timezone.now(), reason=reason, **typed
    )


def set_aside(reading, by, reason="the probe lay on the floor"):
    return corrections.set_aside_sealed_reading(
        reading=reading, by=by, now=timezone.now(), reason=reason
    )


def findings(visit):
    guideline = Guideline.objects.get(code="SBM-2015")
    return visit_results([visit], guideline=guideline, placement=0.05).findings


def value_at(visit):
    (found,) = findings(visit).values()
    return found.value, found.reading, found.n_readings


def test_a_correction_adds_a_reading_that_counts_and_leaves_the_sealed_one(sealed, right, office):
    before = Reading.objects.filter(pk=sealed.pk).values().get()
    new = correct(sealed, office, **right)
    assert Reading.objects.filter(pk=sealed.pk).values().get() == before
    assert value_at(sealed.visit) == (84.0, new.pk, 1)
    assert (new.visit, new.spot, new.measurand) == (sealed.visit, sealed.spot, sealed.measurand)
    row = Correction.objects.get()
    assert (row.reading, row.replacement, row.made_by) == (sealed, new, office)
    assert new.history.get().history_user == office


def test_a_lower_correction_counts_although_the_sealed_reading_was_higher(sealed, right, office):
    correct(sealed, office, **right | {"total": 4.8})
    assert value_at(sealed.visit)[0] == 4.8


def test_a_corrected_trial_stays_a_trial(sealed, right, office):
    correct(sealed, office, **right | {"state": "trial"})
    assert findings(sealed.visit) == {}


def test_of_a_chain_the_newest_alone_counts_and_alone_can_be_corrected(sealed, right, office):
    second = correct(sealed, office, **right)
    third = correct(second, office, **right | {"total": 38.0})
    assert value_at(sealed.visit) == (38.0, third.pk, 1)
    for older in (sealed, second):
        with pytest.raises(ValidationError, match="stands in the place"):
            correct(older, office, **right)
        with pytest.raises(ValidationError, match="stands in the place"):
            set_aside(older, office)
    chain = corrections.chain_of(second, corrections.corrections_at([sealed.visit]))
    assert [one.pk for one in chain] == [sealed.pk, second.pk, third.pk]


def test_a_sealed_reading_set_aside_counts_no_more_and_can_be_entered_again(sealed, right, office):
    set_aside(sealed, office)
    assert findings(sealed.visit) == {}
    with pytest.raises(ValidationError, match="already"):
        set_aside(sealed, office)
    new = correct(sealed, office, reason="it was the other one", **right | {"total": 48.0})
    assert value_at(sealed.visit) == (48.0, new.pk, 1)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"unit": "nT"}, "unit"),
        ({"total": None}, "total"),
        ({"x": 1.0}, "total"),
        ({"total": -1.0}, "total"),
        ({"reason": "  "}, "reason"),
    ],
)
def test_a_wrong_correction_is_named_and_nothing_is_added(sealed, right, office, change, field):
    with pytest.raises(ValidationError) as refused:
        correct(sealed, office, **right | change)
    assert field in refused.value.message_dict
    assert (Correction.objects.count(), sealed.visit.readings.count()) == (0, 1)


def test_spot_and_quantity_are_those_of_the_sealed_reading(sealed, right, office):
    for name in ("spot", "measurand", "calibration", "set_aside"):
        with pytest.raises(TypeError):
            correct(sealed, office, **right | {name: getattr(sealed, name)})


def test_on_an_open_visit_nothing_is_corrected_this_way(sealed, right, office):
    open_visit = visits.plan_visit(
        home=sealed.visit.property, kind="baseline", day=BASELINE_DAY, by=office
    )
    reading = add_reading(open_visit, sealed.spot, sealed.calibration, total=1.0)
    with pytest.raises(ValidationError, match="still open"):
        correct(reading, office, **right)
    with pytest.raises(ValidationError, match="still open"):
        set_aside(reading, office)


def test_a_correction_stands_on_the_certificate_of_the_sealed_day(sealed, right, office):
    # Entered after the seal, and on paper in force on the day: it changes no sealed number.
    CalibrationFactory(
        certificate="K-200", calibrated_on=BASELINE_DAY - dt.timedelta(days=1), gain_percent=20.0
    )
    assert correct(sealed, office, **right).calibration == sealed.calibration


def test_another_instrument_brings_the_certificate_of_the_visits_day(sealed, right, office):
    other = Instrument.objects.create(name="field meter B")
    rows = [
        CalibrationFactory(
            instrument=other,
            certificate=f"B-{days}",
            calibrated_on=BASELINE_DAY + dt.timedelta(days=days),
        )
        for days in (-60, -30, 30)
    ]
    assert correct(sealed, office, **right | {"instrument": other}).calibration == rows[1]


def test_the_same_form_sent_twice_enters_once(sealed, right, office):
    key = uuid4()
    first = correct(sealed, office, key=key, **right)
    assert correct(sealed, office, key=key, **right) == first
    assert Correction.objects.count() == 1
    # With other content it is another entry, and that one comes too late.
    with pytest.raises(ValidationError, match="stands in the place"):
        correct(sealed, office, key=key, **right | {"total": 85.0})


def test_the_database_itself_allows_one_replacement_and_no_ring(sealed, right, office):
    new = correct(sealed, office, **right)
    stray = add_reading(sealed.visit, sealed.spot, sealed.calibration, total=1.0, position=90)
    rows = (
        {"reading": sealed, "replacement": stray},  # a second one in its place
        {"reading": new, "replacement": sealed},  # a ring
        {"reading": stray, "replacement": stray},
        {"reading": stray, "replacement": new},  # stands for another already
    )
    for row in rows:
        with pytest.raises(IntegrityError), transaction.atomic():
            Correction.objects.create(reason="x", made_at=timezone.now(), **row)
    with pytest.raises(IntegrityError), transaction.atomic():
        Correction.objects.create(reading=stray, reason="", made_at=timezone.now())


def test_a_typed_error_that_looked_dangerous_is_no_danger_once_corrected(sealed, right, office):
    # 5000 V/m is the reference level at 50 Hz.
    wrong = correct(sealed, office, **right | {"total": 8400.0})
    assert [one.kind for one in dangers_of(sealed.visit)] == ["field"]
    correct(wrong, office, **right)
    assert dangers_of(sealed.visit) == []


def test_what_only_counts_no_more_is_still_a_danger(sealed, right, office):
    wrong = correct(sealed, office, **right | {"total": 8400.0})
    set_aside(wrong, office)
    assert [one.kind for one in dangers_of(sealed.visit)] == ["field"]


def test_what_a_follow_up_repeats_comes_from_the_reading_that_counts(sealed, right, office):
    other = CalibrationFactory(instrument=Instrument.objects.create(name="field meter B"))
    correct(sealed, office, **right | {"instrument": other.instrument})
    assert [row.instrument.name for row in to_repeat(sealed.visit, sealed.visit)] == [
        "field meter B"
    ]


def form_of(key, **change):
    return {"key": str(key), "total": "84", "unit": "V/m", "state": "as-used",
            "reason": "digits transposed"} | change  # fmt: skip


def test_a_sealed_reading_is_corrected_on_its_page(browser, sealed):
    page = reverse("reading_correct", args=[sealed.pk])
    shown = browser.get(page).content.decode()
    assert 'name="reason"' in shown
    assert 'name="measurand"' not in shown
    form = form_of(uuid4(), instrument=sealed.instrument_id)
    assert browser.post(page, form | {"reason": ""}).status_code == 422
    first = browser.post(page, form)
    again = browser.post(page, form)
    assert (first.status_code, again.status_code) == (302, 302)
    assert first["Location"] == again["Location"]
    new = Correction.objects.get().replacement
    old_page = browser.get(reverse("reading_detail", args=[sealed.pk])).content.decode()
    assert f"Corrected by reading {new.position}" in old_page
    assert reverse("reading_correct", args=[sealed.pk]) not in old_page
    new_page = browser.get(first["Location"]).content.decode()
    assert f"entered after the seal, corrects reading {sealed.position}" in new_page
    assert "<del>48 V/m</del>" in new_page
    assert "digits transposed" in new_page
    visit_page = browser.get(reverse("visit_detail", args=[sealed.visit_id])).content.decode()
    assert f"corrected by reading {new.position}" in visit_page
    assert f"corrects reading {sealed.position}" in visit_page
    assert "1 reading was put right" in visit_page
    sheet = browser.get(reverse("visit_sheet", args=[sealed.visit_id])).content.decode()
    assert "Readings put right after the seal" in sheet


def test_a_sealed_reading_is_set_aside_on_its_page(browser, sealed):
    page = reverse("reading_set_aside", args=[sealed.pk])
    form = {"reason": "wrong room", "key": str(uuid4())}
    assert browser.post(page, form | {"reason": ""}).status_code == 422
    assert [browser.post(page, form).status_code for _ in range(2)] == [302, 302]
    assert Correction.objects.get().reason == "wrong room"
    assert Reading.objects.get(pk=sealed.pk).set_aside == ""
    assert (
        "Set aside after the seal"
        in browser.get(reverse("reading_detail", args=[sealed.pk])).content.decode()
    )


@pytest.mark.parametrize(
    ("asker", "status"),
    [("office", 302), ("its assessor", 302), ("another assessor", 404), ("its client", 403)],
)
def test_who_may_correct_a_sealed_reading(cast, client, sealed, asker, status):
    cast.log_in(client, asker)
    form = form_of(uuid4(), instrument=sealed.instrument_id)
    answer = client.post(reverse("reading_correct", args=[sealed.pk]), form)
    assert answer.status_code == status
    assert Correction.objects.count() == (status == 302)


def _queries(browser, name, pk):
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(reverse(name, args=[pk])).status_code == 200
    return len(queries)


def test_pages_cost_the_same_for_one_correction_and_for_twenty(browser, sealed, right, office):
    correct(sealed, office, **right)
    pages = [("visit_detail", sealed.visit_id), ("reading_detail", sealed.pk)]
    for page in pages:
        browser.get(reverse(page[0], args=[page[1]]))  # warm
    few = [_queries(browser, *page) for page in pages]
    for place in range(20):
        row = add_reading(
            sealed.visit, sealed.spot, sealed.calibration, total=2.0, position=100 + 2 * place
        )
        correct(row, office, **right | {"total": 3.0 + place})
    assert [_queries(browser, *page) for page in pages] == few


def test_the_database_refuses_to_change_a_correction(sealed, right, office):
    correct(sealed, office, **right)
    for change in ({"reason": "x"}, {"replacement": None}, {"made_at": timezone.now()}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Correction.objects.update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        Correction.objects.all().delete()
    Correction.objects.update(made_by=None)


def test_a_correction_is_no_look_at_the_meter(sealed, right, office):
    correct(sealed, office, **right)
    (visit,) = Visit.objects.filter(pk=sealed.visit_id).for_list()
    assert (vars(visit)["n_readings"], visit.readings.count()) == (1, 2)
