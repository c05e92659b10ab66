"""Loaded into a real worker by `--include`: gates where it can be caught, and jobs that harm it.

FAULT_FOLDER is where test and worker meet. FAULT_GATES names for letters, one after the other, the
point at which the making of each waits for the file `go`: before it is `drawn`, with its `file` not
yet in place, or with the file in place and the `row` not yet told. FAULT_IMPORT_GATE names the one
of an import: with its rows `stored` and not committed, or with all committed and not `told`. With
FAULT_ERASE_GATE an erasure waits when its first file is gone. While the file `full` exists, the
disk takes 4 kB per file.
"""

import os
import resource
import signal
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from consult.letters import rendering
from consult.models import StoredFile
from consult.services import files, jobs, letters
from consult.services.privacy import erasures
from mitigation.services import imports
from surveys.models import SourceFile
from surveys.services import kept_files
from surveys.services.imports import store_survey
from surveys.services.kept_files import keep_folder
from tests.faults import kinds

FOLDER = Path(os.environ["FAULT_FOLDER"])
GATES = os.environ.get("FAULT_GATES", "").split()


def note(name: str, text: object) -> None:
    """Add a line to a file of the meeting folder; short lines of many processes do not mix."""
    with open(FOLDER / name, "a") as file:
        file.write(f"{text}\n")


class Now:
    """The letter that this child is making."""

    place = 0


def pass_gate(point: str) -> None:
    if GATES[Now.place : Now.place + 1] == [point] and not (FOLDER / "go").exists():
        note("waiting", os.getpid())
        while not (FOLDER / "go").exists():
            time.sleep(0.02)


_draw, _write, _fsync = rendering.render_letter, letters.write_stored, os.fsync


def draw(content: Mapping[str, Any], *, check_code: str = "") -> bytes:
    note("drawn", content["number"])
    Now.place = int(content["number"].split("-")[1]) - 1
    pass_gate("drawn")
    return _draw(content, check_code=check_code)


def write(**arguments: Any) -> StoredFile:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    if (FOLDER / "full").exists():
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        stored = _write(**arguments)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    pass_gate("row")
    return stored


def fsync(descriptor: int) -> None:
    pass_gate("file")
    _fsync(descriptor)


rendering.render_letter = draw
letters.write_stored = write
files.os.fsync = fsync  # type: ignore[assignment]  # it is called with a number only


# -- An import --------------------------------------------------------------------------------


_store, _keep = store_survey, keep_folder


def wait_at(point: str) -> None:
    if os.environ.get("FAULT_IMPORT_GATE") == point and not (FOLDER / "go").exists():
        note("waiting", os.getpid())
        while not (FOLDER / "go").exists():
            time.sleep(0.02)


def store(**arguments: Any) -> Any:
    stored = _store(**arguments)
    wait_at("stored")
    return stored


def keep(**arguments: Any) -> Any:
    """The file is kept once before the rows and once more after their commit."""
    kept = _keep(**arguments)
    if SourceFile.objects.filter(stored__file=arguments["stored"].key).exists():
        wait_at("told")
    return kept


imports.store_survey = store  # type: ignore[attr-defined]  # the name that the import calls
kept_files.keep_folder = keep


# -- An erasure -------------------------------------------------------------------------------


_drop = erasures.drop_file


def drop(*, key: str) -> None:
    _drop(key=key)
    if os.environ.get("FAULT_ERASE_GATE") and not (FOLDER / "go").exists():
        note("waiting", os.getpid())
        while not (FOLDER / "go").exists():
            time.sleep(0.02)


erasures.drop_file = drop


# -- Kinds of jobs ----------------------------------------------------------------------------


def handler(work: Callable[[dict[str, Any]], None]) -> jobs.Handler:
    def handle(arguments: dict[str, Any], run: jobs.Run) -> None:
        note(f"{work.__name__}-attempts", run.attempt)
        work(arguments)

    return handle


def count(arguments: dict[str, Any]) -> None:
    time.sleep(0.02)
    note("counted", arguments["n"])


def kill(arguments: dict[str, Any]) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def hang(arguments: dict[str, Any]) -> None:
    """Deaf to the soft limit, so that only the hard one ends it."""
    while True:
        try:
            time.sleep(60)
        except Exception:
            continue


def eat(arguments: dict[str, Any]) -> None:
    bytearray(int(os.environ["JOB_MEMORY_MB"]) * 2**21)


def fail(arguments: dict[str, Any]) -> None:
    raise ValueError("always")


for _work in (count, kill, hang, eat, fail):
    kinds.declare(_work.__name__, handler(_work))
