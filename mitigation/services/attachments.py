"""Files that are attached to a case: known by their content, pictures cleaned by a job."""

from datetime import datetime
from pathlib import PurePosixPath
from typing import IO, Any

from django.core.exceptions import ValidationError
from django.core.files import File
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.intake import pictures
from consult.intake.contents import PICTURES, kind_of_content
from consult.models import StoredFile, User
from consult.services.files import drop_file
from consult.services.jobs import Run, enqueue
from consult.services.stored_files import (
    StoredFileError,
    digest_of_file,
    open_stored,
    pieces_of,
    write_stored,
)
from mitigation.models import Attachment, Case

CLEAN_PICTURE = "clean-picture"
DRAW_SKETCH = "draw-sketch"
MOST_SKETCHES = 2
"""A case has so many, so that a letter stays one."""

MOST_BYTES = 20_000_000

State = Attachment.State


def attach_file(
    *, case: Case, name: str, content: "File[bytes]", by: User | None, now: datetime
) -> Attachment:
    """Keep a file on a case; the same file again is the one that is there, unless it was refused.

    A picture waits for its job, and nobody gets it before.
    """
    if (content.size or 0) > MOST_BYTES:
        raise ValidationError(_("A file has at most 20 MB."))
    kind = kind_of_content(content)
    digest = digest_of_file(content)
    with transaction.atomic():
        # Two people, or one double click: the second waits here and gets the first one's file.
        Case.objects.select_for_update().get(pk=case.pk)
        known = case.attachments.filter(given_sha256=digest).first()
        if known is not None and known.state != State.REFUSED:
            return known
        if known is not None:
            known.delete()
        attachment = Attachment(
            case=case,
            name=name.replace("\\", "/").rpartition("/")[2][:200] or digest[:12],
            given_sha256=digest,
            state=State.CLEANING if kind in PICTURES else State.READY,
            added_by=by,
            added_at=now,
        )
        attachment.full_clean(validate_constraints=False)
        stored = write_stored(
            key=attachment.given_key(), chunks=pieces_of(content), kind=kind, now=now
        )
        stored.save()
        attachment.stored = stored
        attachment.save()
        if kind in PICTURES:
            enqueue(
                kind=CLEAN_PICTURE,
                key=f"{CLEAN_PICTURE}:{attachment.pk}",
                arguments={"attachment": attachment.pk},
            )
    return attachment


def open_attachment(attachment: Attachment) -> IO[bytes]:
    """The file, if it is ready and the one that was kept."""
    if attachment.state != State.READY:
        raise ValidationError(_("The file is being cleaned. Look again in a moment."))
    try:
        return open_stored(attachment.stored)
    except StoredFileError as error:
        raise ValidationError(_("The file is not the one that was attached.")) from error


def small_picture(attachment: Attachment) -> bytes:
    """The small JPEG of a cleaned picture."""
    if attachment.small is None:
        raise ValidationError(_("There is no picture."))
    return bytes(attachment.small)


@transaction.atomic
def mark_sketch(*, attachment: Attachment, wanted: bool) -> None:
    """Have letters print a picture as a sketch from now on, or no more."""
    case = Case.objects.select_for_update().get(pk=attachment.case_id)
    row = Attachment.objects.get(pk=attachment.pk)
    if wanted and (row.state != State.READY or row.width is None):
        raise ValidationError(_("Only a picture that is ready can be a sketch."))
    others = case.attachments.filter(is_sketch=True).exclude(pk=row.pk).count()
    if wanted and others >= MOST_SKETCHES:
        words = _("A case has at most %(n)d sketches. Take one out first.")
        raise ValidationError(words % {"n": MOST_SKETCHES})
    row.is_sketch = wanted
    row.save(update_fields=["is_sketch"])
    if wanted:
        key = f"{DRAW_SKETCH}:{row.pk}"
        enqueue(kind=DRAW_SKETCH, key=key, arguments={"attachment": row.pk})


def sketches_of(case: Case) -> list[tuple[str, bytes]]:
    """Name and JPEG of each sketch that is drawn."""
    rows = case.attachments.filter(is_sketch=True, sketch__isnull=False).order_by("pk")
    pairs = rows.values_list("name", "sketch")
    return [(name, bytes(data or b"")) for name, data in pairs]


def remove_refused(*, attachment: Attachment) -> None:
    """Forget a picture that was refused; its file is gone already."""
    with transaction.atomic():
        if not Attachment.objects.filter(pk=attachment.pk, state=State.REFUSED).delete()[0]:
            raise ValidationError(_("Only a refused file can be removed."))


# -- The job ------------------------------------------------------------------------------------


def clean_picture(arguments: dict[str, Any], run: Run) -> None:
    """Write a picture anew and remove what was uploaded; a bad one is refused with a word."""
    row = Attachment.objects.select_related("stored").filter(pk=arguments["attachment"]).first()
    if row is None:
        return
    if row.state != State.CLEANING:  # an attempt that died between the row and the file
        drop_file(key=row.given_key())
        return
    try:
        with open_stored(row.stored) as upload:
            full, small = pictures.cleaned(upload.read())
    except StoredFileError:
        _refuse(row, pictures.DAMAGED)
        return
    except pictures.PictureRefused as refused:
        _refuse(row, str(refused))
        return
    if not run.is_current():
        return
    cleaned = write_stored(
        key=row.clean_key(),
        chunks=[full.data],
        kind=full.kind,
        now=timezone.now(),
        attempt=run.attempt,
    )
    _settle(
        row,
        cleaned,
        state=State.READY,
        name=_name_for(row.name, full.kind),
        width=full.width,
        height=full.height,
        small=small.data,
    )


def draw_sketch(arguments: dict[str, Any], run: Run) -> None:
    """Make the small print of a picture that was marked as a sketch."""
    row = Attachment.objects.select_related("stored").filter(pk=arguments["attachment"]).first()
    if row is None or row.sketch is not None:
        return
    try:
        with open_stored(row.stored) as file:
            sketch = pictures.sketch_of(file.read())
    except (StoredFileError, pictures.PictureRefused):
        Attachment.objects.filter(pk=row.pk).update(is_sketch=False)
        return
    if run.is_current():
        Attachment.objects.filter(pk=row.pk).update(sketch=sketch.data)


def picture_given_up(arguments: dict[str, Any], reason: str) -> None:
    """A picture that no attempt came to an end with is not kept."""
    row = Attachment.objects.filter(pk=arguments["attachment"]).first()
    if row is not None:
        _refuse(row, pictures.GIVEN_UP)


def _refuse(row: Attachment, word: str) -> None:
    _settle(row, None, state=State.REFUSED, refusal=word)


def _settle(row: Attachment, stored: StoredFile | None, **values: Any) -> None:
    """End a picture's waiting, once: with the file to hand out, or none; what was given goes."""
    with transaction.atomic():
        rows = Attachment.objects.select_for_update(of=("self",)).select_related("stored")
        waiting = rows.filter(pk=row.pk, state=State.CLEANING).first()
        if waiting is None:
            return
        if stored is not None:
            stored.save()
        Attachment.objects.filter(pk=row.pk).update(stored=stored, **values)
        if waiting.stored is not None:
            waiting.stored.delete()
    drop_file(key=row.given_key())


def _name_for(name: str, kind: str) -> str:
    """The name with the ending of what the file is by now."""
    endings = {"image/jpeg": (".jpg", ".jpeg"), "image/png": (".png",)}[kind]
    if name.casefold().endswith(endings):
        return name
    return PurePosixPath(name[:190]).stem + endings[0]
