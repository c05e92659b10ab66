"""The letters of a case, one entry each; they are known once the apps are loaded."""

from django.utils.translation import gettext_lazy as _

from consult.letter_kinds import LetterKind, register
from mitigation.letters import outcome, plan_letter, work_order, work_report
from mitigation.services import offers, outcomes, report_sheets, work_orders
from surveys.letters import survey_report

register(
    LetterKind(
        code=survey_report.KIND,
        label=_("Survey report"),
        issue_label=_("Issue the survey report"),
        template="letters/survey-report.html",
        readers=frozenset({"assessor", "client"}),
        needs=outcomes.missing_for_report,
        draft=outcomes.draft_report,
        corrects=frozenset({survey_report.KIND}),
    )
)
register(
    LetterKind(
        code=plan_letter.KIND,
        label=_("Plan of remedies"),
        issue_label=_("Issue the plan letter"),
        template="letters/plan.html",
        readers=frozenset({"assessor", "client"}),
        needs=offers.missing_for_plan,
        draft=offers.draft_plan,
        corrects=frozenset({plan_letter.KIND}),
        answered_at="plan_link",
        is_issued_by_hand=False,
    )
)
register(
    LetterKind(
        code=work_order.KIND,
        label=_("Work order"),
        issue_label=_("Issue the work order"),
        template="letters/work-order.html",
        readers=frozenset({"assessor", "electrician"}),
        needs=work_orders.missing_for_order,
        draft=work_orders.draft_order,
        corrects=frozenset(),
        is_issued_by_hand=False,
    )
)
register(
    LetterKind(
        code=work_report.KIND,
        label=_("Report on a work order"),
        issue_label=_("Issue the report on a work order"),
        template="letters/work-report.html",
        readers=frozenset({"assessor", "electrician"}),
        needs=report_sheets.missing_for_work_report,
        draft=report_sheets.draft_work_report,
        corrects=frozenset(),
        is_issued_by_hand=False,
    )
)
register(
    LetterKind(
        code=outcome.KIND,
        label=_("Outcome letter"),
        issue_label=_("Issue the outcome letter"),
        template="letters/outcome.html",
        readers=frozenset({"assessor", "client"}),
        needs=outcomes.missing_for_outcome,
        draft=outcomes.draft_outcome,
        corrects=frozenset({outcome.KIND}),
    )
)
