"""XLSX files: one sheet for each file of a case folder, cells as the text that CSV would hold."""

import datetime
import io
import re
import unicodedata
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Sequence
from itertools import islice
from typing import Any

import python_calamine
from django.utils.translation import gettext

from surveys.intake.columns import MOST_READINGS
from surveys.intake.faults import FaultLog
from surveys.intake.sources import FILES, TooMuch, unpack
from surveys.intake.tables import RawTable

EXPLANATIONS = "explanations"
SHEETS = {name.partition(".")[0]: name for name in FILES}
MOST_FORMULAS = 1_000
_MOST_ROW = MOST_READINGS + 1_000
_MOST_STRING_BYTES = 250_000_000
_MOST_STRINGS = 1_000_000  # more than there are different texts in any case
_MOST_CELLS_IN_ROW = 40
_LONGEST_STRING = 32_767  # what a cell of a spreadsheet can hold

# A cell far out makes a reader lay out everything up to it: look before reading.
_CELL_FAR_RIGHT = re.compile(rb"""\br\s*=\s*["'](?:A[O-Z]|[B-Z][A-Z]|[A-Z]{3,})\d""")
_ROW_FAR_DOWN = re.compile(
    rb"""\br\s*=\s*["'][A-Z]*(?:\d{7,}|[3-9]\d{5}|2[1-9]\d{4}|20[1-9]\d{3})["']"""
)
_FORMULA = re.compile(rb"""\br\s*=\s*["']([A-Z]+)(\d+)["'][^>]{0,200}>\s*<(?:\w+:)?f[\s>/]""")
# The reader gives an error such as #DIV/0! as an empty cell: a reading would go missing unseen.
_ERROR = re.compile(
    rb"""<(?:\w+:)?c\b(?=[^>]{0,200}\bt\s*=\s*["']e["'])[^>]{0,200}?\br\s*=\s*["']([A-Z]+)(\d+)"""
)
# A row or a cell that doesn't say where it lies comes after the one before it.
_ROW = re.compile(rb"[<:]row[\s/>]")
_CELL = re.compile(rb"[<:]c[\s/>]")
_STRING = re.compile(rb"[<:]si[\s/>]")
_SHARED = re.compile(rb"""\bt\s*=\s*["']s["']""")


def read_workbook(name: str, data: bytes, log: FaultLog) -> dict[str, RawTable]:
    """The sheets by the file that they stand for; faults go to `log`."""
    try:
        members = unpack(data)
        _check_strings(members)
        parts = _sheet_parts(members)
        labels = {part: _label(sheet) for sheet, part in parts.items()}
        for part, content in members.items():
            _check_extent(labels.get(part, part), content, log)
        return {} if log else _tables(members, parts, log)
    except TooMuch as refused:
        log.add(name, None, None, *refused.args)
    except (python_calamine.CalamineError, ET.ParseError, OSError, ValueError, KeyError) as error:
        found = f"{gettext('a damaged workbook')} ({error})"
        log.add(name, None, None, found, gettext("an XLSX file"))
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # how the reader gives up, below Exception
            raise
        log.add(name, None, None, gettext("a damaged workbook"), gettext("an XLSX file"))
    return {}


