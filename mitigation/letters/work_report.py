"""A signed report of a firm as a letter: how each item ended, with the firm's own test values."""

from dataclasses import replace
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, override

from consult.letters.content import (
    Addressee,
    Block,
    Head,
    bullets,
    column,
    facts,
    head_content,
    heading,
    lead,
    one_line,
    paragraph,
    table,
    whole_letter,
)
from consult.letters.formats import Formats
from mitigation.calc.electrical_tests import limit_of
from mitigation.letters.order_facts import ReportedItem, ReportedValue, ReportSheet
from mitigation.letters.remedy_words import remedy_name
from mitigation.letters.test_words import (
    conditions_words,
    limit_words,
    test_name,
    value_words,
)
from mitigation.models import WorkResult

KIND = "work-report"


def result_words(item: ReportedItem, formats: Formats) -> str:
    """How an item ended, with its day."""
    return ", ".join(filter(None, [result_name(item.result), formats.day(item.done_on)]))


def result_name(result: str) -> str:
    """How an item ended, in the active language."""
    return str(WorkResult.Result(result).label)


def value_line(value: ReportedValue, sheet: ReportSheet, formats: Formats) -> list[str]:
    """A test as a row: item, test, value with its conditions, limit, instrument and remark."""
    limit = limit_of(
        value.test, sheet.practice, test_voltage_v=value.test_voltage_v, device=value.device
    )
    shown = value_words(value.test, value.value, value.qualifier, value.passed, formats)
    conditions = conditions_words(value.test_voltage_v, value.device, value.rated_ma, formats)
    instrument = value.instrument
    if value.calibrated_until is not None and value.calibrated_until < sheet.signed_on:
        day = formats.day(value.calibrated_until)
        instrument = _("%(instrument)s (calibration ran out on %(day)s)") % {
            "instrument": instrument,
            "day": day,
        }
    held = limit_words(limit, formats) if limit else ""
    if value.is_missed:
        held = _("MISSED: %(limit)s") % {"limit": held} if held else _("NOT in order")
    return [
        value.item,
        "; ".join(filter(None, [test_name(value.test), value.about])),
        ", ".join(filter(None, [shown, conditions])),
        held,
        "; ".join(filter(None, [instrument, value.remark])),
    ]


def values_table(sheet: ReportSheet, formats: Formats) -> Block:
    """The firm's test values, marked as theirs."""
    columns = [
        column(_("Item"), 8),
        column(_("Test"), 24),
        column(_("Value, conditions"), 22),
        column(_("Published limit"), 20),
        column(_("Instrument; remark"), 26),
    ]
    caption = _("Test values of %(firm)s") % {"firm": sheet.firm}
    rows = [value_line(value, sheet, formats) for value in sheet.values]
    return table(caption, columns, [("", rows)], small=True)


def results_table(sheet: ReportSheet, formats: Formats) -> Block:
    columns = [
        column(_("Item"), 30),
        column(_("How it ended"), 26),
        column(_("How, or why not"), 44),
    ]
    rows = [
        [f"{item.name}: {remedy_name(item.kind)}", result_words(item, formats), item.words]
        for item in sheet.items
    ]
    return table(_("How each item ended"), columns, [("", rows)])


def report_letter(
    *, sheet: ReportSheet, head: Head, firm: Addressee, language: str
) -> dict[str, Any]:
    """The letter of a signed report."""
    head = replace(head, addressee=firm)
    with override(language):
        formats = Formats(language, head.country)
        content = head_content(
            head,
            formats,
            kind=KIND,
            document=_("Report on a work order"),
            subject=_subject(sheet),
        )
        return whole_letter(
            content,
            about=_("Order %(number)s for %(place)s, report %(version)s")
            % {
                "number": sheet.order,
                "place": one_line(sheet.place),
                "version": sheet.version,
            },
            client=_report_part(sheet, formats),
            engineer_heading=_("How values were held against limits"),
            engineer=_limits_part(),
        )


def _subject(sheet: ReportSheet) -> str:
    missed = sum(value.is_missed for value in sheet.values)
    if missed:
        words = ngettext(
            "Your report as you signed it: %(n)d value to be looked at",
            "Your report as you signed it: %(n)d values to be looked at",
            missed,
        )
        return words % {"n": missed}
    return _("Your report as you signed it")


def _report_part(sheet: ReportSheet, formats: Formats) -> list[Block]:
    blocks: list[Block] = [
        lead(
            _("%(name)s signed this report for %(firm)s on %(day)s.")
            % {
                "name": sheet.signed_name,
                "firm": sheet.firm,
                "day": formats.day(sheet.signed_on),
            }
        ),
        facts(
            [
                (_("Licence"), sheet.licence),
                (_("Photos"), str(sheet.n_photos) if sheet.n_photos else ""),
                (_("Another version because"), sheet.reason),
            ]
        ),
        results_table(sheet, formats),
    ]
    if sheet.values:
        blocks.append(values_table(sheet, formats))
    if sheet.remark:
        blocks += [heading(_("Remark")), paragraph(sheet.remark)]
    return blocks


def _limits_part() -> list[Block]:
    return [
        bullets(
            [
                _("The values are the firm's own; nothing in them was changed."),
                _(
                    "A limit only calls out a value. The local code and the electrician's "
                    "judgement stand above it; where no source is known there is no limit."
                ),
                _("A value behind < or > keeps a limit only where that is certain."),
            ]
        )
    ]
