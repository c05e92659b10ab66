"""The engineer's part of a survey report."""

from django.utils.translation import gettext as _

from consult.letters.content import Block, column, heading, paragraph, table
from consult.letters.formats import NBSP, Formats
from consult.letters.words import USES, phrases, spot_name
from surveys.letters import methods, own_words, readings, technical
from surveys.letters.facts import FindingFacts
from surveys.letters.survey_places import SurveyContext, by_code, in_order
from surveys.models import Measurand
from surveys.models.measurands import measurand_symbol

DASH = "–"


def engineer_part(context: SurveyContext, formats: Formats) -> list[Block]:
    """From identification to the scope (ISO/IEC 17025:2017, 7.8.2 and 7.8.3)."""
    codes = list(by_code(context))
    points = [finding.ground_point for finding in context.findings]
    points += [name for check in context.ground_checks for name in (check.point, check.other_point)]
    return [
        *technical.identification(
            context.head,
            formats,
            what=_("Report of results"),
            frequency_hz=context.frequency_hz,
            visits=[context.visit],
            n_places=len({(finding.room, finding.spot) for finding in context.findings}),
        ),
        *own_words.sketches(context.sketches),
        *technical.visits_and_conditions(
            [context.visit], formats, readings.distance_words(context.log, formats)
        ),
        *technical.instruments_used(context.instruments, formats),
        *technical.ground_points(
            context.ground_checks,
            formats,
            were_used=any(Measurand(code).has_ground_point for code in codes),
            with_rod=any(technical.is_rod(point) for point in points),
        ),
        *_findings(context, codes, formats),
        *readings.trials(context.log, formats),
        *readings.readings_set_aside(context.set_aside, formats),
        *methods.guideline_table(
            context.guideline, formats, [(code, Measurand(code).unit) for code in codes]
        ),
        *methods.method(context.rules, formats, context.placement_percent, codes),
        *methods.scope(context.head),
    ]


def _findings(context: SurveyContext, codes: list[str], formats: Formats) -> list[Block]:
    groups: dict[str, list[list[str]]] = {}
    for finding in in_order(context):
        use = f"{_(USES.get(finding.use, finding.use))} *"
        head = f"{spot_name(finding.room, finding.spot)} ({use})"
        groups.setdefault(head, []).append(_row(finding, formats))
    columns = [
        column(_("Quantity"), 17),
        column(_("Value ± U"), 15, number=True),
        column(_("Band"), 8, number=True),
        column(_("Instrument"), 15),
        column(_("Ground point"), 20),
        column(_("Flags"), 25),
    ]
    return [
        heading(_("Results")),
        paragraph(methods.symbols(codes)),
        table(_("Values, U = 2u (about 95 %)"), columns, list(groups.items()), small=True),
    ]


def _row(finding: FindingFacts, formats: Formats) -> list[str]:
    value = formats.with_uncertainty(finding.value, finding.qualifier, finding.u)
    return [
        f"{measurand_symbol(finding.measurand)} [{finding.unit}]",
        value if finding.is_certified else f"{value}{NBSP}{readings.NOT_IN_FORCE}",
        str(finding.band),
        finding.instrument or DASH,
        finding.ground_point or DASH,
        phrases(finding.flags) or DASH,
    ]
