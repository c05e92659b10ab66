"""What every letter says about itself: plain values in, plain values out."""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from django.utils.translation import gettext as _
from django.utils.translation import override, pgettext

from consult.intake.pictures import as_data_url
from consult.letters.checking import check_words
from consult.letters.countries import country_line
from consult.letters.formats import Formats, listing
from consult.letters.unbroken import unbroken_content

Paper = Literal["A4", "Letter"]
Block = dict[str, Any]

LETTER_PAPER_COUNTRIES = frozenset({"US", "CA", "MX", "CL", "CO", "CR", "GT", "PA", "PH", "PR"})
LOGO_MM = (50.0, 14.0)
LONG_NAME, LONG_ADDRESS = 42, 70  # characters that one line beside a logo holds
LONGEST_CONTACT = 72  # characters beside a logo
MILLIGAUSS_COUNTRIES = frozenset({"US", "CA"})


@dataclass(frozen=True)
class Sender:
    """The practice, and who signs for it."""

    name: str
    address: str
    country: str = ""
    phone: str = ""
    email: str = ""
    website: str = ""
    signatory: str = ""
    signatory_role: str = ""
    logo: bytes = b""


@dataclass(frozen=True)
class Addressee:
    """The client."""

    name: str
    address: str
    salutation: str = ""
    email: str = ""


@dataclass(frozen=True)
class Head:
    """Who writes to whom about what; `country` is the property's."""

    number: str
    case_reference: str
    issued_on: date
    sender: Sender
    addressee: Addressee
    property_address: str
    country: str
    flux_unit: str = ""
    corrects: str = ""
    corrects_on: date | None = None
    correction_reason: str = ""
    check_address: str = ""  # of the page where anybody can check the letter


def paper_for(country: str) -> Paper:
    """US Letter where it is the paper of the country, A4 everywhere else."""
    return "Letter" if country.upper() in LETTER_PAPER_COUNTRIES else "A4"


def flux_unit_for(head: Head, language: str) -> str:
    """Milligauss for English readers in North America, who know no other; else nanotesla."""
    return head.flux_unit or usual_flux_unit(head.country, language)


def usual_flux_unit(country: str, language: str) -> str:
    english = language.startswith("en")
    return "mG" if english and country.upper() in MILLIGAUSS_COUNTRIES else "nT"


def lines(text: str) -> list[str]:
    """The lines of an address without the empty ones."""
    return [line.strip() for line in text.splitlines() if line.strip()]


def one_line(text: str) -> str:
    return ", ".join(line.rstrip(",") for line in lines(text))


def head_content(
    head: Head,
    formats: Formats,
    *,
    kind: str,
    document: str,
    subject: str,
    measured_on: Sequence[date] = (),
) -> dict[str, Any]:
    """The frame of a letter: window, references, subject, salutation, signature, running foot."""
    sender = head.sender
    abroad = country_line(head.country, sender.country)
    return {
        "kind": kind,
        "language": formats.language,
        "paper": paper_for(head.country),
        "number": head.number,
        "case": head.case_reference,
        "issued_on": head.issued_on.isoformat(),
        "title": f"{subject} ({_('letter')} {head.number})",
        "document": document,
        "subject": subject,
        "author": sender.name,
        "sender": {
            "name": sender.name,
            "lines": _with_country(sender.address, country_line(sender.country, head.country)),
            "contact": _contact(sender),
            "compact": len(sender.name) > LONG_NAME or len(one_line(sender.address)) > LONG_ADDRESS,
        },
        "logo": _logo(sender),
        "return_line": " · ".join([sender.name, *lines(sender.address)]),
        "addressee": [head.addressee.name, *_addressee_lines(head, abroad)],
        "references": _references(head, formats, measured_on),
        "correction": _correction(head, formats),
        "salutation": head.addressee.salutation or salutation(head.addressee.name),
        "closing": _("Sincerely,") if head.country.upper() == "US" else _("Yours sincerely,"),
        "signature": [part for part in (sender.signatory, sender.signatory_role) if part]
        or [sender.name],
        "foot": f"{_('Letter')} {head.number} · {_('Case')} {head.case_reference}",
        "page_word": _("Page"),
        "of_word": _("of"),
        "check": check_words(head.check_address, head.number),
        "end": _("End of letter %(number)s") % {"number": head.number},
    }


def whole_letter(
    frame: dict[str, Any],
    *,
    about: str,
    client: Sequence[Block],
    engineer_heading: str,
    engineer: Sequence[Block],
    rules: Sequence[str] = (),
    annex_heading: str = "",
    annex: Sequence[Block] = (),
) -> dict[str, Any]:
    """A content to be frozen: its frame, its parts by reader, its rules; no number is broken."""
    parts = {
        "about": about,
        "client": list(client),
        "engineer_heading": engineer_heading,
        "engineer": list(engineer),
        "annex_heading": annex_heading,
        "annex": list(annex),
        "rules": list(rules),
    }
    printed: dict[str, Any] = unbroken_content(frame | parts)
    return printed


def as_draft(content: dict[str, Any]) -> dict[str, Any]:
    """The same content with a mark on every page that no letter of it was issued."""
    with override(content["language"]):
        return content | {"draft": pgettext("across a page", "DRAFT")}


