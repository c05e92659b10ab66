"""An archive is read only when every byte of it is right and it holds nothing odd."""

import hashlib
import io
import random
import tarfile
import tracemalloc
from pathlib import Path

import pytest

from consult.services.backups.archive import (
    ABOUT_TEXT,
    BackupError,
    Writer,
    check_archive,
)
from tests.consult.archives import FACTS, entry, forged

FILE = b"%PDF-1.7 invented"


def written(path: Path) -> Path:
    """A whole archive with a database and two files."""
    with Writer(path) as archive:
        archive.add("database.sqlite3", io.BytesIO(b"rows" * 200), 800)
        archive.add("files/letters/2026-0001.pdf", io.BytesIO(FILE), len(FILE))
        archive.add("files/imports/größe.zip", io.BytesIO(b""), 0)
        archive.finish(FACTS)
    return path


ABOUT_ENTRY = entry("ABOUT", ABOUT_TEXT.encode())
DATABASE = ("database.sqlite3", b"rows")
GOOD = [ABOUT_ENTRY, entry(*DATABASE)]


def test_a_whole_archive_says_what_it_holds(tmp_path):
    archive = check_archive(written(tmp_path / "backup.tar"))
    assert archive.database.size == 800
    assert list(archive.files) == ["letters/2026-0001.pdf", "imports/größe.zip"]
    read = {member.name: b"".join(checked.chunks()) for member, checked in archive.contents()}
    assert read["files/letters/2026-0001.pdf"] == FILE
    before_the_seal = (tmp_path / "backup.tar").read_bytes()[:-2048]
    assert archive.digest == hashlib.sha256(before_the_seal).hexdigest()


def test_any_program_that_reads_tar_can_read_it(tmp_path):
    with tarfile.open(written(tmp_path / "backup.tar")) as tar:
        assert tar.getnames() == [
            "ABOUT", "database.sqlite3", "files/letters/2026-0001.pdf", "files/imports/größe.zip",
            "manifest.json", "SEAL",
        ]  # fmt: skip


def test_a_flipped_bit_is_noticed_wherever_it_is(tmp_path):
    """One bit in each few bytes and in all of the seal, by a die that throws the same each time."""
    path = written(tmp_path / "backup.tar")
    whole = path.read_bytes()
    throws = random.Random(7)
    places = [throws.randrange(at, at + 6) for at in range(0, len(whole) - 2048 - 6, 6)]
    for at in [*places, *range(len(whole) - 2048, len(whole), 2)]:
        altered = bytearray(whole)
        altered[at] ^= 1 << throws.randrange(8)
        path.write_bytes(altered)
        with pytest.raises(BackupError):
            check_archive(path)
    path.write_bytes(whole)
    check_archive(path)


def test_a_lost_or_added_end_is_noticed(tmp_path):
    path = written(tmp_path / "backup.tar")
    whole = path.read_bytes()
    for length in {*range(0, len(whole), 11), *range(len(whole) - 64, len(whole))}:
        path.write_bytes(whole[:length])
        with pytest.raises(BackupError):
            check_archive(path)
    for more in (b"\0", bytes(512), bytes(10_240), whole):
        path.write_bytes(whole + more)
        with pytest.raises(BackupError, match="seal does not fit"):
            check_archive(path)


def test_a_file_of_something_else_is_called_so(tmp_path):
    path = tmp_path / "other.tar"
    for content in (b"PK\x03\x04 a zip", b"\0" * 20_480, b"SQLite format 3\0"):
        path.write_bytes(content)
        with pytest.raises(BackupError, match="no backup of Ebbmark"):
            check_archive(path)
    with pytest.raises(BackupError, match="No such file"):
        check_archive(tmp_path / "nowhere.tar")
    with pytest.raises(BackupError, match="Is a directory"):
        check_archive(tmp_path)


def test_the_forger_of_these_tests_can_make_a_good_one(tmp_path):
    assert check_archive(forged(tmp_path / "a.tar", [DATABASE], GOOD)).files == {}


@pytest.mark.parametrize(
    "name",
    [
        "../outside", "files/../../outside", "/etc/outside", "files//double", "files/./here",
        "files/a\\..\\b", "other/folder", "files/..", ".", "files/a/../b",
    ],
)  # fmt: skip
def test_a_name_that_leads_elsewhere_is_refused(tmp_path, name):
    with pytest.raises(BackupError, match="which no backup holds"):
        check_archive(
            forged(tmp_path / "a.tar", [DATABASE, (name, b"x")], [*GOOD, entry(name, b"x")])
        )


