"""The engineer's part of an outcome letter: every number with its way there."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from consult.letters.content import Block, bullets, column, heading, paragraph, table
from consult.letters.formats import NBSP, Formats, places
from consult.letters.words import band_words, phrase, short_decision_words, spot_name
from mitigation.calc.target import MET, MISSED
from mitigation.letters.context import OutcomeContext
from mitigation.letters.outcome_works import firms_values
from mitigation.letters.phrases import (
    Side,
    Spot,
    by_code,
    decibel_words,
    in_order,
    latest_days,
    other_days,
    place_of,
    reduction_words,
    spot_key,
)
from surveys.letters import methods, own_words, readings, technical
from surveys.models import Measurand
from surveys.models.measurands import measurand_symbol

DASH = "–"
Groups = dict[str, list[list[str]]]
"""Rows of a table by their place."""


def engineer_part(
    outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats
) -> list[Block]:
    """From identification to the decision rule (ISO/IEC 17025:2017, 7.8.2 and 7.8.6)."""
    spots = in_order(outcome["spots"], context.uses())
    codes = list(by_code(spots))
    return [
        *technical.identification(
            context.head,
            formats,
            what=_("Report of results with statements of conformity"),
            frequency_hz=context.frequency_hz,
            visits=context.visits,
            n_places=len({place_of(spot) for spot in spots}),
        ),
        *own_words.sketches(context.sketches),
        *technical.visits_and_conditions(
            context.visits, formats, readings.distance_words(context.log, formats)
        ),
        *technical.instruments_used(context.instruments, formats),
        *technical.ground_points(
            context.ground_checks,
            formats,
            were_used=any(Measurand(code).has_ground_point for code in codes),
            with_rod=_with_rod(context),
        ),
        *_results(spots, codes, context, formats),
        *_flags_and_cautions(spots),
        *_decision_rule(outcome, context),
        *firms_values(context.works, formats),
        *readings.trials(context.log, formats),
        *readings.readings_set_aside(context.set_aside, formats),
        *methods.guideline_table(
            context.guideline,
            formats,
            [(code, Measurand(code).unit) for code in codes],
        ),
        *methods.method(outcome["rules"], formats, context.placement_percent, codes),
        *methods.scope(context.head),
    ]


def _with_rod(context: OutcomeContext) -> bool:
    """Whether a rod was driven for these readings."""
    points = {check.point for check in context.ground_checks}
    points |= {check.other_point for check in context.ground_checks}
    for detail in context.details.values():
        points |= {detail.before_ground_point, detail.after_ground_point}
    return any(technical.is_rod(point) for point in points)


def _results(
    spots: Sequence[Spot], codes: Sequence[str], context: OutcomeContext, formats: Formats
) -> list[Block]:
    latest = latest_days(spots)
    values: Groups = {}
    judged: Groups = {}
    for spot in spots:
        place = spot_name(*place_of(spot))
        values.setdefault(place, []).append(_value_row(spot, context, latest, formats))
        judged.setdefault(place, []).append(_judged_row(spot, context, formats))
    value_columns = [
        column(_("Quantity"), 17),
        column(_("Before ± U"), 13, number=True),
        column(_("Band"), 8, number=True),
        column(_("After ± U"), 13, number=True),
        column(_("Band"), 8, number=True),
        column(_("Instruments"), 17),
        column(_("Ground points"), 24),
    ]
    judged_columns = [
        column(_("Quantity"), 15),
        column(_("Reduction (95 % interval)"), 22),
        column(_("dB (95 % interval)"), 18),
        column("T", 6, number=True),
        column("w", 7, number=True),
        column("P(< T)", 9, number=True),
        column(_("Risk"), 10, number=True),
        column(_("Decision"), 13),
    ]
    risk = _(
        "T: upper limit of the target; w: guard band; P(< T): probability that the true value lies "
        "under T; risk: probability that the decision of this row is wrong, 1 − P where it is met "
        "and P where it is missed."
    )
    return [
        heading(_("Results")),
        paragraph(methods.symbols(codes)),
        table(_("Values before and after, U = 2u (about 95 %)"), value_columns, [*values.items()],
              small=True),
        table(_("Reduction and conformity"), judged_columns, list(judged.items()), small=True),
        paragraph(risk),
    ]  # fmt: skip


def _quantity(spot: Spot) -> str:
    return f"{measurand_symbol(spot['measurand'])} [{spot['unit']}]"


def _value_row(
    spot: Spot, context: OutcomeContext, latest: Mapping[str, str], formats: Formats
) -> list[str]:
    detail = context.details.get(spot_key(spot))
    instruments, points, marks = DASH, DASH, ["", ""]
    if detail:
        instruments = _pair(detail.before_instrument, detail.after_instrument)
        points = _pair(detail.before_ground_point, detail.after_ground_point)
        marks = [
            "" if in_force else f"{NBSP}{readings.NOT_IN_FORCE}"
            for in_force in (detail.before_is_certified, detail.after_is_certified)
        ]
    days = other_days(spot, latest, formats)
    return [
        f"{_quantity(spot)}, {days}" if days else _quantity(spot),
        _value(spot["before"], formats) + marks[0],
        _band(spot["before"]),
        _value(spot["after"], formats) + marks[1],
        _band(spot["after"]),
        instruments,
        points,
    ]


def _judged_row(spot: Spot, context: OutcomeContext, formats: Formats) -> list[str]:
    detail = context.details.get(spot_key(spot))
    target = spot["target"]
    guard = DASH
    if detail and detail.guard is not None and math.isfinite(detail.guard):
        guard = formats.two_figures(detail.guard)
    return [
        _quantity(spot),
        " ".join(reduction_words(spot, formats)).strip(),
        decibel_words(spot, formats),
        formats.given(target["limit"]),
        guard,
        probability_words(target["probability"], formats),
        _risk_words(target, formats),
        short_decision_words(target["decision"]),
    ]


def _risk_words(target: Mapping[str, Any], formats: Formats) -> str:
    """The probability that the decision of this row is wrong."""
    probability = target["probability"]
    if probability is None or target["decision"] not in MET | MISSED:
        return DASH
    wrong = 1.0 - probability if target["decision"] in MET else probability
    return probability_words(wrong, formats)


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
    """Each remark once, with the places that it holds for."""
    remarked: dict[str, list[tuple[str, str]]] = {}
    for spot in (spot for group in by_code(spots).values() for spot in group):
        symbol = measurand_symbol(spot["measurand"])
        remarks = [
            (f"{symbol}, {side}", flag)
            for side, flags in ((_("before"), spot["before"]), (_("after"), spot["after"]))
            for flag in (flags["flags"] if flags else ())
        ]
        remarks += [(f"{symbol}, {_('caution')}", caution) for caution in spot["cautions"]]
        remarks += [(f"{symbol}, {_('no comparison because')}", why) for why in spot["blocks"]]
        for head, words in remarks:
            remarked.setdefault(f"{head}: {phrase(words)}", []).append(place_of(spot))
    if not remarked:
        return [paragraph(_("No value carries a flag, and no comparison a caution."))]
    sentences = [f"{words}. {places(where)}." for words, where in remarked.items()]
    return [heading(_("Notes and limitations")), bullets(sentences)]


def _decision_rule(outcome: Mapping[str, Any], context: OutcomeContext) -> list[Block]:
    band = outcome["target_band"]
    words = band_words(context.guideline.band_words)[band - 1]
    return [
        heading(_("Decision rule")),
        paragraph(
            _(
                "Specification: the value after the work lies under T, the upper limit of band "
                "%(band)s (“%(words)s”) of %(guideline)s. Guard band w = 2·u(T), with u(T) the "
                "standard uncertainty of a reading E = T."
            )
            % {"band": band, "words": words, "guideline": outcome["guideline"]}
        ),
        bullets(
            [
                _(
                    "met (“pass”): E < T − w; a true value at the limit is wrongly “met” in 2.3 % "
                    "of cases."
                ),
                _("just met: T − w ≤ E < T; wrong in up to 50 % of cases."),
                _("just missed: T ≤ E ≤ T + w; wrong in up to 50 % of cases."),
                _(
                    "not met (“fail”): E > T + w; a true value at the limit is wrongly “not met” "
                    "in 2.3 % of cases."
                ),
                _(
                    "open: no value after the work, no certificate in force, a ground point found "
                    "faulty, or a bound that lies on both sides of the limit. A value read on one "
                    "or two axes is at best just met."
                ),
            ]
        ),
        paragraph(
            _(
                "P by JCGM 106, clause 7, with a normal distribution truncated at zero. The "
                "statements of conformity hold for the value after the work at each place listed "
                "under “Results”, for each quantity by itself."
            )
        ),
    ]
