"""No letter says what the words of the practice replace: whole texts, in both languages."""

import gettext
from pathlib import Path

import pytest
from django.conf import settings

from consult.letters import words
from tests.letters.test_letter_words import msgids

CATALOGUE = Path(settings.BASE_DIR) / "consult" / "locale" / "de" / "LC_MESSAGES" / "django.mo"

ENGLISH = frozenset(
    {
        "Dear Sir or Madam,",
        "met, within the uncertainty",
        "not met, within the uncertainty",
        "Met, within the uncertainty",
        "Not met, within the uncertainty",
        "not comparable: different measurand",
        "different measurand",
        "blocks",
        "on a bound",
        "Found in order since",
        "Tried again on %(day)s it was in order.",
        "Find the causes at the spots above the target, propose remedies, and measure again after "
        "the work.",
        "Nothing is left to do from our side.",
    }
)
GERMAN = frozenset(
    {
        "An allen %(total)s Messpunkten erreicht",
        "Sehr geehrte Damen und Herren,",
        "(%(low)s bis %(high)s), nicht gesichert",
        "Das Bild dazu",
        "Von unserer Seite ist nichts mehr zu tun.",
        "Niemals einen Schutzleiter abklemmen.",
        "Arbeiten an der Elektroinstallation führt nur eine zugelassene Elektrofachkraft nach den "
        "örtlich geltenden Vorschriften aus.",
        "rel. F. %",
        "Netz V",
        "Anzeige ± %, k = 2",
        "Ablesungen",
        "Abgelesen",
        "Vermerke",
        "Vermerke und Vorbehalte",
        "unter dem Bereich der Norm",
        "Die entscheidenden Ablesungen, wie das Messgerät sie zeigte",
        "Aufbewahrt, aber nicht gezählt",
        "Wiederaufsetzen",
        "Zurückstellen",
        "Ersatzfeldstärke",
    }
)


@pytest.fixture(scope="module")
def german() -> gettext.GNUTranslations:
    with CATALOGUE.open("rb") as file:
        return gettext.GNUTranslations(file)


def test_no_english_text_of_a_letter_is_one_that_was_replaced() -> None:
    texts = set(msgids())
    assert len(texts) > 200 and not texts & ENGLISH
    phrases = {words.phrase(text) for text in words.PHRASES}
    assert not phrases & ENGLISH


def test_no_german_text_of_a_letter_is_one_that_was_replaced(german) -> None:
    texts = {german.gettext(text) for text in msgids()}
    assert len(texts) > 200 and not texts & GERMAN


@pytest.mark.parametrize(
    "part",
    [
        "Ablesung", "Wiederaufsetzen", "Zurückstellen", "Ersatzfeldstärke", "abgeschnitten",
        "verbunden;", "nicht gesichert", "schließt den haltenden", "rechtliche Bedeutung",
        "Fehlerstrom-Schutz", "als Ganzes", "Anzeigefehler",
    ],
)  # fmt: skip
def test_no_german_text_of_a_letter_has_a_word_that_was_replaced(german, part) -> None:
    assert [text for text in msgids() if part in german.gettext(text)] == []


def test_the_same_test_finds_a_text_that_was_replaced(german) -> None:
    """The lists hold whole texts as they stood, so that a relapse is found."""
    assert "The picture" not in msgids()
    assert german.gettext("The results in the picture") == "Die Ergebnisse im Bild"
    assert german.gettext("Nothing is left to do.") == "Es ist nichts weiter zu tun."
