"""The survey report: what was found at the baseline, before any work."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.charts import Chart, PictureRow, Point
from consult.letters.content import (
    Block,
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
from consult.letters.formats import NBSP, Formats, display_unit, in_unit, picture_words
from consult.letters.words import (
    band_words,
    precaution_sentences,
    stop_words,
    unit_sentences,
    wiring_sentences,
)
from surveys.letters import own_words
from surveys.letters.facts import FindingFacts
from surveys.letters.limits import damp_days, expired_meters
from surveys.letters.readings import reading_log
from surveys.letters.scale import not_excluded, public_levels, scale_block
from surveys.letters.survey_evidence import engineer_part
from surveys.letters.survey_places import (
    SurveyContext,
    above_target,
    by_code,
    limit_of,
    measured,
    place_table,
    subject,
    waited_for,
)
from surveys.models import Measurand
from surveys.models.measurands import measurand_words

__all__ = ["SurveyContext", "survey_charts", "survey_content"]

KIND = "survey-report"
ROWS_PER_PANEL = 18


def survey_content(*, context: SurveyContext, language: str) -> dict[str, Any]:
    """Every sentence, number and unit of the report, ready to be frozen."""
    with override(language):
        formats = Formats(language, context.head.country)
        first = _page_one(context, formats)
        fits = fits_on_page_one(first, paper_for(context.head.country))
        content = head_content(
            context.head,
            formats,
            kind=KIND,
            document=_("Survey report: report of results"),
            subject=subject(context),
            measured_on=[context.visit.day],
        )
        place = one_line(context.head.property_address)
        annex = reading_log(context.log, formats)
        return whole_letter(
            content,
            about=_("Survey of %(place)s on %(day)s")
            % {"place": place, "day": formats.day(context.visit.day)},
            client=[*first, *_page_two(context, formats, new_page=fits)],
            engineer_heading=_("The engineer's part"),
            engineer=engineer_part(context, formats),
            annex_heading=_("Annex: all readings") if annex else "",
            annex=annex,
            rules=context.rules,
        )


def _page_one(context: SurveyContext, formats: Formats) -> list[Block]:
    flux_unit = flux_unit_for(context.head, formats.language)
    public = public_levels(context.frequency_hz)
    values = measured(context.findings, context)
    above = measured(above_target(context), context)
    beyond = not_excluded(values, public, formats, flux_unit)
    return [
        *_noted(_("Not excluded: a field above the public reference level"), beyond),
        *_noted(stop_words(context.head.country), context.safety),
        lead(waited_for(context)),
        *own_words.summary(context.words),
        paragraph(" ".join([_what_we_did(context, formats), *_next_steps(context)])),
        *_noted(_("What limits these results"), _limits(context, formats)),
        place_table(context, formats, flux_unit),
        *own_words.recommendations(context.words),
        *scale_block(above, public, formats, flux_unit),
    ]


def _noted(title: str, entries: Sequence[str]) -> list[Block]:
    return [note(title, entries)] if entries else []


def _limits(context: SurveyContext, formats: Formats) -> list[str]:
    electric = any(row.measurand != Measurand.MAGNETIC_FLUX_DENSITY for row in context.findings)
    return [
        *expired_meters(context.instruments, formats),
        *(damp_days([context.visit], formats) if electric else ()),
    ]


def _what_we_did(context: SurveyContext, formats: Formats) -> str:
    band = band_words(context.guideline.band_words)[context.target_band - 1]
    return _(
        "Before any work we measured where you sleep, sit or work. The target is the band "
        "“%(band)s” of the guideline %(guideline)s, or a lower one. At each place the worst of its "
        "quantities decides."
    ) % {"band": band, "guideline": context.guideline.code}


def _next_steps(context: SurveyContext) -> list[str]:
    if context.open_items:
        return list(context.open_items)
    if above_target(context):
        return [
            _(
                "We look for the causes where it is above the target, and send you a proposal. "
                "After the work we measure again."
            )
        ]
    return [_("Nothing is left to do.")]


def _page_two(context: SurveyContext, formats: Formats, *, new_page: bool) -> list[Block]:
    flux_unit = flux_unit_for(context.head, formats.language)
    drawn = [asdict(chart) for chart in survey_charts(context, formats, flux_unit)]
    units = {chart["unit"] for chart in drawn}
    words = asdict(picture_words(formats.language)) | {"title": _("Measured at each place")}
    wiring = wiring_sentences(context.head.country) if above_target(context) else []
    cautions = [*wiring, *precaution_sentences(), *unit_sentences(units)]
    return [
        heading(_("The results in the picture"), new_page=new_page),
        pictures(drawn, words, single=True),
        fine_print(_("Please note"), cautions),
    ]


def survey_charts(context: SurveyContext, formats: Formats, flux_unit: str) -> list[Chart]:
    """The picture of one visit: a chart per measurand, long ones in pieces."""
    charts = []
    for code, group in by_code(context).items():
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
        reduction=NBSP.join(
            [formats.value(value, finding.qualifier, in_unit(u, unit, shown)), shown]
        ),
        interval=names[finding.band - 1],
    )
