"""Whether a letter was issued: by its file or by number and code, and nothing else is told."""

import hashlib
import math
import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from consult.access import most_body_bytes
from consult.intake import digests
from consult.letters.rendering import MOST_BYTES
from consult.models import Letter, User
from consult.services.letter_checks import SYMBOLS, new_code
from consult.services.letters import open_letter
from consult.services.privacy.erasures import erase_person
from mitigation.models import Case
from mitigation.services.letters import correct_letter
from tests.factories import (
    UserFactory,
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
    ready_letter,
)

pytestmark = pytest.mark.django_db
ISSUED = "This letter was issued here, and no later letter corrects it."
CORRECTED = "This letter was issued here, and a later letter corrects it."
UNKNOWN = "No letter with this number and this code was issued here."
OTHER_FILE = "This file is not that of a letter that was issued here."
SLOW = "Too many letters were asked for from here."


@pytest.fixture
def letter() -> Letter:
    return ready_letter(compared_case())


def ask(number: str, code: str, *, address: str = "192.0.2.7") -> Any:
    sent = {"number": number, "code": code}
    return Browser().post(reverse("letter_check"), sent, REMOTE_ADDR=address)


def send(data: bytes, *, address: str = "192.0.2.7", **browser: Any) -> Any:
    sent = {"file": SimpleUploadedFile("letter.pdf", data)}
    return Browser(**browser).post(reverse("letter_check_file"), sent, REMOTE_ADDR=address)


def words(answer: Any) -> str:
    """The result alone, as a reader has it."""
    page = answer.content.decode()
    result = page.partition('<section role="status"')[2].partition("</section>")[0]
    return " ".join(re.sub("<[^>]*>", " ", result.partition(">")[2]).split())


def bytes_of(letter: Letter) -> bytes:
    with open_letter(letter) as file:
        return file.read()


# -- What is told ----------------------------------------------------------------------------------


def test_number_and_code_tell_number_day_and_digest_and_nothing_else(letter) -> None:
    day = date_format(timezone.localdate(letter.issued_at), "DATE_FORMAT")
    assert words(ask(letter.number, letter.check_code)) == (
        f"{ISSUED} Letter {letter.number} Issued {day} SHA-256 {letter.sha256} Number and code are "
        "right. Whether your file is the one that was issued shows when you send it below."
    )


@pytest.mark.parametrize("way", ["code", "file"])
def test_nothing_is_told_of_whom_and_what_it_is_about(letter, way) -> None:
    answer = (
        ask(letter.number, letter.check_code) if way == "code" else send(bytes_of(letter))
    ).content.decode()
    assert letter.number in answer and letter.sha256 in answer
    case = Case.objects.get()
    home = case.property
    for secret in (case.reference, home.client.name, home.address, letter.content["subject"]):
        assert secret and secret not in answer
    assert str(letter.get_kind_display()) not in answer


def test_a_code_is_typed_as_people_type(letter) -> None:
    plain = letter.check_code.replace("-", "")
    for typed in (plain, plain.lower(), f" {plain[:4]} {plain[4:]} ", letter.check_code.lower()):
        assert ISSUED in words(ask(f" {letter.number} ", typed))


def test_the_file_as_it_was_issued_is_known_and_one_with_another_byte_is_not(letter) -> None:
    data = bytes_of(letter)
    assert words(send(data)).startswith(ISSUED)
    assert "to the last byte" in words(send(data))
    other = words(send(data + b"\n"))
    assert other.startswith(OTHER_FILE)
    assert hashlib.sha256(data + b"\n").hexdigest() in other


def test_a_correction_is_told_and_not_which(letter) -> None:
    case = Case.objects.get()
    later = correct_letter(letter=letter, case=case, reason="The bed.", by=None, now=timezone.now())
    for answer in (ask(letter.number, letter.check_code), send(bytes_of(letter))):
        assert words(answer).startswith(CORRECTED)
        assert later.number not in answer.content.decode()


def test_after_an_erasure_number_day_and_digest_still_answer(letter) -> None:
    data = bytes_of(letter)
    case = Case.objects.get()
    Case.objects.filter(pk=case.pk).update(stage="closed")
    manager = UserFactory(role=User.Role.OFFICE, is_manager=True)
    erase_person(
        person=case.property.client, by=manager, now=timezone.now(), reason="Asked for it."
    )
    letter.refresh_from_db()
    assert letter.state == Letter.State.ERASED and letter.content == {}
    for answer in (ask(letter.number, letter.check_code), send(data)):
        assert words(answer).startswith(f"{ISSUED} Letter {letter.number}")
        assert letter.sha256 in words(answer)


def test_a_letter_of_before_is_checked_by_its_file_alone(letter) -> None:
    as_if_so_from_the_start(Letter.objects.filter(pk=letter.pk), check_code="")
    assert words(send(bytes_of(letter))).startswith(ISSUED)
    for code in ("-", "AAAAA", letter.check_code):
        assert words(ask(letter.number, code)) == UNKNOWN


def test_a_letter_without_its_file_is_not_known_yet() -> None:
    letter = issue_outcome_letter(case=compared_case(), by=None, now=timezone.now())
    assert words(ask(letter.number, letter.check_code)) == UNKNOWN
    assert words(send(b"")) == ""  # its digest is empty as well


def test_a_german_reader_reads_german(letter) -> None:
    answer = send(bytes_of(letter), HTTP_ACCEPT_LANGUAGE="de")
    assert words(answer).startswith("Dieses Schreiben wurde hier ausgestellt, und kein späteres")


