"""The bench runs through and prints every figure; how fast is no test's business."""

import os
import subprocess
import sys

import pytest

from tests.project.files import ROOT

FIGURES = (
    "findings: time against plain numpy",
    "findings: speed against uncertainties",
    "trials: emcee's time over ours",
    "plans: prediction against plain numpy",
    "plans: prediction of all rows",
    "plans: choice of the cheapest",
    *(
        f"trials: {what}, {how}"
        for how in ("each alone, 0%", "each alone, 5%", "three mixed, 0%", "three mixed, 5%")
        for what in ("coverage", "width")
    ),
    "plans: promises of 90 % that were kept",
    "plans: classes of probability that fit",
    "import: speed against executemany (sqlite)",
    "import: speed against COPY (postgresql)",
    "letters: time against bare WeasyPrint",
    "letters: two workers against one",
    "letters: request to ready, empty queue",
    *(
        f"letters: {home}{what}"
        for home in ("a small home", "a large home", "an office building")
        for what in (" against WeasyPrint", "")
    ),
    *(
        f"plan: {what} p95 ({vendor})"
        for vendor in ("sqlite", "postgresql")
        for what in ("its page", "a tick")
    ),
    *(
        f"evidence: {what} ({vendor})"
        for vendor in ("sqlite", "postgresql")
        for what in (
            "summary from kept rows",
            "summary against plain",
            "whether rows are stale",
            "its page",
        )
    ),
    *(
        figure.format(vendor)
        for vendor in ("sqlite", "postgresql")
        for figure in (
            "pages: search by reference ({})",
            "pages: search by client ({})",
            "pages: search by address ({})",
            "pages: case list ({})",
            *(("pages: case list p95 ({})",) if vendor == "sqlite" else ()),
            "pages: search by spot ({})",
            "pages: search by a common word ({})",
            "pages: desk ({})",
            "pages: calendar list ({})",
            "pages: calendar of firms ({})",
            "pages: case page ({})",
        )
    ),
)


@pytest.mark.long
def test_the_bench_prints_every_figure_beside_what_is_wanted():
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "--quick"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    heading, *lines = done.stdout.splitlines()
    assert heading.startswith("figure")
    assert [line[:48].rstrip() for line in lines] == list(FIGURES)
    for line in lines:
        assert float(line[48:].split()[0]) >= 0  # of few rows a time may round to nothing
        assert "at most" in line or "at least" in line
