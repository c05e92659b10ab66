"""The outcome as a table for a terminal."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from consult.letters.formats import Formats
from consult.letters.words import short_decision_words
from mitigation.letters.phrases import reduction_words
from surveys.models import Measurand

FORMATS = Formats("en")
HEAD = ("spot", "measurand", "unit", "before", "after", "reduction (95 %)", "band", "decision")
_RIGHT = frozenset({3, 4, 5})


def outcome_table(outcome: Mapping[str, Any]) -> str:
    """One line per spot and measurand, the reasons under the table, the count at the end."""
    summary = outcome["summary"]
    text = [
        f"Case {outcome['case']}, guideline {outcome['guideline']}, "
        f"target: band {outcome['target_band']} or lower",
        "",
        *ruled_table(HEAD, [_cells(spot) for spot in outcome["spots"]], _RIGHT),
        *_remarks(outcome["spots"]),
        f"{summary['spots']} values: {summary['met']} met, {summary['not_met']} not met, "
        f"{summary['undecided']} cannot be decided; {summary['worse']} rose.",
    ]
    return "\n".join(text)


def ruled_table(
    head: Sequence[str], lines: Sequence[Sequence[str]], right: Collection[int]
) -> list[str]:
    """Lines under a head, the columns of `right` at the right, a rule above and below."""
    widths = [max(len(row[at]) for row in (head, *lines)) for at in range(len(head))]
    rule = "  ".join("-" * width for width in widths)
    return [
        _line(head, widths, right),
        rule,
        *(_line(row, widths, right) for row in lines),
        rule,
    ]


def _line(cells: Sequence[str], widths: Sequence[int], right: Collection[int]) -> str:
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
