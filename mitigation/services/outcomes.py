"""Issuing what is proved: survey reports and outcome letters of a case."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.letters.content import Head, paper_for
from consult.letters.html import TEMPLATE_VERSION
from consult.models import Letter, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.letters import content_sha256, issue_letter
from mitigation.comparison import Comparison, compare, visits_that_count
from mitigation.letters.context import OutcomeContext, SpotDetail
from mitigation.letters.outcome import outcome_content
from mitigation.models import Case, Outcome
from surveys.calc.measurands import NUMBER_OF
from surveys.letters.survey_report import SurveyContext, survey_content
from surveys.models import Reading, Visit
from surveys.results import RULES as FINDING_RULES
from surveys.results import bounds_of, visit_results
from surveys.services import facts

Key = tuple[str, str, str]


def _hold(case: Case) -> None:
    """Two people, or one double click: the second waits here and gets the first one's letter.

    So does a correction of what was measured: it is in the letter or after it.
    """
    Case.objects.select_for_update().get(pk=case.pk)
    list(case.visits.select_for_update(of=("self",)).order_by("pk").values("pk"))


@transaction.atomic
def issue_outcome_letter(
    *,
    case: Case,
    by: User | None,
    now: datetime,
    corrects: Letter | None = None,
    reason: str = "",
) -> Letter:
    """Freeze the comparison of `case` into an outcome letter and queue its PDF."""
    _hold(case)
    comparison = compare(case)
    baseline, follow_up = comparison.baseline, comparison.follow_up
    if baseline is None or follow_up is None:
        raise ValidationError(
            _("Case %(case)s has no sealed %(kind)s visit to prove an outcome with.")
            % {
                "case": case.reference,
                "kind": Visit.Kind.BASELINE.label
                if baseline is None
                else Visit.Kind.FOLLOW_UP.label,
            }
        )
    if comparison.is_too_early:
        raise ValidationError(
            _("The follow-up of case %(case)s was before the baseline: it proves no outcome.")
            % {"case": case.reference}
        )
    if not comparison.rows:
        raise ValidationError(_("Case %(case)s has no readings.") % {"case": case.reference})
    outcome = comparison.as_json()
    language = case.property.client.language

    def build(number: str, at: datetime) -> dict[str, Any]:
        head = _head(case, number, at, corrects, reason)
        context = _outcome_context(comparison, head, baseline, follow_up)
        return outcome_content(outcome=outcome, context=context, language=language)

    letter = _issue(case, Letter.Kind.OUTCOME, build, outcome["rules"], by, now, corrects)
    Outcome.objects.get_or_create(
        letter=letter,
        defaults={"case": case, "baseline": baseline, "follow_up": follow_up, "result": outcome},
    )
    return letter


@transaction.atomic
def issue_survey_report(
    *,
    case: Case,
    by: User | None,
    now: datetime,
    corrects: Letter | None = None,
    reason: str = "",
) -> Letter:
    """Freeze the findings of the baseline of `case` into a report and queue its PDF."""
    _hold(case)
    baseline, _follow_up = visits_that_count(case)
    if baseline is None:
        raise ValidationError(
            _("Case %(case)s has no sealed baseline visit to report.") % {"case": case.reference}
        )
    language = case.property.client.language

    def build(number: str, at: datetime) -> dict[str, Any]:
        head = _head(case, number, at, corrects, reason)
        return survey_content(context=_survey_context(case, head, baseline), language=language)

    rules = [*FINDING_RULES]
    return _issue(case, Letter.Kind.SURVEY_REPORT, build, rules, by, now, corrects)


def correct_letter(
    *,
    letter: Letter,
    case: Case,
    reason: str,
    by: User | None,
    now: datetime,
    key: UUID | None = None,
) -> Letter:
    """Issue the letter anew from the case as it stands; the old one stays and is referred to."""
    if letter.state != Letter.State.READY:
        raise ValidationError(_("Only a letter that is ready can be corrected."))
    issue = {
        Letter.Kind.SURVEY_REPORT: issue_survey_report,
        Letter.Kind.OUTCOME: issue_outcome_letter,
    }[Letter.Kind(letter.kind)]

    def enter() -> Letter:
        if letter.corrections.exists():
            raise ValidationError(_("Letter %(number)s has been corrected already; correct the "
                                    "newer one.") % {"number": letter.number})  # fmt: skip
        return issue(case=case, by=by, now=now, corrects=letter, reason=reason)

    with transaction.atomic():
        # Two people correcting one letter: the second waits here, and is told.
        Letter.objects.select_for_update().get(pk=letter.pk)
        digest = digest_of(key, "corrected letter", letter.pk, {"reason": reason})
        return enter_once(Letter, digest, enter)


def _issue(
    case: Case,
    kind: Letter.Kind,
    build: Callable[[str, datetime], dict[str, Any]],
    rules: list[str],
    by: User | None,
    now: datetime,
    corrects: Letter | None,
) -> Letter:
    """Issue a letter, or find the newest of its kind if that already says the very same."""
    home = case.property
    same = None if corrects else _letter_of_the_same_words(case, kind, build)
    return same or issue_letter(
        kind=kind,
        build=lambda number: build(number, now),
        client=home.client,
        property=home,
        case_reference=case.reference,
        rules=rules,
        language=home.client.language,
        paper=paper_for(home.country),
        template_version=TEMPLATE_VERSION,
        by=by,
        corrects=corrects,
        now=now,
    )


def _letter_of_the_same_words(
    case: Case, kind: Letter.Kind, build: Callable[[str, datetime], dict[str, Any]]
) -> Letter | None:
    """The newest letter of its kind, if built anew for its number and day it would be the same."""
    letters = Letter.objects.filter(case_reference=case.reference, kind=kind)
    newest = letters.order_by("-pk").first()
    if newest is None or newest.template_version != TEMPLATE_VERSION:
        return None
    again = content_sha256(build(newest.number, newest.issued_at))
    return newest if again == newest.content_sha256 else None


def _head(case: Case, number: str, now: datetime, corrects: Letter | None, reason: str) -> Head:
    home = case.property
    return Head(
        number=number,
        case_reference=case.reference,
        issued_on=timezone.localdate(now),
        sender=facts.sender(),
        addressee=facts.addressee(home),
        property_address=home.address,
        country=home.country,
        corrects=corrects.number if corrects else "",
        corrects_on=timezone.localdate(corrects.issued_at) if corrects else None,
        correction_reason=reason,
    )


def _readings(pks: list[int]) -> dict[int, Reading]:
    return Reading.objects.select_related(
        "instrument", "calibration__instrument", "ground_point", "spot__room"
    ).in_bulk(pks)


def _outcome_context(
    comparison: Comparison, head: Head, baseline: Visit, follow_up: Visit
) -> OutcomeContext:
    case, visits = comparison.case, (baseline, follow_up)
    readings = _readings(
        [
            side.reading
            for row in comparison.rows
            for side in (row.pair.before, row.pair.after)
            if side is not None
        ]
    )
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
        details=_details(comparison, readings, baseline, follow_up),
        frequency_hz=case.property.frequency_hz,
    )


def _details(
    comparison: Comparison, readings: Mapping[int, Reading], baseline: Visit, follow_up: Visit
) -> dict[Key, SpotDetail]:
    details = {}
    for row in comparison.rows:
        before = readings[row.pair.before.reading] if row.pair.before else None
        after = readings[row.pair.after.reading] if row.pair.after else None
        details[row.spot.room.name, row.spot.name, row.measurand] = SpotDetail(
            use=row.spot.use,
            before_instrument=before.instrument.name if before else "",
            after_instrument=after.instrument.name if after else "",
            before_ground_point=before.ground_point.name if before and before.ground_point else "",
            after_ground_point=after.ground_point.name if after and after.ground_point else "",
            before_reading=facts.reading_facts(before, baseline) if before else None,
            after_reading=facts.reading_facts(after, follow_up) if after else None,
            guard=row.guard if after else None,
        )
    return details


def _survey_context(case: Case, head: Head, baseline: Visit) -> SurveyContext:
    results = visit_results(
        [baseline], guideline=case.guideline, placement=case.placement_percent / 100
    )
    findings = list(results.findings.values())
    readings = _readings([finding.reading for finding in findings])
    limits = bounds_of(case.guideline)[:, case.target_band - 1]
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
    )
