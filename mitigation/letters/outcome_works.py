"""What an outcome letter says of the works: what was done, promised and found, and what it cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from consult.letters.content import Block, column, heading, paragraph, table
from consult.letters.formats import NBSP, Formats, display_unit, in_unit
from consult.letters.words import spot_name
from mitigation.letters.money import money_words
from mitigation.letters.order_facts import ReportSheet
from mitigation.letters.remedy_words import remedy_name
from mitigation.letters.work_report import result_name, values_table
from surveys.models.measurands import measurand_words


@dataclass(frozen=True)
class DoneItemFacts:
    """An item that was settled, with what its firm or the client said of it."""

    name: str
    kind: str  # its English name
    where: str
    result: str
    done_on: date | None
    done_by: str
    words: str


@dataclass(frozen=True)
class PromiseFacts:
    """What was promised at a spot beside what was found there."""

    room: str
    spot: str
    measurand: str
    unit: str
    low: float
    high: float
    probability: float
    after: float
    is_inside: bool
    is_met: bool


@dataclass(frozen=True)
class CostFacts:
    """The offered prices, of all accepted items and of those that were done; what was charged."""

    offered: float
    offered_of_done: float
    not_done: tuple[str, ...]
    charged: float | None
    currency: str


@dataclass(frozen=True)
class WorksFacts:
    """Everything that an outcome letter tells of the works."""

    items: tuple[DoneItemFacts, ...] = ()
    promises: tuple[PromiseFacts, ...] = ()
    cost: CostFacts | None = None
    reports: tuple[ReportSheet, ...] = ()


def works_blocks(works: WorksFacts, formats: Formats, flux_unit: str) -> list[Block]:
    """The client's part: what was done, what was promised and found, what it cost."""
    blocks: list[Block] = []
    if works.items:
        blocks.append(_done_table(works.items, formats))
    if works.promises:
        blocks.append(_promise_table(works.promises, formats, flux_unit))
    if works.cost is not None:
        blocks.append(paragraph(_cost_words(works.cost, formats)))
    return [heading(_("The work, and what was promised of it")), *blocks] if blocks else []


def firms_values(works: WorksFacts, formats: Formats) -> list[Block]:
    """The engineer's part: the firms' own test values, marked as theirs."""
    tables = [values_table(sheet, formats) for sheet in works.reports if sheet.values]
    if not tables:
        return []
    note = _(
        "Results from others: the test values were read by the firms named above them, who hold "
        "the licence. We did not check them and changed none."
    )
    return [heading(_("Test values of the electricians")), paragraph(note), *tables]


def _done_table(items: Sequence[DoneItemFacts], formats: Formats) -> Block:
    rows = [
        [
            remedy_name(item.kind),
            item.where,
            ", ".join(filter(None, [result_name(item.result), formats.day(item.done_on)])),
            "; ".join(filter(None, [item.done_by, item.words])),
        ]
        for item in items
    ]
    columns = [
        column(_("What"), 20),
        column(_("Where"), 28),
        column(_("How it ended"), 22),
        column(_("By whom; in their words"), 30),
    ]
    return table(_("What was done"), columns, [("", rows)])


def _promise_table(promises: Sequence[PromiseFacts], formats: Formats, flux_unit: str) -> Block:
    rows = [_promise_row(row, formats, flux_unit) for row in promises]
    columns = [
        column(_("Place"), 30),
        column(_("Quantity"), 22),
        column(_("Expected (95 %)"), 20, number=True),
        column(_("Found"), 12, number=True),
        column(_("Result"), 16),
    ]
    return table(_("What was expected, and what was found"), columns, [("", rows)])


def _promise_row(row: PromiseFacts, formats: Formats, flux_unit: str) -> list[str]:
    unit = display_unit(row.unit, flux_unit)
    low, high, after = (
        formats.number(f"{in_unit(value, row.unit, unit):.3g}")
        for value in (row.low, row.high, row.after)
    )
    kept = (
        _("within what was expected")
        if row.is_inside
        else _("higher than expected")
        if row.after > row.high
        else _("lower than expected")
    )
    return [
        spot_name(row.room, row.spot),
        measurand_words(row.measurand),
        f"{low} … {high}{NBSP}{unit}",
        f"{after}{NBSP}{unit}",
        kept,
    ]


def _cost_words(cost: CostFacts, formats: Formats) -> str:
    def money(amount: float) -> str:
        return f"{money_words(amount, formats)}{NBSP}{cost.currency}"

    sentences = [_("Offered: %(cost)s.") % {"cost": money(cost.offered)}]
    if cost.not_done:
        sentences.append(
            _("Not carried out: %(items)s. What was carried out was offered at %(cost)s.")
            % {"items": ", ".join(cost.not_done), "cost": money(cost.offered_of_done)}
        )
    if cost.charged is not None:
        sentences.append(_("Charged: %(cost)s.") % {"cost": money(cost.charged)})
    return " ".join(sentences)
