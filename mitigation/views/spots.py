"""The table of a comparison: filtered, each value with the way down to its reading."""

from collections.abc import Mapping
from typing import Any

from consult.letters.words import DECISIONS, decision_words, measurand_words
from mitigation.comparison import Comparison
from mitigation.comparison.compare import Row
from surveys.models import Correction
from surveys.services.corrections import corrections_at

NOT_COMPARABLE = "not-comparable"


def filtered(comparison: Comparison, asked: Mapping[str, str]) -> dict[str, Any]:
    """The rows that `asked` lets through, and what may be asked for."""
    corrected = _corrected(comparison)
    rows = [_linked(row, corrected) for row in comparison.rows]
    room, measurand, decision = (asked.get(name, "") for name in ("room", "measurand", "decision"))
    shown = [
        row
        for row in rows
        if (not room or row["room"] == room)
        and (not measurand or row["measurand"] == measurand)
        and (not decision or decision in _decisions(row))
    ]
    found = {word for row in rows for word in _decisions(row)}
    decisions = [(word, decision_words(word)) for word in DECISIONS if word in found]
    return {
        "spots": shown,
        "n_spots": len(rows),
        "rooms": list(dict.fromkeys(row["room"] for row in rows)),
        "measurands": [
            (code, measurand_words(code)) for code in dict.fromkeys(r["measurand"] for r in rows)
        ],
        "decisions": decisions,
        "has_not_comparable": NOT_COMPARABLE in found,
        "has_follow_up": comparison.follow_up is not None,
        "asked": {"room": room, "measurand": measurand, "decision": decision},
    }


def _corrected(comparison: Comparison) -> dict[int, Correction]:
    """The corrections that readings of the comparison came of, by those readings."""
    visits = [visit for visit in (comparison.baseline, comparison.follow_up) if visit]
    return {one.replacement_id: one for one in corrections_at(visits) if one.replacement_id}


def _linked(row: Row, corrected: Mapping[int, Correction]) -> dict[str, Any]:
    before, after = row.pair.before, row.pair.after
    return row.result | {
        "before_reading": before.reading if before else None,
        "after_reading": after.reading if after else None,
        "before_correction": corrected.get(before.reading) if before else None,
        "after_correction": corrected.get(after.reading) if after else None,
    }


def _decisions(row: Mapping[str, Any]) -> set[str]:
    words = {str(row["target"]["decision"])}
    return words if row["comparable"] else words | {NOT_COMPARABLE}
