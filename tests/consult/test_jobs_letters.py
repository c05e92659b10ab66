"""Letters as jobs: frozen with their number, made once, one file for each."""

import hashlib
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.utils import timezone
from pytest_django import Settings

from consult import services
from consult.letters import rendering
from consult.models import Client, Job, Letter, Property, StoredFile
from consult.models.clients import ERASED
from consult.services import letters
from consult.tasks import run_job
from tests.consult import issued
from tests.factories import as_if_so_from_the_start
from tests.files import content_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def place() -> Property:
    return issued.home()


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The numbers of the letters that were drawn, by a renderer that is quick and no PDF's."""
    numbers: list[str] = []

    def draw(content: dict[str, Any], *, check_code: str) -> bytes:
        numbers.append(content["number"])
        return b"%PDF " + content["number"].encode()

    monkeypatch.setattr(rendering, "render_letter", draw)
    monkeypatch.setattr(rendering, "renderer_versions", lambda: {"renderer": "1"})
    return numbers


def plain(number: str) -> dict[str, Any]:
    return {"number": number, "value": 2.0}


def run_the_job(letter: Letter) -> Job:
    job = Job.objects.get(key=f"render-letter:{letter.number}")
    Job.objects.filter(pk=job.pk, state="waiting").update(run_after=timezone.now())
    run_job(job.pk)
    letter.refresh_from_db()
    job.refresh_from_db()
    return job


# -- Issuing ----------------------------------------------------------------------------------


def test_a_letter_and_its_job_are_one_change(place: Property) -> None:
    with transaction.atomic():
        issued.issue(place, build=plain)
        transaction.set_rollback(True)
    assert not Letter.objects.exists()
    assert not Job.objects.exists()
    letter = issued.issue(place, build=plain)
    assert letter.content == {"number": "2026-0001", "value": 2.0}
    assert (letter.state, letter.number) == ("queued", "2026-0001")
    assert Job.objects.get().arguments == {"letter": letter.pk}


def test_numbers_count_within_a_year(place: Property) -> None:
    numbers = [issued.issue(place, build=plain).number for _ in range(2)]
    next_year = issued.NOW + timedelta(days=300)
    numbers.append(issued.issue(place, build=plain, now=next_year).number)
    as_if_so_from_the_start(Letter.objects.filter(number="2026-0002"), number="2026-9999")
    numbers += [issued.issue(place, build=plain).number for _ in range(2)]
    assert numbers == ["2026-0001", "2026-0002", "2027-0001", "2026-10000", "2026-10001"]


def test_a_number_that_somebody_else_took_is_passed_over(place: Property) -> None:
    asked: list[str] = []

    def build(number: str) -> dict[str, Any]:
        asked.append(number)
        if len(asked) == 1:
            issued.issue(place, build=plain)  # the other one, between asking and saving
        return plain(number)

    letter = issued.issue(place, build=build)
    assert asked == ["2026-0001", "2026-0002"]
    assert letter.content["number"] == letter.number == "2026-0002"


@pytest.mark.django_db(transaction=True)
def test_letters_issued_at_once_get_a_number_each_without_gaps(place: Property) -> None:
    gate = threading.Barrier(6)
    errors: list[BaseException] = []

    def issue() -> None:
        try:
            gate.wait()
            for _ in range(3):
                issued.issue(place, build=plain)
        except BaseException as error:
            errors.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=issue) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    numbers = sorted(Letter.objects.values_list("number", flat=True))
    assert numbers == [f"2026-{n:04d}" for n in range(1, 19)]
    assert all(letter.content["number"] == letter.number for letter in Letter.objects.all())


def test_a_letter_that_is_not_whole_is_not_issued(place: Property) -> None:
    with pytest.raises(ValidationError, match="paper"):
        issued.issue(place, build=plain, paper="A3")
    assert not Letter.objects.exists()


def test_the_hash_of_a_content_does_not_depend_on_the_database() -> None:
    as_written = {"b": 1e22, "a": [2.0, -0.0, 0.1], "c": {"y": 1, "x": None}}
    as_read = {"c": {"x": None, "y": 1}, "a": [2, 0.0, 0.1], "b": 10**22}
    assert letters.content_sha256(as_written) == letters.content_sha256(as_read)
    assert letters.content_sha256(as_written) != letters.content_sha256(as_written | {"b": 1e21})


# -- Rendering --------------------------------------------------------------------------------


def test_a_rendered_letter_is_ready_with_its_file(place: Property, media_folder: Path) -> None:
    """The real renderer, as in life."""
    letter = issued.issue(place)
    job = run_the_job(letter)
    assert (job.state, job.last_error) == ("done", "")
    assert letter.state == "ready"
    file = media_folder / letter.file_key()
    data = file.read_bytes()
    assert data.startswith(b"%PDF-")
    assert letter.sha256 == hashlib.sha256(data).hexdigest()
    assert content_of(services.open_letter(letter)) == data
    assert set(letter.rendered_with) >= {"weasyprint", "template"}
    assert services.letter_progress(letter) == 100
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700


