"""What differs from country to country on paper: addresses, windows, folds, the trade's words."""

import io
from dataclasses import replace
from typing import Any

import pypdf
import pytest
from django.utils.translation import override

from consult.letters import rendering, words
from consult.letters.content import salutation
from consult.letters.html import letter_html
from consult.letters.unbroken import unbroken, unbroken_html
from mitigation.letters.outcome import outcome_content
from tests.letters import samples
from tests.letters.test_letter_pdf import outcome_letter

NBSP = "\u00a0"


def letter(country: str, sender_country: str, language: str = "en", **head: Any) -> dict[str, Any]:
    plain = samples.head(country, **head)
    at_home = replace(plain, sender=replace(plain.sender, country=sender_country))
    context = samples.outcome_context(head=at_home)
    return outcome_content(outcome=samples.outcome(), context=context, language=language)


@pytest.mark.parametrize(
    ("country", "sender", "language", "line"),
    [
        ("AT", "DE", "en", "AUSTRIA"),
        ("AT", "DE", "de", "ÖSTERREICH"),
        ("US", "DE", "en", "UNITED STATES OF AMERICA"),
        ("ZZ", "DE", "en", "ZZ"),
        ("DE", "DE", "de", ""),
        ("DE", "", "de", ""),
    ],
)
def test_an_address_abroad_ends_with_its_country(country, sender, language, line) -> None:
    lines = letter(country, sender, language)["addressee"]
    assert (lines[-1] == line) if line else lines[-1] == f"AW3{NBSP}9ZY"


def test_where_the_post_goes_elsewhere_no_country_is_invented() -> None:
    other = replace(samples.head().addressee, address="1 Other Road\nElsewhere")
    assert letter("AT", "DE", addressee=other)["addressee"][-1] == "Elsewhere"


@pytest.mark.parametrize(
    ("language", "name", "greeting"),
    [
        ("en", "Carol Pruett", "Dear Carol Pruett,"),
        ("en", "", "Dear client,"),
        ("de", "Henrike Tamm", "Guten Tag Henrike Tamm,"),
        ("de", "Familie Osterloh-Reim", "Sehr geehrte Familie Osterloh-Reim,"),
        ("de", " ", "Guten Tag,"),
    ],
)
def test_a_client_is_greeted_by_name(language, name, greeting) -> None:
    with override(language):
        assert salutation(name) == greeting


@pytest.mark.parametrize(("country", "closing"), [("US", "Sincerely,"), ("GB", "Yours sincerely,")])
def test_a_letter_ends_as_in_the_country(country, closing) -> None:
    assert letter(country, "GB")["closing"] == closing


@pytest.mark.parametrize(
    ("country", "printed", "missing"),
    [
        ("US", "Never disconnect an equipment ground.", "protective earth"),
        ("US", "bonded to ground and protected (GFCI)", "RCD"),
        ("GB", "a registered electrician, under the wiring regulations", "local code"),
        ("DE", "a licensed electrician, under the local code", "registered"),
    ],
)
def test_sentences_have_the_words_of_the_trade(country, printed, missing) -> None:
    with override("en"):
        sentences = " ".join(words.wiring_sentences(country))
    assert printed in sentences and missing not in sentences


def test_typed_words_are_left_alone() -> None:
    """A ground point that somebody called an outlet stays one in every country."""
    checks = (replace(samples.ground_checks()[0], point="Hall outlet"),)
    content = outcome_content(
        outcome=samples.outcome(),
        context=samples.outcome_context(ground_checks=checks),
        language="en",
    )
    assert "Hall outlet" in str(content["engineer"])


@pytest.mark.parametrize(("point", "is_said"), [("rod, garden", True), ("water pipe", False)])
def test_a_rod_is_warned_of_where_one_was_used(point, is_said) -> None:
    details = {
        key: replace(detail, after_ground_point=point) for key, detail in samples.details().items()
    }
    context = samples.outcome_context(details=details, ground_checks=samples.ground_checks()[:1])
    content = outcome_content(outcome=samples.outcome(), context=context, language="en")
    assert ("Locate buried services" in str(content["engineer"])) == is_said


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("12 V/m at 1.5 m", f"12{NBSP}V/m at 1.5{NBSP}m"),
        ("Portsend, ME 04999", f"Portsend, ME{NBSP}04999"),
        ("24999 Nordach", f"24999{NBSP}Nordach"),
        ("AW3 9ZY", f"AW3{NBSP}9ZY"),
        ("> 317 V/m", f">{NBSP}317{NBSP}V/m"),
        ("50 Hz, 70 %, 5 readings", f"50{NBSP}Hz, 70{NBSP}%, 5 readings"),
        ("2 months", "2 months"),
    ],
)
def test_numbers_stay_with_their_units(text, kept) -> None:
    assert unbroken(text) == kept


def test_a_unit_with_a_slash_is_kept_whole_in_the_page() -> None:
    assert unbroken_html("<b> 5\u00a0V/m") == '&lt;b&gt; <span class="unit">5\u00a0V/m</span>'
    assert unbroken_html("<b>") == "&lt;b&gt;"
    assert unbroken_html("Metre [V/m]") == 'Metre [<span class="unit">V/m</span>]'


def _height_mm(country: str) -> float:
    """How far under the edge the addressee's name stands."""
    pdf = rendering.render_letter(outcome_letter(country=country))
    page = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    baselines: list[float] = []

    def place(text: str, cm: Any, tm: Any, _font: Any, _size: Any) -> None:
        if text.strip().startswith("Ada & Tom"):
            baselines.append(cm[1] * tm[4] + cm[3] * tm[5] + cm[5])

    page.extract_text(visitor_text=place)
    return (float(page.mediabox.height) - baselines[0]) / 72 * 25.4


def test_the_window_of_a_north_american_envelope_is_eight_millimetres_lower() -> None:
    """As it was, 0.75 in and 1.2 in under the edge, and 8 mm."""
    top = (0.75 + 1.2) * 25.4 + 8
    assert top < _height_mm("US") < top + 15


def test_folds_are_marked_on_the_paper_that_is_folded_so() -> None:
    html = letter_html(outcome_letter())
    assert html.count('<div class="fold') == 3
    sheet = (rendering._engine().SHEET).read_text(encoding="utf-8")
    assert "display: none }" in sheet.split(".fold {")[1].splitlines()[0]
    assert ".paper-A4 .fold { display: block }" in sheet
    # 105 and 210 mm under the edge (DIN 5008, form B, from memory), 18 mm of them margin.
    assert ".fold.first { top: 87mm }" in sheet and ".fold.second { top: 192mm }" in sheet


def test_the_letter_ends_with_its_mark() -> None:
    content = outcome_letter()
    html = letter_html(content)
    assert html.index("End of letter L-2026-0042") > html.index("Annex: all readings")
    assert content["document"].startswith("Outcome letter: report of results")
