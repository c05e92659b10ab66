"""`make bench`: every figure as a ratio to a floor measured in the same run, beside what is wanted.

Absolute times on shared machines mean little. Each part runs in a process of its own.
"""

import argparse
import json
import subprocess
import sys

from tests.bench import numbers
from tests.bench.timing import HEADING, Row
from tests.project.files import ROOT

PARTS = (
    ("tests.bench.planning",),
    ("tests.bench.imports", "sqlite"),
    ("tests.bench.imports", "postgresql"),
    ("tests.bench.letters",),
    ("tests.bench.plan_page", "sqlite"),
    ("tests.bench.plan_page", "postgresql"),
    ("tests.bench.evidence", "sqlite"),
    ("tests.bench.evidence", "postgresql"),
)
PAGES = (
    ("tests.bench.pages", "sqlite"),
    ("tests.bench.pages", "postgresql"),
)


def rows_of(part: tuple[str, ...], *options: str) -> list[Row]:
    """Run one part and read its rows; its complaints go to this terminal."""
    command = [sys.executable, "-m", *part, *options]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    return [Row(**json.loads(line)) for line in done.stdout.splitlines() if line.startswith("{")]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few rows: shows that it runs")
    parser.add_argument("--size", type=int, help="pages alone, with so many cases")
    given = parser.parse_args()
    options = ["--quick"] if given.quick else [f"--size={given.size}"] if given.size else []
    print(HEADING, flush=True)
    if not given.size:
        for row in numbers.rows(quick=given.quick):
            print(row.line(), flush=True)
    for part in PAGES if given.size else (*PARTS, *PAGES):
        for row in rows_of(part, *options):
            print(row.line(), flush=True)


if __name__ == "__main__":
    main()
