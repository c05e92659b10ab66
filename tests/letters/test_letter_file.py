"""The file of a letter: PDF/A-3b with the PDF/UA-1 mark, its tags, and the files it carries."""

import io
import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pikepdf
import pypdf
import pytest
import segno

from consult.letters import rendering
from consult.letters.checking import filled_in
from consult.letters.enclosures import Enclosure, enclosed
from consult.letters.html import letter_html
from mitigation.letters.outcome import outcome_content
from surveys.letters.survey_report import survey_content
from tests.letters import samples
from tests.letters.pdfs import (
    elements,
    enclosed_texts,
    faults_of,
    kind,
    kinds_of_children,
    of_kind,
)
from tests.letters.test_letterhead import logo

CODE = "7HF7A-7QTEW-NRMYE"
ADDRESS = "https://letters.example.org/check/"
FILES = (
    Enclosure("outcome.json", "Data", "the results", '{"spots": [1.5, "Küche"]}\n'),
    Enclosure("readings.csv", "Source", "all readings", "visit,room\r\nV1,Küche\r\n"),
)


def content_of(letter: str) -> dict[str, Any]:
    """A letter of each kind, with everything that a page can have on it."""
    code, _separator, language = letter.rpartition(" ")
    head = samples.head(check_address=ADDRESS)
    head = replace(head, sender=replace(head.sender, logo=logo()))
    if code == "outcome":
        context = samples.outcome_context(head=head)
        content = outcome_content(outcome=samples.outcome(), context=context, language=language)
    else:
        content = survey_content(context=samples.survey_context(head=head), language=language)
    return content | enclosed(FILES, language)


@pytest.fixture(
    scope="module", params=["outcome en", "outcome de", "survey-report en", "survey-report de"]
)
def letter(request) -> tuple[dict[str, Any], bytes]:
    content = content_of(request.param)
    return content, rendering.render_letter(content, check_code=CODE)


@pytest.fixture
def pdf(letter) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(letter[1])) as opened:
        yield opened


def test_it_is_a_pdf_a_3b_by_the_rules_of_pikepdf(pdf) -> None:
    assert faults_of(pdf) == []


def test_the_rules_see_what_is_wrong(pdf) -> None:
    """A picture that is to be interpolated, a file that does not say what it is to the letter."""
    for item in pdf.objects:
        if isinstance(item, pikepdf.Stream) and item.get("/Subtype") == "/Image":
            item.Interpolate = True
    del pdf.Root.AF[0].AFRelationship
    faults = " ".join(faults_of(pdf))
    assert "Interpolate" in faults and "AFRelationship" in faults


def test_it_says_that_it_is_accessible_and_an_archive(pdf) -> None:
    metadata = pdf.open_metadata()
    assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "B")
    assert metadata["pdfuaid:part"] == "1"
    assert pdf.Root.Metadata.read_bytes().count(b"<rdf:RDF") == 1
    assert bool(pdf.Root.MarkInfo.Marked) and bool(pdf.Root.ViewerPreferences.DisplayDocTitle)


def test_the_same_row_gives_the_same_bytes(letter) -> None:
    content, data = letter
    assert rendering.render_letter(content, check_code=CODE) == data
    assert rendering.render_letter(content, check_code="7HF7A-7QTEW-NRMYF") != data


def test_it_speaks_the_language_of_the_letter(letter, pdf) -> None:
    assert str(pdf.Root.Lang) == letter[0]["language"]


def test_headings_go_down_one_step_at_a_time(pdf) -> None:
    headings = of_kind(pdf, "H1", "H2", "H3", "H4", "H5", "H6")
    levels = [int(kind(heading)[1]) for heading in headings]
    assert levels[0] == 1 and levels.count(1) == 1
    assert {2, 3} <= set(levels)
    assert all(second - first <= 1 for first, second in itertools.pairwise(levels))


def test_lists_are_of_items_alone_and_each_item_has_a_body(pdf) -> None:
    lists = of_kind(pdf, "L")
    assert len(lists) > 4
    for entries in lists:
        assert set(kinds_of_children(entries)) == {"LI"}
    for item in of_kind(pdf, "LI"):
        assert kinds_of_children(item) in (["LBody"], ["Lbl", "LBody"])
        assert kind(item["/P"]) == "L"


def test_the_references_are_a_list_of_word_and_value(letter) -> None:
    html = letter_html(letter[0])
    assert "<dl" not in html  # the engine makes an item of each half of a pair
    assert html.count('<span class="word">') >= len(letter[0]["references"])


def test_every_cell_of_a_table_has_its_headers(pdf) -> None:
    tables = of_kind(pdf, "Table")
    assert len(tables) > 4
    for table in tables:
        parts = list(elements(table))
        heads = [part for part in parts if kind(part) == "TH"]
        named = {str(head["/ID"]) for head in heads}
        for head in heads:
            assert str(head.A.Scope) in ("/Row", "/Column")
            in_head = kind(head["/P"]["/P"]) == "THead"
            assert (str(head.A.Scope) == "/Column") == (in_head or "/ColSpan" in head.A)
        rows = [part for part in parts if kind(part) == "TR" and kind(part["/P"]) == "TBody"]
        assert rows
        for row in rows:
            assert kinds_of_children(row)[0] == "TH"
        for cell in (part for part in parts if kind(part) == "TD"):
            headers = {str(name) for name in cell.A.Headers}
            assert len(headers) >= 2, "its row and its column"
            assert headers <= named


