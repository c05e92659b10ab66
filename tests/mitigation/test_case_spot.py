"""One row of the comparison: every reading behind it, and the sums that a reader can do again."""

import math
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.letters.formats import Formats
from consult.models import User
from mitigation.comparison import compare
from mitigation.letters.derivation import steps
from mitigation.models import CaseVisit
from surveys.models import GroundPoint, Reading
from surveys.results import cells_of
from surveys.services.corrections import correct_sealed_reading
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    SpotFactory,
    UserFactory,
    add_reading,
    as_if_so_from_the_start,
    compared_case,
)

pytestmark = pytest.mark.django_db

SBM = [1.0, 5.0, 50.0]  # V/m, ground-referenced, SBM-2015


@pytest.fixture
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


def address(case, reading, measurand="electric-field-ground"):
    return reverse("case_spot", args=[case.reference, reading.spot_id, measurand])


def told(case, language="en"):
    """The lines of each rule for the one row of a case."""
    comparison = compare(case)
    found = steps(
        comparison.rows[0],
        bounds=SBM,
        placement=0.05,
        formats=Formats(language),
        compared=comparison.follow_up is not None,
    )
    return {step.rule: list(step.lines) for step in found}


def test_every_sum_is_written_out_and_comes_to_what_is_printed():
    # By hand: g = 0.06/2 = 0.03, p = 0.05, a = 0.1/√12 = 0.028868.
    # u(48) = √((0.03·48)² + (0.05·48)² + a²) = √(2.0736 + 5.76 + 0.000833) = 2.79901
    # u(2.4) = √(0.005184 + 0.0144 + 0.000833) = 0.142888
    # u(5) = √(0.0225 + 0.0625 + 0.000833) = 0.292973, w = 0.585947
    # A/B = 0.05: 95 %, 26.0206 dB; σ² = 2·0.0025 + (a/48)² + (a/2.4)² = 0.00514504, σ = 0.0717289
    # 0.05·exp(±0.1434578) = 0.0577127 and 0.0433180: 94.2287 % and 95.6682 %
    said = told(compared_case(48.0, 2.4))
    assert said["resultant-1"] == ["before: E = 48 V/m", "after: E = 2.4 V/m"]
    assert said["uncertainty-1"] == [
        "before: g = 0.03, p = 0.05, a = 0.02887 V/m; "
        "u = √((0.03·48)² + (0.05·48)² + 0.02887²) = 2.799 V/m, U = 2u = 5.598 V/m",
        "after: g = 0.03, p = 0.05, a = 0.02887 V/m; "
        "u = √((0.03·2.4)² + (0.05·2.4)² + 0.02887²) = 0.1429 V/m, U = 2u = 0.2858 V/m",
    ]
    assert said["band-1"] == ["before: band 3, 5 ≤ E ≤ 50", "after: band 2, 1 ≤ E < 5"]
    assert said["target-2"] == [
        "T = 5 V/m, w = 2·u(T) = 0.5859 V/m; T − w = 4.414, T + w = 5.586",
        "E < T − w: met",
        "P(< T) > 0.999",
    ]
    assert said["reduction-2"] == [
        "A/B = 2.4/48 = 0.05; 100·(1 − A/B) = 95 %; 20·log10(B/A) = 26.02 dB",
        "σ = √(2·0.05² + (0.02887/48)² + (0.02887/2.4)²) = 0.07173",
        "A/B·exp(±2σ): 94.23 % ... 95.67 %",
        "the same certificate at both visits: its gain error cancels",
    ]
    assert said["comparable-2"] == [
        "nothing keeps the two from being compared",
        "cautions: no ground point named",
    ]
    assert told(compared_case(48.0, 2.4), "de")["reduction-2"][0].startswith("A/B = 2,4/48 = 0,05")


def axes_case(*after, ceiling=None, floor=0.3, **fields):
    """A case whose follow-up read three cells; each is a number with its sign."""
    case = compared_case(48.0, 2.4)
    visit = case.visits.get(kind="follow-up")
    typed: dict[str, object] = {}
    for axis, (number, mark) in zip("xyz", after, strict=False):
        typed |= {axis: number, f"{axis}_mark": mark}
    spot, calibration = visit.readings.get().spot, CalibrationFactory(floor=floor, ceiling=ceiling)
    reading = add_reading(visit, spot, calibration, **(typed | fields))
    others = Reading.objects.filter(visit=visit).exclude(pk=reading.pk)
    as_if_so_from_the_start(others, state="trial")
    return case, reading


def squares(line):
    return [float(number) ** 2 for number in re.findall(r"([\d.]+)²", line)]


