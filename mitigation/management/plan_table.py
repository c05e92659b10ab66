"""A plan as a table for a terminal."""

from collections.abc import Mapping, Sequence
from typing import Any

from consult.letters.formats import Formats
from mitigation.management.outcome_table import ruled_table
from surveys.models import Measurand

FORMATS = Formats("en")
HEAD = (
    "spot",
    "measurand",
    "unit",
    "before",
    "predicted (95 %)",
    "limit",
    "probability",
    "overall",
)
_RIGHT = frozenset({3, 4, 5, 6, 7})


def plan_table(plan: Mapping[str, Any]) -> str:
    """The items, one line per spot and measurand, what is unknown, the steps."""
    chosen = plan["plan"]
    names = ", ".join(chosen["items"]) or "no item"
    wanted = f"{plan['probability_wanted']:.0%}"
    text = [
        f"Case {plan['case']}: {names}, cost {chosen['cost']:.2f}",
        f"Every row that counts at {wanted} or more: {'yes' if chosen['reached'] else 'no'}"
        f"{'' if chosen['proven'] else ' (not proven to be the cheapest)'}",
        "",
        *ruled_table(HEAD, [_cells(row) for row in plan["rows"]], _RIGHT),
        *_remarks(plan["rows"]),
        *_steps(plan["steps"]),
    ]
    return "\n".join(text)


def _cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    predicted = row["predicted"]
    counted = "" if row["counts"] else " (does not count)"
    return (
        f"{row['room']}, {row['spot']}{counted}",
        Measurand(row["measurand"]).short,
        row["unit"],
        f"{row['before']:.4g}",
        _predicted(predicted),
        FORMATS.given(row["limit"]) or "-",
        _share(predicted and predicted["probability"]),
        _share(predicted and predicted["overall"]),
    )


def _predicted(figures: Mapping[str, Any] | None) -> str:
    if figures is None:
        return "unknown"
    low, median, high = (f"{figures[name]:.3g}" for name in ("low", "median", "high"))
    return f"{median} ({low} .. {high})"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _remarks(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    remarks = [
        f"{row['room']}, {row['spot']}, {Measurand(row['measurand']).short}: "
        + "; ".join(row["unknown"])
        for row in rows
        if row["unknown"]
    ]
    return [*remarks, ""] if remarks else []


def _steps(steps: Sequence[Mapping[str, Any]]) -> list[str]:
    return [
        f"{step['held']} held: {step['cost']:.2f} ({', '.join(step['items']) or 'no item'})"
        for step in steps
    ]
