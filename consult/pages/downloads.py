"""Files to take away: a list as a spreadsheet, any other as it is."""

import re
import unicodedata
from typing import IO

from django.http import FileResponse, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header

from consult.services.spreadsheets import XLSX, Sheet, write_workbook

_SPELT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "o", "æ": "ae"})


def spreadsheet(name: str, *sheets: Sheet) -> HttpResponse:
    """The lists as one XLSX file, named in the reader's language."""
    response = HttpResponse(write_workbook(sheets=sheets), content_type=XLSX)
    response["Content-Disposition"] = f'attachment; filename="{plain_name(name)}.xlsx"'
    return response


def plain_name(text: str) -> str:
    """A name that every file system takes: `Geräte, fällig` becomes `geraete-faellig`."""
    spelt = unicodedata.normalize("NFC", text).lower().translate(_SPELT)
    ascii_only = unicodedata.normalize("NFKD", spelt).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_only).strip("-") or "list"


def download(data: bytes | IO[bytes], kind: str, name: str) -> HttpResponseBase:
    """A file to be kept, not shown; one that is stored goes out piece by piece."""
    response: HttpResponseBase
    if isinstance(data, bytes):
        response = HttpResponse(data, content_type=kind)
    else:
        response = FileResponse(data, content_type=kind)
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def inline_picture(data: bytes) -> HttpResponse:
    """A small JPEG to look at on the page that shows it, and nowhere else."""
    response = HttpResponse(data, content_type="image/jpeg")
    response["Content-Disposition"] = "inline"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    return response
