"""Registers on screen: instruments, what falls due, guidelines, own placement uncertainty."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from mitigation.models import Case
from surveys.models import Band, Calibration, Guideline, Instrument, Measurand, Reading
from surveys.results import bounds_of
from surveys.results.certificates import falling_due
from surveys.services import registers
from surveys.services.placement import own_placement
from tests.cast import make_cast
from tests.factories import (
    CalibrationFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
    add_reading,
    as_if_so_from_the_start,
)
from tests.forms import opened

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 1)
ROW = {
    "quantity": "electric field",
    "unit": "V/m",
    "gain_percent": "6",
    "resolution": "0.1",
    "certificate": "K-200",
    "calibrated_on": "2026-05-01",
    "due_on": "2028-05-01",
}


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def test_what_falls_due_is_late_first_and_without_end_last():
    for name, due in (("C", "2026-09-01"), ("A", "2026-05-31"), ("B", "2026-06-01")):
        CalibrationFactory(
            instrument=Instrument.objects.create(name=name), due_on=dt.date.fromisoformat(due)
        )
    CalibrationFactory(instrument=Instrument.objects.create(name="D"), due_on=None)
    CalibrationFactory(
        instrument=Instrument.objects.create(name="E"), certificate="", calibrated_on=None
    )
    CalibrationFactory(instrument=Instrument.objects.create(name="F", is_retired=True))
    found = falling_due(TODAY)
    assert [(one.calibration.instrument.name, one.days_left) for one in found] == [
        ("A", -1),
        ("B", 0),
        ("C", 92),  # 29 days of June, 31 of July, 31 of August, 1 of September
        ("D", None),
        ("E", None),
    ]
    assert [one.is_late for one in found] == [True, False, False, False, False]
    assert [one.is_soon for one in found] == [False, True, False, False, False]


def test_only_the_newest_certificate_of_a_quantity_falls_due():
    old = CalibrationFactory.create(
        calibrated_on=dt.date(2024, 1, 1), due_on=dt.date(2025, 1, 1), certificate="K-old"
    )
    CalibrationFactory(instrument=old.instrument, certificate="K-new")
    assert [one.calibration.certificate for one in falling_due(TODAY)] == ["K-new"]


def test_an_instrument_and_its_certificate_are_entered(client, office):
    client.post(reverse("instrument_add"), {"name": "field meter Q", "maker": "Voss"})
    instrument = Instrument.objects.get(name="field meter Q")
    answer = client.post(reverse("calibration_add", args=[instrument.pk]), ROW)
    assert answer.status_code == 302
    row = instrument.calibrations.get()
    assert (row.gain_percent, row.due_on) == (6.0, dt.date(2028, 5, 1))
    assert row.history.get().history_user == office
    page = client.get(reverse("instrument_detail", args=[instrument.pk])).content.decode()
    assert "K-200" in page
    assert "field meter Q" in client.get(reverse("instrument_list")).content.decode()


def test_two_instruments_have_two_names(client, office):
    Instrument.objects.create(name="field meter Q")
    answer = client.post(reverse("instrument_add"), {"name": "field meter Q"})
    assert answer.status_code == 422
    assert Instrument.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"unit": "nT"}, "V/m, kV/m for this quantity"),
        ({"resolution": "0"}, "A number above 0."),
        ({"gain_percent": "-1"}, "A number of 0 or more."),
        ({"floor": "5", "ceiling": "5"}, "A number above the lower end."),
        ({"low_hz": "50", "high_hz": "5"}, "A number above the lower end."),
        ({"due_on": "2026-04-30"}, "A day not before that of the calibration."),
        ({"calibrated_on": "2026-01-10"}, "There is a row of this instrument"),
    ],
)
def test_a_wrong_certificate_is_refused_as_in_a_case_folder(client, office, change, word):
    instrument = CalibrationFactory.create().instrument  # calibrated on 2026-01-10
    address = reverse("calibration_add", args=[instrument.pk])
    answer = client.post(address, ROW | change)
    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert instrument.calibrations.count() == 1
    assert client.post(address, ROW).status_code == 302


def test_a_certificate_is_corrected_until_a_sealed_reading_stands_on_it(client, office):
    row = CalibrationFactory.create()
    address = reverse("calibration_edit", args=[row.pk])
    assert client.get(address).status_code == 200
    assert client.post(address, opened(client, address) | ROW).status_code == 302
    visit = VisitFactory.create(sealed_at=None)
    add_reading(visit, SpotFactory.create(home=visit.property), row, total=5.0)
    seen = opened(client, address) | ROW
    assert client.post(address, seen | {"gain_percent": "7"}).status_code == 302
    visit.sealed_at = timezone.now()
    visit.save()
    refused = client.post(address, seen | {"gain_percent": "8"})
    assert refused.status_code == 422
    assert "Sealed readings stand on this certificate" in refused.content.decode()
    assert Calibration.objects.get(pk=row.pk).gain_percent == 7.0
    assert client.get(address).status_code == 302
    page = client.get(reverse("instrument_detail", args=[row.instrument_id])).content.decode()
    assert address not in page


def test_a_certificate_under_typed_readings_stays_one_of_their_quantity(client, office):
    """Else the readings of the open visit would be sealed with limits of another quantity."""
    row = CalibrationFactory()
    reading = add_reading(VisitFactory(sealed_at=None), SpotFactory(), row, total=4.0)
    url = reverse("calibration_edit", args=[row.pk])
    said = opened(client, url)
    other = said | {"quantity": "body voltage", "unit": "mV"}
    answer = client.post(url, other)
    assert answer.status_code == 422
    assert "Readings stand on it: the quantity stays." in answer.content.decode()
    row.refresh_from_db()
    assert (row.quantity, row.unit) == ("electric field", "V/m")
    assert client.post(url, said | {"gain_percent": "7"}).status_code == 302
    reading.delete()
    assert (
        client.post(
            url, opened(client, url) | {"quantity": "body voltage", "unit": "mV"}
        ).status_code
        == 302
    )


def test_a_retired_instrument_falls_due_no_more(client, office):
    instrument = CalibrationFactory.create().instrument
    address = reverse("instrument_edit", args=[instrument.pk])
    client.post(address, opened(client, address) | {"is_retired": "on"})
    assert Instrument.objects.get().is_retired
    assert falling_due(TODAY) == []


def guideline_post(**change):
    post = {"code": "OWN-1", "title": "Our own", "source": "Practice paper 3, 2026"}
    post |= {f"name_{number}": f"step {number}" for number in range(1, 5)}
    for measurand in Measurand:
        post |= {f"{measurand}-b1": "1", f"{measurand}-b2": "5", f"{measurand}-b3": "50.5"}
    return post | change


def test_a_guideline_of_ones_own_is_entered_and_used(client, office):
    assert client.post(reverse("guideline_add"), guideline_post()).status_code == 302
    guideline = Guideline.objects.get(code="OWN-1")
    assert bounds_of(guideline).tolist() == [[1.0, 5.0, 50.5]] * 4
    assert Band.objects.filter(guideline=guideline).count() == 16
    assert "Practice paper 3, 2026" in client.get(reverse("guideline_list")).content.decode()
    assert client.post(reverse("guideline_remove", args=["OWN-1"])).status_code == 302
    assert not Guideline.objects.filter(code="OWN-1").exists()


@pytest.mark.parametrize(
    "change",
    [
        {"body-voltage-b2": "1"},
        {"body-voltage-b3": "4"},
        {"body-voltage-b1": "0"},
        {"source": ""},
        {"code": "SBM-2015"},
        {"name_4": ""},
    ],
)
def test_a_guideline_without_rising_bounds_or_source_is_refused(client, office, change):
    before = Guideline.objects.count()
    assert client.post(reverse("guideline_add"), guideline_post(**change)).status_code == 422
    assert Guideline.objects.count() == before


def test_built_in_guidelines_and_those_of_cases_stay(client, office):
    built_in = Guideline.objects.get(code="SBM-2015")
    with pytest.raises(ValidationError, match="built-in"):
        registers.remove_guideline(guideline=built_in, by=office)
    client.post(reverse("guideline_add"), guideline_post())
    own = Guideline.objects.get(code="OWN-1")
    case: Case = make_cast().case
    Case.objects.filter(pk=case.pk).update(guideline=own)
    with pytest.raises(ValidationError, match="Cases are judged"):
        registers.remove_guideline(guideline=own, by=office)
    assert own.bands.count() == 16


def repeats(visit, values, **fields):
    calibration = CalibrationFactory.create(certificate=f"K-{visit.pk}-{len(values)}")
    spot = SpotFactory.create(home=visit.property)
    return [add_reading(visit, spot, calibration, total=value, **fields) for value in values]


def test_repeat_readings_tell_the_placement_uncertainty(client, office):
    visit = VisitFactory.create()
    # By hand, as in tests/calc/test_placement.py: 9, 10, 11 and 98, 102 pool to 8.32666 %.
    tens = repeats(visit, [9.0, 10.0, 11.0])
    repeats(visit, [98.0, 102.0])
    repeats(visit, [55.0])
    # None of these is a repeat: a trial, one set aside, "<", near the floor, an open visit.
    repeats(visit, [10.0, 20.0], state="trial")
    repeats(visit, [10.0, 20.0], set_aside="lamp on")
    repeats(visit, [10.0, 20.0], total_mark="<")
    repeats(visit, [0.1, 0.12])
    repeats(VisitFactory.create(sealed_at=None, property=visit.property), [10.0, 20.0])
    _first, second = repeats(visit, [30.0, 60.0])
    as_if_so_from_the_start(Reading.objects.filter(pk=second.pk), load="washing machine")
    own = own_placement(Reading.objects.all())
    assert own is not None
    assert own.percent == pytest.approx(100 * (0.0208 / 3) ** 0.5, rel=1e-9)
    assert own.degrees_of_freedom == 3
    assert own.is_thin
    assert [one.n for one in own.groups] == [3, 2]
    assert own.groups[0].reading == tens[0]
    assert "8.3" in client.get(reverse("placement")).content.decode()


def test_without_repeats_there_is_no_figure(client, office):
    repeats(VisitFactory.create(), [9.0])
    assert own_placement(Reading.objects.all()) is None
    assert "No sealed visit" in client.get(reverse("placement")).content.decode()


def test_registers_cost_the_same_for_many_rows(client, office):
    pages = [reverse(name) for name in ("instrument_list", "guideline_list", "placement")]
    visit = VisitFactory.create()
    repeats(visit, [9.0, 10.0])
    instrument = Instrument.objects.get()
    pages.append(reverse("instrument_detail", args=[instrument.pk]))

    def count() -> list[int]:
        found = []
        for page in pages:
            with CaptureQueriesContext(connection) as queries:
                assert client.get(page).status_code == 200
            found.append(len(queries))
        return found

    count()  # warm
    few = count()
    for number in range(20):
        CalibrationFactory(instrument=Instrument.objects.create(name=f"meter {number}"))
        CalibrationFactory(instrument=instrument, calibrated_on=dt.date(2026, 2, 1 + number))
        repeats(VisitFactory.create(property=visit.property), [9.0, 10.0])
    assert count() == few


def test_the_page_of_an_instrument_says_who_changed_what(client, office):
    meter = registers.add_instrument(by=office, name="field meter Z")
    given = {"quantity": "electric field", "unit": "V/m", "gain_percent": 5.0, "resolution": 0.1}
    row = registers.add_calibration(instrument=meter, by=office, certificate="Z-1", **given)
    jo = UserFactory(name="Jo Lind")
    registers.change_calibration(
        calibration=row, by=jo, certificate="Z-2", **given | {"gain_percent": 6.5}
    )
    registers.change_instrument(
        instrument=meter, by=jo, name="field meter Y", maker="", serial="", is_retired=True
    )
    registers.add_instrument(by=office, name="another")
    page = reverse("instrument_detail", args=[meter.pk])
    changes = client.get(page).context["changes"]
    told = [
        (one.what, one.kind, one.who, {f.name: (f.before, f.after) for f in one.fields})
        for one in changes
    ]
    assert told[0] == (
        "field meter Y", "changed", "Jo Lind",
        {"Instrument": ("field meter Z", "field meter Y"), "Out of use": ("no", "yes")},
    )  # fmt: skip
    assert told[1] == (
        "Z-2 (field meter Y)", "changed", "Jo Lind",
        {"Gain [%]": ("5", "6.5"), "Certificate": ("Z-1", "Z-2")},
    )  # fmt: skip
    assert [(what, kind) for what, kind, *_ in told[2:]] == [
        ("Z-1 (field meter Y)", "entered"),
        ("field meter Z", "entered"),
    ]
    assert "Jo Lind" in client.get(page).content.decode()


def test_a_long_history_of_an_instrument_is_paged_at_the_same_cost(client, office):
    meter = registers.add_instrument(by=office, name="field meter Z")
    page = reverse("instrument_detail", args=[meter.pk])
    client.get(page)
    with CaptureQueriesContext(connection) as few:
        client.get(page)
    for number in range(25):
        registers.change_instrument(
            instrument=meter, by=office, name=f"Z {number}", maker="", serial="", is_retired=False
        )
    with CaptureQueriesContext(connection) as many:
        shown = client.get(page)
    assert len(few) == len(many)
    assert len(shown.context["changes"]) == 20
    assert len(client.get(f"{page}?page=2").context["changes"]) == 6


def test_who_entered_and_who_took_away_a_guideline_is_kept(client, office):
    jo = UserFactory(name="Jo Lind")
    guideline = registers.add_guideline(
        by=office,
        code="OWN-1",
        title="Own table",
        source="the practice",
        bounds={one: [1.0, 2.0, 3.0] for one in Measurand},
        band_names=["none", "slight", "severe", "extreme"],
    )
    registers.remove_guideline(guideline=guideline, by=jo)
    shown = client.get(reverse("guideline_list"))
    assert [(one.what, one.kind, one.who) for one in shown.context["changes"]] == [
        ("OWN-1", "removed", "Jo Lind"),
        ("OWN-1", "entered", office.name),
    ]
    assert Band.history.filter(guideline_id=guideline.pk, history_type="+").count() == 16