# -- What nobody can guess -------------------------------------------------------------------------


def test_a_code_has_more_than_sixty_bits_and_no_letters_that_look_alike() -> None:
    codes = {new_code() for _number in range(200)}
    assert len(codes) == 200
    assert all(re.fullmatch(rf"[{SYMBOLS}]{{5}}(-[{SYMBOLS}]{{5}}){{2}}", code) for code in codes)
    assert 15 * math.log2(len(set(SYMBOLS))) > 60
    assert not set("0O1IL2Z5S8BU") & set(SYMBOLS)


def test_each_letter_has_a_code_of_its_own_that_is_no_part_of_what_it_says() -> None:
    case = compared_case()
    letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
    again = issue_outcome_letter(case=case, by=None, now=timezone.now())
    assert again == letter and again.check_code == letter.check_code
    assert letter.check_code not in str(letter.content)
    other = issue_outcome_letter(case=compared_case(), by=None, now=timezone.now())
    assert other.check_code != letter.check_code


def test_an_unknown_number_and_a_wrong_code_are_the_same_answer_and_the_same_work(letter) -> None:
    wrong = letter.check_code[:-1] + ("3" if letter.check_code[-1] != "3" else "4")
    questions = {
        "right": (letter.number, letter.check_code),
        "wrong code": (letter.number, wrong),
        "no such number": ("1999-0001", letter.check_code),
    }
    ask(*questions["right"])
    answers: dict[str, Any] = {}
    work: dict[str, list[str]] = {}
    for name, question in questions.items():
        with CaptureQueriesContext(connection) as queries:
            answers[name] = ask(*question, address=f"192.0.2.{len(work) + 20}")
        asked = [row["sql"] for row in queries if 'FROM "consult_letter"' in row["sql"]]
        work[name] = [statement.rpartition(" AND ")[0] for statement in asked]
    assert words(answers["wrong code"]) == words(answers["no such number"]) == UNKNOWN
    assert answers["wrong code"].status_code == answers["no such number"].status_code == 200
    assert work["wrong code"] == work["no such number"] == work["right"]
    assert len(work["right"]) == 1


def test_guesses_from_an_address_are_slowed_down_and_right_ones_are_not(letter) -> None:
    for _number in range(12):
        assert words(ask(letter.number, letter.check_code)).startswith(ISSUED)
    for _number in range(10):
        assert words(ask(letter.number, "AAAAA-AAAAA-AAAAA")) == UNKNOWN
    late = ask(letter.number, letter.check_code)
    assert late.status_code == 429 and words(late).startswith(SLOW)
    assert send(bytes_of(letter)).status_code == 429
    elsewhere = ask(letter.number, letter.check_code, address="192.0.2.99")
    assert words(elsewhere).startswith(ISSUED)


def test_a_link_only_shows(letter) -> None:
    """What an address says beside its hash fills nothing in and asks nothing."""
    page = Browser().get(reverse("letter_check"), {"number": letter.number, "code": "AAAAA"})
    assert words(page) == "" and letter.number not in page.content.decode()


# -- What is sent ----------------------------------------------------------------------------------


def test_a_file_is_hashed_piece_by_piece_and_kept_nowhere(
    letter, monkeypatch, media_folder: Path, tmp_path: Path, settings
) -> None:
    pieces: list[int] = []
    update = digests.HashingHandler.receive_data_chunk

    def noted(self: Any, raw_data: bytes, start: int) -> None:
        pieces.append(len(raw_data))
        update(self, raw_data, start)

    temporary = tmp_path / "temporary"
    temporary.mkdir()
    settings.FILE_UPLOAD_TEMP_DIR = str(temporary)
    monkeypatch.setattr(digests.HashingHandler, "receive_data_chunk", noted)
    before = sorted(media_folder.rglob("*"))
    data = bytes(4_000_000)  # more than the framework would keep in memory
    assert hashlib.sha256(data).hexdigest() in words(send(data))
    assert sum(pieces) == 4_000_000 and max(pieces) <= 65_536
    assert sorted(media_folder.rglob("*")) == before
    assert list(temporary.iterdir()) == []


def test_the_form_of_a_file_comes_from_our_own_page(letter) -> None:
    assert send(bytes_of(letter), enforce_csrf_checks=True).status_code == 403
    browser = Browser(enforce_csrf_checks=True)
    browser.get(reverse("letter_check"))
    token = browser.cookies["csrftoken"].value
    sent = {"file": SimpleUploadedFile("a.pdf", bytes_of(letter)), "csrfmiddlewaretoken": token}
    assert words(browser.post(reverse("letter_check_file"), sent)).startswith(ISSUED)


def test_nobody_sends_more_than_the_largest_letter() -> None:
    file, code = reverse("letter_check_file"), reverse("letter_check")
    for is_logged_in in (False, True):
        most = most_body_bytes(file, is_logged_in=is_logged_in)
        assert MOST_BYTES < most <= MOST_BYTES + 100_000
    assert most_body_bytes(code, is_logged_in=False) == 64_000
    answer = send(bytes(most + 1))
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "sent", [{}, {"number": "2026-0001"}, {"code": "x"}, {"number": "\x01", "code": "x"}]
)
def test_what_is_missing_is_asked_for(sent) -> None:
    answer = Browser().post(reverse("letter_check"), sent)
    assert answer.status_code == 422 and words(answer) == ""
    assert 'class="errorlist"' in answer.content.decode()


def test_an_empty_file_and_none_are_asked_for_again() -> None:
    assert send(b"").status_code == 422
    assert Browser().post(reverse("letter_check_file")).status_code == 422
