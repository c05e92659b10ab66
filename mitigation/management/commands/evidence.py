"""Print what remedies achieved over the cases, and whether promises were kept."""

import json
from collections.abc import Mapping
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from mitigation.management.outcome_table import ruled_table
from mitigation.planning.achievements import evidence_json
from mitigation.services.evidence import keep_stale

HEAD = ("remedy", "group", "homes", "mean change", "95 %", "next home", "left out")


class Command(BaseCommand):
    help = (
        "Print what each kind of remedy did at the spots that it served, over all cases with a "
        "comparison, and how predictions that clients accepted were kept."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=["table", "json"], default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        keep_stale(now=timezone.now())
        evidence = evidence_json()
        if options["format"] == "json":
            self.stdout.write(json.dumps(evidence, ensure_ascii=False, indent=2, allow_nan=False))
            return
        rows = [_cells(row) for row in evidence["remedies"]]
        self.stdout.write("\n".join(ruled_table(HEAD, rows, frozenset({2, 3, 4, 5}))))
        promises = evidence["promises"]
        self.stdout.write(
            f"{promises['rows']} promises: inside {_share(promises['inside'])} "
            f"({_share(promises['inside_low'])} .. {_share(promises['inside_high'])}), "
            f"Brier {_share(promises['brier'])}"
        )


def _cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    left_out = ", ".join(f"{reason}: {count}" for reason, count in row["left_out"].items())
    return (
        row["remedy"],
        row["group"],
        str(row["homes"]),
        _share(row["mean_ln"]),
        f"{_share(row['low'])} .. {_share(row['high'])}",
        f"{_share(row['next_low'])} .. {_share(row['next_high'])}",
        left_out,
    )


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"
