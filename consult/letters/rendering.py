"""From a letter's page to its PDF; the engine is loaded at the first one."""

import importlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from types import ModuleType
from typing import Any

from consult.letters.enclosures import Enclosure, enclosures_of
from consult.letters.html import TEMPLATE_VERSION, letter_html

MOST_BYTES = 5_000_000
"""No letter is larger, so the page that checks letters takes no more."""


class LetterRenderError(Exception):
    """A letter could not be made into a PDF."""


@cache
def _engine() -> ModuleType:
    """Loaded late: it costs two seconds and much memory, which a web process never needs."""
    return importlib.import_module("consult.letters.engine")


def render_letter(content: Mapping[str, Any], *, check_code: str = "") -> bytes:
    """The PDF of a frozen content and its code; the same ones give the same bytes."""
    return render_pdf(
        letter_html(content, check_code),
        language=content["language"],
        title=content["title"],
        paper=content["paper"],
        enclosures=enclosures_of(content),
        enclosed_at=datetime.fromisoformat(content["issued_on"]).replace(tzinfo=UTC),
    )


def render_pdf(
    html: str,
    *,
    language: str,
    title: str,
    enclosed_at: datetime,
    paper: str = "A4",
    enclosures: Sequence[Enclosure] = (),
) -> bytes:
    """A tagged PDF/A-3b with the PDF/UA-1 mark of a page that declares this language and title.

    The page may use `data:` addresses and the bundled fonts; everything else ends the rendering.

    Raises LetterRenderError for anything that makes the PDF less than whole.
    """
    engine = _engine()
    if f'lang="{language}"' not in html[:400]:
        raise LetterRenderError(f"the page does not declare its language {language!r}")
    if not title.strip() or "<title>" not in html:
        raise LetterRenderError("the page has no title")
    try:
        pdf: bytes = engine.write_pdf(
            html, paper=paper, enclosures=enclosures, enclosed_at=enclosed_at
        )
    except engine.BlockedAddress as error:  # outside the Exception family in the library
        raise LetterRenderError(str(error)) from error
    if len(pdf) > MOST_BYTES:
        raise LetterRenderError(f"the PDF has {len(pdf)} bytes, more than {MOST_BYTES}")
    return pdf


def renderer_versions() -> dict[str, str]:
    """What the bytes of a PDF depend on, to be stored beside it."""
    return {**_engine().versions(), "template": TEMPLATE_VERSION}
