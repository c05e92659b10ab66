"""A field that rose over the range of the meter: no figure, but it is said that it rose."""

import pytest

from mitigation.comparison import compare
from mitigation.letters.outcome import next_steps
from mitigation.letters.verdict import verdict_sentences
from surveys.models import Reading
from tests.factories import CalibrationFactory, add_reading, as_if_so_from_the_start, compared_case

pytestmark = pytest.mark.django_db

ROSE = "The field is higher than before, beyond the range of the meter, at: Bedroom"
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
    ("before", "after", "is_told"),
    [
        ((21.9, ""), (313.0, ">"), True),
        ((0.3, "<"), (313.0, ">"), True),
        # g = 3 %, p = 5 %: U is 11.7 % of each, 300 ± 35 and 313 ± 37 overlap
        ((300.0, ""), (313.0, ">"), False),
        ((200.0, ">"), (313.0, ">"), False),  # nobody knows how much over it was before
        ((21.9, ""), (313.0, ""), False),  # has its figure, and is told as a rise
    ],
)
def test_a_certain_rise_over_the_range_is_told_and_asks_for_trials(before, after, is_told):
    found = spots(before, after)
    assert (ROSE in " ".join(verdict_sentences(found))) == is_told
    told_with_figure = after[1] == ""
    assert any(TRIALS in step for step in next_steps(found)) == (is_told or told_with_figure)
    if is_told:
        assert found[0]["reduction"] is None


def test_what_is_not_comparable_is_not_said_to_have_risen():
    found = spots((21.9, ""), (313.0, ">"), due_on="2026-05-17")
    assert found[0]["blocks"]
    assert ROSE not in " ".join(verdict_sentences(found))