def draft_number(language: str) -> str:
    """What stands where an issued letter has its number."""
    with override(language):
        return _("draft, not issued")


def salutation(name: str) -> str:
    """By name; families as families are greeted."""
    if not name.strip():
        return _("Dear client,")
    if name.casefold().startswith(("familie ", "family ")):
        return _("Dear %(family)s,") % {"family": name}
    return _("Dear %(name)s,") % {"name": name}


def _with_country(address: str, country: str) -> list[str]:
    return [*lines(address), *filter(None, [country])]


def _addressee_lines(head: Head, country: str) -> list[str]:
    """The country belongs to the home; where a client's post goes elsewhere nobody told it."""
    address = head.addressee.address
    at_home = lines(address) == lines(head.property_address)
    return _with_country(address, country if at_home else "")


def _contact(sender: Sender) -> list[str]:
    """How to reach the practice, on one line: the web site only where it fits."""
    first = [part for part in (sender.phone, sender.email) if part]
    if sender.website and len(" · ".join([*first, sender.website])) <= LONGEST_CONTACT:
        return [*first, sender.website]
    return first


def _logo(sender: Sender) -> dict[str, str] | None:
    """The practice's logo as it is on this day, in the letter itself, and how large it is printed.

    Lengths are texts, so that no language writes them with a comma.
    """
    if not sender.logo:
        return None
    width, height = struct.unpack(">II", sender.logo[16:24])  # the head of every PNG
    scale = min(LOGO_MM[0] / width, LOGO_MM[1] / height)
    return {
        "data": as_data_url(sender.logo),
        "alt": f"Logo: {sender.name}",
        "width": f"{width * scale:.1f}mm",
        "height": f"{height * scale:.1f}mm",
    }


def _references(head: Head, formats: Formats, days: Sequence[date]) -> list[list[str]]:
    references = [
        [_("Letter"), head.number],
        [_("Case"), head.case_reference],
        [_("Date"), formats.day(head.issued_on)],
        [_("Property"), one_line(head.property_address)],
    ]
    if days:
        measured = listing([formats.day(day) for day in dict.fromkeys(days)])
        references.append([_("Measured"), measured])
    return references


def _correction(head: Head, formats: Formats) -> str:
    if not head.corrects:
        return ""
    which = head.corrects
    if head.corrects_on:
        which = _("%(number)s of %(day)s") % {
            "number": head.corrects,
            "day": formats.day(head.corrects_on),
        }
    sentence = _("This letter corrects and replaces letter %(which)s.") % {"which": which}
    return f"{sentence} {head.correction_reason}".strip()


def paragraph(text: str) -> Block:
    return {"type": "paragraph", "text": text}


def lead(text: str) -> Block:
    """The sentence that a reader waits for."""
    return {"type": "paragraph", "text": text, "lead": True}


def heading(text: str, *, new_page: bool = False) -> Block:
    return {"type": "heading", "text": text, "new_page": new_page}


def small_lines(items: Sequence[str]) -> Block:
    """Many short lines: a list that is laid out much faster than a table."""
    return {"type": "lines", "entries": list(items)}


def bullets(items: Sequence[str]) -> Block:
    return {"type": "list", "entries": list(items)}


def note(title: str, items: Sequence[str]) -> Block:
    """Cautions, set apart by a rule at the side."""
    return {"type": "note", "title": title, "entries": list(items)}


def fine_print(title: str, sentences: Sequence[str]) -> Block:
    """Cautions that always print, as running text."""
    return {"type": "note", "title": title, "entries": [], "text": " ".join(sentences)}


def facts(items: Sequence[tuple[str, str]]) -> Block:
    """Pairs of word and value; pairs without a value are left out."""
    return {"type": "facts", "entries": [[word, value] for word, value in items if value]}


def column(label: str, width: int, *, number: bool = False) -> dict[str, Any]:
    """One column of a table; `width` in percent of the table."""
    return {"label": label, "width": width, "number": number}


def table(
    caption: str,
    columns: Sequence[dict[str, Any]],
    groups: Sequence[tuple[str, Sequence[Sequence[str]]]],
    *,
    small: bool = False,
) -> Block:
    """A table whose first cells head their rows; each group may have a line of its own above."""
    return {
        "type": "table",
        "caption": caption,
        "columns": list(columns),
        "small": small,
        "groups": [{"head": head, "rows": [list(row) for row in rows]} for head, rows in groups],
    }


def levels(rows: Sequence[dict[str, Any]], words: dict[str, Any]) -> Block:
    """Highest values beside the public reference level, as data."""
    return {"type": "levels", "rows": list(rows), "words": words}


def pictures(charts: Sequence[dict[str, Any]], words: dict[str, Any], *, single: bool) -> Block:
    """Charts as data; they are drawn when the letter is rendered."""
    return {"type": "pictures", "charts": list(charts), "words": words, "single": single}


def sketch(data: str, about: str) -> Block:
    """A picture in the letter itself, as its address, with what is heard in its place."""
    return {"type": "sketch", "data": data, "about": about}
