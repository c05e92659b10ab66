"""A letter hangs on its case and its visits by rows, whatever reference it prints."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Letter
from mitigation.models import Case, CaseVisit
from mitigation.services.corrections import overtaken_letters
from mitigation.services.histories import case_changes
from mitigation.services.letters import correct_letter
from surveys.models import Correction
from tests.cast import make_cast
from tests.factories import (
    BASELINE_DAY,
    VisitFactory,
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
    ready_letter,
)

pytestmark = pytest.mark.django_db


def visits_of(letter: Letter) -> list[str]:
    return sorted(link.visit.label for link in letter.letter_visits.select_related("visit"))


def test_a_letter_knows_its_case_and_its_visits() -> None:
    case = compared_case()
    now = timezone.now()
    report = issue_survey_report(case=case, by=None, now=now)
    outcome = ready_letter(case)
    again = issue_outcome_letter(case=case, by=None, now=now)
    correction = correct_letter(letter=outcome, case=case, reason="Typo.", by=None, now=now)
    assert again == outcome
    assert {link.letter for link in case.case_letters.all()} == {report, outcome, correction}
    assert visits_of(report) == ["baseline"]
    assert visits_of(outcome) == visits_of(correction) == ["baseline", "follow-up"]


def test_a_case_with_another_reference_keeps_its_letters(client) -> None:
    cast = make_cast()
    case, letter = cast.case, ready_letter(cast.case)
    Case.objects.filter(pk=case.pk).update(reference="NEW-7")
    case.refresh_from_db()
    other = compared_case(reference=letter.case_reference)  # taken by another case since
    cast.log_in(client, "office")
    assert letter.number in client.get(reverse("case_detail", args=["NEW-7"])).content.decode()
    page = client.get(reverse("case_detail", args=[other.reference])).content.decode()
    assert letter.number not in page
    to_case = client.get(reverse("letter_case", args=[letter.number]))
    assert to_case["Location"] == reverse("case_detail", args=["NEW-7"])
    correct = reverse("letter_correct", args=[letter.number])
    assert client.post(correct, {"reason": "Typo."}).status_code == 302
    assert Letter.objects.get(corrects=letter).case_letter.case == case
    told = [change.what for change in case_changes(case, cast.people["office"])]
    assert f"Outcome letter {letter.number}" in told
    assert issue_outcome_letter(case=other, by=None, now=timezone.now()) != letter


def test_a_report_is_overtaken_by_corrections_of_its_own_visit_alone() -> None:
    """A baseline that came after the report is none of its business."""
    case = compared_case()
    report = issue_survey_report(case=case, by=None, now=timezone.now())
    later = VisitFactory(property=case.property, label="later", date=BASELINE_DAY + timedelta(1))
    CaseVisit.objects.create(case=case, visit=later)
    reading = case.visits.get(label="baseline").readings.get()
    as_if_so_from_the_start(type(reading).objects.filter(pk=reading.pk), visit=later)
    made_at = timezone.now() + timedelta(hours=1)
    Correction.objects.create(reading=reading, reason="-", made_at=made_at)
    assert overtaken_letters(case, [report]) == []
    own = case.visits.get(label="follow-up").readings.get()
    as_if_so_from_the_start(
        type(own).objects.filter(pk=own.pk), visit=case.visits.get(label="baseline")
    )
    Correction.objects.create(reading=own, reason="-", made_at=made_at)
    (overtaken,) = overtaken_letters(case, [report])
    assert (overtaken.letter, overtaken.n_corrections) == (report, 1)
