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
    ("tests.bench.imports", "sqlite"),
    ("tests.bench.imports", "postgresql"),
    ("tests.bench.letters",),
    ("tests.bench.pages", "sqlite"),
    ("tests.bench.pages", "postgresql"),
)


def rows_of(part: tuple[str, ...], *, quick: bool) -> list[Row]:
    """Run one part and read its rows; its complaints go to this terminal."""
    command = [sys.executable, "-m", *part, *(["--quick"] if quick else [])]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    return [Row(**json.loads(line)) for line in done.stdout.splitlines() if line.startswith("{")]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few rows: shows that it runs")
    quick = parser.parse_args().quick
    print(HEADING, flush=True)
    for row in numbers.rows(quick=quick):
        print(row.line(), flush=True)
    for part in PARTS:
        for row in rows_of(part, quick=quick):
            print(row.line(), flush=True)


if __name__ == "__main__":
    main()
