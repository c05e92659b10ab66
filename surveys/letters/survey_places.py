"""What a survey found, by place: one value each, in the one order of places."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.letters.content import Block, Head, column, table
from consult.letters.formats import Formats, places
from consult.letters.words import band_words, number_words, spot_name
from surveys.letters.facts import (
    FindingFacts,
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    LoggedReading,
    SetAsideFacts,
    SketchFacts,
    VisitFacts,
    WordFacts,
)
from surveys.letters.order import Place, Standing, by_measurand, places_in_order
from surveys.letters.scale import Measured
from surveys.models import Measurand
from surveys.models.measurands import plain_names

MOST_ROWS = 6
"""Above so many rows the places within the target become one line."""


@dataclass(frozen=True)
class SurveyContext:
    """Everything that a survey report prints."""

    head: Head
    guideline: GuidelineFacts
    target_band: int
    rules: tuple[str, ...]
    visit: VisitFacts
    findings: tuple[FindingFacts, ...]
    instruments: tuple[InstrumentFacts, ...] = ()
    ground_checks: tuple[GroundCheckFacts, ...] = ()
    set_aside: tuple[SetAsideFacts, ...] = ()
    open_items: tuple[str, ...] = ()
    placement_percent: float = 5.0
    frequency_hz: float | None = None
    safety: tuple[str, ...] = ()
    log: tuple[LoggedReading, ...] = ()
    words: WordFacts = field(default_factory=WordFacts)
    sketches: tuple[SketchFacts, ...] = ()


def limit_of(finding: FindingFacts, context: SurveyContext) -> float:
    """The upper limit of the target band."""
    return context.guideline.bounds[finding.measurand][context.target_band - 1]


def above_target(context: SurveyContext) -> list[FindingFacts]:
    """Findings above the target band; a bound that may lie on either side is counted in."""
    return [finding for finding in context.findings if _is_above(finding, context)]


def _is_above(finding: FindingFacts, context: SurveyContext) -> bool:
    return finding.value >= limit_of(finding, context) or finding.qualifier == ">"


def measured(findings: Sequence[FindingFacts], context: SurveyContext) -> list[Measured]:
    names = plain_names(finding.measurand for finding in context.findings)
    return [
        Measured(
            place=_place(finding),
            measurand=finding.measurand,
            name=names[finding.measurand],
            unit=finding.unit,
            value=finding.value,
            qualifier=finding.qualifier,
            u=finding.u,
            limit=limit_of(finding, context),
        )
        for finding in findings
    ]


def in_order(context: SurveyContext) -> list[FindingFacts]:
    """All findings in the one order of their places, those of a place by quantity."""
    rank = places_in_order(
        Standing(_place(finding), finding.use, finding.value, limit_of(finding, context))
        for finding in context.findings
    )
    number = {code.value: at for at, code in enumerate(Measurand)}
    return sorted(
        context.findings, key=lambda finding: (rank[_place(finding)], number[finding.measurand])
    )


def by_code(context: SurveyContext) -> dict[str, list[FindingFacts]]:
    """The findings of each quantity in the one order of places."""
    return by_measurand(in_order(context), lambda finding: finding.measurand)


def _place(finding: FindingFacts) -> Place:
    return finding.room, finding.spot


def _by_place(context: SurveyContext) -> dict[Place, list[FindingFacts]]:
    findings_at: dict[Place, list[FindingFacts]] = {}
    for finding in in_order(context):
        findings_at.setdefault(_place(finding), []).append(finding)
    return findings_at


def subject(context: SurveyContext) -> str:
    """What was found in one line."""
    total = len(_by_place(context))
    above = len({_place(finding) for finding in above_target(context)})
    counts = {"total": number_words(total), "count": number_words(above)}
    if total == 1:
        return (
            _("Above the target at the only place")
            if above
            else _("Within the target at the only place")
        )
    if not above:
        return _("Within the target at all %(total)s places") % counts
    if above == total:
        return _("Above the target at all %(total)s places") % counts
    return _("Above the target at %(count)s of %(total)s places") % counts


def waited_for(context: SurveyContext) -> str:
    """The sentence that the client waits for: of the beds, or without one of all places."""
    uses = {place: {row.use for row in rows} for place, rows in _by_place(context).items()}
    beds = {place for place, used_for in uses.items() if "sleeping" in used_for}
    judged = beds or set(uses)
    above = len(judged & {_place(finding) for finding in above_target(context)})
    numbers = {"total": len(judged), "count": above}
    if not above:
        return (
            _("Everywhere you sleep is in the target range.")
            if beds
            else _("Every place that we measured is in the target range.")
        )
    if above == len(judged) > 1:
        return (
            _("All %(total)s places where you sleep are above the target range.")
            if beds
            else _("All %(total)s places that we measured are above the target range.")
        ) % numbers
    if beds:
        return ngettext(
            "Of %(total)s places where you sleep, %(count)s is above the target range.",
            "Of %(total)s places where you sleep, %(count)s are above the target range.",
            above,
        ) % numbers  # fmt: skip
    return ngettext(
        "Of %(total)s places that we measured, %(count)s is above the target range.",
        "Of %(total)s places that we measured, %(count)s are above the target range.",
        above,
    ) % numbers  # fmt: skip


def place_table(context: SurveyContext, formats: Formats, flux_unit: str) -> Block:
    """Place, result, and the quantity that decides with its value."""
    rows: list[list[str]] = []
    within: list[list[str]] = []
    within_places: list[Place] = []
    for place, findings in _by_place(context).items():
        worst = max(findings, key=lambda finding: _share(finding, context))
        is_above = any(_is_above(finding, context) for finding in findings)
        words = _("above the target ▲") if is_above else _("in the target range ✓")
        remark = context.words.remarks.get(place, "")
        why = _why(worst, context, formats, flux_unit, remark)
        row = [spot_name(*place), words, why]
        rows.append(row)
        if not is_above and not remark:
            within.append(row)
            within_places.append(place)
    if len(rows) > MOST_ROWS and len(within) > 1:
        rows = [row for row in rows if row not in within]
        rows.append([places(within_places), _("in the target range ✓"), ""])
    columns = [
        column(_("Place"), 27),
        column(_("Result"), 19),
        column(_("The value that decides"), 54),
    ]
    return table(_("The target at each place"), columns, [("", rows)])


def _share(finding: FindingFacts, context: SurveyContext) -> tuple[bool, float]:
    return finding.qualifier == ">", finding.value / limit_of(finding, context)


def _why(
    worst: FindingFacts, context: SurveyContext, formats: Formats, flux_unit: str, remark: str
) -> str:
    (value,) = measured([worst], context)
    band = band_words(context.guideline.band_words)[worst.band - 1]
    sentence = _("%(quantity)s %(value)s, %(band)s (target %(limit)s).") % {
        "quantity": value.name,
        "value": value.words(formats, flux_unit),
        "band": band,
        "limit": value.limit_words(formats, flux_unit),
    }
    if remark:
        return f"{sentence} {remark}"
    note = worst.reading.note if worst.reading and _is_above(worst, context) else ""
    return f"{sentence} {_('Noted there: “%(note)s”.') % {'note': note}}" if note else sentence
