"""The survey report: what was found at the baseline, before any work."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.charts import Chart, PictureRow, Point
from consult.letters.content import (
    Block,
    Head,
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
from consult.letters.formats import (
    Formats,
    display_unit,
    in_unit,
    picture_words,
    places,
)
from consult.letters.words import (
    USES,
    band_words,
    number_words,
    phrases,
    precaution_sentences,
    spot_name,
    stop_words,
    unit_sentences,
    wiring_sentences,
)
from surveys.letters import technical
from surveys.letters.facts import (
    FindingFacts,
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    SetAsideFacts,
    VisitFacts,
)
from surveys.letters.order import by_measurand, worst_first
from surveys.models.measurands import measurand_words

KIND = "survey-report"
DASH = "–"
ROWS_PER_PANEL = 18


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


def survey_content(*, context: SurveyContext, language: str) -> dict[str, Any]:
    """Every sentence, number and unit of the report, ready to be frozen."""
    with override(language):
        formats = Formats(language, context.head.country)
        content = head_content(context.head, formats, kind=KIND, subject=_subject(context))
        place = one_line(context.head.property_address)
        return content | {
            "about": _("Survey of %(place)s on %(day)s")
            % {"place": place, "day": formats.day(context.visit.day)},
            "client": _client_part(context, formats, flux_unit_for(context.head, language)),
            "engineer_heading": _("The engineer's part"),
            "engineer": _engineer_part(context, formats),
            "rules": list(context.rules),
        }


def limit_of(finding: FindingFacts, context: SurveyContext) -> float:
    """The upper limit of the target band."""
    return context.guideline.bounds[finding.measurand][context.target_band - 1]


def _above(context: SurveyContext) -> list[FindingFacts]:
    """Findings above the target band; a bound that may lie on either side is counted in."""
    return [
        finding
        for finding in context.findings
        if finding.value >= limit_of(finding, context) or finding.qualifier == ">"
    ]


def _places(findings: Sequence[FindingFacts]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((finding.room, finding.spot) for finding in findings))


def _subject(context: SurveyContext) -> str:
    total, above = len(_places(context.findings)), len(_places(_above(context)))
    counts = {"total": number_words(total), "count": number_words(above)}
    if total == 1:
        return (
            _("Above the target at the only spot")
            if above
            else _("Within the target at the only spot")
        )
    if not above:
        return _("Within the target at all %(total)s spots") % counts
    if above == total:
        return _("Above the target at all %(total)s spots") % counts
    if above == 1:
        return _("Above the target at one of %(total)s spots") % counts
    return _("Above the target at %(count)s of %(total)s spots") % counts


def _in_order(context: SurveyContext) -> dict[str, list[FindingFacts]]:
    """By measurand; sleeping spots first, then the worst first."""
    groups = by_measurand(context.findings, lambda finding: finding.measurand)
    return {code: sorted(group, key=_rank) for code, group in groups.items()}


def _rank(finding: FindingFacts) -> tuple[bool, bool, float]:
    return worst_first(use=finding.use, value=finding.value, limit=finding.limit)


def _client_part(context: SurveyContext, formats: Formats, flux_unit: str) -> list[Block]:
    band = band_words(context.guideline.band_words)[context.target_band - 1]
    first = _(
        "On %(day)s we measured the fields at the places where people sleep, sit or work, before "
        "any work is done. The target is the band “%(band)s” of the guideline %(guideline)s, or a "
        "lower one."
    ) % {
        "day": formats.day(context.visit.day),
        "band": band,
        "guideline": context.guideline.code,
    }
    drawn = [asdict(chart) for chart in survey_charts(context, formats, flux_unit)]
    units = {chart["unit"] for chart in drawn}
    words = asdict(picture_words(formats.language)) | {"title": _("Measured at each spot")}
    stop = [note(stop_words(), context.safety)]
    return [
        *(stop if context.safety else []),
        paragraph(first),
        paragraph(_verdict(context)),
        _client_table(context, formats, flux_unit),
        heading(_("The picture")),
        pictures(drawn, words, single=True),
        heading(_("What comes next")),
        bullets(_next_steps(context)),
        note(_("Before anybody works on the wiring"), wiring_sentences(context.head.country)),
        note(_("Please note"), [*precaution_sentences(), *unit_sentences(units)]),
    ]


def _verdict(context: SurveyContext) -> str:
    above = _places(_above(context))
    if not above:
        return _("Every spot is within the target.")
    return _("Above the target are: %(spots)s.") % {"spots": places(above)}


def _next_steps(context: SurveyContext) -> list[str]:
    if context.open_items:
        return list(context.open_items)
    if _above(context):
        return [
            _(
                "Find the causes at the spots above the target, propose remedies, and measure "
                "again after the work."
            )
        ]
    return [_("Nothing is left to do from our side.")]


def _client_table(context: SurveyContext, formats: Formats, flux_unit: str) -> Block:
    names = band_words(context.guideline.band_words)
    groups = []
    for code, group in _in_order(context).items():
        unit = group[0].unit
        shown = display_unit(unit, flux_unit)
        limit = formats.given(in_unit(limit_of(group[0], context), unit, shown))
        head = _("%(quantity)s in %(unit)s; the target is under %(limit)s") % {
            "quantity": measurand_words(code),
            "unit": shown,
            "limit": limit,
        }
        rows = [
            [
                spot_name(finding.room, finding.spot),
                _(USES.get(finding.use, finding.use)),
                formats.value(
                    in_unit(finding.value, unit, shown),
                    finding.qualifier,
                    None if finding.u is None else in_unit(finding.u, unit, shown),
                ),
                f"{finding.band}: {names[finding.band - 1]}",
            ]
            for finding in group
        ]
        groups.append((head, rows))
    columns = [
        column(_("Spot"), 36),
        column(_("Use"), 18),
        column(_("Measured"), 18, number=True),
        column(_("Band"), 28),
    ]
    return table(_("Measured at each spot"), columns, groups)


def survey_charts(context: SurveyContext, formats: Formats, flux_unit: str) -> list[Chart]:
    """The picture of one visit: a chart per measurand, long ones in pieces."""
    charts = []
    for code, group in _in_order(context).items():
        unit = group[0].unit
        shown = display_unit(unit, flux_unit)
        first, second, third = (
            in_unit(bound, unit, shown) for bound in context.guideline.bounds[code]
        )
        limit = in_unit(limit_of(group[0], context), unit, shown)
        names = band_words(context.guideline.band_words)
        for start in range(0, len(group), ROWS_PER_PANEL):
            chunk = group[start : start + ROWS_PER_PANEL]
            charts.append(
                Chart(
                    name=measurand_words(code),
                    unit=shown,
                    bounds=(first, second, third),
                    band_words=names,
                    limit=limit,
                    limit_text=f"{formats.given(limit)} {shown}",
                    rows=tuple(_row(finding, shown, names, formats) for finding in chunk),
                    identifier=code,
                )
            )
    return charts


def _row(finding: FindingFacts, shown: str, names: tuple[str, ...], formats: Formats) -> PictureRow:
    unit = finding.unit
    u = finding.u or 0.0
    ends = (finding.lower, finding.value)
    if not finding.qualifier:
        ends = (finding.value - 2.0 * u, finding.value + 2.0 * u)
    value = in_unit(finding.value, unit, shown)
    return PictureRow(
        spot=finding.spot,
        room=finding.room,
        sleeping=finding.use == "sleeping",
        before=None,
        after=Point(
            value=value,
            low=max(in_unit(ends[0], unit, shown), 0.0),
            high=in_unit(ends[1], unit, shown),
            qualifier=finding.qualifier,
        ),
        reduction=f"{formats.value(value, finding.qualifier, in_unit(u, unit, shown))} {shown}",
        interval=names[finding.band - 1],
    )


def _engineer_part(context: SurveyContext, formats: Formats) -> list[Block]:
    groups = _in_order(context)
    readings = [
        (measurand_words(code), spot_name(finding.room, finding.spot), finding.reading)
        for code, group in groups.items()
        for finding in group
        if finding.reading
    ]
    return [
        *technical.identification(
            context.head,
            formats,
            what=_("Report of results"),
            frequency_hz=context.frequency_hz,
            visits=[context.visit],
        ),
        *technical.visits_and_conditions([context.visit], formats),
        *technical.instruments_used(context.instruments, formats),
        *technical.ground_points(context.ground_checks, formats),
        *_findings(groups, formats),
        *technical.deciding_readings(readings, formats),
        *technical.readings_set_aside(context.set_aside, formats),
        *technical.guideline_table(
            context.guideline, formats, [(code, group[0].unit) for code, group in groups.items()]
        ),
        *technical.method(context.rules, formats, context.placement_percent),
        heading(_("Scope of the results")),
        paragraph(
            _(
                "The results hold only for the spots and the hours at which they were measured. "
                "This document may be passed on only as a whole, and is signed by %(who)s."
            )
            % {"who": context.head.sender.signatory or context.head.sender.name}
        ),
    ]


def _findings(groups: dict[str, list[FindingFacts]], formats: Formats) -> list[Block]:
    rows = [
        (
            f"{measurand_words(code)} [{group[0].unit}]",
            [
                [
                    spot_name(finding.room, finding.spot),
                    formats.with_uncertainty(finding.value, finding.qualifier, finding.u),
                    str(finding.band),
                    finding.instrument or DASH,
                    finding.ground_point or DASH,
                    phrases(finding.flags) or DASH,
                ]
                for finding in group
            ],
        )
        for code, group in groups.items()
    ]
    columns = [
        column(_("Spot"), 27),
        column(_("Value ± U"), 15, number=True),
        column(_("Band"), 7, number=True),
        column(_("Instrument"), 14),
        column(_("Ground point"), 14),
        column(_("Flags"), 23),
    ]
    return [
        heading(_("Results")),
        table(_("Values, U = 2u (about 95 %)"), columns, rows, small=True),
    ]
