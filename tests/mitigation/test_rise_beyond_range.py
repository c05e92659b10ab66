"""A field that rose over the range of the meter: it rose at least so many times (reduction-2)."""

import pytest

from consult.letters.formats import Formats, picture_words
from consult.letters.picture import before_after_svg
from mitigation.comparison import compare
from mitigation.letters.outcome import next_steps
from mitigation.letters.phrases import charts, reduction_words
from mitigation.letters.verdict import verdict_sentences
from surveys.models import Reading
from surveys.services.facts import guideline_facts
from tests.factories import CalibrationFactory, add_reading, as_if_so_from_the_start, compared_case

pytestmark = pytest.mark.django_db

ROSE = "The field rose at: Bedroom"
TRIALS = "Find out by switching trials"


def spots(before, after, **fields):
    """The comparison of one reading with another, each a number with its sign."""
    case = compared_case()
    old = Reading.objects.filter(visit__cases=case)
    spot = old.first().spot
    for visit, (total, mark) in zip(case.visits.order_by("date"), (before, after), strict=True):
        calibration = CalibrationFactory(**fields)
        add_reading(visit, spot, calibration, total=total, total_mark=mark, position=70)
    as_if_so_from_the_start(old.exclude(position=70), state="trial")
    return compare(case).as_json()["spots"]


@pytest.mark.parametrize(
    ("before", "after", "figure"),
    [
        # 313/21.9 = 14.292; two certificates, g = 0.03 and p = 0.05, a = 0.1/√12 = 0.0289:
        # σ² = 2·0.05² + 2·0.03² + (a/21.9)² + (a/313)² = 0.0068017;
        # 14.292·exp(-2·0.082472) = 12.119
        ((21.9, ""), (313.0, ">"), "rose, at least 12-fold"),
        # σ² = 0.0068 + (a/0.3)² = 0.0160593; 313/0.3·exp(-2·0.126725) = 809.7
        ((0.3, "<"), (313.0, ">"), "rose, at least 809-fold"),
        # 330/300·exp(-2·0.082462) = 0.933: a rise by the bounds, but not for certain
        ((300.0, ""), (330.0, ">"), "no certain rise"),
        ((300.0, ""), (400.0, ">"), "rose by at least 13\u00a0%"),  # 4/3·0.84796 = 1.1306
        ((200.0, ">"), (313.0, ">"), "no figure"),  # nobody knows how much over it was before
    ],
)
def test_a_rise_over_the_range_has_the_end_that_is_nearer_to_none(before, after, figure):
    found = spots(before, after)
    is_told = figure.startswith("rose")
    assert reduction_words(found[0], Formats("en")) == (figure, "")
    assert (ROSE in " ".join(verdict_sentences(found))) == is_told
    assert any(TRIALS in step for step in next_steps(found)) == is_told


def test_its_picture_has_a_double_line_and_an_arrow_to_the_right():
    case = compared_case()
    outcome = {"spots": spots((21.9, ""), (313.0, ">"))}
    (chart,) = charts(outcome, {}, guideline_facts(case.guideline), Formats("en"))
    svg = before_after_svg(chart, picture_words("en"))
    assert svg.count('class="rise"') == 2  # the row, and what its marks mean
    points = [path.split('d="M')[1].split('"')[0] for path in svg.split('class="at-least"')[1:]]
    for path in points:
        tail, tip = path.split("L")[:2]
        assert float(tip.split()[0]) > float(tail.split()[0])
    assert points and "&gt; 313 V/m" in svg


def test_what_is_not_comparable_is_not_said_to_have_risen():
    found = spots((21.9, ""), (313.0, ">"), due_on="2026-05-17")
    assert found[0]["blocks"]
    assert ROSE not in " ".join(verdict_sentences(found))