def _stored(members: dict[str, bytes]) -> io.BytesIO:
    """The same parts in a plain zip, so that no size in it can lie to the next reader."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for part, content in members.items():
            archive.writestr(part, content)
    buffer.seek(0)
    return buffer


def _sheet_parts(members: dict[str, bytes]) -> dict[str, str]:
    """The name of each sheet and the part of the file that holds it."""
    links = ET.fromstring(members["xl/_rels/workbook.xml.rels"])
    target = {link.get("Id"): str(link.get("Target", "")) for link in links}
    parts: dict[str, str] = {}
    for sheet in ET.fromstring(members["xl/workbook.xml"]).findall(".//{*}sheet"):
        link_id = next((value for key, value in sheet.items() if key.endswith("}id")), None)
        path = target.get(link_id, "")
        parts[str(sheet.get("name"))] = path.lstrip("/") if path[:1] == "/" else f"xl/{path}"
    return parts


def _check_strings(members: dict[str, bytes]) -> None:
    """Few long texts that many cells point at would fill the memory."""
    strings = members.get("xl/sharedStrings.xml", b"")
    texts = _STRING.split(strings, _MOST_STRINGS + 1)
    if len(texts) > _MOST_STRINGS + 1:
        allowed = gettext("at most %(n)s") % {"n": _MOST_STRINGS}
        raise TooMuch(gettext("too many different texts"), allowed)
    longest = max(map(len, texts))
    uses = sum(
        len(_SHARED.findall(content)) for part, content in members.items() if "/worksheets/" in part
    )
    if longest > _LONGEST_STRING and longest * uses > _MOST_STRING_BYTES:
        raise TooMuch(
            gettext("very long texts in very many cells"), gettext("texts that fit a cell")
        )


def _check_extent(label: str, content: bytes, log: FaultLog) -> None:
    """A sheet is as large in memory as its last cell is far out."""
    rows = _ROW.split(content, _MOST_ROW + 1)
    if _ROW_FAR_DOWN.search(content) or len(rows) > _MOST_ROW + 1:
        found = gettext("cells below row %(n)s") % {"n": _MOST_ROW}
        allowed = gettext("at most %(n)s rows") % {"n": MOST_READINGS}
        log.add(label, None, None, found, allowed)
    widest = max(len(_CELL.split(row, _MOST_CELLS_IN_ROW + 1)) for row in rows)
    if _CELL_FAR_RIGHT.search(content) or widest > _MOST_CELLS_IN_ROW + 1:
        found = gettext("cells right of column AN")
        log.add(label, None, None, found, gettext("the columns of the sheet"))


def _note_formulas(sheet: str, content: bytes, header: Sequence[str], log: FaultLog) -> None:
    """A fault for each formula (what it shows depends on who opens it) and each error value."""
    wanted = gettext("its value, pasted as a plain number or text")
    kinds = ((_FORMULA, gettext("a formula")), (_ERROR, gettext("an error value")))
    for pattern, found in kinds:
        for match in islice(pattern.finditer(content), MOST_FORMULAS):
            letters, row = match.group(1).decode(), int(match.group(2))
            place = sum((ord(c) - 64) * 26**n for n, c in enumerate(reversed(letters))) - 1
            name = header[place].strip() if place < len(header) else ""
            log.add(_label(sheet), row, name or letters, found, wanted, order=place)


def _label(sheet: str) -> str:
    return gettext("sheet %(name)s") % {"name": sheet.strip()}


def _tables(members: dict[str, bytes], parts: dict[str, str], log: FaultLog) -> dict[str, RawTable]:
    tables: dict[str, RawTable] = {}
    with python_calamine.load_workbook(_stored(members)) as book:
        for sheet in book.sheet_names:
            key = sheet.strip().casefold()
            if key == EXPLANATIONS:
                continue
            if key not in SHEETS:
                names = ", ".join((*SHEETS, EXPLANATIONS))
                allowed = gettext("the sheets %(names)s") % {"names": names}
                log.add(_label(sheet), None, None, sheet, allowed)
            elif SHEETS[key] in tables:
                again = gettext("the sheet again")
                log.add(_label(sheet), None, None, again, gettext("each sheet once"))
            else:
                cells = book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
                rows = [["" if cell == "" else cell_text(cell) for cell in row] for row in cells]
                tables[SHEETS[key]] = RawTable(_label(sheet), rows)
                _note_formulas(sheet, members[parts[sheet]], rows[0] if rows else [], log)
    return tables


def cell_text(cell: Any) -> str:
    """The text that a CSV file would hold for a typed cell."""
    if isinstance(cell, str):
        return cell if cell.isascii() else unicodedata.normalize("NFC", cell)
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime.datetime):
        midnight = cell.time() == datetime.time(0)
        return cell.date().isoformat() if midnight else cell.isoformat(" ", "minutes")
    if isinstance(cell, datetime.time):
        return cell.isoformat("minutes" if cell.second == 0 else "seconds")
    return str(cell)
