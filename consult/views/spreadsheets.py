"""A list as a spreadsheet to take away."""

import re
import unicodedata

from django.http import FileResponse

from consult.services.lists import XLSX, Sheet, write_workbook

_SPELT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "o", "æ": "ae"})


def spreadsheet(name: str, *sheets: Sheet) -> FileResponse:
    """The lists as one XLSX file, named in the reader's language."""
    file = write_workbook(sheets=sheets)
    name = f"{plain_name(name)}.xlsx"
    return FileResponse(file, as_attachment=True, filename=name, content_type=XLSX)


def plain_name(text: str) -> str:
    """A name that every file system takes: `Geräte, fällig` becomes `geraete-faellig`."""
    spelt = unicodedata.normalize("NFC", text).lower().translate(_SPELT)
    ascii_only = unicodedata.normalize("NFKD", spelt).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_only).strip("-") or "list"
