"""The head of a letter: the practice's logo, its address, how it is reached."""

import io
from dataclasses import replace
from typing import Any

import pikepdf
import pypdf
import pytest
from PIL import Image, ImageDraw

from consult.forms.people import LONGEST_ADDRESS
from consult.intake.pictures import cleaned_logo
from consult.letters import rendering
from consult.letters.content import LONGEST_CONTACT, Head
from consult.letters.html import letter_html
from mitigation.letters.outcome import outcome_content
from tests.letters import samples
from tests.letters.test_letter_pdf import outcome_letter, pages, structure

MM = 72 / 25.4


def logo(width: int = 400, height: int = 150) -> bytes:
    """A drawn mark as the practice's page keeps it."""
    image = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(image).ellipse([4, 4, width - 4, height - 4], outline="black", width=6)
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    return cleaned_logo(buffer.getvalue()).data


def head(country: str = "GB", **sender: Any) -> Head:
    plain = samples.head(country=country)
    return replace(plain, sender=replace(plain.sender, **sender))


def content(country: str = "GB", language: str = "en", **sender: Any) -> dict[str, Any]:
    context = samples.outcome_context(head=head(country, **sender))
    return outcome_content(outcome=samples.outcome(), context=context, language=language)


Place = tuple[float, float, float, float]


def places_of_images(pdf: bytes, number: int = 0) -> list[Place]:
    """Left, top, width and height of the images drawn on a page, from its upper left. [mm]"""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        page = opened.pages[number]
        here, kept, found = pikepdf.Matrix(), [], []
        for operands, operator in pikepdf.parse_content_stream(page):
            word = str(operator)
            if word == "q":
                kept.append(here)
            elif word == "Q":
                here = kept.pop()
            elif word == "cm":
                here = pikepdf.Matrix(*(float(number) for number in operands)) @ here
            elif word == "Do" and page.Resources.XObject[operands[0]].Subtype == "/Image":
                found.append(here)
        height = float(page.mediabox[3])
        return [
            (at.e / MM, (height - max(at.f, at.f + at.d)) / MM, at.a / MM, abs(at.d) / MM)
            for at in found
        ]


@pytest.mark.parametrize(
    ("country", "right_edge_mm", "window_mm"),
    [
        ("DE", 210 - 20, 45),  # DIN 5008 form B: the address field begins 45 mm under the edge
        ("US", (8.5 - 0.85) * 25.4, (0.75 + 1.2) * 25.4 + 8),
    ],
)
@pytest.mark.parametrize(("width", "height"), [(400, 150), (600, 90), (120, 180)])
def test_the_logo_stands_at_the_top_right_and_over_the_window(
    country, right_edge_mm, window_mm, width, height
):
    pdf = rendering.render_letter(content(country, logo=logo(width, height)))
    ((left, top, wide, high),) = places_of_images(pdf)
    assert left + wide == pytest.approx(right_edge_mm, abs=0.2)
    assert top > 10 and top + high < window_mm
    assert wide <= 50.05 and high <= 14.05
    assert max(wide / 50, high / 14) == pytest.approx(1, abs=0.01)
    assert wide / high == pytest.approx(width / height, rel=0.02)
    assert left > 100  # the words of the head end before it


def test_the_logo_is_on_the_first_page_alone_and_says_what_it_is():
    pdf = rendering.render_letter(content(logo=logo()))
    counts = [len(places_of_images(pdf, number)) for number in range(len(pages(pdf)))]
    assert counts[0] == 1 and not any(counts[1:])
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        texts = [
            str(node.get("/Alt", ""))
            for node in structure(opened.Root.StructTreeRoot)
            if str(node.get("/S")) == "/Figure"
        ]
    assert texts[0] == "Logo: Quellmoor Field Survey"


def test_the_same_logo_gives_the_same_bytes_and_another_other_ones():
    first = rendering.render_letter(content(logo=logo()))
    assert rendering.render_letter(content(logo=logo())) == first
    assert rendering.render_letter(content(logo=logo(401, 150))) != first


def test_a_german_letter_measures_the_logo_in_the_same_way():
    """A decimal comma in a length would end the layout."""
    said = content(language="de", logo=logo())["logo"]
    assert (said["width"], said["height"]) == ("37.3mm", "14.0mm")  # 400 : 150 at 14 mm


def test_a_letter_without_a_logo_has_no_picture_in_its_head():
    html = letter_html(content())
    assert "<img" not in html and "with-logo" not in html


def test_a_letter_of_the_earlier_layout_is_still_made():
    """Its frozen content has the contact among the lines, and no word of a logo."""
    old = outcome_letter()
    contact = old["sender"].pop("contact")
    old["sender"]["lines"] += contact
    del old["logo"]
    said = " ".join(pages(rendering.render_letter(old))[0].split())
    assert "AW3 9ZZ · +44 0000 555 017 · office@quellmoor.example" in said


@pytest.mark.parametrize("country", ["DE", "US"])
def test_the_longest_head_that_the_page_takes_ends_over_the_window(country):
    name = "Engineers for fields of the mains and for earthing " * 3
    address = "\n".join(["An address that goes on and on, door 7"] * 5)
    assert len(address) > 0.95 * LONGEST_ADDRESS and len(name[:120]) == 120
    said = content(country, name=name[:120], address=address, logo=logo())
    heights: dict[str, float] = {}

    def note(text, cm, tm, _font, _size):
        heights.setdefault(text.strip(), (cm[1] * tm[4] + cm[3] * tm[5] + cm[5]) / MM)

    pdf = rendering.render_letter(said)
    pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=note)
    contact = next(y for text, y in heights.items() if "office@quellmoor" in text)
    paper_mm, window_mm = (297, 45) if country == "DE" else (11 * 25.4, (0.75 + 1.2) * 25.4 + 8)
    assert paper_mm - contact < window_mm - 1.5  # its padding and the rule are below it
    assert contact > max(y for text, y in heights.items() if text.startswith("Ada & Tom"))


def test_the_web_site_is_printed_where_the_line_has_room():
    said = content(website="quellmoor.example")["sender"]["contact"]
    assert said == ["+44 0000 555 017", "office@quellmoor.example", "quellmoor.example"]
    long = "a-very-long-name-of-a-field-survey.example"
    assert content(website=long)["sender"]["contact"] == said[:2]
    assert len(" · ".join([*said[:2], long])) > LONGEST_CONTACT