@pytest.mark.parametrize(
    ("read", "ceiling", "sign", "value"),
    [
        ([(3.0, ""), (4.0, ""), (12.0, "")], None, "=", "13 V/m"),
        ([(3.0, ""), (4.0, ""), (0.1, "")], None, "=", "5.009 V/m"),  # 0.1 counts as the floor, 0.3
        ([(0.4, "<"), (0.3, "<"), (1.2, "<")], None, "≤", "1.3 V/m"),
        ([(3.0, ""), (9.0, ""), (4.0, "")], 8.0, ">", "9.434 V/m"),
        ([(3.0, ""), (9.0, ">"), (0.3, "<")], None, ">", "9.487 V/m"),
    ],
)
def test_the_squares_under_the_root_come_to_the_value(read, ceiling, sign, value):
    case, _reading = axes_case(*read, ceiling=ceiling)
    line = told(case)["resultant-1"][1]
    assert line.startswith(f"after: E {sign} √(") and line.endswith(f"= {value}")
    printed = float(re.search(r"([\d.]+) V/m$", line)[1])
    assert math.sqrt(sum(squares(line))) == pytest.approx(printed, rel=1e-3)
    found = compare(case).rows[0].pair.after.finding
    assert found.value == pytest.approx(math.sqrt(sum(squares(line))), rel=1e-12)


def test_bounds_are_told_where_a_cell_was_cut_off():
    case, _reading = axes_case((0.4, "<"), (0.3, "<"), (1.2, "<"))
    assert told(case)["censored-1"] == ["after: 0 ≤ E ≤ 1.3 V/m"]
    at_least = "a value is a bound: the end nearer to 0 is printed as “at least”"
    assert told(case)["reduction-2"][-1] == at_least
    case, _reading = axes_case((30.0, ""), (40.0, ""), (0.3, "<"))
    assert told(case)["censored-1"] == [
        "after: 50 ≤ E ≤ 50 V/m; the bounds differ by less than 0.1·u, so what was not detected "
        "does not matter"
    ]
    case, _reading = axes_case((3.0, ""), (9.0, ">"))
    assert told(case)["censored-1"] == ["after: E ≥ 9.487 V/m"]
    assert told(case)["reduction-2"] == [
        "no figure: the bounds leave open whether the field is lower or higher"
    ]


@pytest.mark.parametrize(
    ("cells", "qualifier"),
    [
        ({"x": 0.3, "y": 0.3, "z": 0.3, "x_mark": "<", "y_mark": "<", "z_mark": "<"}, "<"),
        ({"x": 0.4, "y": 0.3, "z": 0.3, "y_mark": "<", "z_mark": "<"}, "≤"),
    ],
)
def test_a_field_too_weak_for_the_meter_before_rose_at_least_from_its_bound(cells, qualifier):
    """Whether nothing of it was detected or a part; where it may have fallen there is no figure."""
    case = compared_case(48.0, 2.4)
    visit = case.visits.get(kind="baseline")
    (first,) = visit.readings.all()
    calibration = CalibrationFactory(floor=0.3, calibrated_on=BASELINE_DAY)
    reading = add_reading(visit, first.spot, calibration, **cells)
    others = Reading.objects.filter(visit=visit).exclude(pk=reading.pk)
    as_if_so_from_the_start(others, state="trial")
    assert compare(case).rows[0].pair.before.finding.qualifier == qualifier
    at_least = "a value is a bound: the end nearer to 0 is printed as “at least”"
    assert told(case)["reduction-2"][-1] == at_least
    after = case.visits.get(kind="follow-up").readings
    as_if_so_from_the_start(after, total=0.4)
    assert told(case)["reduction-2"] == [
        "no figure: the bounds leave open whether the field is lower or higher"
    ]


def test_a_pass_on_one_axis_says_why_it_is_held_back():
    case, _reading = axes_case((2.4, ""))
    assert told(case)["target-2"][1] == (
        "E < T − w, but not read on all three axes: just met: too close to the limit to be certain"
    )


def test_a_display_in_another_unit_is_taken_into_the_own_one():
    CalibrationFactory(quantity="magnetic flux density", unit="mG", floor=0.05, ceiling=200.0)
    case = compared_case()
    visit, spot = case.visits.get(kind="baseline"), Reading.objects.first().spot
    calibration = CalibrationFactory._meta.model.objects.get(unit="mG")
    reading = add_reading(
        visit, spot, calibration, x=0.76, y=300.0, z=0.01, unit="mG",
        measurand="magnetic-flux-density",
    )  # fmt: skip
    counted = cells_of(reading)
    assert counted.number.tolist()[0][:3] == [76.0, 20_000.0, 5.0]
    assert counted.mark.tolist() == [[0, 1, -1, 0]]
    assert counted.summand.tolist()[0][:3] == [76.0, 20_000.0, 0.0]


