"""What a signed report tells, gathered from its rows; and its letter."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from consult.letter_kinds import Draft
from consult.models import Letter
from mitigation.calc.electrical_tests import practice_of
from mitigation.letters.order_facts import ReportedItem, ReportedValue, ReportSheet
from mitigation.letters.work_report import report_letter
from mitigation.models import TestValue, WorkReport
from mitigation.services.letters import Basis, HeadMaker
from mitigation.services.order_sheets import firm_addressee


def missing_for_work_report(basis: Basis) -> str:
    """Why there is no report to put into a letter."""
    return (
        "" if isinstance(basis.about, WorkReport) else _("A letter of a report needs its report.")
    )


def draft_work_report(basis: Basis, head_for: HeadMaker) -> Draft:
    """The letter of a signed report: the firm's own words and values."""
    report: WorkReport = basis.about
    firm = report.order.firm
    sheet = report_sheet(report)

    def content(number: str, at: datetime) -> dict[str, Any]:
        return report_letter(
            sheet=sheet,
            head=head_for(number, at),
            firm=firm_addressee(firm),
            language=firm.language,
        )

    def keep(letter: Letter) -> None:
        WorkReport.objects.filter(pk=report.pk).update(letter=letter)

    return Draft(content, [], keep, firm=firm, language=firm.language)


def report_sheet(report: WorkReport) -> ReportSheet:
    """Everything that a signed report prints."""
    assert report.signed_at is not None  # a letter is made of what was signed
    order = report.order
    home = order.case.property
    results = report.results.select_related("work_item__item__remedy")
    values = report.values.select_related("work_item__item", "instrument")
    return ReportSheet(
        order=order.number,
        version=report.number,
        reason=report.reason,
        firm=order.firm.name,
        place=home.address,
        country=home.country,
        practice=practice_of(home.supply_voltage_v),
        signed_name=report.signed_name,
        licence=report.licence,
        signed_on=timezone.localdate(report.signed_at),
        remark=report.remark,
        items=tuple(
            ReportedItem(
                name=row.work_item.item.name,
                kind=row.work_item.item.remedy.name,
                result=row.result,
                done_on=row.done_on,
                words=row.words,
            )
            for row in results
        ),
        values=tuple(_reported(row) for row in values),
        n_photos=report.photos.count(),
    )


def _reported(row: TestValue) -> ReportedValue:
    return ReportedValue(
        item=row.work_item.item.name,
        test=row.test,
        about=row.about,
        value=row.value,
        qualifier=row.qualifier,
        passed=row.passed,
        test_voltage_v=row.test_voltage_v,
        device=row.device,
        rated_ma=row.rated_ma,
        instrument=str(row.instrument or ""),
        calibrated_until=row.instrument.calibrated_until if row.instrument else None,
        remark=row.remark,
        is_missed=row.is_missed,
    )
