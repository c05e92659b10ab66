"""A letter's page: its state as it changes, how it is sent, what a link shows."""

import re
from datetime import timedelta

import pytest
from django.conf import settings
from django.core import mail, signing
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from consult.models import Client, Job, Letter, OutboundMail, Practice
from consult.services import sending
from consult.tasks import run_job
from tests.factories import (
    UserFactory,
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
    ready_letter,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def page_of(client, letter: Letter, **headers):
    return client.get(reverse("letter_detail", args=[letter.number]), headers=headers)


def test_the_state_is_asked_for_only_while_the_letter_is_made(office, client) -> None:
    letter = issue_outcome_letter(case=compared_case(), by=office, now=timezone.now())
    assert 'hx-trigger="every 1s"' in page_of(client, letter).content.decode()
    part = page_of(client, letter, hx_request="true")
    assert "<html" not in part.content.decode()
    assert "Mark as posted" not in part.content.decode()
    assert "HX-Request" in part["Vary"]
    run_job(Job.objects.get(key__endswith=letter.number).pk)
    part = page_of(client, letter, hx_request="true")
    assert "hx-trigger" not in part.content.decode()
    assert "Mark as posted" in part.content.decode()
    whole = page_of(client, letter).content.decode()
    assert "hx-trigger" not in whole
    assert reverse("letter_file", args=[letter.number]) in whole


def test_a_part_asked_for_after_log_out_sends_the_whole_page_to_the_log_in(client) -> None:
    letter = ready_letter(compared_case())
    response = page_of(client, letter, hx_request="true")
    assert response.status_code == 204
    assert response["HX-Redirect"].startswith(f"{reverse('account_login')}?next=")
    assert page_of(client, letter).status_code == 302


def test_a_failed_letter_says_so_and_is_tried_again(office, client) -> None:
    letter = issue_outcome_letter(case=compared_case(), by=office, now=timezone.now())
    Letter.objects.filter(pk=letter.pk).update(state="failed", failure="disk full")
    Job.objects.update(state="dead")
    assert "disk full" in page_of(client, letter).content.decode()
    client.post(reverse("letter_retry", args=[letter.number]))
    run_job(Job.objects.get(key__endswith=letter.number).pk)
    letter.refresh_from_db()
    assert letter.state == "ready"


def test_a_link_goes_out_by_mail_and_shows_this_letter_to_nobody_logged_in(office, client) -> None:
    letter, other = ready_letter(compared_case()), ready_letter(compared_case())
    Client.objects.filter(pk=letter.client_id).update(email="ida@example.org", name="Ida Lund")
    client.post(reverse("letter_send", args=[letter.number, "email"]))
    letter.refresh_from_db()
    assert letter.emailed_by == office
    run_job(Job.objects.get(kind="send-mail").pk)
    (message,) = mail.outbox
    link = next(line for line in message.body.splitlines() if line.startswith("http"))
    path = link.removeprefix(settings.SITE_URL)
    client.logout()
    shown = client.get(path)
    assert shown.status_code == 200
    assert letter.number in shown.content.decode()
    assert other.number not in shown.content.decode()
    assert client.get(path + "pdf/").getvalue().startswith(b"%PDF")
    assert client.post(path).status_code == 405
    assert page_of(client, letter).status_code == 302


def linked(office):
    """A ready letter, the mail with its link, and the link's token."""
    letter = ready_letter(compared_case())
    Client.objects.filter(pk=letter.client_id).update(email="ida@example.org")
    letter = Letter.objects.get(pk=letter.pk)
    sent = sending.email_letter(letter=letter, by=office, site="http://a", now=timezone.now())
    return letter, sent, sent.body.split("/letters/link/")[1].split("/")[0]


def test_a_link_grows_old_and_cannot_be_forged(office, client, monkeypatch) -> None:
    letter, _sent, token = linked(office)
    assert sending.letter_of_token(token) == letter
    assert sending.letter_of_token(token[:-2] + "xx") is None
    monkeypatch.setattr(sending, "LINK_HOLDS", timedelta(seconds=-1))
    assert sending.letter_of_token(token) is None
    assert client.get(reverse("letter_link_file", args=[token])).status_code == 410


def test_a_link_ends_when_the_client_is_erased(office) -> None:
    letter, _sent, token = linked(office)
    as_if_so_from_the_start(Letter.objects.filter(pk=letter.pk), client=None)
    assert sending.letter_of_token(token) is None


def test_the_office_withdraws_one_link_and_another_holds(office, client) -> None:
    letter, first, token = linked(office)
    later = timezone.now() + timedelta(seconds=1)
    second = sending.email_letter(letter=letter, by=office, site="http://a", now=later)
    page = page_of(client, letter).content.decode()
    assert page.count("The link holds until") == 2
    client.post(reverse("letter_withdraw", args=[letter.number, first.pk]))
    page = page_of(client, letter).content.decode()
    assert page.count("The link holds until") == page.count("The link opens nothing any more") == 1
    client.logout()
    shown = client.get(reverse("letter_link", args=[token]))
    assert shown.status_code == 410
    assert "when the office withdraws it" in shown.content.decode()
    other = second.body.split("/letters/link/")[1].split("/")[0]
    assert sending.letter_of_token(other) == letter


def test_a_link_ends_with_the_client_s_e_mail(office, client) -> None:
    letter, _sent, token = linked(office)
    Client.objects.filter(pk=letter.client_id).update(email="new@example.org")
    assert sending.letter_of_token(token) is None
    assert "The link opens nothing any more" in page_of(client, letter).content.decode()


def test_a_link_ends_when_its_letter_is_corrected(office) -> None:
    letter, _sent, token = linked(office)
    newer = ready_letter(compared_case())
    as_if_so_from_the_start(Letter.objects.filter(pk=newer.pk), corrects=letter)
    assert sending.letter_of_token(token) is None


def test_a_link_of_an_earlier_version_holds_and_ends_likewise(office) -> None:
    letter, sent, _token = linked(office)
    old = signing.dumps([letter.pk, letter.client_id], salt=sending.LINK)
    assert sending.letter_of_token(old) == letter
    sending.withdraw_link(mail=sent, now=timezone.now())
    assert sending.letter_of_token(old) is None


def test_a_client_without_e_mail_gets_the_letter_by_post(office, client) -> None:
    letter = ready_letter(compared_case())
    Client.objects.filter(pk=letter.client_id).update(email="")
    client.post(reverse("letter_send", args=[letter.number, "email"]))
    assert not OutboundMail.objects.exists()
    client.post(reverse("letter_send", args=[letter.number, "post"]))
    letter.refresh_from_db()
    first = letter.posted_at
    assert first is not None
    assert letter.posted_by == office
    client.post(reverse("letter_send", args=[letter.number, "post"]))
    letter.refresh_from_db()
    assert letter.posted_at == first


def test_the_digest_of_a_letter_leads_to_where_anybody_checks_it(office, client) -> None:
    letter = ready_letter(compared_case())
    page = page_of(client, letter).content.decode()
    assert f'{letter.sha256} <a href="{reverse("letter_check")}">' in page


def test_a_letter_that_is_not_ready_is_not_sent(office, client) -> None:
    letter = issue_outcome_letter(case=compared_case(), by=office, now=timezone.now())
    Client.objects.update(email="ida@example.org")
    for way in ("email", "post"):
        client.post(reverse("letter_send", args=[letter.number, way]))
    letter.refresh_from_db()
    assert (letter.emailed_at, letter.posted_at) == (None, None)
    assert not OutboundMail.objects.exists()


def test_the_list_costs_the_same_for_one_and_for_many(office, client) -> None:
    case = compared_case()
    ready_letter(case)
    url = reverse("letter_list")
    client.get(url)
    counts = []
    for more in (0, 20):
        for number in range(more):
            Practice.objects.update(signatory=f"Signatory {number}")  # other words, another letter
            issue_outcome_letter(case=case, by=office, now=timezone.now())
        with CaptureQueriesContext(connection) as queries:
            client.get(url)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def heads(page: str) -> list[str]:
    return re.findall(r'<th scope="col"[^>]*>([^<]+)</th>', page)


def test_the_list_gives_state_and_file_a_column_each(office, client) -> None:
    ready = ready_letter(compared_case())
    failed = ready_letter(compared_case())
    Letter.objects.filter(pk=failed.pk).update(state=Letter.State.FAILED, failure="No more room")
    page = client.get(reverse("letter_list")).content.decode()
    assert heads(page) == ["Letter", "Issued", "Case", "Subject", "State", "File"]
    cells = {
        number: re.findall(r"<td data-label=\"(State|File)\">(.*?)</td>", row, re.DOTALL)
        for row in page.split("<tr>")
        for number in (ready.number, failed.number)
        if number in row
    }
    state, file = (" ".join(text.split()) for _, text in cells[ready.number])
    assert state == "ready"
    assert file == f'<a href="{reverse("letter_file", args=[ready.number])}">PDF</a>'
    state, file = (" ".join(text.split()) for _, text in cells[failed.number])
    assert "No more room" in state and "Try again" in state and file == ""


def test_a_client_reads_no_state_and_the_page_of_a_case_does_not_name_itself(
    office, client
) -> None:
    letter = ready_letter(compared_case())
    case = letter.case_reference
    page = client.get(reverse("case_detail", args=[case])).content.decode()
    part = page[page.index('id="letters"') : page.index('id="visits"')]
    assert heads(part) == ["Letter", "Issued", "Subject", "State", "File"]
    user = UserFactory(role="client")
    Client.objects.filter(properties__cases__reference=case).update(user=user)
    client.force_login(user)
    page = client.get(reverse("letter_list")).content.decode()
    assert heads(page) == ["Letter", "Issued", "Case", "Subject", "File"]
    assert letter.number in page
