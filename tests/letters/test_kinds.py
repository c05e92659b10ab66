"""Each kind of letter is one entry; what it needs is there, and a new one works everywhere."""

from dataclasses import replace
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.template.loader import get_template
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from consult import letter_kinds
from consult.letter_kinds import Draft, LetterKind, correcting, letter_kind, register, registered
from consult.letters.html import letter_html
from consult.models import Letter, User
from mitigation.services.letters import correct_letter, issue_case_letter
from surveys.letters import survey_report
from tests.cast import make_cast
from tests.factories import compared_case, ready_letter
from tests.letters import samples


@pytest.mark.parametrize("kind", registered(), ids=lambda kind: kind.code)
def test_a_kind_has_all_that_its_letters_need(kind: LetterKind) -> None:
    assert len(kind.code) <= (Letter._meta.get_field("kind").max_length or 0)
    get_template(kind.template)
    for words in (kind.label, kind.issue_label):
        with override("en"):
            english = str(words)
        with override("de"):
            assert str(words) != english
    assert kind.readers <= set(User.Role.values)
    assert all(letter_kind(code) for code in kind.corrects)
    assert callable(kind.draft) and callable(kind.needs)


def test_at_most_one_kind_takes_the_place_of_another() -> None:
    corrected = [code for kind in registered() for code in kind.corrects]
    assert len(corrected) == len(set(corrected)) >= 2


def test_a_code_is_taken_once() -> None:
    with pytest.raises(ValueError, match="already"):
        register(registered()[0])


def test_a_content_of_a_kind_that_nobody_registered_is_not_made() -> None:
    content = survey_report.survey_content(context=samples.survey_context(), language="en")
    with pytest.raises(ValueError, match="no letter of the kind 'invoice'"):
        letter_html({**content, "kind": "invoice"})


def _reminder(**changes: Any) -> LetterKind:
    """A kind of letter as an app of its own would register it."""

    def draft(basis: Any, head_for: Any) -> Draft:
        def content(number: str, at: Any) -> dict[str, Any]:
            head = head_for(number, at)
            context = samples.survey_context(head=head)
            words = survey_report.survey_content(context=context, language="en")
            return {**words, "kind": "reminder", "subject": f"Reminder {number}"}

        return Draft(content, ["resultant-1"], lambda letter: None)

    kind = LetterKind(
        code="reminder",
        label="Reminder letter",
        issue_label="Issue the reminder",
        template="letters/survey-report.html",
        readers=frozenset({"assessor", "client"}),
        needs=lambda basis: "" if basis.follow_up else "Not measured again yet.",
        draft=draft,
        corrects=frozenset(),
    )
    return replace(kind, **changes)


@pytest.fixture
def kinds(monkeypatch):
    """The registry, as it was before once the test is over."""
    monkeypatch.setattr(letter_kinds, "_kinds", dict(letter_kinds._kinds))


@pytest.mark.django_db
def test_a_new_kind_is_one_entry(kinds, client, capsys) -> None:
    """Offered on the case, issued by page and command, labelled, made, kept for its readers."""
    register(_reminder())
    cast = make_cast()
    cast.log_in(client, "office")
    case = reverse("case_detail", args=[cast.case.reference])
    assert "Issue the reminder" in client.get(case).content.decode()
    client.post(reverse("letter_issue", args=[cast.case.reference, "reminder"]))
    letter = Letter.objects.get(kind="reminder")
    assert letter.get_kind_display() == "Reminder letter"
    assert letter.case_letter.case == cast.case
    assert (
        f"Reminder letter {letter.number}"
        in client.get(reverse("letter_detail", args=[letter.number])).content.decode()
    )
    call_command("letter", cast.case.reference, "--kind", "reminder")
    assert capsys.readouterr().out.strip() == letter.number  # the same words, the same letter
    assert letter_html(letter.content)


@pytest.mark.django_db
def test_a_kind_that_lacks_something_is_not_offered_and_says_why(kinds, client) -> None:
    register(_reminder(needs=lambda basis: "The moon is not full."))
    cast = make_cast()
    cast.log_in(client, "office")
    case = reverse("case_detail", args=[cast.case.reference])
    assert "Issue the reminder" not in client.get(case).content.decode()
    with pytest.raises(CommandError, match="moon"):
        call_command("letter", cast.case.reference, "--kind", "reminder")
    issue = reverse("letter_issue", args=[cast.case.reference, "reminder"])
    assert "The moon is not full." in client.post(issue, follow=True).content.decode()
    assert not Letter.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("readers", "assessor", "its_client"),
    [({"assessor", "client"}, 1, 1), ({"assessor"}, 1, 0), ({"client"}, 0, 1), (set(), 0, 0)],
)
def test_a_kind_is_read_by_its_readers_and_the_office(kinds, readers, assessor, its_client) -> None:
    cast = make_cast()
    ready_letter(cast.case)
    outcome = letter_kind("outcome")
    assert outcome is not None
    letter_kinds._kinds["outcome"] = replace(outcome, readers=frozenset(readers))
    seen = {
        asker: Letter.objects.visible_to(cast.people[asker]).count()
        for asker in ("office", "its assessor", "its client", "another client", "its electrician")
    }
    assert seen == {
        "office": 1, "its assessor": assessor, "its client": its_client,
        "another client": 0, "its electrician": 0,
    }  # fmt: skip


@pytest.mark.django_db
def test_a_kind_that_corrects_nothing_is_not_corrected(kinds, client) -> None:
    case = compared_case()
    letter = ready_letter(case)
    outcome = letter_kind("outcome")
    assert outcome is not None and correcting("outcome") is outcome
    letter_kinds._kinds["outcome"] = replace(outcome, corrects=frozenset())
    assert not letter.is_correctable()
    with pytest.raises(ValidationError, match="not corrected by another"):
        correct_letter(letter=letter, case=case, reason="-", by=None, now=timezone.now())


@pytest.mark.django_db
def test_a_letter_of_an_unknown_kind_is_not_issued_and_an_old_one_still_shown() -> None:
    case = compared_case()
    with pytest.raises(ValidationError, match="no letter of the kind invoice"):
        issue_case_letter(kind="invoice", case=case, by=None, now=timezone.now())
    with pytest.raises(ValidationError, match="no letter of the kind invoice"):
        Letter(kind="invoice").clean()
    assert Letter(kind="invoice").get_kind_display() == "invoice"
