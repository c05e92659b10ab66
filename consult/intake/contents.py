"""What a file is, told by its content: its name and what a browser says of it count for nothing."""

import codecs
from typing import IO

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from consult.intake import pictures

PDF = "application/pdf"
ZIP = "application/zip"
TEXT = "text/plain; charset=utf-8"
PICTURES = frozenset({"image/png", "image/jpeg", "image/heic"})
_BEGINNINGS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", PDF),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"PK\x03\x04", ZIP),
)
_CHUNK = 1 << 16


def kind_of_content(file: IO[bytes]) -> str:
    """The media type of a file that is kept here; ValidationError for any other.

    It is read piece by piece from its start, and is there again afterwards.
    """
    file.seek(0)
    start = file.read(_CHUNK)
    file.seek(0)
    if not start:
        raise ValidationError(_("The file is empty."))
    for beginning, kind in _BEGINNINGS:
        if start.startswith(beginning):
            return kind
    if pictures.is_heic(start):
        return "image/heic"
    is_text = _is_plain_text(file)
    file.seek(0)
    if not is_text:
        raise ValidationError(
            _(
                "This kind of file is not kept here: PDF, PNG, JPEG, HEIC, ZIP, XLSX, DOCX or "
                "plain text."
            )
        )
    return TEXT


def _is_plain_text(file: IO[bytes]) -> bool:
    """Text without control characters and without the markup that browsers run."""
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    blank_so_far = True
    while True:
        piece = file.read(_CHUNK)
        try:
            text = decoder.decode(piece, final=not piece)
        except UnicodeDecodeError:
            return False
        if any(ord(char) < 32 and char not in "\t\r\n\f" for char in text):
            return False
        if blank_so_far and (words := text.lstrip()):
            blank_so_far = False
            if words.startswith("<"):
                return False
        if not piece:
            return True