@pytest.mark.parametrize(
    "kind",
    [
        tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE,
        tarfile.BLKTYPE,
    ],
)  # fmt: skip
def test_what_is_no_plain_file_is_refused(tmp_path, kind):
    odd = tarfile.TarInfo("files/odd")
    odd.type, odd.linkname = kind, "database.sqlite3"
    path = forged(tmp_path / "a.tar", [DATABASE, (odd, b"")], [*GOOD, entry("files/odd", b"")])
    with pytest.raises(BackupError, match="which no backup holds"):
        check_archive(path)


@pytest.mark.parametrize(
    ("members", "named"),
    [
        ([DATABASE, ("files/more", b"x")], GOOD),
        ([DATABASE], [*GOOD, entry("files/less", b"x")]),
        ([DATABASE, DATABASE], [*GOOD, entry(*DATABASE)]),
        ([DATABASE, ("files/a", b"x")], [*GOOD, entry("files/a", b"y")]),
        ([DATABASE, ("files/a", b"x")], [*GOOD, {**entry("files/a", b"x"), "size": 2}]),
        ([("files/a", b"x"), DATABASE], [*GOOD, entry("files/a", b"x")]),
        ([("files/a", b"x")], [ABOUT_ENTRY, entry("files/a", b"x")]),
    ],
    ids=["more", "less", "twice", "other bytes", "other size", "other order", "no database"],
)
def test_more_or_less_than_the_manifest_names_is_refused(tmp_path, members, named):
    with pytest.raises(BackupError, match="does not hold what its manifest names"):
        check_archive(forged(tmp_path / "a.tar", members, named))


@pytest.mark.parametrize(
    ("other", "word"),
    [
        ({"format": "ebbmark-backup-2"}, "of the form 'ebbmark-backup-2'"),
        ({"members": 5}, "can not be read"),
        ({"members": [{"name": "ABOUT"}]}, "can not be read"),
        ({"members": [[], {}]}, "can not be read"),
        ({"database": None}, "can not be read"),
    ],
)
def test_an_odd_manifest_is_refused(tmp_path, other, word):
    with pytest.raises(BackupError, match=word):
        check_archive(forged(tmp_path / "a.tar", [DATABASE], GOOD, other))


def test_an_archive_is_for_its_owner_and_comes_whole_or_not_at_all(tmp_path):
    path = written(tmp_path / "backup.tar")
    assert path.stat().st_mode & 0o777 == 0o600
    before = path.read_bytes()
    with pytest.raises(BackupError, match="is there already"):
        written(path)
    assert path.read_bytes() == before

    other = tmp_path / "other.tar"
    with pytest.raises(ZeroDivisionError), Writer(other) as archive:
        archive.add("database.sqlite3", io.BytesIO(b"rows"), 1 // 0)
    assert [file.name for file in tmp_path.iterdir()] == ["backup.tar"]


@pytest.mark.parametrize("said", [3, 5])
def test_a_file_that_grows_or_shrinks_while_it_is_read_ends_the_backup(tmp_path, said):
    with (
        pytest.raises(BackupError, match="changed while it was read"),
        Writer(tmp_path / "backup.tar") as archive,
    ):
        archive.add("files/a", io.BytesIO(b"rows"), said)
    assert list(tmp_path.iterdir()) == []


def test_two_at_once_do_not_mix(tmp_path):
    with (
        Writer(tmp_path / "backup.tar"),
        pytest.raises(BackupError, match="another backup is being made"),
        Writer(tmp_path / "backup.tar"),
    ):
        pass


class Zeros(io.RawIOBase):
    """Many bytes that take no room."""

    def __init__(self, size: int) -> None:
        self.left = size

    def read(self, size: int = -1) -> bytes:
        given = self.left if size < 0 else min(size, self.left)
        self.left -= given
        return bytes(given)


def test_no_file_is_held_in_memory(tmp_path):
    size = 96 * 1024 * 1024
    tracemalloc.start()
    try:
        with Writer(tmp_path / "backup.tar") as archive:
            archive.add("database.sqlite3", Zeros(size), size)
            archive.finish(FACTS)
        checked = check_archive(tmp_path / "backup.tar")
        for _member, stream in checked.contents():
            assert sum(map(len, stream.chunks())) > 0
        _now, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < size / 10
