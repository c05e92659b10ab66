"""Files that are attached to a case: known by their content, pictures cleaned by a job."""

import hashlib
import secrets
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils.translation import gettext as _

from consult.intake import pictures
from consult.models import User
from consult.services.files import write_file
from consult.services.jobs import Run, enqueue
from mitigation.models import Attachment, Case

CLEAN_PICTURE = "clean-picture"
MOST_BYTES = 20_000_000
PICTURES = frozenset({"image/png", "image/jpeg", "image/heic"})
# What a file begins with says what it is; its name says nothing.
_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"PK\x03\x04", "application/zip"),
)

State = Attachment.State


def attach_file(
    *, case: Case, name: str, data: bytes, by: User | None, now: datetime
) -> Attachment:
    """Keep a file on a case; the same file again is the one that is there, unless it was refused.

    A picture waits for its job, and nobody gets it before.
    """
    kind = _kind_of(data)
    digest = hashlib.sha256(data).hexdigest()
    with transaction.atomic():
        # Two people, or one double click: the second waits here and gets the first one's file.
        Case.objects.select_for_update().get(pk=case.pk)
        known = case.attachments.filter(given_sha256=digest).first()
        if known is not None and known.state != State.REFUSED:
            return known
        if known is not None:
            known.delete()
        picture = kind in PICTURES
        attachment = Attachment(
            case=case,
            name=name.replace("\\", "/").rpartition("/")[2][:200] or digest[:12],
            kind=kind,
            size=len(data),
            given_sha256=digest,
            sha256="" if picture else digest,
            state=State.CLEANING if picture else State.READY,
            added_by=by,
            added_at=now,
        )
        attachment.file.name = attachment.given_key()
        attachment.full_clean()
        write_file(key=attachment.given_key(), data=data, attempt=secrets.randbits(48))
        attachment.save()
        if picture:
            enqueue(
                kind=CLEAN_PICTURE,
                key=f"{CLEAN_PICTURE}:{attachment.pk}",
                arguments={"attachment": attachment.pk},
            )
    return attachment


def attached_bytes(attachment: Attachment) -> bytes:
    """The file, if it is ready and the one that was kept."""
    if attachment.state != State.READY:
        raise ValidationError(_("The file is being cleaned. Look again in a moment."))
    data = _read(str(attachment.file))
    if hashlib.sha256(data).hexdigest() != attachment.sha256:
        raise ValidationError(_("The file is not the one that was attached."))
    return data


def small_picture(attachment: Attachment) -> bytes:
    """The small JPEG of a cleaned picture."""
    if attachment.small is None:
        raise ValidationError(_("There is no picture."))
    return bytes(attachment.small)


def remove_refused(*, attachment: Attachment) -> None:
    """Forget a picture that was refused; its file is gone already."""
    with transaction.atomic():
        if not Attachment.objects.filter(pk=attachment.pk, state=State.REFUSED).delete()[0]:
            raise ValidationError(_("Only a refused file can be removed."))


# -- The job ------------------------------------------------------------------------------------


def clean_picture(arguments: dict[str, Any], run: Run) -> None:
    """Write a picture anew and remove what was uploaded; a bad one is refused with a word."""
    row = Attachment.objects.filter(pk=arguments["attachment"]).first()
    if row is None:
        return
    if row.state != State.CLEANING:  # an attempt that died between the row and the file
        default_storage.delete(row.given_key())
        return
    try:
        full, small = pictures.cleaned(_read(row.given_key()))
    except pictures.PictureRefused as refused:
        _refuse(row, str(refused))
        return
    if not run.is_current():
        return
    write_file(key=row.clean_key(), data=full.data, attempt=run.attempt)
    cleaned = Attachment.objects.filter(pk=row.pk, state=State.CLEANING).update(
        state=State.READY,
        name=_name_for(row.name, full.kind),
        kind=full.kind,
        size=len(full.data),
        sha256=hashlib.sha256(full.data).hexdigest(),
        file=row.clean_key(),
        width=full.width,
        height=full.height,
        small=small.data,
    )
    if cleaned:
        default_storage.delete(row.given_key())


def picture_given_up(arguments: dict[str, Any], reason: str) -> None:
    """A picture that no attempt came to an end with is not kept."""
    row = Attachment.objects.filter(pk=arguments["attachment"]).first()
    if row is not None:
        _refuse(row, pictures.GIVEN_UP)


def _refuse(row: Attachment, word: str) -> None:
    refused = Attachment.objects.filter(pk=row.pk, state=State.CLEANING).update(
        state=State.REFUSED, refusal=word
    )
    if refused:
        default_storage.delete(row.given_key())


def _name_for(name: str, kind: str) -> str:
    """The name with the ending of what the file is by now."""
    endings = {"image/jpeg": (".jpg", ".jpeg"), "image/png": (".png",)}[kind]
    if name.casefold().endswith(endings):
        return name
    return PurePosixPath(name[:190]).stem + endings[0]


def _read(key: str) -> bytes:
    try:
        with default_storage.open(key) as file:
            data: bytes = file.read()
    except FileNotFoundError as error:
        raise ValidationError(_("The file is not there any more.")) from error
    return data


def _kind_of(data: bytes) -> str:
    if not data:
        raise ValidationError(_("The file is empty."))
    if len(data) > MOST_BYTES:
        raise ValidationError(_("A file has at most 20 MB."))
    for start, kind in _KINDS:
        if data.startswith(start):
            return kind
    if pictures.is_heic(data):
        return "image/heic"
    if not _is_plain_text(data):
        raise ValidationError(
            _(
                "This kind of file is not kept here: PDF, PNG, JPEG, HEIC, ZIP, XLSX, DOCX or "
                "plain text."
            )
        )
    return "text/plain; charset=utf-8"


def _is_plain_text(data: bytes) -> bool:
    """Text without control characters and without the markup that browsers run."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    if any(ord(char) < 32 and char not in "\t\r\n\f" for char in text):
        return False
    return not text.lstrip().startswith("<")
