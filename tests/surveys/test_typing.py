"""Typing many readings: each form enters once, the units follow, the cursor goes on."""

import re
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from consult.models import User
from surveys.models import GroundCheck, GroundPoint, Instrument, Measurand, Quantity, Reading
from surveys.services import visits
from surveys.services.typed_readings import refuse_wrong
from tests.cast import make_cast
from tests.factories import BASELINE_DAY, CalibrationFactory, SpotFactory, UserFactory

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


@pytest.fixture
def visit(cast):
    return visits.plan_visit(
        home=cast.case.property,
        kind="baseline",
        day=BASELINE_DAY,
        by=cast.people["office"],
        assessor="A. Brook",
    )


@pytest.fixture
def row(visit):
    return {
        "key": str(uuid4()),
        "spot": SpotFactory(home=visit.property).pk,
        "measurand": Measurand.ELECTRIC_FIELD_GROUND,
        "instrument": CalibrationFactory.create().instrument_id,
        "total": "5",
        "unit": "V/m",
        "state": "as-used",
    }


def send(browser, visit, row, **kwargs):
    return browser.post(reverse("reading_add", args=[visit.pk]), row, **kwargs)


@pytest.mark.parametrize(("headers", "status"), [({}, 302), (HTMX, 200)])
def test_a_form_sent_again_enters_one_reading(browser, visit, row, headers, status):
    answers = [send(browser, visit, row, headers=headers).status_code for _ in range(3)]
    assert answers == [status] * 3
    assert visit.readings.count() == 1


def test_the_same_form_with_another_number_is_asked_about_and_then_another_reading(
    browser, visit, row
):
    send(browser, visit, row)
    answer = send(browser, visit, row | {"total": "6"})
    assert answer.status_code == 422
    assert "entered before, with other content" in answer.content.decode()
    key = re.search(r'name="key" value="([0-9a-f-]+)"', answer.content.decode())[1]
    send(browser, visit, row | {"total": "6", "key": key})
    assert sorted(visit.readings.values_list("total", flat=True)) == [5.0, 6.0]


def test_a_ground_point_stays_offered_and_is_kept_where_the_quantity_has_one(browser, visit, row):
    point = GroundPoint.objects.create(property=visit.property, name="rod")
    ground = {"ground_point": point.pk}
    send(browser, visit, row | ground)
    coil = CalibrationFactory.create(quantity="magnetic flux density", unit="nT").instrument_id
    flux = {"measurand": Measurand.MAGNETIC_FLUX_DENSITY, "instrument": coil, "unit": "nT"}
    other = row | ground | flux | {"key": str(uuid4())}
    answer = send(browser, visit, other, follow=True).content.decode()
    points = visit.readings.order_by("position").values_list("ground_point", flat=True)
    assert list(points) == [point.pk, None]
    offered = answer.split('name="ground_point"')[1].split("</select>")[0]
    assert f'<option value="{point.pk}" selected>' in offered


def test_two_forms_with_the_same_number_are_two_readings(browser, visit, row):
    send(browser, visit, row)
    send(browser, visit, row | {"key": str(uuid4())})
    assert visit.readings.count() == 2


def test_a_form_that_was_refused_may_be_sent_again_with_its_key(browser, visit, row):
    assert send(browser, visit, row | {"total": "five"}).status_code == 422
    assert send(browser, visit, row).status_code == 302
    assert str(visit.readings.get().uid) == row["key"]


def test_a_reading_that_was_entered_is_not_refused_after_the_seal(browser, cast, visit, row):
    """The answer was lost, somebody sealed, the form is sent again: it has been entered."""
    office = cast.people["office"]
    point = visits.add_ground_point(visit=visit, by=office, name="rod")
    row |= {"ground_point": point.pk}
    send(browser, visit, row)
    visits.change_conditions(visit=visit, by=office, humidity_percent=40.0, supply_voltage_v=230.0)
    check = {"check-point": point.pk, "check-outlet_test": "ok", "check-key": str(uuid4())}
    for _time in range(2):
        browser.post(reverse("ground_check_add", args=[visit.pk]), check)
    assert GroundCheck.objects.count() == 1
    browser.post(reverse("visit_seal", args=[visit.pk]), {"sure": "on"})
    visit.refresh_from_db()
    assert visit.sealed_at is not None
    assert send(browser, visit, row).status_code == 302
    assert send(browser, visit, row | {"total": "7"}).status_code == 422
    assert visit.readings.count() == 1


def test_a_key_is_of_one_visit_alone(browser, cast, visit, row):
    other = visits.plan_visit(
        home=cast.case.property, kind="baseline", day=BASELINE_DAY, by=UserFactory()
    )
    assert send(browser, visit, row).status_code == 302
    assert send(browser, other, row).status_code == 422
    assert (visit.readings.count(), other.readings.count()) == (1, 0)


def units_in(html):
    """The units that the list offers, and the chosen one."""
    select = re.search(r'<select name="unit".*?</select>', html, re.DOTALL).group()
    offered = re.findall(r'<option value="([^"]*)"', select)
    chosen = re.findall(r'<option value="([^"]*)" selected', select)
    return offered, chosen, re.findall(r'<optgroup label="([^"]*)"', select)


def units(browser, visit, **asked):
    answer = browser.get(reverse("reading_fields", args=[visit.pk]), asked, headers=HTMX)
    assert answer.status_code == 200
    return units_in(answer.content.decode())


