"""The assessor's own words: kept with the visit, sealed or not, printed in its letters."""

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.services.changes import ChangedMeanwhileError
from surveys.models import AssessorWords, PlaceRemark
from surveys.services.words import write_words
from tests.cast import make_cast
from tests.factories import issue_outcome_letter, issue_survey_report

pytestmark = pytest.mark.django_db
TYPED = {
    "summary": "The cable behind the bed is gone.\nThe rest stayed.",
    "recommendations": "Keep the switch asleep at night.\nLook at the lamp again.",
}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def baseline(cast):
    return cast.case.visits.get(kind="baseline")


@pytest.fixture
def follow_up(cast):
    return cast.case.visits.get(kind="follow-up")


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


def spot_of(visit):
    return visit.readings.first().spot


def sent(browser, visit, remark="", **changes):
    address = reverse("visit_words", args=[visit.pk])
    version = browser.get(address).context["form"]["version"].value()
    typed = TYPED | {"version": version, f"remark_{spot_of(visit).pk}": remark} | changes
    return browser.post(address, typed)


def page_one(letter) -> str:
    return str(letter.content["client"])


def test_words_of_a_sealed_visit_are_kept_and_shown(browser, follow_up) -> None:
    answer = sent(browser, follow_up, "Read with the lamp unplugged.")
    assert answer.url == reverse("visit_detail", args=[follow_up.pk]) + "#words"
    shown = browser.get(answer.url).content.decode()
    assert "Read with the lamp unplugged." in shown and "The rest stayed." in shown
    words = AssessorWords.objects.get(visit=follow_up)
    assert words.summary.splitlines() == TYPED["summary"].splitlines()


def test_the_outcome_letter_prints_them_where_they_belong(cast, browser, follow_up) -> None:
    sent(browser, follow_up, "Read with the lamp unplugged.")
    blocks = issue_outcome_letter(case=cast.case, by=None, now=timezone.now()).content["client"]
    kinds = [block["type"] for block in blocks]
    lead = next(place for place, block in enumerate(blocks) if block.get("lead"))
    assert blocks[lead + 1]["text"] == "The cable behind the bed is gone."
    assert blocks[lead + 2]["text"] == "The rest stayed."
    table = blocks[kinds.index("table")]
    assert table["groups"][0]["rows"][0][2] == "Read with the lamp unplugged."
    advice = blocks[kinds.index("table") + 1]
    assert advice["entries"] == TYPED["recommendations"].splitlines()
    assert str(cast.people["its assessor"]) in advice["title"] and "opinion" in advice["title"]


def test_the_survey_report_has_those_of_its_own_visit(cast, browser, baseline, follow_up) -> None:
    sent(browser, baseline, "The bed stands at the wall with the cable.", summary="A first look.")
    sent(browser, follow_up, "Read with the lamp unplugged.")
    report = page_one(issue_survey_report(case=cast.case, by=None, now=timezone.now()))
    assert "The bed stands at the wall with the cable." in report and "A first look." in report
    assert "unplugged" not in report
    outcome = page_one(issue_outcome_letter(case=cast.case, by=None, now=timezone.now()))
    assert "A first look." not in outcome and "The bed stands" not in outcome


def test_a_letter_without_words_is_as_before(cast, browser, follow_up) -> None:
    before = issue_outcome_letter(case=cast.case, by=None, now=timezone.now())
    sent(browser, follow_up, "", summary="", recommendations="")
    assert issue_outcome_letter(case=cast.case, by=None, now=timezone.now()) == before


def test_of_two_who_write_at_once_the_second_is_told(cast, browser, follow_up) -> None:
    address = reverse("visit_words", args=[follow_up.pk])
    sent(browser, follow_up, "First.")
    late = browser.post(address, TYPED | {"summary": "Second.", "version": 0})
    assert late.status_code == 422
    assert "changed this meanwhile" in late.content.decode()
    assert "Second." in late.content.decode()  # what was typed is still in the form
    assert "Second." not in AssessorWords.objects.get(visit=follow_up).summary
    assert PlaceRemark.objects.get(visit=follow_up).text == "First."


def test_a_second_click_is_no_clash(cast, browser, follow_up) -> None:
    spot, person = spot_of(follow_up), cast.people["its assessor"]
    given = {"summary": "Done.", "recommendations": "", "remarks": {spot.pk: "Dry."}, "version": 0}
    for _click in range(2):
        write_words(visit=follow_up, by=person, now=timezone.now(), **given)
    assert AssessorWords.history.count() == PlaceRemark.history.count() == 1
    with pytest.raises(ChangedMeanwhileError):
        write_words(visit=follow_up, by=person, now=timezone.now(), **given | {"summary": "Other."})


def test_an_emptied_remark_goes_and_its_history_stays(cast, browser, follow_up) -> None:
    sent(browser, follow_up, "Not so.")
    sent(browser, follow_up, "")
    assert not PlaceRemark.objects.exists()
    history = browser.get(reverse("case_history", args=[cast.case.reference])).content.decode()
    assert "Not so." in history and "Words for the letter" in history
