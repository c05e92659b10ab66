"""Issuing a letter twice: a double click makes no second one, a change does."""

import threading

import pytest
from django.db import connection
from django.utils import timezone

from consult.letters.html import TEMPLATE_VERSION
from consult.models import Job, Letter, Practice
from mitigation.models import Case, Outcome
from tests.factories import (
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
)


@pytest.mark.django_db
@pytest.mark.parametrize("issue", [issue_outcome_letter, issue_survey_report])
def test_the_same_words_are_issued_once(issue) -> None:
    case = compared_case()
    first = issue(case=case, by=None, now=timezone.now())
    second = issue(case=case, by=None, now=timezone.now())
    assert second == first
    assert Letter.objects.count() == Job.objects.count() == 1
    assert Outcome.objects.count() == (first.kind == "outcome")


@pytest.mark.django_db
@pytest.mark.parametrize("issue", [issue_outcome_letter, issue_survey_report])
def test_other_words_are_another_letter(issue) -> None:
    case = compared_case()
    first = issue(case=case, by=None, now=timezone.now())
    Practice.objects.update(signatory="Iris Falkenrath")
    second = issue(case=case, by=None, now=timezone.now())
    assert second != first and second.number > first.number


@pytest.mark.django_db
def test_a_letter_of_an_older_layout_is_not_given_for_one_of_today() -> None:
    """Its words are the same; its paper would not be what the practice prints by now."""
    case = compared_case()
    old = issue_outcome_letter(case=case, by=None, now=timezone.now())
    as_if_so_from_the_start(Letter.objects.filter(pk=old.pk), template_version="0")
    new = issue_outcome_letter(case=case, by=None, now=timezone.now())
    assert new != old and new.template_version == TEMPLATE_VERSION
    assert issue_outcome_letter(case=case, by=None, now=timezone.now()) == new


@pytest.mark.django_db(transaction=True)
def test_two_clicks_at_once_are_one_letter() -> None:
    pk = compared_case().pk
    start = threading.Barrier(2)
    numbers: list[str] = []

    def click() -> None:
        try:
            case = Case.objects.for_list().get(pk=pk)
            start.wait(timeout=20)
            numbers.append(issue_outcome_letter(case=case, by=None, now=timezone.now()).number)
        finally:
            connection.close()

    clicks = [threading.Thread(target=click) for _ in range(2)]
    for thread in clicks:
        thread.start()
    for thread in clicks:
        thread.join(timeout=60)
    assert len(numbers) == 2 and len(set(numbers)) == 1
    assert Letter.objects.count() == Outcome.objects.count() == 1
