"""Files that are attached to a case: known by their content, kept under their digest."""

import hashlib
import secrets
from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.files import write_file
from mitigation.models import Attachment, Case

MOST_BYTES = 20_000_000
# What a file begins with says what it is; its name says nothing.
_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"PK\x03\x04", "application/zip"),
)


def attach_file(
    *, case: Case, name: str, data: bytes, by: User | None, now: datetime
) -> Attachment:
    """Keep a file on a case; the same file again is the one that is there."""
    kind = _kind_of(data)
    digest = hashlib.sha256(data).hexdigest()
    known = case.attachments.filter(sha256=digest).first()
    if known is not None:
        return known
    key = f"attachments/{case.pk}/{digest}"
    write_file(key=key, data=data, attempt=secrets.randbits(48))
    attachment = Attachment(
        case=case,
        name=name.replace("\\", "/").rpartition("/")[2][:200] or digest[:12],
        kind=kind,
        size=len(data),
        sha256=digest,
        file=key,
        added_by=by,
        added_at=now,
    )
    with transaction.atomic():
        attachment.full_clean()
        attachment.save()
    return attachment


def attached_bytes(attachment: Attachment) -> bytes:
    """The file, if it is the one that was attached."""
    try:
        with default_storage.open(str(attachment.file)) as file:
            data: bytes = file.read()
    except FileNotFoundError as error:
        raise ValidationError(_("The file is not there any more.")) from error
    if hashlib.sha256(data).hexdigest() != attachment.sha256:
        raise ValidationError(_("The file is not the one that was attached."))
    return data


def _kind_of(data: bytes) -> str:
    if not data:
        raise ValidationError(_("The file is empty."))
    if len(data) > MOST_BYTES:
        raise ValidationError(_("A file has at most 20 MB."))
    for start, kind in _KINDS:
        if data.startswith(start):
            return kind
    if not _is_plain_text(data):
        raise ValidationError(
            _("This kind of file is not kept here: PDF, PNG, JPEG, ZIP, XLSX, DOCX or plain text.")
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
