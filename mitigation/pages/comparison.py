"""The table of a comparison: filtered, each value with the way down to its reading."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from consult.letters.words import DECISIONS, decision_words, phrase
from mitigation.comparison import Comparison
from mitigation.comparison.comparable import NO_READING, PairSide
from mitigation.comparison.compare import Row
from mitigation.letters.phrases import by_code, in_order, spot_key
from surveys.letters.facts import SpotKey
from surveys.models import Correction, Reading, Visit
from surveys.models.measurands import measurand_words
from surveys.services.corrections import corrections_at

NOT_COMPARABLE = "not-comparable"


def filtered(comparison: Comparison, asked: Mapping[str, str]) -> dict[str, Any]:
    """The rows that `asked` lets through, and what may be asked for."""
    corrected = _corrected(comparison)
    has_follow_up = comparison.follow_up is not None
    rows = _in_order(
        [_linked(row, comparison, corrected) for row in comparison.rows],
        {spot_key(row.result): row.spot.use for row in comparison.rows},
    )
    room, measurand, decision = (asked.get(name, "") for name in ("room", "measurand", "decision"))
    shown = [
        row
        for row in rows
        if (not room or row["room"] == room)
        and (not measurand or row["measurand"] == measurand)
        and (not decision or decision in _decisions(row))
    ]
    present = {word for row in rows for word in _decisions(row)}
    decisions = [(word, decision_words(word)) for word in DECISIONS if word in present]
    return {
        "spots": shown,
        "n_spots": len(rows),
        "n_places": len({row.spot.pk for row in comparison.rows}),
        "rooms": list(dict.fromkeys(row["room"] for row in rows)),
        "measurands": [
            (code, measurand_words(code)) for code in dict.fromkeys(r["measurand"] for r in rows)
        ],
        "decisions": decisions,
        "has_not_comparable": NOT_COMPARABLE in present,
        "has_follow_up": has_follow_up,
        "asked": {"room": room, "measurand": measurand, "decision": decision},
    }


def _in_order(rows: list[dict[str, Any]], uses: Mapping[SpotKey, str]) -> list[dict[str, Any]]:
    """The rows as the picture and the letter have them."""
    groups = by_code(in_order(rows, uses)).values()
    return [dict(row) for group in groups for row in group]


def _corrected(comparison: Comparison) -> dict[int, Correction]:
    """The corrections at the visits of the comparison, by the reading that replaced another."""
    if not comparison.has_corrections:
        return {}
    return {
        correction.replacement_id: correction
        for correction in corrections_at(comparison.counting)
        if correction.replacement_id
    }


def _linked(
    row: Row, comparison: Comparison, corrected: Mapping[int, Correction]
) -> dict[str, Any]:
    before, after = row.pair.before, row.pair.after
    return row.result | {
        "spot_pk": row.spot.pk,
        "before_reading": before.reading.pk if before else None,
        "after_reading": after.reading.pk if after else None,
        "before_correction": corrected.get(before.reading.pk) if before else None,
        "after_correction": corrected.get(after.reading.pk) if after else None,
        # Where a side is not of the latest visit of its kind its day is said.
        "before_day": _other_day(before, comparison.baseline),
        "after_day": _other_day(after, comparison.follow_up),
        "not_in_force": _not_in_force(row),
        "remarks": remarks(row.result, comparison.follow_up is not None),
    }


def _other_day(side: PairSide | None, latest: Visit | None) -> date | None:
    """The day of a side that is not of the latest visit of its kind."""
    if side is None or latest is None or side.visit.date == latest.date:
        return None
    return side.visit.date


def remarks(spot: Mapping[str, Any], has_follow_up: bool) -> list[str]:
    """What a reader should know beside the figures, as the letter has it: each value's flags too.

    Before the second visit nothing is missing yet, and there is no other value to tell apart.
    """
    blocks = [words for words in spot["blocks"] if has_follow_up or words != NO_READING]
    sentences = [phrase(words) for words in (*blocks, *spot["cautions"])]
    before, after = (spot[side]["flags"] if spot[side] else () for side in ("before", "after"))
    for flag in dict.fromkeys((*before, *after)):
        when = _("before and after") if flag in after else _("before")
        when = when if flag in before else _("after")
        sentences.append(f"{when}: {phrase(flag)}" if has_follow_up else phrase(flag))
    return sentences


def _not_in_force(row: Row) -> list[Reading]:
    """The readings whose certificate did not hold on the day, one for each certificate."""
    readings = {
        side.reading.calibration_id: side.reading
        for side in row.pair.sides()
        if not side.finding.certified
    }
    return [reading for reading in readings.values() if reading.calibration is not None]


def _decisions(row: Mapping[str, Any]) -> set[str]:
    words = {str(row["target"]["decision"])}
    return words if row["comparable"] else words | {NOT_COMPARABLE}
