"""A letter's PDF taken apart: with the numbers that it carries the letter can be recomputed."""

import csv
import io
import json
import math
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from consult.letters import rendering
from consult.models import Letter
from consult.services.letters import content_sha256
from mitigation.models import Case
from mitigation.services.imports import import_case_folder
from surveys.intake.columns import COLUMNS
from surveys.intake.sources import READINGS
from surveys.models import Reading, Visit
from tests.factories import (
    add_reading,
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
)
from tests.letters.pdfs import enclosed_texts
from tests.project.files import ROOT

pytestmark = pytest.mark.django_db
NOW = timezone.now()
ANNEX = "All of them stand in the file readings.csv"


def demo_case(name: str) -> Case:
    folder = ROOT / "fixtures" / "demo" / name
    case = import_case_folder(source=folder, by=None, now=NOW).case
    return Case.objects.for_list().get(pk=case.pk)


def files_of(letter: Letter) -> dict[str, str]:
    return enclosed_texts(rendering.render_letter(letter.content, check_code=letter.check_code))


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def display_of(row: dict[str, str]) -> float:
    """What a display without signs came to: its total, or the root of the sum of squares."""
    if row["total"]:
        return float(row["total"])
    return math.sqrt(sum(float(row[axis]) ** 2 for axis in "xyz" if row[axis]))


def highest(rows: list[dict[str, str]], visit: str, spot: dict[str, Any]) -> float:
    """The highest reading as used that counts, of a spot's body voltage. [mV]"""
    return max(
        display_of(row) * (1000 if row["unit"] == "V" else 1)
        for row in rows
        if (row["visit"], row["room"], row["spot"]) == (visit, spot["room"], spot["spot"])
        and row["quantity"] == "body voltage"
        and row["state"] != "trial"
        and not row["set_aside"]
    )


def test_a_reduction_is_recomputed_from_what_the_pdf_carries() -> None:
    """100·(1 − A/B) of the highest readings as used (rules highest-2 and reduction-2)."""
    letter = issue_outcome_letter(case=demo_case("nordach-schlafzimmer"), by=None, now=NOW)
    files = files_of(letter)
    assert list(files) == ["outcome.json", "readings.csv"]
    outcome, rows = json.loads(files["outcome.json"]), rows_of(files["readings.csv"])
    visits = list(dict.fromkeys(row["visit"] for row in rows))
    assert len(visits) == 2
    spots = [spot for spot in outcome["spots"] if spot["measurand"] == "body-voltage"]
    assert len(spots) == 5
    for spot in spots:
        before, after = (highest(rows, visit, spot) for visit in visits)
        assert spot["before"]["value"] == pytest.approx(before, rel=1e-12)
        assert spot["after"]["value"] == pytest.approx(after, rel=1e-12)
        assert spot["reduction"]["percent"] == pytest.approx(100 * (1 - after / before), rel=1e-12)


def test_the_json_is_what_the_command_prints(capsys) -> None:
    case = compared_case()
    letter = issue_outcome_letter(case=case, by=None, now=NOW)
    call_command("outcome", case.reference, "--format", "json")
    assert files_of(letter)["outcome.json"] == capsys.readouterr().out


def test_the_csv_has_the_columns_of_a_case_folder_and_every_reading_of_its_visits() -> None:
    case = demo_case("pruett-split-phase")
    text = files_of(issue_outcome_letter(case=case, by=None, now=NOW))["readings.csv"]
    header, *rows = csv.reader(io.StringIO(text))
    assert header == [column.name for column in COLUMNS[READINGS]]
    assert len(rows) == Reading.objects.filter(visit__in=case.visits.all()).count() > 20


def test_no_cell_of_it_is_a_formula() -> None:
    case = compared_case()
    visit = Visit.objects.filter(kind="baseline").get()
    first = Reading.objects.get(visit=visit)
    assert first.calibration is not None
    add_reading(visit, first.spot, first.calibration, total=1.0, note="=cmd|' /C calc'!A1")
    text = files_of(issue_outcome_letter(case=case, by=None, now=NOW))["readings.csv"]
    assert [row["note"] for row in rows_of(text)].count("'=cmd|' /C calc'!A1") == 1


def test_a_survey_report_carries_its_findings_and_the_readings_of_its_visit() -> None:
    """Also once the follow-up is there: the report is of the baseline alone."""
    case = compared_case(before=48.0, after=2.4)
    files = files_of(issue_survey_report(case=case, by=None, now=NOW))
    assert list(files) == ["findings.json", "readings.csv"]
    (spot,) = json.loads(files["findings.json"])["spots"]
    assert spot["before"]["value"] == 48.0
    assert (spot["after"], spot["after_on"], spot["reduction"]) == (None, None, None)
    assert [row["total"] for row in rows_of(files["readings.csv"])] == ["48"]


def test_above_120_readings_the_letter_refers_to_the_csv() -> None:
    case = compared_case()
    visit = Visit.objects.filter(kind="baseline").get()
    first = Reading.objects.get(visit=visit)
    assert first.calibration is not None
    few = issue_outcome_letter(case=case, by=None, now=NOW)
    assert ANNEX not in str(few.content["annex"])
    for _number in range(119):
        add_reading(visit, first.spot, first.calibration, total=1.0)
    many = issue_outcome_letter(case=case, by=None, now=NOW)
    (sentence,) = many.content["annex"]
    assert sentence["text"].startswith("The visits have 121 readings") and ANNEX in sentence["text"]
    assert len(rows_of(files_of(many)["readings.csv"])) == 121


def test_the_numbers_are_frozen_with_the_row() -> None:
    case = compared_case()
    letter = issue_outcome_letter(case=case, by=None, now=NOW)
    files = files_of(letter)
    readings = Reading.objects.filter(visit__in=case.visits.all())
    as_if_so_from_the_start(readings, total=7.0, note="another note")
    letter.refresh_from_db()
    assert files_of(letter) == files
    assert content_sha256(letter.content) == letter.content_sha256


def test_the_same_numbers_are_issued_once_and_other_ones_are_another_letter() -> None:
    case = compared_case()
    first = issue_survey_report(case=case, by=None, now=NOW)
    assert issue_survey_report(case=case, by=None, now=NOW + timedelta(days=1)) == first
    as_if_so_from_the_start(Reading.objects.filter(total=48.0), total=48.0001)
    second = issue_survey_report(case=case, by=None, now=NOW)
    assert second != first
    assert '"value": 48.0001' in files_of(second)["findings.json"]
