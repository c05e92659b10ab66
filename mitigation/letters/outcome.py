"""The outcome letter: before and after at every spot, and what that says about the target."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.charts import Chart
from consult.letters.content import (
    Block,
    bullets,
    column,
    flux_unit_for,
    head_content,
    heading,
    note,
    one_line,
    paragraph,
    pictures,
    table,
)
from consult.letters.formats import Formats, display_unit, in_unit, listing, picture_words, places
from consult.letters.words import (
    band_words,
    phrases,
    precaution_sentences,
    spot_name,
    stop_words,
    unit_sentences,
    wiring_sentences,
)
from mitigation.letters.context import OutcomeContext, SpotDetail
from mitigation.letters.evidence import engineer_part
from mitigation.letters.phrases import (
    Spot,
    by_code,
    charts,
    decision_text,
    in_order,
    reduction_words,
    side_words,
)
from mitigation.letters.verdict import (
    by_place,
    risen,
    subject,
    verdict_sentences,
)
from surveys.letters.facts import GuidelineFacts, SpotKey
from surveys.models.measurands import measurand_words

__all__ = ["OutcomeContext", "SpotDetail", "outcome_charts", "outcome_content"]

KIND = "outcome"


def outcome_content(
    *, outcome: Mapping[str, Any], context: OutcomeContext, language: str
) -> dict[str, Any]:
    """Every sentence, number and unit of the letter, ready to be frozen."""
    with override(language):
        formats = Formats(language, context.head.country)
        flux_unit = flux_unit_for(context.head, language)
        content = head_content(context.head, formats, kind=KIND, subject=subject(outcome["spots"]))
        place = one_line(context.head.property_address)
        return content | {
            "about": _("Outcome of the work at %(place)s") % {"place": place},
            "client": _client_part(outcome, context, formats, flux_unit),
            "engineer_heading": _("The engineer's part"),
            "engineer": engineer_part(outcome, context, formats),
            "rules": list(outcome["rules"]),
        }


def outcome_charts(
    *,
    outcome: Mapping[str, Any],
    uses: Mapping[SpotKey, str],
    guideline: GuidelineFacts,
    language: str,
    flux_unit: str = "nT",
) -> list[Chart]:
    """The picture for a page, in the language that is asked for."""
    with override(language):
        return charts(outcome, uses, guideline, Formats(language), flux_unit)


def _client_part(
    outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats, flux_unit: str
) -> list[Block]:
    uses = {key: detail.use for key, detail in context.details.items()}
    drawn = charts(outcome, uses, context.guideline, formats, flux_unit)
    shown = [asdict(chart) for chart in drawn]
    words = asdict(picture_words(formats.language))
    units = {chart.unit for chart in drawn}
    stop = [note(stop_words(), context.safety)] if context.safety else []
    over = [note(_("Found in order since"), context.past_dangers)] if context.past_dangers else []
    return [
        *stop,
        paragraph(_what_we_did(outcome, context, formats)),
        *(paragraph(sentence) for sentence in verdict_sentences(outcome["spots"])),
        *over,
        _client_table(outcome["spots"], uses, formats, flux_unit),
        *_left_to_do(outcome["spots"], context),
        heading(_("The picture")),
        pictures(shown, words, single=False),
        *_not_comparable(outcome["spots"]),
        note(_("Please note"), [*precaution_sentences(), *unit_sentences(units)]),
    ]


def _what_we_did(outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats) -> str:
    days: dict[str, str] = {visit.kind: formats.day(visit.day) for visit in context.visits}
    band = band_words(context.guideline.band_words)[outcome["target_band"] - 1]
    sentences = [
        _(
            "On %(before)s we measured the fields at the places where people sleep, sit or work. "
            "On %(after)s, after the work, we measured again at the same places."
        )
        % {"before": days.get("baseline", "–"), "after": days.get("follow-up", "–")},
        _("The target was the band “%(band)s” of the guideline %(guideline)s, or a lower one.")
        % {"band": band, "guideline": outcome["guideline"]},
    ]
    if context.work_done:
        done = _("The work: %(items)s.") % {"items": listing(list(context.work_done))}
        sentences.insert(1, done)
    return " ".join(sentences)


def _client_table(
    spots: Sequence[Spot], uses: Mapping[SpotKey, str], formats: Formats, flux_unit: str
) -> Block:
    groups = []
    for code, group in by_code(spots).items():
        unit = group[0]["unit"]
        shown = display_unit(unit, flux_unit)
        limit = formats.given(in_unit(group[0]["target"]["limit"], unit, shown))
        head = _("%(quantity)s in %(unit)s; the target is under %(limit)s") % {
            "quantity": measurand_words(code),
            "unit": shown,
            "limit": limit,
        }
        rows = [
            [
                spot_name(spot["room"], spot["spot"]),
                side_words(spot["before"], unit, flux_unit, formats),
                side_words(spot["after"], unit, flux_unit, formats),
                " ".join(reduction_words(spot, formats)).strip(),
                decision_text(spot),
            ]
            for spot in in_order(group, uses)
        ]
        groups.append((head, rows))
    columns = [
        column(_("Spot"), 29),
        column(_("Before"), 11, number=True),
        column(_("After"), 11, number=True),
        column(_("Reduction (95 % interval)"), 27),
        column(_("Target"), 22),
    ]
    return table(_("Before and after at each spot"), columns, groups)


def _not_comparable(spots: Sequence[Spot]) -> list[Block]:
    reasons = not_comparable(spots)
    return [heading(_("What could not be compared, and why")), bullets(reasons)] if reasons else []


def not_comparable(spots: Sequence[Spot]) -> list[str]:
    """Each reason with the spots that it holds for."""
    reasons: dict[str, list[tuple[str, str]]] = {}
    for spot in spots:
        if not spot["comparable"]:
            reason = f"{measurand_words(spot['measurand'])}: {phrases(spot['blocks'])}"
            reasons.setdefault(reason, []).append((spot["room"], spot["spot"]))
    return [f"{reason}: {places(blocked)}." for reason, blocked in reasons.items()]


def _left_to_do(spots: Sequence[Spot], context: OutcomeContext) -> list[Block]:
    items = [*context.open_items, *next_steps(spots)]
    return [
        heading(_("What is left to do")),
        bullets(items or [_("Nothing is left to do from our side.")]),
        note(_("Before anybody works on the wiring"), wiring_sentences(context.head.country)),
    ]


def next_steps(spots: Sequence[Spot]) -> list[str]:
    """One step for each thing that is open, with the spots that it concerns."""
    verdicts = by_place(spots)
    not_met = [place for place, verdict in verdicts.items() if verdict == "not met"]
    undecided = [place for place, verdict in verdicts.items() if verdict == "undecided"]
    rose = risen(spots)
    steps = []
    if not_met:
        sentence = _(
            "Look for what still causes the field, and measure again after that: %(spots)s."
        )
        steps.append(sentence % {"spots": places(not_met)})
    if rose:
        sentence = _(
            "Find out by switching trials what makes the field higher than before: %(spots)s."
        )
        steps.append(sentence % {"spots": places(rose)})
    if undecided:
        sentence = _("Measure again, so that it can be decided: %(spots)s.")
        steps.append(sentence % {"spots": places(undecided)})
    return steps
