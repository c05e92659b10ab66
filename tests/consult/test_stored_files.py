"""Kept files: told by their content, measured on the way in, unchanged on the way out."""

import hashlib
import io
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone

from consult.intake.contents import TEXT, kind_of_content
from consult.models import StoredFile
from consult.services.stored_files import (
    CHUNK,
    StoredFileError,
    is_kept,
    open_stored,
    write_stored,
)

pytestmark = pytest.mark.django_db
NOW = timezone.now()
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55"
    "0000000a49444154789c636800000082008177cd72b60000000049454e44ae426082"
)


def stored(data: bytes = b"%PDF-1.7", key: str = "letters/a.pdf") -> StoredFile:
    row = write_stored(key=key, chunks=[data], kind="application/pdf", now=NOW)
    row.save()
    return row


def test_a_file_is_measured_while_it_comes_in() -> None:
    pieces = [b"a" * CHUNK, b"b" * 7, b"c" * CHUNK]
    left = list(pieces)

    def arriving() -> Iterator[bytes]:
        while left:
            yield left.pop(0)

    row = write_stored(key="plans/p.txt", chunks=arriving(), kind=TEXT, now=NOW)
    assert row.pk is None  # it is saved with what it belongs to
    assert row.size == 2 * CHUNK + 7
    assert row.sha256 == hashlib.sha256(b"".join(pieces)).hexdigest()
    with open_stored(row) as file:
        assert file.read() == b"".join(pieces)


def test_a_file_of_other_bytes_is_not_handed_out(media_folder: Path) -> None:
    row = stored()
    assert is_kept(row)
    (media_folder / row.key).write_bytes(b"%PDF-1.8")
    assert not is_kept(row)
    with pytest.raises(StoredFileError, match=r"letters/a\.pdf is not what was stored"):
        open_stored(row)
    (media_folder / row.key).unlink()
    with pytest.raises(StoredFileError, match=r"letters/a\.pdf is missing"):
        open_stored(row)
    with pytest.raises(StoredFileError, match="there is no file"):
        open_stored(None)


def test_a_key_has_one_row() -> None:
    stored()
    with pytest.raises(IntegrityError), transaction.atomic():
        stored(b"other bytes")


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"%PDF-1.7 and more", "application/pdf"),
        (b"PK\x03\x04 and more", "application/zip"),
        (b"\xff\xd8\xff and more", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n and more", "image/png"),
        (b"\0\0\0\x18ftypheic and more", "image/heic"),
        ("\ufeffGrüße\r\n\t".encode(), TEXT),
        (b"a" * (CHUNK - 1) + "ü".encode(), TEXT),  # a letter that lies across two pieces
    ],
)
def test_the_content_says_what_a_file_is(data: bytes, kind: str) -> None:
    file = io.BytesIO(data)
    assert kind_of_content(file) == kind
    assert file.tell() == 0


@pytest.mark.parametrize(
    "data",
    [
        b"GIF89a" + bytes(9),
        b"\n  <svg/>",
        b" " * CHUNK + b"<html>",
        b"fine" * CHUNK + b"\x07",
        b"a" * CHUNK + b"\xc3",  # ends inside a letter
        b"MZ\x90\0",
    ],
    ids=["gif", "svg", "html after a page of blanks", "a bell at the end", "half a letter", "exe"],
)
def test_what_is_nothing_of_that_is_refused(data: bytes) -> None:
    with pytest.raises(ValidationError, match="kind of file"):
        kind_of_content(ContentFile(data))


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(ValidationError, match="empty"):
        kind_of_content(io.BytesIO())


def test_a_file_of_which_nothing_is_known_is_not_handed_out() -> None:
    """A row from before whose file was not there has no digest; any file there now is another."""
    frozen = import_module("consult.migrations._stored_files")
    assert (frozen.size_of("imports/gone.zip"), frozen.digest_of("imports/gone.zip")) == (0, "")
    row = stored()
    assert frozen.size_of(row.key) == row.size and frozen.digest_of(row.key) == row.sha256
    StoredFile.objects.update(sha256="")
    with pytest.raises(StoredFileError):
        open_stored(StoredFile.objects.get())
