"""What a visit says of its method, and a reading of its height, stands in the engineer's part."""

from dataclasses import replace

from consult.letters.formats import Formats
from surveys.letters.facts import ReadingFacts, VisitFacts
from surveys.letters.readings import distances_of
from surveys.letters.technical import visits_and_conditions
from tests.letters.samples import BEFORE_DAY as DAY

VISIT = VisitFacts("baseline", DAY, note="heating on", label="V1")


def notes_and_plans(*visits: VisitFacts) -> tuple[list[str], list[str]]:
    """The last cell of each visit's row, and the paragraphs below the table."""
    _heading, table, *paragraphs = visits_and_conditions(visits, Formats("en"))
    rows = [row for group in table["groups"] for row in group["rows"]]
    return [row[-1] for row in rows], [paragraph["text"] for paragraph in paragraphs]


def test_a_visit_without_either_says_nothing() -> None:
    assert notes_and_plans(VISIT) == (["heating on"], [])
    assert notes_and_plans(replace(VISIT, note="")) == (["–"], [])


def test_deviations_stand_with_the_note_and_a_plan_once_below() -> None:
    visit = replace(VISIT, deviations="attic not reached", sampling="each bed at three places")
    cells, paragraphs = notes_and_plans(visit, replace(visit, note="", kind="follow-up"))
    assert cells == ["heating on; attic not reached", "attic not reached"]
    assert paragraphs == ["How the spots were chosen: each bed at three places"]


def test_a_height_is_written_with_the_distances() -> None:
    reading = ReadingFacts(DAY, height_m=0.55, body_distance_m=1.6)
    assert distances_of(reading, Formats("de")) == ["0,55 m above the floor", "body 1,6 m away"]
