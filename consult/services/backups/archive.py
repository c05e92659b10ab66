"""The archive of a backup: one tar, written in one go, and read only when every byte is right.

In it, in this order: `ABOUT`, the database, the kept files under `files/`, the manifest, the seal.
The seal holds the SHA-256 of all that stands before it, so that a byte that was changed, lost or
added anywhere is noticed; the manifest names every member with its own size and SHA-256.
"""

import hashlib
import io
import json
import os
import tarfile
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import IO, Any, Self

from django.utils.translation import gettext as _

from consult.services.files import sync_folder

FORMAT = "ebbmark-backup-1"
ABOUT, MANIFEST, SEAL = "ABOUT", "manifest.json", "SEAL"
FILES = "files/"
CHUNK = 1024 * 1024
BLOCK = tarfile.BLOCKSIZE
LARGEST_MANIFEST = 256 * CHUNK
ABOUT_TEXT = (
    f"{FORMAT}\n"
    "A backup of Ebbmark: its database and its kept files. It holds people's data, their letters\n"
    "and mails, and their log-ins: keep it as safely as the site itself.\n"
    "`manage.py restore` puts it back.\n"
)


class BackupError(Exception):
    """A backup could not be made, or is not fit to be restored; the text says why."""


@dataclass(frozen=True)
class Member:
    """One entry of the manifest."""

    name: str
    size: int
    sha256: str


class Hashed:
    """A stream of which all that passes is hashed and counted."""

    def __init__(self, stream: IO[bytes]) -> None:
        self.stream = stream
        self.digest = hashlib.sha256()
        self.size = 0

    def read(self, size: int = -1) -> bytes:
        data = self.stream.read(size)
        self.digest.update(data)
        self.size += len(data)
        return data

    def write(self, data: bytes) -> int:
        self.stream.write(data)
        self.digest.update(data)
        self.size += len(data)
        return len(data)


def seal(digest: str) -> bytes:
    """The last blocks of an archive, in full: the member that seals it and the end of a tar."""
    text = f"{digest}\n".encode()
    return _header(SEAL, len(text)) + text.ljust(BLOCK, b"\0") + bytes(2 * BLOCK)


def _header(name: str, size: int) -> bytes:
    info = tarfile.TarInfo(name)
    info.size, info.mode = size, 0o600
    return info.tobuf(tarfile.PAX_FORMAT)


