"""Drafts of letters: marked, without a number, made by a job, gone after a day."""

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.urls import reverse
from django.utils import timezone

from consult.letters.html import letter_html
from consult.models import Job, Letter, StoredFile
from consult.tasks import run_job
from mitigation.models import LetterDraft
from mitigation.services.drafts import ask_draft
from tests.cast import make_cast
from tests.factories import ready_draft

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


def asked(cast, **at):
    now = at.get("now", timezone.now())
    person = cast.people["its assessor"]
    return ask_draft(kind="outcome", case=cast.case, by=person, now=now)


def test_a_draft_has_no_number_and_says_so_on_every_page(cast) -> None:
    draft = asked(cast)
    assert not Letter.objects.exists()
    page = letter_html(draft.content)
    assert '<p class="draft">DRAFT</p>' in page
    assert "draft, not issued" in draft.content["foot"]


def test_a_draft_speaks_the_language_of_the_client(cast) -> None:
    client = cast.case.property.client
    client.language = "de"
    client.save()
    content = asked(cast).content
    assert content["draft"] == "ENTWURF" and "Entwurf, nicht ausgestellt" in content["foot"]


def test_the_page_leads_to_the_file(cast, browser) -> None:
    draft = ready_draft(cast.case)
    page = browser.get(reverse("draft_detail", args=[draft.pk])).content.decode()
    assert reverse("draft_file", args=[draft.pk]) in page
    answer = browser.get(reverse("draft_file", args=[draft.pk]))
    assert b"".join(answer) and answer["Content-Type"] == "application/pdf"


def test_while_it_is_made_the_page_asks_again(cast, browser) -> None:
    draft = asked(cast)
    address = reverse("draft_detail", args=[draft.pk])
    assert 'hx-trigger="every 1s"' in browser.get(address).content.decode()
    assert browser.get(reverse("draft_file", args=[draft.pk])).status_code == 404
    part = browser.get(address, headers={"HX-Request": "true"}).content.decode()
    assert "<progress" in part and "<html" not in part


def test_the_same_words_are_one_draft(cast) -> None:
    assert asked(cast) == asked(cast)
    case = cast.case
    case.target_band = 1
    case.save()
    assert asked(cast) != LetterDraft.objects.earliest("pk")


def test_after_a_day_nobody_opens_it_and_its_job_takes_the_file(cast, browser) -> None:
    draft = ready_draft(cast.case)
    LetterDraft.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    for name in ("draft_detail", "draft_file"):
        assert browser.get(reverse(name, args=[draft.pk])).status_code == 404
    job = Job.objects.get(key=f"drop-draft:{draft.uid}")
    assert job.run_after == draft.expires_at
    Job.objects.filter(pk=job.pk).update(run_after=timezone.now())
    assert run_job(job.pk)
    assert not LetterDraft.objects.exists()
    assert not StoredFile.objects.filter(file=draft.file_key()).exists()
    assert not default_storage.exists(draft.file_key())


def test_a_draft_that_went_while_it_was_made_leaves_no_file(cast, monkeypatch) -> None:
    draft = asked(cast)

    def draw(content, **code):
        LetterDraft.objects.filter(pk=draft.pk).delete()
        return b"%PDF-1.7 words"

    monkeypatch.setattr("consult.letters.rendering.render_letter", draw)
    assert run_job(Job.objects.get(key=f"make-draft:{draft.uid}").pk)
    assert not default_storage.exists(draft.file_key())
    assert not StoredFile.objects.filter(file=draft.file_key()).exists()


def test_one_that_cannot_be_made_is_said_to_be(cast, browser, monkeypatch, settings) -> None:
    settings.JOB_MAX_ATTEMPTS = 1

    def draw(content, **code):
        raise ValueError("no font")

    monkeypatch.setattr("consult.letters.rendering.render_letter", draw)
    draft = asked(cast)
    run_job(Job.objects.get(key=f"make-draft:{draft.uid}").pk)
    page = browser.get(reverse("draft_detail", args=[draft.pk])).content.decode()
    assert "This draft could not be made" in page
    assert asked(cast) != draft


def test_what_misses_for_a_letter_misses_for_its_draft(cast, browser) -> None:
    cast.case.case_visits.all().delete()
    page = browser.post(
        reverse("draft_make", args=[cast.case.reference, "outcome"]), follow=True
    ).content.decode()
    assert "no sealed" in page and not LetterDraft.objects.exists()
