"""A reading corrected after the seal, as the case, its letters and its export show it."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from mitigation.comparison import compare
from mitigation.models import Case
from mitigation.services.corrections import overtaken_letters
from mitigation.services.exports import export_case_folder
from mitigation.services.imports import import_case_folder
from mitigation.services.letters import correct_letter
from surveys.intake import Upload
from surveys.models import Reading
from surveys.services import corrections, facts
from tests.cast import make_cast
from tests.factories import (
    UserFactory,
    add_reading,
    compared_case,
    issue_survey_report,
    ready_letter,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def case():
    return compared_case(before=48.0, after=24.0)


@pytest.fixture
def office():
    return UserFactory()


def reading_of(case, kind):
    return Reading.objects.filter(visit__kind=kind, visit__cases=case).order_by("position")[0]


def correct(case, kind, by, total, reason="digits transposed"):
    row = reading_of(case, kind)
    return corrections.correct_sealed_reading(
        reading=row, by=by, now=timezone.now(), reason=reason,
        instrument=row.instrument, total=total, unit="V/m",
    )  # fmt: skip


def test_the_comparison_takes_the_reading_that_stands_for_the_sealed_one(case, office):
    correct(case, "follow-up", office, 4.8)
    (row,) = compare(case).rows
    assert row.result["after"]["value"] == 4.8
    assert row.result["reduction"]["percent"] == pytest.approx(90.0)  # 1 - 4.8/48
    assert "fewer readings" not in " ".join(row.result["cautions"])


def test_a_spot_whose_only_reading_was_set_aside_is_read_at_the_other_visit_alone(case, office):
    corrections.set_aside_sealed_reading(
        reading=reading_of(case, "follow-up"), by=office, now=timezone.now(), reason="wrong room"
    )
    (row,) = compare(case).rows
    assert row.result["after"] is None
    assert row.result["blocks"] == ["no reading left at the other visit"]


def _in_other_house(case, data):
    """The export under another reference, as a practice elsewhere would bring it in."""
    Case.objects.filter(pk=case.pk).update(reference=f"{case.reference}-old")
    now = dt.datetime(2026, 7, 1, 9, 30, tzinfo=dt.UTC)
    return import_case_folder(source=Upload("a.zip", data), by=None, now=now).case


def test_the_export_comes_in_again_with_the_same_numbers(case, office):
    correct(case, "baseline", office, 84.0, reason="digits transposed;\nsee the sheet")
    correct(case, "follow-up", office, 4.8)
    lower = add_reading(
        reading_of(case, "baseline").visit,
        reading_of(case, "baseline").spot,
        reading_of(case, "baseline").calibration,
        total=90.0,
        position=50,
    )
    corrections.set_aside_sealed_reading(
        reading=lower, by=office, now=timezone.now(), reason="wrong room"
    )
    before = compare(case).as_json()
    again = _in_other_house(case, export_case_folder(case=case))
    assert compare(again).as_json() == before
    reasons = Reading.objects.filter(visit__cases=again).exclude(set_aside="")
    found = {row.total: row.set_aside for row in reasons}
    assert set(found) == {48.0, 24.0, 90.0}
    assert found[24.0] == "corrected: digits transposed"
    assert found[48.0].startswith("corrected: digits transposed;")
    assert found[90.0] == "wrong room"


def test_a_letter_lists_the_corrected_reading_with_its_reason(case, office):
    correct(case, "baseline", office, 84.0)
    said = str(ready_letter(case).content)
    assert "corrected: digits transposed" in said
    assert "48\\xa0V/m" in said
    assert "84" in said


def test_a_letter_counts_a_reading_and_what_replaced_it_as_one(case, office):
    assert facts.visit_facts(reading_of(case, "baseline").visit).readings == 1
    correct(case, "baseline", office, 84.0)
    visit = facts.visit_facts(reading_of(case, "baseline").visit)
    assert (visit.readings, visit.trials) == (1, 0)


def test_a_letter_gives_each_reading_the_day_of_its_own_visit(case):
    content = ready_letter(case).content
    heads = [block["text"] for block in content["annex"] if block["type"] == "heading"]
    logs = [block["entries"] for block in content["annex"] if block["type"] == "lines"]
    assert [head.split(", ")[-1] for head in heads] == ["2 March 2026", "18 May 2026"]
    for (line,), display in zip(logs, ("48\u00a0V/m", "24\u00a0V/m"), strict=True):
        assert f" · {display} · " in line and "◆" in line


def test_the_case_says_that_readings_were_corrected_after_a_letter(case, office, client):
    client.force_login(office)
    page = reverse("case_detail", args=[case.reference])
    letter = ready_letter(case)
    assert overtaken_letters(case, [letter]) == []
    new = correct(case, "follow-up", office, 4.8)
    shown = client.get(page).content.decode()
    assert f"A reading was corrected after letter {letter.number} was issued." in shown
    assert reverse("letter_correct", args=[letter.number]) in shown
    assert f"corrects reading {reading_of(case, 'follow-up').position}" in shown
    assert reverse("reading_detail", args=[new.pk]) in shown
    correct_letter(letter=letter, case=case, reason="x", by=office, now=timezone.now())
    assert "was corrected after" not in client.get(page).content.decode()


def test_a_survey_report_is_overtaken_by_baselines_alone(case, office):
    letter = issue_survey_report(case=case, by=office, now=timezone.now())
    correct(case, "follow-up", office, 4.8)
    assert overtaken_letters(case, [letter]) == []
    correct(case, "baseline", office, 84.0)
    (one,) = overtaken_letters(case, [letter])
    assert (one.letter, one.n_corrections) == (letter, 1)


def test_an_assessor_is_told_but_issues_no_letter(client):
    cast = make_cast()
    letter = ready_letter(cast.case)
    cast.log_in(client, "its assessor")
    correct(cast.case, "baseline", cast.people["its assessor"], 84.0)
    shown = client.get(reverse("case_detail", args=[cast.case.reference])).content.decode()
    assert f"corrected after letter {letter.number}" in shown
    assert reverse("letter_correct", args=[letter.number]) not in shown
