"""A case folder as it comes: a directory, a zip or one workbook, read within limits."""

import hashlib
import io
import shutil
import stat
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import IO, TypeAlias

from django.utils.translation import gettext

from surveys.intake.faults import FaultLog

MEGABYTE = 1_000_000
MOST_BYTES = 20 * MEGABYTE
MOST_BYTES_UNPACKED = 64 * MEGABYTE  # all parts of one file together
# The parts of a workbook that are read as trees, many times their size in memory.
MOST_BYTES_TREE = MEGABYTE
MOST_ENTRIES = 100
MOST_RATIO = 200
_RATIO_COUNTS_FROM = MEGABYTE  # small files of one repeated word compress well and do no harm

CASE = "case.toml"
INSTRUMENTS = "instruments.csv"
VISITS = "visits.csv"
READINGS = "readings.csv"
GROUND_CHECKS = "ground_checks.csv"
CIRCUITS = "circuits.csv"
APPLIANCES = "appliances.csv"
REMEDIES = "remedies.csv"
REQUIRED_FILES = (CASE, INSTRUMENTS, VISITS, READINGS)
FILES = (*REQUIRED_FILES, GROUND_CHECKS, CIRCUITS, APPLIANCES, REMEDIES)
WORKBOOK = "case.xlsx"


@dataclass(frozen=True)
class Upload:
    """A file as a browser hands it over."""

    name: str
    data: bytes


Source: TypeAlias = Path | Upload


@dataclass(frozen=True)
class Files:
    """The files of a case folder by name: either the plain ones, or `WORKBOOK` alone."""

    name: str
    content: dict[str, bytes]

    @cached_property
    def sha256(self) -> str:
        """Digest of names and bytes: the same for a folder, its zip and a second zip of it."""
        digest = hashlib.sha256()
        for name, data in sorted(self.content.items()):
            digest.update(f"{name}\0{len(data)}\0".encode())
            digest.update(data)
        return digest.hexdigest()

    def zipped(self) -> bytes:
        """One zip of the files, the same bytes for the same files."""
        return pack(self.content)


def pack(content: dict[str, bytes]) -> bytes:
    """A zip without any trace of the hour and the machine."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in sorted(content.items()):
            entry = _entry(name)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, data, compresslevel=1)
    return buffer.getvalue()


def pack_streams(content: Mapping[str, IO[bytes]]) -> bytes:
    """A zip of files as they are, read piece by piece, so that no file is held beside it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, stream in content.items():
            with archive.open(_entry(name), "w") as member:
                shutil.copyfileobj(stream, member)
    return buffer.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    entry.external_attr = 0o600 << 16
    return entry


class TooMuch(Exception):
    """A file that is refused before it is read; found and allowed are its two arguments."""


def read_files(source: Source, log: FaultLog) -> Files | None:
    """The files of `source`; None with a fault in `log` when it can't be opened at all."""
    name = source.name
    try:
        if isinstance(source, Upload):
            content = _from_bytes(source.data)
        elif source.is_dir():
            name = source.resolve().name
            content = _named(_from_directory(source))
        else:
            content = _from_bytes(_read(source))
    except TooMuch as refused:
        found, allowed = refused.args
        log.add(name, None, None, found, allowed)
        return None
    except OSError as error:
        log.add(
            name,
            None,
            None,
            error.strerror or str(error),
            gettext("a readable folder, zip or XLSX"),
        )
        return None
    return Files(name, content)


def _from_directory(folder: Path) -> dict[str, bytes]:
    content: dict[str, bytes] = {}
    total = 0
    for path in sorted(folder.iterdir()):
        if _is_litter(path.name):
            continue
        if path.is_symlink():
            raise TooMuch(_named_a(path.name, gettext("a link")), gettext("plain files"))
        if len(content) >= MOST_ENTRIES:
            found = gettext("more than %(n)s files") % {"n": MOST_ENTRIES}
            raise TooMuch(found, gettext("the files of one case"))
        if not path.is_file():
            content[path.name + "/"] = b""
            continue
        content[path.name] = _read(path)
        total += len(content[path.name])
        if total > MOST_BYTES_UNPACKED:
            raise TooMuch(gettext("a larger folder"), _megabytes(MOST_BYTES_UNPACKED))
    return content


def _read(path: Path) -> bytes:
    if not path.exists():
        found = gettext("no such folder or file")
        raise TooMuch(found, gettext("a folder, a zip or an XLSX file"))
    if not path.is_file():
        raise TooMuch(_named_a(path.name, gettext("not a plain file")), gettext("plain files"))
    with path.open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    _check_size(data)
    return data


def _check_size(data: bytes) -> None:
    if len(data) > MOST_BYTES:
        raise TooMuch(gettext("a larger file"), _megabytes(MOST_BYTES))


