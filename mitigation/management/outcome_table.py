"""The outcome as a table for a terminal."""

from collections.abc import Mapping, Sequence
from typing import Any

from consult.letters.formats import Formats
from consult.letters.words import short_decision_words
from mitigation.letters.phrases import reduction_words
from surveys.models import Measurand

FORMATS = Formats("en")
HEAD = ("spot", "measurand", "unit", "before", "after", "reduction (95 %)", "band", "decision")


def outcome_table(outcome: Mapping[str, Any]) -> str:
    """One line per spot and measurand, the reasons under the table, the count at the end."""
    lines = [_cells(spot) for spot in outcome["spots"]]
    widths = [max(len(row[at]) for row in (HEAD, *lines)) for at in range(len(HEAD))]
    ruled = "  ".join("-" * width for width in widths)
    summary = outcome["summary"]
    text = [
        f"Case {outcome['case']}, guideline {outcome['guideline']}, "
        f"target: band {outcome['target_band']} or lower",
        "",
        _line(HEAD, widths),
        ruled,
        *(_line(row, widths) for row in lines),
        ruled,
        *_remarks(outcome["spots"]),
        f"{summary['spots']} values: {summary['met']} met, {summary['not_met']} not met, "
        f"{summary['undecided']} cannot be decided; {summary['worse']} rose.",
    ]
    return "\n".join(text)


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    right = {3, 4, 5}
    padded = (
        cell.rjust(width) if at in right else cell.ljust(width)
        for at, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )
    return "  ".join(padded).rstrip()


def _cells(spot: Mapping[str, Any]) -> tuple[str, ...]:
    bands = [str(side["band"]) if side else "-" for side in (spot["before"], spot["after"])]
    decision = short_decision_words(spot["target"]["decision"])
    return (
        f"{spot['room']}, {spot['spot']}",
        Measurand(spot["measurand"]).short,
        spot["unit"],
        _value(spot["before"]),
        _value(spot["after"]),
        " ".join(reduction_words(spot, FORMATS)).replace("\u00a0", " ").strip(),
        f"{bands[0]} -> {bands[1]}",
        decision if spot["target"]["limit"] is None
        else f"{decision} (limit {FORMATS.given(spot['target']['limit'])})",
    )  # fmt: skip


def _value(side: Mapping[str, Any] | None) -> str:
    if side is None:
        return "-"
    written = FORMATS.with_uncertainty(side["value"], side["qualifier"], side["u"])
    return written.replace("\u00a0", " ")


def _remarks(spots: Sequence[Mapping[str, Any]]) -> list[str]:
    remarks = []
    for spot in spots:
        flags = {flag for side in (spot["before"], spot["after"]) if side for flag in side["flags"]}
        words = [*spot["blocks"], *spot["cautions"], *sorted(flags)]
        if words:
            name = f"{spot['room']}, {spot['spot']}, {Measurand(spot['measurand']).short}"
            remarks.append(f"{name}: {'; '.join(words)}")
    return [*remarks, ""] if remarks else []
