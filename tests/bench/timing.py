"""Best of several runs, and one row of the table that `make bench` prints."""

import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """One figure beside what is wanted of it."""

    name: str
    measured: str
    wanted: str
    met: bool
    note: str = ""

    def line(self) -> str:
        verdict = "yes" if self.met else "NO"
        return f"{self.name:<48} {self.measured:>10}  {self.wanted:<20} {verdict:<4} {self.note}"

    def as_json(self) -> str:
        return json.dumps(asdict(self))


HEADING = f"{'figure':<48} {'measured':>10}  {'wanted':<20} {'met':<4} floor, size"


def seconds(work: Callable[[], Any]) -> float:
    """How long one run takes. [s]"""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def best_of(repeats: int, *works: Callable[[], Any]) -> list[float]:
    """The shortest time of each, run in turns so that a busy moment hits all alike. [s]"""
    shortest = [float("inf")] * len(works)
    for _ in range(repeats):
        for at, work in enumerate(works):
            shortest[at] = min(shortest[at], seconds(work))
    return shortest


def at_most(name: str, ratio: float, limit: float, note: str, *, unit: str = "x") -> Row:
    return Row(name, f"{ratio:.2f} {unit}", f"at most {limit:g} {unit}", ratio <= limit, note)


def at_least(name: str, ratio: float, limit: float, note: str, *, unit: str = "x") -> Row:
    return Row(name, f"{ratio:.2f} {unit}", f"at least {limit:g} {unit}", ratio >= limit, note)
