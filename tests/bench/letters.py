"""Letters against bare WeasyPrint, two workers against one, and how soon a letter is ready.

`python -m tests.bench.letters [--quick]` prints its rows as JSON.
"""

import io
import os
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path
from typing import Any

import weasyprint
from pypdf import PdfReader
from weasyprint.text.fonts import FontConfiguration

from tests.bench.databases import fresh_database
from tests.bench.homes import READINGS, write_home
from tests.bench.timing import Row, at_least, at_most, best_of
from tests.project.files import ROOT

CASE = "fixtures/demo/pruett-split-phase"
PATIENCE_S = 240.0


def rows(*, quick: bool) -> list[Row]:
    from django.utils import timezone

    from consult.management.processes import private_services
    from mitigation.services.imports import import_case_folder

    case = import_case_folder(source=ROOT / CASE, by=None, now=timezone.now()).case
    n, warm_up = (1, 0) if quick else (24, 4)
    with private_services(concurrency=1, own_redis=False):
        letter = _issue(case, 1)[0]
        _when_ready()
        latencies = [_seconds_to_ready(case, 1) for _ in range(1 if quick else 7)]
        one_s = _seconds_to_ready(case, n)
    with private_services(concurrency=2, own_redis=False):
        _issue(case, warm_up)  # both children have loaded their engine before the clock starts
        _when_ready()
        two_s = _seconds_to_ready(case, n)
    bare_gain = gain_of_two_processes(quick=quick)
    ours_s, bare_s = against_bare(letter, 1 if quick else 9)
    return [
        at_most(
            "letters: time against bare WeasyPrint",
            ours_s / bare_s,
            1.1,
            f"same page and sheets, {1000 * ours_s:.0f} ms against {1000 * bare_s:.0f} ms",
        ),
        at_least(
            "letters: two workers against one",
            one_s / two_s,
            1.7,
            f"{n} letters, {n / one_s:.1f} and {n / two_s:.1f} a second; "
            f"two bare processes: {bare_gain:.2f} x",
        ),
        at_most(
            "letters: request to ready, empty queue",
            statistics.median(latencies),
            1,
            f"aim; median of {len(latencies)}, slowest {max(latencies):.2f} s",
            unit="s",
        ),
    ]


def gain_of_two_processes(*, quick: bool) -> float:
    """What a second process gains on this machine at this moment, with nothing shared."""
    steps = 100_000 if quick else 20_000_000

    def burn(processes: int) -> float:
        code = f"sum(at * at for at in range({steps // processes}))"
        start = time.perf_counter()
        started = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(processes)]
        for process in started:
            process.wait()
        return time.perf_counter() - start

    return burn(1) / burn(2)


def _issue(case: Any, n: int) -> list[Any]:
    """n outcome letters that commit together, so that the queue fills at once."""
    from django.db import transaction
    from django.utils import timezone

    from consult.models import Practice
    from tests.factories import issue_outcome_letter

    letters = []
    with transaction.atomic():
        for _ in range(n):
            # The same words would be the same letter.
            Practice.objects.update(signatory=f"Signatory {uuid.uuid4()}")
            letters.append(issue_outcome_letter(case=case, by=None, now=timezone.now()))
    return letters


def _when_ready() -> None:
    """Wait until no letter is on its way; a failed one ends the bench."""
    from consult.models import Letter

    deadline = time.monotonic() + PATIENCE_S
    while Letter.objects.exclude(state=Letter.State.READY).exists():
        failed = Letter.objects.filter(state=Letter.State.FAILED).first()
        if failed is not None or time.monotonic() > deadline:
            raise RuntimeError(failed.failure if failed else "the letters were not ready in time")
        time.sleep(0.01)


def _seconds_to_ready(case: Any, n: int) -> float:
    """From the request for one letter, or the commit of many, to the last file. [s]"""
    requested = time.perf_counter()
    _issue(case, n)
    start = requested if n == 1 else time.perf_counter()
    _when_ready()
    return time.perf_counter() - start


def against_bare(letter: Any, repeats: int) -> list[float]:
    """Seconds of ours and of the floor: the same page, sheets and variant, parsed beforehand."""
    from consult.letters import engine
    from consult.letters.html import letter_html
    from consult.letters.rendering import render_letter

    content, code = letter.content, letter.check_code
    html, fonts, fetcher = letter_html(content, code), FontConfiguration(), engine.BundledFetcher()
    sheets = [
        weasyprint.CSS(string=text, font_config=fonts, url_fetcher=fetcher)
        for text in (engine.PAPER_SHEETS[content["paper"]], engine.SHEET.read_text())
    ]

    letters: dict[str, bytes] = {}

    def bare() -> None:
        page = weasyprint.HTML(string=html, url_fetcher=fetcher)
        options = {"pdf_variant": engine.VARIANT, "pdf_tags": True}
        letters["bare"] = page.write_pdf(stylesheets=sheets, font_config=fonts, **options)

    def ours() -> None:
        letters["ours"] = render_letter(content, check_code=code)

    times = best_of(repeats, ours, bare)
    assert len({len(PdfReader(io.BytesIO(pdf)).pages) for pdf in letters.values()}) == 1
    return times


def rows_of_homes(folder: Path, *, quick: bool) -> list[Row]:
    """Letters of homes of several sizes: against bare WeasyPrint, and how long each takes."""
    from consult.services import jobs, letters

    within_s = jobs.limit_s(letters.RENDER_LETTER)
    homes = (
        # name, spots, spots of a quick run, repeats, seconds
        ("a small home", 8, 1, 7, 0.8),
        ("a large home", 60, 2, 3, 4.0),
        ("an office building", 300, 3, 1, within_s),
    )
    figures = []
    for name, spots, few, repeats, wanted_s in homes:
        n = few if quick else spots
        letter = _letter_of_home(folder / name, n)
        ours_s, bare_s = against_bare(letter, 1 if quick else repeats)
        size = f"{n} spots, {n * READINGS} readings"
        figures += [
            at_most(
                f"letters: {name} against WeasyPrint",
                ours_s / bare_s,
                1.1,
                f"{size}, same page and sheets, {ours_s:.2f} s against {bare_s:.2f} s",
            ),
            at_most(f"letters: {name}", ours_s, wanted_s, f"aim; {size}", unit="s"),
        ]
    return figures


def _letter_of_home(folder: Path, spots: int) -> Any:
    from django.utils import timezone

    from mitigation.models import Case
    from mitigation.services.imports import import_case_folder
    from tests.factories import issue_outcome_letter

    write_home(folder, spots)
    imported = import_case_folder(source=folder, by=None, now=timezone.now()).case
    case = Case.objects.for_list().get(pk=imported.pk)
    return issue_outcome_letter(case=case, by=None, now=timezone.now())


def main(*, quick: bool) -> None:
    with tempfile.TemporaryDirectory(prefix="ebb-", dir="/tmp") as name:
        # This process asks for letters as a web process does: it knows the worker's Redis.
        os.environ["PRIVATE_REDIS_SOCKET"] = f"{name}/redis.sock"
        with fresh_database("sqlite"):
            from consult.management.processes import start_redis

            redis = start_redis(Path(name))
            try:
                figures = rows(quick=quick) + rows_of_homes(Path(name), quick=quick)
            finally:
                redis.stop()
        for row in figures:
            print(row.as_json())


if __name__ == "__main__":
    main(quick="--quick" in sys.argv)
