"""The PDF engine of a worker: one font configuration and one parsed sheet for its whole life.

This is the only module that imports WeasyPrint. It is loaded by `consult.letters.rendering`.
"""

import gc
import hashlib
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from importlib import resources
from pathlib import Path

import weasyprint
from weasyprint.css import ColorProfile
from weasyprint.text.ffi import pango
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from consult.letters.enclosures import Enclosure
from consult.letters.finish import finish
from consult.letters.metadata import AccessibleMetadata

FONT_SCHEME = "bundled-font:"
FONT_FOLDER = Path(__file__).resolve().parent.parent / "static" / "fonts"
FONT_FILES = frozenset(
    {
        "source-serif-4-400regular.ttf",
        "source-serif-4-400regular-italic.ttf",
        "source-serif-4-600semibold.ttf",
    }
)
SHEET = Path(__file__).resolve().parent / "letter.css"
PAPER_SHEETS = {
    "A4": "@page { size: 210mm 297mm; margin: 18mm 20mm 20mm 25mm }",
    "Letter": "@page { size: 8.5in 11in; margin: 0.75in 0.85in 0.85in 0.95in }",
}

NOWHERE = "file:///nowhere/"
"""Relative addresses resolve to here, so that the fetcher refuses them like any other."""

BlockedAddress = FatalURLFetchingError
VARIANT = "pdf/a-3b"
COLOR_PROFILE = "sRGB2014.icc"


class BundledFetcher(URLFetcher):  # type: ignore[misc]  # untyped library
    """Knows `data:` addresses and the bundled fonts; anything else is an error."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        if url.startswith(FONT_SCHEME):
            name = url.removeprefix(FONT_SCHEME)
            if name not in FONT_FILES:
                raise ValueError(f"no bundled font of that name: {url}")
            body = io.BytesIO((FONT_FOLDER / name).read_bytes())
            return URLFetcherResponse(url, body, {"Content-Type": "font/ttf"})
        return super().fetch(url, headers)


@cache
def _fetcher() -> BundledFetcher:
    return BundledFetcher()


@cache
def _fonts() -> FontConfiguration:
    return FontConfiguration()


@cache
def _sheet(text: str) -> weasyprint.CSS:
    return weasyprint.CSS(string=text, font_config=_fonts(), url_fetcher=_fetcher())


@cache
def _sheet_text() -> str:
    return SHEET.read_text(encoding="utf-8")


@cache
def _color_profile_bytes() -> bytes:
    return (resources.files(weasyprint.pdf) / COLOR_PROFILE).read_bytes()


def _color_profile() -> ColorProfile:
    """What the colours of a letter mean, as PDF/A wants it told."""
    components = (["r"], ["g"], ["b"])
    body = io.BytesIO(_color_profile_bytes())
    return ColorProfile(body, COLOR_PROFILE, "relative-colorimetric", components)


def write_pdf(
    html: str, *, paper: str, enclosures: Sequence[Enclosure] = (), enclosed_at: datetime
) -> bytes:
    """A tagged PDF/A-3b with the PDF/UA-1 mark.

    The bytes depend on the arguments and on the versions of engine and fonts alone.
    """
    sheets = [_sheet(PAPER_SHEETS[paper]), _sheet(_sheet_text())]
    page = weasyprint.HTML(string=html, url_fetcher=_fetcher(), base_url=NOWHERE)
    with _uncollected():
        document = page.render(
            stylesheets=sheets,
            font_config=_fonts(),
            color_profiles={"srgb": _color_profile()},
            pdf_variant=VARIANT,
        )
        document.metadata = AccessibleMetadata(**vars(document.metadata))
        pdf: bytes = document.write_pdf(
            finisher=finish,
            pdf_variant=VARIANT,
            pdf_tags=True,
            output_intent="",  # the profile above; by itself the engine leaves its file open
            pdf_identifier=hashlib.sha256(f"{paper}\n{html}".encode()).digest()[:16],
            attachments=[_attachment(enclosure, enclosed_at) for enclosure in enclosures],
        )
    return pdf


def _attachment(enclosure: Enclosure, at: datetime) -> weasyprint.Attachment:
    """The engine would stamp it with the clock."""
    return weasyprint.Attachment(
        string=enclosure.text,
        name=enclosure.name,
        description=enclosure.description,
        relationship=enclosure.relationship,
        created=at,
        modified=at,
        url_fetcher=_fetcher(),
    )


@contextmanager
def _uncollected() -> Iterator[None]:
    """No garbage collection while a letter grows: its boxes are all alive until it is written.

    Looking through them again and again takes a quarter of the time of a long letter.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def versions() -> dict[str, str]:
    number = int(pango.pango_version())
    major, minor, micro = number // 10000, number // 100 % 100, number % 100
    return {"weasyprint": weasyprint.__version__, "pango": f"{major}.{minor}.{micro}"}