def test_without_a_floor_the_derivation_sums_with_the_resolution():
    """The sum on the page is the one of the value, whatever the certificate leaves out."""
    case, reading = axes_case((30.0, ""), (0.04, ""), floor=None)
    assert reading.calibration.floor is None and reading.calibration.resolution == 0.1
    assert told(case)["resultant-1"][1] == "after: E = √(30² + 0.1²) = 30 V/m"


@pytest.mark.parametrize(
    ("floor", "total", "number", "mark"),
    [(None, 0.05, 0.1, -1), (None, 0.1, 0.1, 0), (0.02, 0.05, 0.05, 0)],
)
def test_without_a_floor_the_resolution_serves_as_floor(floor, total, number, mark):
    case = compared_case(48.0, total)  # on an instrument with a resolution of 0.1 V/m
    CalibrationFactory._meta.model.objects.update(floor=floor)
    counted = cells_of(case.visits.get(kind="follow-up").readings.get())
    assert (counted.number[0, 3], counted.mark[0, 3]) == (number, mark)


def test_the_page_shows_every_reading_and_which_one_stands_for_the_spot(client, office):
    case = compared_case()
    baseline = case.visits.get(kind="baseline")
    first = baseline.readings.get()
    rod = GroundPoint.objects.create(property=case.property, name="garden rod")
    spot, calibration = first.spot, first.calibration
    add_reading(baseline, spot, calibration, total=44.0, ground_point=rod)
    add_reading(baseline, spot, calibration, total=60.0, set_aside="lamp was moved")
    add_reading(baseline, spot, calibration, total=5.0, state="trial", circuits_off="F3")
    elsewhere = SpotFactory(home=case.property)
    add_reading(baseline, elsewhere, calibration, total=777.0)
    page = client.get(address(case, first)).content.decode()
    for words in ("it is the highest", "another one is higher", "lamp was moved", "F3",
                  "garden rod", "K-100", "E &lt; T − w: met", "48 ±", "95.0"):  # fmt: skip
        assert words in page, words
    assert "777" not in page
    assert page.count("it is the highest") == 2  # one at each visit
    assert (
        address(case, first)
        in client.get(reverse("case_detail", args=[case.reference])).content.decode()
    )


def test_a_corrected_reading_leads_to_the_one_in_its_place(client, office):
    case = compared_case()
    reading = case.visits.get(kind="baseline").readings.get()
    typed = {name: getattr(reading, name) for name in ("instrument", "unit", "state")}
    correct_sealed_reading(
        reading=reading, by=office, now=timezone.now(), reason="digits transposed", total=84.0,
        **typed,
    )  # fmt: skip
    page = client.get(address(case, reading)).content.decode()
    assert "corrected by reading" in page and "digits transposed" in page
    assert "A/B = 2.4/84" in page


def test_what_is_not_comparable_says_so_and_gives_no_sum(client, office):
    case = compared_case()
    CalibrationFactory._meta.model.objects.update(due_on="2026-05-17")  # a day before the follow-up
    reading = Reading.objects.first()
    page = client.get(address(case, reading)).content.decode()
    assert "instrument out of calibration on the day of its visit" in page
    assert "no certificate was in force on the day of the follow-up" in page
    assert "A/B" not in page.split('<dl class="rules sums">')[1].split("Reduction = 100")[0]


def test_before_a_follow_up_nothing_is_compared(client, office):
    case = compared_case()
    CaseVisit.objects.get(visit__kind="follow-up").delete()
    page = client.get(address(case, Reading.objects.first())).content.decode()
    assert "uncertainty-1" in page
    for word in ("target-2", "reduction-2", "comparable-2", "Reduction"):
        assert word not in page


def test_a_spot_or_a_quantity_that_the_comparison_has_not_is_not_found(client, office):
    case, other = compared_case(), compared_case()
    mine = Reading.objects.filter(visit__cases=case).first()
    assert client.get(address(case, mine)).status_code == 200
    assert client.get(address(case, mine, "body-voltage")).status_code == 404
    assert client.get(address(other, mine)).status_code == 404


def test_the_page_costs_the_same_for_few_readings_and_for_many(
    client, office, django_assert_num_queries
):
    case = compared_case()
    baseline = case.visits.get(kind="baseline")
    reading = baseline.readings.get()
    client.get(address(case, reading))
    with django_assert_num_queries(60, exact=False) as few:
        client.get(address(case, reading))
    for number in range(20):
        add_reading(baseline, reading.spot, reading.calibration, total=float(number))
    with django_assert_num_queries(len(few)):
        client.get(address(case, reading))


def test_the_page_is_german_in_german(client, office):
    User.objects.update(language="de")
    page = client.get(address(compared_case(), Reading.objects.first())).content.decode()
    assert "Wie die Zahlen zustande kommen" in page
    assert "How the" not in page and "nothing keeps" not in page
