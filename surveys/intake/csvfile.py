"""CSV files: encoding, separator and quotes settled, cells as text."""

import csv
import io
import re
import unicodedata

from django.utils.translation import gettext

from surveys.intake.faults import FaultLog
from surveys.intake.tables import RawTable

_QUOTE = '"'
_BLANKS_AFTER_QUOTE = re.compile(r'"[^\S\r\n]+(?=[,;\r\n]|\Z)')


def decoded(label: str, data: bytes, log: FaultLog) -> str | None:
    """UTF-8 text, or None with the row of the first wrong byte in `log`."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # the offset is that of the text behind a byte-order mark
        before = data[data.startswith(b"\xef\xbb\xbf") * 3 :][: error.start]
        rows = len(before.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n"))
        wrong = error.object[error.start : error.start + 1].hex()
        log.add(
            label,
            rows,
            None,
            gettext("the byte %(byte)s") % {"byte": wrong},
            gettext("text in UTF-8"),
        )
        return None
    return unicodedata.normalize("NFC", text)


def read_csv(label: str, data: bytes, log: FaultLog) -> RawTable | None:
    """The rows of a CSV file; None with a fault in `log` when they can't be told apart."""
    text = decoded(label, data, log)
    if text is None:
        return None
    separator = ";" if ";" in _header_line(text) else ","
    rows, wrong = _rows(text, separator)
    if wrong:
        rows, wrong = _rows(_BLANKS_AFTER_QUOTE.sub(_QUOTE, text), separator)
    if wrong:
        log.add(label, len(rows) + 1, None, wrong, gettext("cells with whole pairs of quotes"))
        return None
    return RawTable(label, rows, comma_is_decimal=separator == ";")


def _rows(text: str, separator: str) -> tuple[list[list[str]], str]:
    """The rows up to the first whose quotes are wrong, and what is wrong with it."""
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=separator, strict=True, skipinitialspace=True
    )
    rows: list[list[str]] = []
    try:
        rows.extend(reader)
    except csv.Error as error:
        return rows, str(error)
    return rows, ""


def _header_line(text: str) -> str:
    lines = text.splitlines()
    return lines[0] if lines else ""