def _megabytes(size: int) -> str:
    return gettext("at most %(n)s MB") % {"n": size // MEGABYTE}


def _named_a(name: str, what: str) -> str:
    return f"{name}, {what}"


def _from_bytes(data: bytes) -> dict[str, bytes]:
    _check_size(data)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise TooMuch(
            gettext("an old or password-protected Office file"),
            gettext("an XLSX file without a password"),
        )
    if not data.startswith(b"PK"):
        found = gettext("neither a zip nor an XLSX file")
        raise TooMuch(found, gettext("a folder, a zip or an XLSX file"))
    members = unpack(data)
    if is_workbook(members):
        return {WORKBOOK: data}
    return _named(_without_top_folder(members))


def is_workbook(members: dict[str, bytes]) -> bool:
    """True for the parts of an XLSX file."""
    return "[Content_Types].xml" in members and any(name.startswith("xl/") for name in members)


def unpack(data: bytes) -> dict[str, bytes]:
    """The files in a zip, within the limits, without what operating systems leave in it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _unpack(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        found = f"{gettext('a damaged zip')} ({error})"
        raise TooMuch(found, gettext("a whole zip, stored or deflated")) from error


def _unpack(archive: zipfile.ZipFile) -> dict[str, bytes]:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    if len(entries) > MOST_ENTRIES:
        found = gettext("%(n)s files in the zip") % {"n": len(entries)}
        raise TooMuch(found, gettext("at most %(n)s") % {"n": MOST_ENTRIES})
    content: dict[str, bytes] = {}
    left = MOST_BYTES_UNPACKED
    for entry in entries:
        _check_entry(entry)
        path = PurePosixPath(entry.filename)
        if any(_is_litter(part) for part in path.parts) and not entry.filename.startswith("_rels"):
            continue
        if entry.filename in content:
            found = f"{entry.filename} {gettext('twice in the zip')}"
            raise TooMuch(found, gettext("each file once"))
        most = min(left, MOST_BYTES_TREE) if _is_tree(entry.filename) else left
        with archive.open(entry) as member:
            data = member.read(most + 1)  # counted as it inflates: a directory of a zip may lie
        left -= len(data)
        if left < 0:
            raise TooMuch(gettext("more when unpacked"), _megabytes(MOST_BYTES_UNPACKED))
        if len(data) > most:
            found = _named_a(entry.filename, gettext("more when unpacked"))
            raise TooMuch(found, _megabytes(MOST_BYTES_TREE))
        if len(data) > _RATIO_COUNTS_FROM and len(data) > MOST_RATIO * entry.compress_size:
            found = _named_a(entry.filename, gettext("packed beyond reason"))
            raise TooMuch(found, gettext("at most %(n)s:1") % {"n": MOST_RATIO})
        content[entry.filename] = data
    return content


def _is_tree(name: str) -> bool:
    """True for the part that names the sheets of a workbook, and for the relations of any part."""
    return name.casefold() == "xl/workbook.xml" or name.casefold().endswith(".rels")


def _check_entry(entry: zipfile.ZipInfo) -> None:
    if entry.flag_bits & 0x1:
        found = _named_a(entry.filename, gettext("encrypted"))
        raise TooMuch(found, gettext("a zip without a password"))
    if stat.S_ISLNK(entry.external_attr >> 16):
        raise TooMuch(_named_a(entry.filename, gettext("a link")), gettext("plain files"))
    # zipfile cuts a name at NUL and turns a backslash round only on Windows: look at the original
    name = entry.orig_filename
    path = PurePosixPath(name.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or ":" in name or "\0" in name or "\\" in name:
        found = gettext("the name %(name)s") % {"name": name}
        raise TooMuch(found, gettext("plain names, such as readings.csv"))


def _is_litter(name: str) -> bool:
    """What operating systems and editors leave beside the files."""
    known = {"__macosx", "thumbs.db", "desktop.ini"}
    return name.casefold() in known or name.startswith((".", "~$"))


def _without_top_folder(members: dict[str, bytes]) -> dict[str, bytes]:
    tops = {name.partition("/")[0] for name in members if "/" in name}
    if len(tops) == 1 and all("/" in name for name in members):
        return {name.partition("/")[2]: data for name, data in members.items()}
    return members


def _named(members: dict[str, bytes]) -> dict[str, bytes]:
    """Names in lower case; a single workbook under its fixed name."""
    if len(members) == 1:
        (name, data), *_ = members.items()
        if name.casefold().endswith(".xlsx"):
            return {WORKBOOK: data}
    content: dict[str, bytes] = {}
    for name, data in members.items():
        if name.casefold() in content:
            found = f"{name} {gettext('twice, in upper and lower case')}"
            raise TooMuch(found, gettext("each file once"))
        content[name.casefold()] = data
    return content
