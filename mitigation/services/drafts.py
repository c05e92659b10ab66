"""Drafts of letters: made by a job from the case as it stands, gone after a day."""

from datetime import datetime
from typing import IO, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.intake.contents import PDF
from consult.letters import rendering
from consult.letters.content import as_draft, draft_number
from consult.models import User
from consult.services.files import drop_file
from consult.services.jobs import Run, enqueue, job_progress
from consult.services.letters import content_sha256
from consult.services.stored_files import StoredFileError, open_stored, write_stored
from mitigation.models import Case, LetterDraft
from mitigation.models.drafts import KEPT
from mitigation.services.letters import drafted, lock_case

MAKE_DRAFT = "make-draft"
DROP_DRAFT = "drop-draft"

State = LetterDraft.State


@transaction.atomic
def ask_draft(*, kind: str, case: Case, by: User, now: datetime) -> LetterDraft:
    """Keep what the letter would say, and have it made; of the same words there is one draft."""
    lock_case(case)
    number = draft_number(case.property.client.language)
    content = as_draft(drafted(kind=kind, case=case).content(number, now))
    digest = content_sha256(content)
    live = LetterDraft.objects.live(now).filter(case=case, kind=kind, content_sha256=digest)
    same = live.exclude(state=State.FAILED).first()
    if same is not None:
        return same
    draft = LetterDraft(
        case=case,
        kind=kind,
        content=content,
        content_sha256=digest,
        asked_by=by,
        asked_at=now,
        expires_at=now + KEPT,
    )
    draft.full_clean()
    draft.save(force_insert=True)
    about = {"draft": draft.pk}
    enqueue(kind=MAKE_DRAFT, key=_key(draft), arguments=about)
    enqueue(
        kind=DROP_DRAFT,
        key=f"{DROP_DRAFT}:{draft.uid}",
        arguments=about,
        run_after=draft.expires_at,
    )
    return draft


def draft_progress(draft: LetterDraft) -> int:
    """How far the file is. [%]"""
    return 100 if draft.state == State.READY else job_progress(_key(draft))


def open_draft(draft: LetterDraft) -> IO[bytes]:
    """The PDF of a draft that is ready."""
    try:
        return open_stored(draft.stored)
    except StoredFileError as error:
        raise ValidationError(_("There is no file of this draft.")) from error


def _key(draft: LetterDraft) -> str:
    return f"{MAKE_DRAFT}:{draft.uid}"


# -- The jobs -----------------------------------------------------------------------------------


def make_draft(arguments: dict[str, Any], run: Run) -> None:
    """Make the PDF; nothing is left of it where the draft went meanwhile."""
    draft = LetterDraft.objects.filter(pk=arguments["draft"]).exclude(state=State.READY).first()
    if draft is None:
        return
    run.progress(10)
    pdf = rendering.render_letter(draft.content)
    run.progress(70)
    if not run.is_current():
        return
    stored = write_stored(
        key=draft.file_key(), chunks=[pdf], kind=PDF, now=timezone.now(), attempt=run.attempt
    )
    with transaction.atomic():
        rows = LetterDraft.objects.filter(pk=draft.pk)
        state = rows.select_for_update().values_list("state", flat=True).first()
        if state is not None and state != State.READY:
            stored.save()
            rows.update(state=State.READY, stored=stored)
    if state is None:
        drop_file(key=draft.file_key())


def draft_failed(arguments: dict[str, Any], reason: str) -> None:
    """Say on the draft that it was given up; why is in the job."""
    rows = LetterDraft.objects.filter(pk=arguments["draft"], state=State.QUEUED)
    rows.update(state=State.FAILED)


def drop_draft(arguments: dict[str, Any], run: Run) -> None:
    """The job that comes after a day; the file goes first, so that a killed job finds the row."""
    draft = LetterDraft.objects.select_related("stored").filter(pk=arguments["draft"]).first()
    if draft is None:
        return
    drop_file(key=draft.file_key())
    with transaction.atomic():
        draft.delete()
        if draft.stored is not None:
            draft.stored.delete()
