"""Pages, mails and letters say nothing that the words of the practice replace, in both languages.

Whole texts are compared, without the punctuation and the unit at their end. A part of a text is
looked for only where no right text could hold it.
"""

import re

import pytest

from tests.letters.test_wording import ENGLISH as OF_LETTERS
from tests.letters.test_wording import GERMAN as OF_LETTERS_IN_GERMAN
from tests.project.test_translations import german, marked_strings

__all__ = ["german"]  # the catalogue as compiled: a fixture

AT_THE_END = re.compile(r"(\s*\[[^\]]*\])?[\s.:,;]*$")

OF_PAGES = {
    "Hour",
    "Body away",
    "Comes to",
    "Dear Sir or Madam",
    "Find the causes, propose remedies",
    "Found in order since",
    "Tried again",
    "blocks",
    "not comparable: different measurand",
}
OF_PAGES_IN_GERMAN = {
    "Uhrzeit",
    "Ursachen finden, Abhilfe vorschlagen",
    "Vorbehalte",
    "hat keine rechtliche Bedeutung",
    "erreicht (pass)",
    "u(T): Standardunsicherheit des Messgeräts",
}
PARTS_IN_GERMAN = (
    "Ablesung", "bgelesen", "Auftraggeber", "Wiederaufsetz", "Zurückstell", "Ersatzfeldstärke",
    "Fehlerstrom-Schutz", "rechtliche Bedeutung", "abgeschnittene", "schließt den haltenden",
    "nicht gesichert", "Niemals einen Schutzleiter abklemmen", "führt nur eine", "Anzeigefehler",
    "als Ganzes", "zu E verbunden", "unter dem Bereich der Norm", "rel. F.",
)  # fmt: skip


def plain(text: str) -> str:
    return AT_THE_END.sub("", text.strip()).casefold()


def plain_texts(*lists: frozenset[str] | set[str]) -> set[str]:
    return {plain(text) for texts in lists for text in texts}


def test_no_english_text_is_one_that_was_replaced() -> None:
    replaced = plain_texts(OF_LETTERS, OF_PAGES)
    # The names of rules and flags, which are never printed as they are, are no texts.
    marked = marked_strings()
    assert len(marked) > 800
    assert {text: place for text, place in marked.items() if plain(text) in replaced} == {}


def test_no_german_text_is_one_that_was_replaced(german) -> None:
    replaced = plain_texts(OF_LETTERS_IN_GERMAN, OF_PAGES_IN_GERMAN)
    texts = [form for forms in german.values() for form in forms]
    assert len(texts) > 800
    assert [text for text in texts if plain(text) in replaced] == []


@pytest.mark.parametrize("part", PARTS_IN_GERMAN)
def test_no_german_text_has_a_word_that_was_replaced(german, part) -> None:
    texts = [form for forms in german.values() for form in forms]
    assert [text for text in texts if part in text] == []


def test_a_text_is_found_whatever_stands_at_its_end() -> None:
    replaced = plain_texts(OF_PAGES)
    assert {plain("Hour:"), plain("Body away [m]"), plain("hour")} <= replaced
    assert plain("Hours of the day") not in replaced


def test_one_german_word_for_the_client(german) -> None:
    """`Kunde`, by counting: the other word stood nowhere any more when this was decided."""
    of_client = [form for text in ("Client", "clients", "Clients") for form in german[text]]
    assert set(of_client) == {"Kunde", "Kunden"}
