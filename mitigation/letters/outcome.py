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
    fine_print,
    flux_unit_for,
    head_content,
    heading,
    lead,
    note,
    one_line,
    paper_for,
    paragraph,
    pictures,
    whole_letter,
)
from consult.letters.fit import fits_on_page_one
from consult.letters.formats import Formats, listing, picture_words, places
from consult.letters.words import (
    band_words,
    phrases,
    precaution_sentences,
    stop_words,
    unit_sentences,
    wiring_sentences,
)
from mitigation.calc.target import MET, MISSED
from mitigation.letters.context import OutcomeContext, SpotDetail
from mitigation.letters.evidence import engineer_part
from mitigation.letters.limits import limit_sentences
from mitigation.letters.outcome_works import works_blocks
from mitigation.letters.phrases import Spot, charts, sleeping_places
from mitigation.letters.places import measured_after, place_table
from mitigation.letters.verdict import (
    RANK,
    counted,
    decisions_by_place,
    risen,
    subject,
    waited_for,
)
from surveys.letters import own_words
from surveys.letters.facts import GuidelineFacts, SpotKey
from surveys.letters.readings import reading_log
from surveys.letters.scale import not_excluded, public_levels, scale_block
from surveys.models.measurands import measurand_words

__all__ = ["OutcomeContext", "SpotDetail", "outcome_charts", "outcome_content"]

KIND = "outcome"


def outcome_content(
    *, outcome: Mapping[str, Any], context: OutcomeContext, language: str
) -> dict[str, Any]:
    """Every sentence, number and unit of the letter, ready to be frozen."""
    with override(language):
        formats = Formats(language, context.head.country)
        content = head_content(
            context.head,
            formats,
            kind=KIND,
            document=_("Outcome letter: report of results with statements of conformity"),
            subject=subject(outcome["spots"]),
            measured_on=[visit.day for visit in context.visits],
        )
        place = one_line(context.head.property_address)
        annex = reading_log(context.log, formats)
        return whole_letter(
            content,
            about=_("Outcome of the work at %(place)s") % {"place": place},
            client=_client_part(outcome, context, formats),
            engineer_heading=_("The engineer's part"),
            engineer=engineer_part(outcome, context, formats),
            annex_heading=_("Annex: all readings") if annex else "",
            annex=annex,
            rules=outcome["rules"],
        )


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
    outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats
) -> list[Block]:
    """Page one by place; on page two the picture, and the cautions that apply here."""
    first = _page_one(outcome, context, formats)
    fits = fits_on_page_one(first, paper_for(context.head.country))
    return [*first, *_page_two(outcome, context, formats, new_page=fits)]


def _page_one(outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats) -> list[Block]:
    spots, country = outcome["spots"], context.head.country
    flux_unit = flux_unit_for(context.head, formats.language)
    decisions = decisions_by_place(spots)
    public = public_levels(context.frequency_hz)
    beyond = not_excluded(measured_after(spots, RANK), public, formats, flux_unit)
    limits = limit_sentences(spots, context, formats)
    counts = [counted(decisions), _("At each place the worst of its quantities decides.")]
    blocks = [
        *_noted(_("Not excluded: a field above the public reference level"), beyond),
        *_noted(stop_words(country), context.safety),
        lead(waited_for(decisions, sleeping_places(context.uses()))),
        *own_words.summary(context.words),
        paragraph(" ".join([*filter(None, counts), _target_words(outcome, context)])),
        *_noted(_("What limits these results"), limits),
        place_table(spots, context, formats, flux_unit),
        *own_words.recommendations(context.words),
        *scale_block(measured_after(spots, MISSED), public, formats, flux_unit),
    ]
    return [*blocks, *_left_to_do(spots, context)]


def _noted(title: str, entries: Sequence[str]) -> list[Block]:
    return [note(title, entries)] if entries else []


def _target_words(outcome: Mapping[str, Any], context: OutcomeContext) -> str:
    band = band_words(context.guideline.band_words)[outcome["target_band"] - 1]
    sentences = [
        _("The target is the band “%(band)s” of the guideline %(guideline)s, or a lower one.")
        % {"band": band, "guideline": outcome["guideline"]}
    ]
    if context.work_done:
        done = _("The work: %(items)s.") % {"items": listing(list(context.work_done))}
        sentences.append(done)
    return " ".join(sentences)


def _left_to_do(spots: Sequence[Spot], context: OutcomeContext) -> list[Block]:
    """What was agreed; what each place still needs stands beside it."""
    if not context.open_items:
        all_met = all(spot["target"]["decision"] in MET for spot in spots)
        return [paragraph(_("Nothing is left to do."))] if all_met else []
    return [heading(_("What is left to do")), bullets(context.open_items)]


def _page_two(
    outcome: Mapping[str, Any], context: OutcomeContext, formats: Formats, *, new_page: bool
) -> list[Block]:
    spots, country = outcome["spots"], context.head.country
    flux_unit = flux_unit_for(context.head, formats.language)
    drawn = charts(outcome, context.uses(), context.guideline, formats, flux_unit)
    shown = [asdict(chart) for chart in drawn]
    words = asdict(picture_words(formats.language))
    units = {chart.unit for chart in drawn}
    open_work = any(spot["target"]["decision"] not in MET for spot in spots)
    wiring = wiring_sentences(country) if open_work or context.open_items else []
    return [
        heading(_("The results in the picture"), new_page=new_page),
        pictures(shown, words, single=False),
        *_noted(_("Fault found and repaired"), context.past_dangers),
        *works_blocks(context.works, formats, flux_unit),
        fine_print(_("Please note"), [*wiring, *precaution_sentences(), *unit_sentences(units)]),
    ]


def not_comparable(spots: Sequence[Spot]) -> list[str]:
    """Each reason with the spots that it holds for."""
    reasons: dict[str, list[tuple[str, str]]] = {}
    for spot in spots:
        if not spot["comparable"]:
            reason = f"{measurand_words(spot['measurand'])}: {phrases(spot['blocks'])}"
            reasons.setdefault(reason, []).append((spot["room"], spot["spot"]))
    return [f"{reason}: {places(blocked)}." for reason, blocked in reasons.items()]


def next_steps(spots: Sequence[Spot]) -> list[str]:
    """One step for each thing that is open, with the spots that it concerns."""
    decisions = decisions_by_place(spots)
    not_met = [place for place, decision in decisions.items() if decision in MISSED]
    undecided = [place for place, decision in decisions.items() if decision == "undecided"]
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
