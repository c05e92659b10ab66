"""The engineer's part of an outcome letter: every number with its way there."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from consult.letters.content import Block, bullets, column, heading, paragraph, table
from consult.letters.formats import Formats
from consult.letters.words import (
    band_words,
    decision_words,
    phrases,
    spot_name,
)
from mitigation.letters.context import OutcomeContext
from mitigation.letters.phrases import (
    Side,
    Spot,
    by_code,
    decibel_words,
    in_order,
    reduction_words,
    spot_key,
)
from surveys.letters import technical
from surveys.letters.facts import ReadingFacts
from surveys.models.measurands import measurand_words

DASH = "–"


def engineer_part(
    outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats
) -> list[Block]:
    """From identification to the decision rule (ISO/IEC 17025:2017, 7.8.2 and 7.8.6)."""
    spots = outcome["spots"]
    return [
        *technical.identification(
            context.head,
            formats,
            what=_("Report of results with statements of conformity"),
            frequency_hz=context.frequency_hz,
            visits=context.visits,
        ),
        *technical.visits_and_conditions(context.visits, formats),
        *technical.instruments_used(context.instruments, formats),
        *technical.ground_points(context.ground_checks, formats),
        *_results(spots, context, formats),
        *_flags_and_cautions(spots),
        *technical.deciding_readings(_readings(spots, context), formats),
        *technical.readings_set_aside(context.set_aside, formats),
        *technical.guideline_table(
            context.guideline,
            formats,
            [(code, group[0]["unit"]) for code, group in by_code(spots).items()],
        ),
        *_decision_rule(outcome, context),
        *technical.method(outcome["rules"], formats, context.placement_percent),
        *_scope(context),
    ]


def _uses(context: OutcomeContext) -> dict[tuple[str, str, str], str]:
    return {key: detail.use for key, detail in context.details.items()}


def _results(spots: Sequence[Spot], context: OutcomeContext, formats: Formats) -> list[Block]:
    values, judged = [], []
    for code, group in by_code(spots).items():
        head = f"{measurand_words(code)} [{group[0]['unit']}]"
        ordered = in_order(group, _uses(context))
        values.append((head, [_value_row(spot, context, formats) for spot in ordered]))
        judged.append((head, [_judged_row(spot, context, formats) for spot in ordered]))
    value_columns = [
        column(_("Spot"), 26),
        column(_("Before ± U"), 13, number=True),
        column(_("Band"), 7, number=True),
        column(_("After ± U"), 13, number=True),
        column(_("Band"), 7, number=True),
        column(_("Instruments"), 12),
        column(_("Ground points"), 22),
    ]
    judged_columns = [
        column(_("Spot"), 22),
        column(_("Reduction (95 % interval)"), 21),
        column(_("dB (95 % interval)"), 18),
        column("T", 6, number=True),
        column("w", 6, number=True),
        column("P(< T)", 9, number=True),
        column(_("Decision"), 18),
    ]
    return [
        heading(_("Results")),
        table(_("Values before and after, U = 2u (about 95 %)"), value_columns, values, small=True),
        table(_("Reduction and conformity"), judged_columns, judged, small=True),
    ]


def _value_row(spot: Spot, context: OutcomeContext, formats: Formats) -> list[str]:
    detail = context.details.get(spot_key(spot))
    instruments, points = DASH, DASH
    if detail:
        instruments = _pair(detail.before_instrument, detail.after_instrument)
        points = _pair(detail.before_ground_point, detail.after_ground_point)
    return [
        spot_name(spot["room"], spot["spot"]),
        _value(spot["before"], formats),
        _band(spot["before"]),
        _value(spot["after"], formats),
        _band(spot["after"]),
        instruments,
        points,
    ]


def _judged_row(spot: Spot, context: OutcomeContext, formats: Formats) -> list[str]:
    detail = context.details.get(spot_key(spot))
    target = spot["target"]
    guard = DASH
    if detail and detail.guard is not None and math.isfinite(detail.guard):
        guard = formats.value(detail.guard, "", detail.guard / 2.0)
    return [
        spot_name(spot["room"], spot["spot"]),
        " ".join(reduction_words(spot, formats)).strip(),
        decibel_words(spot, formats),
        formats.given(target["limit"]),
        guard,
        probability_words(target["probability"], formats),
        f"{decision_words(target['decision'])} ({target['decision']})",
    ]


def probability_words(probability: float | None, formats: Formats) -> str:
    """Three decimals, and never a certainty that a normal distribution can't give."""
    if probability is None:
        return DASH
    if probability > 0.9995:
        return f"> {formats.shown('0.999')}"
    if probability < 0.0005:
        return f"< {formats.shown('0.001')}"
    return formats.shown(f"{probability:.3f}")