def test_the_list_of_units_follows_the_quantity(browser, visit, row):
    meter = row["instrument"]
    offered, chosen, groups = units(browser, visit, measurand="magnetic-flux-density",
                                    instrument=meter, unit="V/m")  # fmt: skip
    assert offered == ["nT", "µT", "mG"]
    assert (chosen, groups) == (["nT"], [])
    assert units(browser, visit, measurand="body-voltage", unit="V")[:2] == (["mV", "V"], ["V"])


def test_a_number_that_no_instrument_can_have_chooses_no_unit(browser, visit):
    offered, chosen, _groups = units(
        browser, visit, measurand="body-voltage", unit="nT", instrument="9" * 30
    )
    assert (offered, chosen) == (["mV", "V"], ["mV"])


def test_of_the_units_that_of_the_instrument_is_chosen(browser, visit):
    gauss = Instrument.objects.create(name="coil")
    CalibrationFactory(instrument=gauss, quantity=Quantity.MAGNETIC_FLUX_DENSITY, unit="mG")
    asked = {"measurand": "magnetic-flux-density", "instrument": gauss.pk, "unit": "V/m"}
    assert units(browser, visit, **asked)[1] == ["mG"]


@pytest.mark.parametrize("odd", ["", "heat", "electric-field-ground'"])
def test_an_unknown_quantity_offers_every_unit(browser, visit, odd):
    offered, _chosen, groups = units(browser, visit, measurand=odd, instrument="x")
    assert offered == ["V/m", "kV/m", "mV", "V", "nT", "µT", "mG"]
    assert len(groups) == 3


def test_without_script_every_unit_is_offered_by_quantity(browser, visit, row):
    send(browser, visit, row)
    page = browser.get(reverse("visit_detail", args=[visit.pk])).content.decode()
    offered, chosen, groups = units_in(page)
    assert offered == ["V/m", "kV/m", "mV", "V", "nT", "µT", "mG"]
    assert groups == ["electric field", "body voltage", "magnetic flux density"]
    assert chosen == ["V/m"]
    refused = send(browser, visit, row | {"unit": "nT", "key": str(uuid4())})
    assert (refused.status_code, visit.readings.count()) == (422, 1)
    assert "V/m, kV/m for this quantity" in refused.content.decode()


def field_with_cursor(html):
    return re.findall(r'<(?:input|select|textarea)[^>]*name="(\w+)"[^>]*autofocus', html)


def test_the_cursor_goes_on_to_the_next_display(browser, visit, row):
    part = send(browser, visit, row, headers=HTMX).content.decode()
    assert field_with_cursor(part) == ["total"]
    assert row["key"] not in part
    offered, chosen, _groups = units_in(part)
    assert (offered, chosen) == (["V/m", "kV/m"], ["V/m"])
    for name in ("spot", "instrument"):
        assert re.search(rf'<option value="{row[name]}" selected', part)
    axes = row | {"key": str(uuid4()), "total": "", "x": "1", "y": "2"}
    assert field_with_cursor(send(browser, visit, axes, headers=HTMX).content.decode()) == ["x"]
    wrong = axes | {"key": str(uuid4()), "y": "two"}
    part = send(browser, visit, wrong, headers=HTMX).content.decode()
    assert field_with_cursor(part) == ["y"]
    assert wrong["key"] in part


@pytest.mark.parametrize("word", ["1e200", "1e13", "<1e-13", ">1e13"])
def test_a_number_that_no_meter_shows_is_refused(browser, visit, row, word):
    """The square of 1e200 is no number: the page of the visit could not be drawn any more."""
    assert send(browser, visit, row | {"total": word}).status_code == 422
    assert not visit.readings.exists()
    assert send(browser, visit, row | {"total": word[0].strip("1") + "120"}).status_code == 302


def test_a_service_takes_no_number_that_no_meter_shows(cast, visit, row):
    typed = {"spot_id": row["spot"], "instrument_id": row["instrument"], "unit": "V/m"}
    rows = Reading(visit=visit, measurand=row["measurand"], total=1e200, **typed)
    with pytest.raises(ValidationError) as refused:
        refuse_wrong(rows)
    assert refused.value.message_dict["total"] == ["A number that a meter can show."]


@pytest.mark.parametrize(
    ("language", "word", "number"),
    [
        ("en", "1.5", 1.5),
        ("en", "1,5", 1.5),
        ("en", "1.500", 1.5),
        ("en", "1,500", "1500 or 1.500? Write which of them it is."),
        ("en", "12,345.6", "not '.' and ',' together"),
        ("en", "0,250", 0.25),
        ("de", "1,5", 1.5),
        ("de", "1.5", 1.5),
        ("de", "1,500", 1.5),
        ("de", "0.250", 0.25),
        # So does a German page itself write 29586: read as 29.586 it would be a thousandth.
        ("de", "29.586", "29586 oder 29,586? Schreiben Sie, welche es ist."),
        ("de", "1.500", "1500 oder 1,500? Schreiben Sie, welche es ist."),
        ("de", "1.234.567", "Eine Zahl ab 0, etwa 4,2"),
    ],
)
def test_a_mark_that_could_part_thousands_is_asked_about(
    browser, cast, visit, row, language, word, number
):
    User.objects.filter(pk=cast.people["its assessor"].pk).update(language=language)
    answer = send(browser, visit, row | {"total": word}, follow=True)
    if isinstance(number, str):
        assert answer.status_code == 422
        said = " ".join(answer.context["reading_form"].errors["total"])
        assert number in said, said
    else:
        assert visit.readings.get().total == number
