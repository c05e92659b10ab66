"""The plan's page with kept draws, and one tick on it, beside the wanted times.

`python -m tests.bench.plan_page sqlite|postgresql [--quick]` prints its rows as JSON.
"""

import statistics
from typing import Any

from tests.bench.databases import print_measured
from tests.bench.timing import Row, at_most, seconds

MOST_PAGE_MS = 150
MOST_TICK_MS = 1_000
SPOTS, CIRCUITS = 8, 5
REPEATS, WARM_UP = 60, 5


def planned_case(n_spots: int) -> Any:
    """A home with a trial of five circuits at each spot, computed, and a switch for each."""
    from django.utils import timezone

    from mitigation.services.imports import import_case_folder
    from tests.mitigation.planned_homes import (
        every_state,
        field_rows,
        folder,
        sampled,
        upload,
    )

    names = [f"F{number}" for number in range(1, CIRCUITS + 1)]
    rows = []
    for spot in range(n_spots):
        size = {name: 30.0 / (2 + (at + spot) % CIRCUITS) for at, name in enumerate(names)}
        amplitude = {name: (v, v / 3, v / 7) for name, v in size.items()}
        rows += field_rows(f"bed {spot}", amplitude, every_state(names), outside=(0.3, 0.1, 0.1))
    remedies = "item,remedy,circuits,room,cost,chosen\n" + "".join(
        f"R{at},demand-switch,{name},,{250 + 10 * at},{'yes' if at < 4 else 'no'}\n"
        for at, name in enumerate(names, start=1)
    )
    remedies += "R6,bonded-shield,,Bedroom,900,no\n"
    source = upload(folder(rows, remedies=remedies))
    return sampled(import_case_folder(source=source, by=None, now=timezone.now()).case)


def measure(vendor: str, *, quick: bool) -> list[Row]:
    from django.test import Client as Browser
    from django.urls import reverse

    from consult.models import User

    case = planned_case(1 if quick else SPOTS)
    browser = Browser()
    browser.force_login(User.objects.create(email="bench@example.org", name="B", role="office"))
    page, choose = (reverse(name, args=[case.reference]) for name in ("case_plan", "plan_choose"))
    ticks = [{"item": ["R1", "R2"]}, {"item": ["R1", "R2", "R3", "R6"]}]

    def look() -> None:
        assert browser.get(page, SERVER_NAME="localhost").status_code == 200

    def tick(turn: int) -> None:
        headers = {"HX-Request": "true"}
        sent = browser.post(choose, ticks[turn % 2], headers=headers, SERVER_NAME="localhost")
        assert sent.status_code == 200

    repeats, warm_up = (2, 1) if quick else (REPEATS, WARM_UP)
    pages = [1_000 * seconds(look) for _turn in range(warm_up + repeats)][warm_up:]
    answers = [1_000 * seconds(lambda turn=turn: tick(turn)) for turn in range(warm_up + repeats)]
    note = f"{1 if quick else SPOTS} spots, {CIRCUITS} circuits, 6 items; p50 {{:.0f}} ms"
    return [
        _row(f"plan: its page p95 ({vendor})", pages, MOST_PAGE_MS, note),
        _row(f"plan: a tick p95 ({vendor})", answers[warm_up:], MOST_TICK_MS, note),
    ]


def _row(name: str, times_ms: list[float], limit_ms: float, note: str) -> Row:
    p95 = statistics.quantiles(times_ms, n=100, method="inclusive")[94]
    return at_most(name, p95, limit_ms, note.format(statistics.median(times_ms)), unit="ms")


if __name__ == "__main__":
    print_measured(measure, __doc__)