def _value(side: Side | None, formats: Formats) -> str:
    if side is None:
        return DASH
    return formats.with_uncertainty(side["value"], side["qualifier"], side["u"])


def _band(side: Side | None) -> str:
    return str(side["band"]) if side else DASH


def _pair(before: str, after: str) -> str:
    """The word of both visits where they agree, else both words."""
    if before == after:
        return before or DASH
    return f"{before or DASH} / {after or DASH}"


def _flags_and_cautions(spots: Sequence[Spot]) -> list[Block]:
    sentences = []
    for spot in spots:
        parts = []
        for label, side in ((_("before"), spot["before"]), (_("after"), spot["after"])):
            if side and side["flags"]:
                parts.append(f"{label}: {phrases(side['flags'])}")
        if spot["cautions"]:
            parts.append(f"{_('cautions')}: {phrases(spot['cautions'])}")
        if spot["blocks"]:
            parts.append(f"{_('blocks')}: {phrases(spot['blocks'])}")
        if parts:
            name = spot_name(spot["room"], spot["spot"])
            sentences.append(f"{name} ({measurand_words(spot['measurand'])}): {'; '.join(parts)}.")
    if not sentences:
        return [paragraph(_("No value carries a flag, and no comparison a caution."))]
    return [heading(_("Flags and cautions")), bullets(sentences)]


def _readings(
    spots: Sequence[Spot], context: OutcomeContext
) -> list[tuple[str, str, ReadingFacts]]:
    readings = []
    for code, group in by_code(spots).items():
        for spot in in_order(group, _uses(context)):
            detail = context.details.get(spot_key(spot))
            for reading in (detail.before_reading, detail.after_reading) if detail else ():
                if reading:
                    name = spot_name(spot["room"], spot["spot"])
                    readings.append((measurand_words(code), name, reading))
    return readings


def _decision_rule(outcome: Mapping[str, Any], context: OutcomeContext) -> list[Block]:
    band = outcome["target_band"]
    words = band_words(context.guideline.band_words)[band - 1]
    return [
        heading(_("Decision rule")),
        paragraph(
            _(
                "Specification: the value after the work lies under T, the upper limit of band "
                "%(band)s (“%(words)s”) of %(guideline)s. Guard band w = 2·u(T), with u(T) the "
                "standard uncertainty at E = T on the instrument used."
            )
            % {"band": band, "words": words, "guideline": outcome["guideline"]}
        ),
        bullets(
            [
                _("met: E < T − w; a true value at the limit is wrongly “met” in 2.3 % of cases."),
                _("met, within the uncertainty: T − w ≤ E < T; wrong in up to 50 % of cases."),
                _("not met, within the uncertainty: T ≤ E ≤ T + w; wrong in up to 50 % of cases."),
                _("not met: E > T + w."),
                _(
                    "cannot be decided: no value after the work, no certificate in force, or a "
                    "bound that lies on both sides of the limit. A value read on one or two axes "
                    "is at best met within the uncertainty."
                ),
            ]
        ),
        paragraph(
            _(
                "P is the probability that the true value lies under T (JCGM 106, clause 7, normal "
                "distribution cut at zero). The statements of conformity hold for the value after "
                "the work at each spot listed under “Results”, for each quantity by itself."
            )
        ),
    ]  # fmt: skip


def _scope(context: OutcomeContext) -> list[Block]:
    return [
        heading(_("Scope of the results")),
        paragraph(
            _(
                "The results hold only for the spots and the hours at which they were measured. "
                "This document may be passed on only as a whole, and is signed by %(who)s."
            )
            % {"who": context.head.sender.signatory or context.head.sender.name}
        ),
    ]