def test_a_ready_letter_is_never_rendered_again(
    place: Property, drawn: list[str], media_folder: Path
) -> None:
    letter = issued.issue(place, build=plain)
    run_the_job(letter)
    Job.objects.update(state="waiting")  # the worker died after the letter, before the job
    job = run_the_job(letter)
    assert job.state == "done"
    assert drawn == [letter.number]
    assert [path.name for path in (media_folder / "letters").iterdir()] == [
        Path(letter.file_key()).name
    ]


@pytest.mark.django_db(transaction=True)
def test_nothing_is_rendered_or_written_inside_a_transaction(
    place: Property, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    inside: list[bool] = []
    draw, write = rendering.render_letter, letters.write_stored

    def watched_draw(content: dict[str, Any], *, check_code: str) -> bytes:
        inside.append(connection.in_atomic_block)
        return draw(content, check_code=check_code)

    def watched_write(**arguments: Any) -> StoredFile:
        inside.append(connection.in_atomic_block)
        return write(**arguments)

    monkeypatch.setattr(rendering, "render_letter", watched_draw)
    monkeypatch.setattr(letters, "write_stored", watched_write)
    letter = issued.issue(place, build=plain)
    run_the_job(letter)
    assert letter.state == "ready"
    assert inside == [False, False]


def test_an_attempt_that_lost_its_lease_writes_no_file(
    place: Property, monkeypatch: pytest.MonkeyPatch, drawn: list[str]
) -> None:
    letter = issued.issue(place, build=plain)

    def slow(content: dict[str, Any], *, check_code: str) -> bytes:
        Job.objects.update(attempts=2)  # meanwhile another attempt began
        return b"late"

    monkeypatch.setattr(rendering, "render_letter", slow)
    job = run_the_job(letter)
    assert not default_storage.exists(letter.file_key())
    assert (job.state, letter.state) == ("running", "rendering")


def test_a_content_that_was_touched_is_not_rendered(place: Property, drawn: list[str]) -> None:
    letter = issued.issue(place, build=plain)
    as_if_so_from_the_start(Letter.objects.all(), content={"number": letter.number, "value": 1.0})
    job = run_the_job(letter)
    assert drawn == []
    assert "not what was issued" in job.last_error


def test_a_letter_that_cannot_be_made_says_why_and_can_be_tried_again(
    place: Property, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    good = rendering.render_letter

    def broken(content: dict[str, Any], *, check_code: str) -> bytes:
        raise rendering.LetterRenderError("no ink")

    monkeypatch.setattr(rendering, "render_letter", broken)
    letter = issued.issue(place, build=plain)
    states = []
    for _attempt in range(6):
        run_the_job(letter)
        states.append(letter.state)
    assert states == ["rendering"] * 4 + ["failed"] * 2
    assert letter.failure == "LetterRenderError: no ink"
    assert services.letter_progress(letter) < 100
    with pytest.raises(services.LetterFileError, match="is failed"):
        content_of(services.open_letter(letter))

    monkeypatch.setattr(rendering, "render_letter", good)
    assert services.retry_letter(letter=letter, by=None, now=timezone.now())
    assert not services.retry_letter(letter=letter, by=None, now=timezone.now())
    letter.refresh_from_db()
    assert (letter.state, letter.failure) == ("queued", "")
    run_the_job(letter)
    assert letter.state == "ready"
    assert drawn == [letter.number]


def test_a_file_that_is_not_the_issued_one_is_not_handed_out(
    place: Property, drawn: list[str], media_folder: Path
) -> None:
    letter = issued.issue(place, build=plain)
    run_the_job(letter)
    (media_folder / letter.file_key()).write_bytes(b"%PDF other")
    with pytest.raises(services.LetterFileError, match="not what was stored"):
        content_of(services.open_letter(letter))
    (media_folder / letter.file_key()).unlink()
    with pytest.raises(services.LetterFileError, match="missing"):
        content_of(services.open_letter(letter))


def test_progress_moves_while_a_letter_is_made(
    place: Property, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    letter = issued.issue(place, build=plain)
    seen: list[int] = []
    draw: Callable[..., bytes] = rendering.render_letter

    def watched(content: dict[str, Any], *, check_code: str) -> bytes:
        seen.append(services.letter_progress(letter))
        return draw(content, check_code=check_code)

    monkeypatch.setattr(rendering, "render_letter", watched)
    before = services.letter_progress(letter)
    run_the_job(letter)
    assert (before, seen, services.letter_progress(letter)) == (0, [10], 100)


def test_nobody_is_written_to_who_was_erased_meanwhile(place: Property) -> None:
    """The row in hand still has the name; the one in the database decides."""
    Client.objects.filter(pk=place.client_id).update(name=f"{ERASED}{place.client_id}]")
    assert not place.client.is_erased
    with pytest.raises(ValidationError, match="not there any more"):
        issued.issue(place, build=plain)
    assert not Letter.objects.exists()


def test_the_limits_of_time_stand_in_their_order(settings: Settings) -> None:
    assert (
        settings.CELERY_TASK_SOFT_TIME_LIMIT
        < settings.CELERY_TASK_TIME_LIMIT
        < settings.JOB_LEASE_S
        < settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    )
