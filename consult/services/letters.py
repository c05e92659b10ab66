"""Letters: frozen when issued, made into one file each by a job."""

import hashlib
import json
import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import IO, Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models.functions import Length
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.intake.contents import PDF
from consult.letters import rendering
from consult.models import Client, Firm, Job, Letter, Property, User
from consult.services.jobs import Run, enqueue, job_progress, revive
from consult.services.letter_checks import new_code
from consult.services.stored_files import StoredFileError, open_stored, write_stored

log = logging.getLogger(__name__)

RENDER_LETTER = "render-letter"
NUMBER_TRIES = 50


class LetterFileError(Exception):
    """The file of a letter is not there, or not the one that was issued."""


def issue_letter(
    *,
    kind: str,
    build: Callable[[str], dict[str, Any]],
    client: Client,
    property: Property,
    case_reference: str,
    rules: Sequence[str],
    language: str,
    paper: str,
    template_version: str,
    by: User | None,
    now: datetime,
    corrects: Letter | None = None,
    firm: Firm | None = None,
    when_ready: str = "",
) -> Letter:
    """Give the letter its number, freeze its row and queue its rendering, in one transaction.

    `build` makes the content for a number. It is called again when somebody else took the number
    first, so it must change nothing. `when_ready` is the kind of a job about the letter, that
    follows once it is ready, however often that was tried.
    """
    frozen = {
        "kind": kind,
        "client": client,
        "property": property,
        "case_reference": case_reference,
        "rules": list(rules),
        "language": language,
        "paper": paper,
        "template_version": template_version,
        "issued_by": by,
        "issued_at": now,
        "corrects": corrects,
        "firm": firm,
    }
    with transaction.atomic():
        # An erasure holds the same row, so no letter comes after it with what it had erased.
        if Client.objects.select_for_update().get(pk=client.pk).is_erased:
            raise ValidationError(_("This record is not there any more."))
        letter = _save_under_next_number(frozen, build, year=timezone.localdate(now).year)
        enqueue(
            kind=RENDER_LETTER,
            key=f"{RENDER_LETTER}:{letter.number}",
            arguments={"letter": letter.pk} | ({"when_ready": when_ready} if when_ready else {}),
        )
    return letter


def _save_under_next_number(
    frozen: dict[str, Any], build: Callable[[str], dict[str, Any]], *, year: int
) -> Letter:
    """The unique number decides who was first; the other tries the next one."""
    for _try in range(NUMBER_TRIES):
        number = next_number(year)
        content = build(number)
        letter = Letter(
            number=number,
            content=content,
            content_sha256=content_sha256(content),
            check_code=new_code(),
            **frozen,
        )
        letter.full_clean(exclude=["content", "rules", "rendered_with"], validate_unique=False)
        try:
            with transaction.atomic():
                letter.save(force_insert=True)
        except IntegrityError:
            if not Letter.objects.filter(number=number).exists():
                raise
        else:
            return letter
    raise ValidationError(_("No letter number was free; please try again."))


def next_number(year: int) -> str:
    """One more than the year's highest number."""
    last = (
        Letter.objects.filter(number__startswith=f"{year}-")
        .order_by(Length("number").desc(), "-number")
        .values_list("number", flat=True)
        .first()
    )
    return f"{year}-{(int(last.split('-')[1]) if last else 0) + 1:04d}"


def content_sha256(content: dict[str, Any]) -> str:
    """The hash of a content, whatever a database does to the order of keys or to 2.0 and 2."""
    text = json.dumps(_plain(content), sort_keys=True, ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value


def render_letter(arguments: dict[str, Any], run: Run) -> None:
    """Make the PDF of a letter from its row and mark it ready; a ready one is left as it is."""
    letter = Letter.objects.get(pk=arguments["letter"])
    open_states = [Letter.State.QUEUED, Letter.State.RENDERING, Letter.State.FAILED]
    rows = Letter.objects.filter(pk=letter.pk, state__in=open_states)
    if not rows.update(state=Letter.State.RENDERING, failure=""):
        return
    if content_sha256(letter.content) != letter.content_sha256:
        raise LetterFileError("the content of the letter is not what was issued")
    run.progress(10)
    pdf = rendering.render_letter(letter.content, check_code=letter.check_code)
    run.progress(70)
    if not run.is_current():
        return
    now = timezone.now()
    stored = write_stored(
        key=letter.file_key(), chunks=[pdf], kind=PDF, now=now, attempt=run.attempt
    )
    run.progress(90)
    with transaction.atomic():
        if not rows.select_for_update().values_list("pk"):  # made by another attempt, or erased
            return
        stored.save()
        rows.update(
            state=Letter.State.READY,
            stored=stored,
            sha256=stored.sha256,
            rendered_at=now,
            rendered_with=rendering.renderer_versions(),
        )
        if kind := arguments.get("when_ready"):
            enqueue(kind=kind, key=f"{kind}:letter-{letter.pk}", arguments={"letter": letter.pk})


def letter_failed(arguments: dict[str, Any], reason: str) -> None:
    """Say on the letter why its rendering was given up."""
    Letter.objects.filter(pk=arguments["letter"]).exclude(state=Letter.State.READY).update(
        state=Letter.State.FAILED, failure=reason
    )


def retry_letter(*, letter: Letter, by: User | None, now: datetime) -> bool:
    """Queue a failed letter again; False when it has not failed."""
    with transaction.atomic():
        queued = Letter.objects.filter(pk=letter.pk, state=Letter.State.FAILED).update(
            state=Letter.State.QUEUED, failure=""
        )
        if not queued:
            return False
        revive(job=_job_of(letter), now=now)
    log.info("letter %s is tried again by %s", letter.number, by or "the system")
    return True


def letter_progress(letter: Letter) -> int:
    """How far the rendering is. [%]"""
    if letter.state in (Letter.State.READY, Letter.State.ERASED):
        return 100
    return job_progress(f"{RENDER_LETTER}:{letter.number}")


def open_letter(letter: Letter) -> IO[bytes]:
    """The PDF as it was issued; another file in its place is not handed out."""
    if letter.state != Letter.State.READY:
        raise LetterFileError(f"letter {letter.number} is {letter.state}")
    try:
        return open_stored(letter.stored)
    except StoredFileError as error:
        raise LetterFileError(f"letter {letter.number}: {error}") from error


def _job_of(letter: Letter) -> Job:
    return Job.objects.get(key=f"{RENDER_LETTER}:{letter.number}")