class Writer:
    """Writes an archive beside its place and puts it there when it is whole."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.part = path.with_name(f".{path.name}.part")
        self.members: list[Member] = []
        self.digest = ""

    def __enter__(self) -> Self:
        if self.path.exists():
            raise BackupError(_("%(path)s is there already.") % {"path": self.path})
        try:
            descriptor = os.open(self.part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError as error:
            words = _("%(path)s is there: another backup is being made, or one was broken off.")
            raise BackupError(words % {"path": self.part}) from error
        self.file = os.fdopen(descriptor, "wb")
        self.out = Hashed(self.file)
        self.add(ABOUT, io.BytesIO(ABOUT_TEXT.encode()), len(ABOUT_TEXT.encode()))
        return self

    def add(self, name: str, stream: IO[bytes], size: int) -> None:
        """One member of exactly `size` bytes."""
        self.out.write(_header(name, size))
        source = Hashed(stream)
        while source.size < size and (data := source.read(min(CHUNK, size - source.size))):
            self.out.write(data)
        if source.size != size or stream.read(1):
            raise BackupError(_("%(name)s changed while it was read.") % {"name": name})
        self.out.write(bytes(-size % BLOCK))
        self.members.append(Member(name, size, source.digest.hexdigest()))

    def finish(self, manifest: dict[str, Any]) -> None:
        """The manifest, the seal, and the archive comes to its place."""
        members = [vars(member) for member in self.members]
        text = json.dumps(
            {"format": FORMAT, **manifest, "members": members}, indent=1, ensure_ascii=False
        ).encode()
        self.add(MANIFEST, io.BytesIO(text), len(text))
        self.digest = self.out.digest.hexdigest()
        self.file.write(seal(self.digest))
        self.file.flush()
        os.fsync(self.file.fileno())
        self.file.close()
        os.replace(self.part, self.path)
        sync_folder(self.path.parent)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.file.close()
        self.part.unlink(missing_ok=True)


# -- Reading ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Archive:
    """An archive of which every byte was looked at."""

    path: Path
    digest: str
    manifest: dict[str, Any]
    members: dict[str, Member]

    @property
    def database(self) -> Member:
        return self.members[self.manifest["database"]["member"]]

    @property
    def files(self) -> dict[str, Member]:
        """The kept files by their keys."""
        return {
            name.removeprefix(FILES): member
            for name, member in self.members.items()
            if name.startswith(FILES)
        }

    @contextmanager
    def opened_database(self) -> Iterator["Checked"]:
        """The bytes of the database."""
        with closing(self.contents()) as contents:
            yield next(checked for member, checked in contents if member == self.database)

    def contents(self) -> Generator[tuple[Member, "Checked"], None, None]:
        """Each member with its bytes, which are checked once more while they are read."""
        with _opened(self.path) as tar:
            for info in tar:
                stream = tar.extractfile(info)
                if stream is not None and info.name in self.members:
                    member = self.members[info.name]
                    yield member, Checked(stream, member)


class Checked:
    """The bytes of a member; reading to their end fails if they are not those of the manifest."""

    def __init__(self, stream: IO[bytes], member: Member) -> None:
        self.stream = Hashed(stream)
        self.member = member

    def chunks(self) -> Iterator[bytes]:
        while data := self.stream.read(CHUNK):
            yield data
        measured = (self.stream.size, self.stream.digest.hexdigest())
        if measured != (self.member.size, self.member.sha256):
            words = _("%(name)s in the archive is not what its manifest says.")
            raise BackupError(words % {"name": self.member.name})


def check_archive(path: Path) -> Archive:
    """Look at every byte of an archive, and change nothing; BackupError says what is wrong."""
    try:
        digest = _check_seal(path)
        members, manifest = _walk(path)
    except OSError as error:
        raise BackupError(f"{path}: {error.strerror or error}") from error
    except tarfile.TarError as error:
        raise _foreign(path) from error
    _check_members(members, manifest)
    return Archive(path, digest, manifest, {member.name: member for member in members})


def _foreign(path: Path) -> BackupError:
    return BackupError(_("%(path)s is no backup of Ebbmark.") % {"path": path})


def _check_seal(path: Path) -> str:
    """The digest of everything before the seal, which must be the one that the seal holds."""
    length = len(seal("0" * 64))
    with path.open("rb") as file:
        start = _header(ABOUT, len(ABOUT_TEXT.encode())) + FORMAT.encode()
        if not start.startswith(file.read(len(start))):
            raise _foreign(path)
        left = os.fstat(file.fileno()).st_size - length
        file.seek(0)
        body = Hashed(file)
        while left > body.size and body.read(min(CHUNK, left - body.size)):
            pass
        digest = body.digest.hexdigest()
        if left <= 0 or file.read() != seal(digest):
            words = _(
                "%(path)s was changed or is not whole: its seal does not fit. It is not used."
            )
            raise BackupError(words % {"path": path})
    return digest


@contextmanager
def _opened(path: Path) -> Iterator[tarfile.TarFile]:
    with path.open("rb") as file, tarfile.open(fileobj=file, mode="r:", errorlevel=2) as tar:
        yield tar


def _walk(path: Path) -> tuple[list[Member], dict[str, Any]]:
    """Every member as it is found, and the manifest."""
    members: list[Member] = []
    manifest: Any = None
    with _opened(path) as tar:
        for info in tar:
            _check_entry(info)
            stream = tar.extractfile(info)
            assert stream is not None  # it is a regular file
            if info.name == MANIFEST:
                if info.size > LARGEST_MANIFEST:
                    raise _unreadable()
                manifest = stream.read()
                continue
            source = Hashed(stream)
            while source.read(CHUNK):
                pass
            if info.name != SEAL:
                members.append(Member(info.name, source.size, source.digest.hexdigest()))
    try:
        read = json.loads(manifest or "")
    except ValueError as error:
        raise _unreadable() from error
    return members, read


def _unreadable() -> BackupError:
    return BackupError(_("The manifest in the archive can not be read."))


def _check_entry(info: tarfile.TarInfo) -> None:
    """Only plain files, under plain names."""
    parts = PurePosixPath(info.name).parts
    plain = parts and "/".join(parts) == info.name and not {"..", ".", "/"} & set(parts)
    known = info.name in (ABOUT, MANIFEST, SEAL) or len(parts) == 1 or info.name.startswith(FILES)
    if not info.isreg() or not plain or not known or "\\" in info.name or "\0" in info.name:
        raise BackupError(
            _("The archive holds %(name)r, which no backup holds.") % {"name": info.name}
        )


def _check_members(members: list[Member], manifest: Any) -> None:
    """What is in the archive is what the manifest names: all of it, once, and nothing else."""
    try:
        if manifest["format"] != FORMAT:
            raise BackupError(
                _("The backup is of the form %(form)r; this version reads %(known)s.")
                % {"form": manifest["format"], "known": FORMAT}
            )
        named = [
            Member(str(entry["name"]), int(entry["size"]), str(entry["sha256"]))
            for entry in manifest["members"]
        ]
        database = manifest["database"]["member"]
    except (KeyError, TypeError, ValueError) as error:
        raise _unreadable() from error
    names = [member.name for member in members]
    if len(set(names)) < len(names) or members != named or database not in names:
        differ = sorted({member.name for member in set(members) ^ set(named)}) or names
        words = _("The archive does not hold what its manifest names: %(names)s.")
        raise BackupError(words % {"names": ", ".join(differ[:5])})