def test_what_is_drawn_is_read_or_an_artifact_and_the_running_foot_is_one(pdf) -> None:
    read = {element.objgen for element in elements(pdf.Root.StructTreeRoot)}
    owners = pikepdf.NumberTree(pdf.Root.StructTreeRoot.ParentTree)
    for place, page in enumerate(pdf.pages):
        tags = [
            operands
            for operands, operator in pikepdf.parse_content_stream(page)
            if str(operator) == "BDC"
        ]
        marked = [int(properties.MCID) for _tag, properties in tags if "/MCID" in properties]
        assert marked
        assert all(owners[place][mcid].objgen in read for mcid in marked)
        feet = [properties for _tag, properties in tags if "/Subtype" in properties]
        assert [str(foot.Subtype) for foot in feet] == ["/Footer"] * 2  # of which letter, and page


def test_every_picture_says_its_result(letter, pdf) -> None:
    figures = [str(figure.get("/Alt", "")) for figure in of_kind(pdf, "Figure")]
    logo, *pictures, code = figures
    assert logo.startswith("Logo: ")
    assert len(pictures) == 3 and all(len(text) > 60 for text in pictures)
    value = "9.1 V/m" if letter[0]["language"] == "en" else "9,1 V/m"
    assert value in " ".join(pictures).replace("\xa0", " ")
    assert ADDRESS in code


def test_its_last_words_are_the_end_mark(letter) -> None:
    content, data = letter
    last = pypdf.PdfReader(io.BytesIO(data)).pages[-1].extract_text().replace("\xa0", " ")
    words = " ".join(last.replace("•", " ").split())  # bullets are drawn after all text
    foot = content["foot"].replace("\xa0", " ")
    assert re.search(rf"{re.escape(content['end'])} {re.escape(foot)} \S+ (\d) \S+ \1$", words)
    assert content["number"] in content["end"]


def test_it_carries_its_numbers_each_once(letter, pdf) -> None:
    assert enclosed_texts(letter[1]) == {file.name: file.text for file in FILES}
    assert [(str(spec.UF), str(spec.AFRelationship)) for spec in pdf.Root.AF] == [
        ("outcome.json", "/Data"),
        ("readings.csv", "/Source"),
    ]
    for spec in pdf.Root.AF:
        stamps = spec.EF.F.Params
        assert str(stamps.CreationDate) == str(stamps.ModDate) == "D:20260527000000Z"
    types = [str(spec.EF.F.Subtype) for spec in pdf.Root.AF]
    assert types == ["/application/json", "/text/csv"]


def test_it_says_which_files_it_carries(letter) -> None:
    words = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(letter[1])).pages)
    assert "outcome.json (the results)" in " ".join(words.split())
    assert "readings.csv (all readings)" in " ".join(words.split())


def test_the_code_stands_by_the_signature_on_the_clients_sheet(letter) -> None:
    content, data = letter
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    first, second, *others = (page.extract_text() for page in pages)
    assert CODE in second and ADDRESS in "".join(second.split())
    assert content["closing"] in second.replace("\xa0", " ")
    assert not any(CODE in text for text in (first, *others))


def test_the_qr_code_has_number_and_code_behind_the_hash(letter) -> None:
    address = filled_in(ADDRESS, letter[0]["number"], CODE)
    assert address == f"{ADDRESS}#L-2026-0042.{CODE}"
    html = letter_html(letter[0], CODE)
    svg = html[html.index('<div class="check">') :]
    path = svg.partition('<path d="')[2].partition('"')[0]
    assert dark_modules(path) == {
        (x, y)
        for y, row in enumerate(segno.make_qr(address, error="m").matrix)
        for x, is_dark in enumerate(row)
        if is_dark
    }


def dark_modules(path: str) -> set[tuple[int, int]]:
    """The squares that a path of bars one high covers."""
    covered = set()
    for bar in path.split("M")[1:]:
        start, _h, rest = bar.partition("h")
        x, y = map(int, start.split())
        covered |= {(x + n, y) for n in range(int(rest.partition("v")[0]))}
    return covered


@pytest.mark.parametrize("code", ["", CODE])
def test_a_letter_of_before_has_no_code_and_no_page_to_check_it(code) -> None:
    content = content_of("outcome en")
    del content["check"], content["enclosures"], content["enclosed"]
    html = letter_html(content, code)
    assert 'class="check"' not in html and 'class="enclosed"' not in html


def test_a_letter_that_is_larger_than_the_page_of_checking_takes_is_not_made(monkeypatch) -> None:
    monkeypatch.setattr(rendering, "MOST_BYTES", 1000)
    with pytest.raises(rendering.LetterRenderError, match="1000"):
        rendering.render_letter(content_of("outcome en"))
