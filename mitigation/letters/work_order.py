"""The order to a firm: what, where and how, what to record, and the sheet to record it by hand."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, override

from consult.letters.content import (
    Addressee,
    Block,
    Head,
    column,
    facts,
    fine_print,
    head_content,
    lead,
    note,
    one_line,
    paragraph,
    table,
    whole_letter,
)
from consult.letters.countries import in_trade_words, protection
from consult.letters.formats import NBSP, Formats, listing, places
from consult.letters.words import wiring_sentences
from mitigation.calc.electrical_tests import kinds_of
from mitigation.letters.order_facts import CircuitLine, OrderItem, OrderSheet
from mitigation.letters.remedy_words import place_words, remedy_instructions, remedy_name
from mitigation.letters.test_words import limits_of_sheet, named_with_unit
from mitigation.models import WorkResult

KIND = "work-order"
ASK_FIRST = "Ask before switching circuits off."
BLANK_ROWS = 3
"""Rows of the sheet for tests that its list does not name."""


def order_words(sheet: OrderSheet, language: str) -> dict[str, Any]:
    """The words of an order, as page and letter have them; frozen when it is sent."""
    with override(language):
        formats = Formats(language, sheet.country)
        return {
            "language": language,
            "number": sheet.number,
            "case": sheet.case_reference,
            "firm": sheet.firm,
            "place": sheet.place,
            "practice": sheet.practice,
            "protection": protection(sheet.country),
            "supply": _supply_words(sheet, formats),
            "access": sheet.access,
            "contact": sheet.contact,
            "wished_days": sheet.wished_days,
            "agreed": _moment_words(sheet, formats),
            "due": formats.day(sheet.due_on),
            "words": sheet.words,
            "ask_first": _(ASK_FIRST) if sheet.must_ask else "",
            "dangers": list(sheet.dangers),
            "items": [_item(item, sheet.country) for item in sheet.items],
            "circuits": [_circuit(line, formats) for line in sheet.circuits],
            "documents": list(sheet.documents),
            "record": record_sentences(sheet),
            "tests": [
                [named_with_unit(kind.code), limits_of_sheet(kind.code, sheet.practice, formats)]
                for kind in kinds_of(sheet.practice)
            ],
            "cautions": [
                *wiring_sentences(sheet.country),
                in_trade_words(
                    _("The local code and your own judgement stand above this sheet."),
                    sheet.country,
                ),
            ],
        }


def record_sentences(sheet: OrderSheet) -> list[str]:
    """What to record, and what to take off before an insulation test."""
    sentences = [
        _("Please record what the local code wants recorded, each value with its unit."),
        _("Disconnect demand switches and electronics before an insulation test."),
        _(
            "Please say of each item whether it was done, done differently (how) or not possible "
            "(why). A value that misses a limit needs a remark; we change no value of yours."
        ),
    ]
    if sheet.practice == "230 V":
        sentences.insert(
            1,
            _(
                "Usual after work on a 230 V system (IEC 60364-6): insulation resistance with its "
                "test voltage, continuity, loop impedance where the code asks, type and rated "
                "residual current of the RCD with its trip times at 1x and 5x, polarity."
            ),
        )
    else:
        sentences.insert(
            1,
            _(
                "Usual after work on a 120 V system: continuity and polarity, equipment grounding, "
                "each GFCI by its button and by a tester, AFCI where fitted, and an insulation "
                "test where one was made."
            ),
        )
    return [in_trade_words(sentence, sheet.country) for sentence in sentences]


def _moment_words(sheet: OrderSheet, formats: Formats) -> str:
    if sheet.agreed_at is None:
        return ""
    moment = timezone.localtime(sheet.agreed_at)
    return f"{formats.day(moment.date())}, {moment:%H:%M}"


def _supply_words(sheet: OrderSheet, formats: Formats) -> str:
    phases = {1: _("one phase"), 2: _("split phase"), 3: _("three phases")}[sheet.phases]
    voltage = f"{formats.given(sheet.supply_voltage_v)}{NBSP}V"
    return f"{voltage}, {formats.given(sheet.frequency_hz)}{NBSP}Hz, {phases}"


def _item(item: OrderItem, country: str) -> dict[str, Any]:
    where = listing(list(item.sources)) if item.sources else ""
    place = place_words(item.room, item.spots)
    return {
        "name": item.name,
        "what": remedy_name(item.kind),
        "where": "; ".join(filter(None, [where, place])) or _("the whole home"),
        "why": _("So that the field falls at: %(places)s.") % {"places": places(item.serves)}
        if item.serves
        else "",
        "instructions": in_trade_words(remedy_instructions(item.instructions), country),
        "see_to": item.see_to,
    }


def _circuit(line: CircuitLine, formats: Formats) -> dict[str, Any]:
    return {
        "panel": line.panel,
        "name": line.name,
        "label": line.label,
        "phase": line.phase,
        "rating": f"{formats.given(line.rating_a)}{NBSP}A" if line.rating_a is not None else "",
        "rcd": {"yes": _("yes"), "no": _("no")}.get(line.rcd, ""),
        "is_named": line.is_named,
    }


def order_letter(*, frozen: Mapping[str, Any], head: Head, firm: Addressee) -> dict[str, Any]:
    """The letter of an order: its frozen words, addressed to the firm."""
    language = frozen["language"]
    head = replace(head, addressee=firm)
    with override(language):
        content = head_content(
            head,
            Formats(language, head.country),
            kind=KIND,
            document=_("Work order"),
            subject=_subject(frozen),
        )
        return whole_letter(
            content,
            about=_("Order %(number)s for %(place)s")
            % {"number": frozen["number"], "place": one_line(frozen["place"])},
            client=_firms_part(frozen),
            engineer_heading=_("Record of the work, to fill in by hand"),
            engineer=_record_sheet(frozen),
        )


def _subject(frozen: Mapping[str, Any]) -> str:
    n = len(frozen["items"])
    return ngettext("Please carry out this item", "Please carry out these %(n)d items", n) % {
        "n": n
    }


def _firms_part(frozen: Mapping[str, Any]) -> list[Block]:
    blocks: list[Block] = [
        facts(
            [
                (_("Address of the work"), one_line(frozen["place"])),
                (_("How to get in"), frozen["access"]),
                (_("Contact on site"), frozen["contact"]),
                (_("Wished days"), frozen["wished_days"]),
                (_("Agreed"), frozen["agreed"]),
                (_("To be done by"), frozen["due"]),
                (_("Supply"), frozen["supply"]),
                (_("Documents, on the page of the order"), listing(frozen["documents"])),
            ]
        )
    ]
    if frozen["ask_first"]:
        blocks.insert(0, lead(frozen["ask_first"]))
    if frozen["dangers"]:
        blocks.append(
            note(_("Found at the survey: look at it before anything else"), frozen["dangers"])
        )
    if frozen["words"]:
        blocks.append(paragraph(frozen["words"]))
    blocks.append(_items_table(frozen))
    if frozen["circuits"]:
        blocks.append(_circuits_table(frozen))
    return [
        *blocks,
        note(_("What to record"), frozen["record"]),
        fine_print(_("Please note"), frozen["cautions"]),
    ]


def _items_table(frozen: Mapping[str, Any]) -> Block:
    rows = [
        [
            item["name"],
            f"{item['what']}: {item['where']}",
            " ".join(filter(None, [item["see_to"], item["why"]])),
            item["instructions"],
        ]
        for item in frozen["items"]
    ]
    columns = [
        column(_("Item"), 10),
        column(_("What and where"), 32),
        column(_("Why, and what to see to"), 30),
        column(_("To bond, protect, test"), 28),
    ]
    return table(_("What is to be done"), columns, [("", rows)])


def _circuits_table(frozen: Mapping[str, Any]) -> Block:
    rows = [
        [
            f"{line['name']} ●" if line["is_named"] else line["name"],
            line["label"],
            line["panel"],
            line["phase"],
            line["rating"],
            line["rcd"],
        ]
        for line in frozen["circuits"]
    ]
    columns = [
        column(_("Circuit"), 18),
        column(_("What it feeds"), 34),
        column(_("Panel"), 16),
        column(_("Phase"), 10),
        column(_("Rating"), 10, number=True),
        column(frozen["protection"], 12),
    ]
    caption = _("The panel as we found it (● = named by an item)")
    return table(caption, columns, [("", rows)], small=True)


def _record_sheet(frozen: Mapping[str, Any]) -> list[Block]:
    """Room for the same report by hand."""
    box = "☐"
    words = [str(label) for label in WorkResult.Result.labels]
    ends = f"{NBSP}{NBSP} ".join(f"{box}{NBSP}{word}" for word in words)
    items = [[f"{item['name']}: {item['what']}", ends, "", ""] for item in frozen["items"]]
    item_columns = [
        column(_("Item"), 22),
        column(_("How it ended"), 44),
        column(_("Day"), 12),
        column(_("How, or why not"), 22),
    ]
    tests = [[name, "", "", "", limits] for name, limits in frozen["tests"]]
    tests += [[NBSP, "", "", "", ""] for _row in range(BLANK_ROWS)]
    test_columns = [
        column(_("Test"), 26),
        column(_("Item, circuit or point"), 18),
        column(_("Value"), 12),
        column(_("Instrument, test voltage"), 20),
        column(_("Published limit; remark"), 24),
    ]
    return [
        table(_("Items"), item_columns, [("", items)]),
        table(_("Tests"), test_columns, [("", tests)]),
        facts(
            [
                (_("Who did it"), "_" * 30),
                (_("Licence"), "_" * 30),
                (_("Day, signature"), "_" * 30),
            ]
        ),
    ]
