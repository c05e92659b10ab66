"""What is proved, drafted: the survey report and the outcome letter of a case."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from consult.letter_kinds import Draft
from consult.letters.content import Head
from consult.letters.formats import Formats
from consult.models import Letter
from mitigation.comparison import Comparison, compare
from mitigation.letters.context import OutcomeContext, SpotDetail
from mitigation.letters.outcome import outcome_content
from mitigation.models import Case, Outcome
from mitigation.services.attachments import sketches_of
from mitigation.services.enclosures import FINDINGS, OUTCOME, numbers_enclosed
from mitigation.services.letters import Basis, HeadMaker
from mitigation.services.outcome_works import works_facts
from surveys.calc.measurands import NUMBER_OF
from surveys.letters.facts import SketchFacts
from surveys.letters.survey_report import SurveyContext, survey_content
from surveys.models import Reading, Visit
from surveys.results import RULES as FINDING_RULES
from surveys.results import bounds_of, read_columns, results_of
from surveys.services import facts
from surveys.services.letters import link_visits
from surveys.services.logs import logged_readings

Key = tuple[str, str, str]


def missing_for_report(basis: Basis) -> str:
    """Why there is nothing to report yet."""
    if basis.baseline is None:
        return _("Case %(case)s has no sealed baseline visit to report.") % {
            "case": basis.case.reference
        }
    return ""


def draft_report(basis: Basis, head_for: HeadMaker) -> Draft:
    """The findings of the baseline."""
    case, baseline = basis.case, basis.baseline
    assert baseline is not None  # asked by missing_for_report
    language = case.property.client.language
    findings = compare(case, (baseline,)).as_json()
    numbers = numbers_enclosed(
        name=FINDINGS, outcome=findings, visits=[baseline], language=language
    )

    def content(number: str, at: datetime) -> dict[str, Any]:
        context = _survey_context(case, head_for(number, at), baseline)
        return survey_content(context=context, language=language) | numbers

    def keep(letter: Letter) -> None:
        link_visits(letter=letter, visits=[baseline])

    return Draft(content, FINDING_RULES, keep)


def missing_for_outcome(basis: Basis) -> str:
    """Why there is nothing to prove yet."""
    for visit, kind in (
        (basis.baseline, Visit.Kind.BASELINE), (basis.follow_up, Visit.Kind.FOLLOW_UP)
    ):  # fmt: skip
        if visit is None:
            return _("Case %(case)s has no sealed %(kind)s visit to prove an outcome with.") % {
                "case": basis.case.reference,
                "kind": kind.label,
            }
    return ""


def draft_outcome(basis: Basis, head_for: HeadMaker) -> Draft:
    """The comparison of both visits, which is kept beside its letter."""
    case, baseline, follow_up = basis.case, basis.baseline, basis.follow_up
    assert baseline is not None and follow_up is not None  # asked by missing_for_outcome
    comparison = compare(case)
    if comparison.is_too_early:
        raise ValidationError(
            _("The follow-up of case %(case)s was before the baseline: it proves no outcome.")
            % {"case": case.reference}
        )
    if not comparison.rows:
        raise ValidationError(_("Case %(case)s has no readings.") % {"case": case.reference})
    result = comparison.as_json()
    language = case.property.client.language
    visits = comparison.counting
    numbers = numbers_enclosed(name=OUTCOME, outcome=result, visits=visits, language=language)

    def content(number: str, at: datetime) -> dict[str, Any]:
        context = _outcome_context(comparison, head_for(number, at))
        return outcome_content(outcome=result, context=context, language=language) | numbers

    def keep(letter: Letter) -> None:
        link_visits(letter=letter, visits=comparison.counting)
        row = Outcome(
            letter=letter, case=case, baseline=baseline, follow_up=follow_up, result=result
        )
        row.full_clean()
        row.save(force_insert=True)

    return Draft(content, result["rules"], keep)


def _readings(pks: list[int]) -> dict[int, Reading]:
    return Reading.objects.select_related(
        "instrument", "calibration__instrument", "ground_point", "spot__room"
    ).in_bulk(pks)


def _outcome_context(comparison: Comparison, head: Head) -> OutcomeContext:
    case, visits, follow_up = comparison.case, comparison.counting, comparison.follow_up
    assert follow_up is not None  # asked by missing_for_outcome
    readings = _readings([side.reading.pk for row in comparison.rows for side in row.pair.sides()])
    formats = Formats(case.property.client.language, head.country)
    return OutcomeContext(
        head=head,
        guideline=facts.guideline_facts(case.guideline),
        placement_percent=case.placement_percent,
        visits=tuple(facts.visit_facts(visit) for visit in visits),
        instruments=tuple(facts.instrument_facts(readings.values(), visits)),
        ground_checks=tuple(facts.ground_check_facts(visits)),
        set_aside=tuple(facts.set_aside_facts(visits, case.property.client.language)),
        safety=tuple(facts.safety_sentences(visits, case.property.client.language, head)),
        past_dangers=tuple(facts.past_dangers(visits, case.property.client.language, head)),
        details=_details(comparison, readings),
        frequency_hz=case.property.frequency_hz,
        sketches=_sketches(case),
        words=facts.word_facts(follow_up, _read_after(comparison)),
        works=works_facts(comparison),
        log=tuple(
            logged_readings(
                visits,
                comparison.columns,
                guideline=case.guideline,
                placement=case.placement_percent / 100,
                deciding=readings.keys(),
                formats=formats,
            )
        ),
    )


def _sketches(case: Case) -> tuple[SketchFacts, ...]:
    return tuple(SketchFacts(name, picture) for name, picture in sketches_of(case))


def _read_after(comparison: Comparison) -> set[tuple[int, int]]:
    """The visit and spot of each after side."""
    afters = [(row.pair.after, row.spot) for row in comparison.rows]
    return {(after.visit.pk, spot.pk) for after, spot in afters if after is not None}


def _details(comparison: Comparison, readings: Mapping[int, Reading]) -> dict[Key, SpotDetail]:
    details = {}
    for row in comparison.rows:
        first, second = row.pair.before, row.pair.after
        before = readings[first.reading.pk] if first else None
        after = readings[second.reading.pk] if second else None
        details[row.spot.room.name, row.spot.name, row.measurand] = SpotDetail(
            use=row.spot.use,
            before_instrument=before.instrument.name if before else "",
            after_instrument=after.instrument.name if after else "",
            before_ground_point=before.ground_point.name if before and before.ground_point else "",
            after_ground_point=after.ground_point.name if after and after.ground_point else "",
            before_reading=facts.reading_facts(before, first.visit) if before and first else None,
            after_reading=facts.reading_facts(after, second.visit) if after and second else None,
            guard=row.guard if after else None,
            before_is_certified=first.finding.certified if first else True,
            after_is_certified=second.finding.certified if second else True,
        )
    return details


def _survey_context(case: Case, head: Head, baseline: Visit) -> SurveyContext:
    columns, placement = read_columns([baseline]), case.placement_percent / 100
    results = results_of(columns, guideline=case.guideline, placement=placement)
    findings = list(results.findings.values())
    readings = _readings([finding.reading for finding in findings])
    limits = bounds_of(case.guideline)[:, case.target_band - 1]
    formats = Formats(case.property.client.language, head.country)
    log = logged_readings(
        [baseline],
        columns,
        guideline=case.guideline,
        placement=placement,
        deciding=readings.keys(),
        formats=formats,
    )
    return SurveyContext(
        head=head,
        guideline=facts.guideline_facts(case.guideline),
        target_band=case.target_band,
        rules=FINDING_RULES,
        visit=facts.visit_facts(baseline),
        findings=tuple(
            facts.finding_facts(
                finding,
                readings[finding.reading],
                baseline,
                float(limits[NUMBER_OF[finding.measurand]]),
            )
            for finding in findings
        ),
        instruments=tuple(facts.instrument_facts(readings.values(), [baseline])),
        ground_checks=tuple(facts.ground_check_facts([baseline])),
        set_aside=tuple(facts.set_aside_facts([baseline], case.property.client.language)),
        safety=tuple(facts.safety_sentences([baseline], case.property.client.language, head)),
        placement_percent=case.placement_percent,
        frequency_hz=case.property.frequency_hz,
        log=tuple(log),
        sketches=_sketches(case),
        words=facts.word_facts(baseline, {(baseline.pk, row.spot) for row in findings}),
    )
