"""Every word that a page can say is there in German, as the compiled catalogue has it."""

import ast
import gettext
import re
from collections.abc import Iterator

import pytest
from django.utils.translation.template import templatize

from tests.project.files import APPS, ROOT

CATALOGUE = ROOT / "consult" / "locale" / "de" / "LC_MESSAGES" / "django.mo"
MARKS = {"_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy"}
MARKED = re.compile(r"""\bn?gettext\((u'(?:[^'\\]|\\.)*'|u"(?:[^"\\]|\\.)*")""")
PLACES = re.compile(r"%\((\w+)\)[a-z]|%[sd]|\{(\w*)\}")


def strings_of_code(source: str) -> Iterator[str]:
    """The first text of each marked call."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Call(func=ast.Name(id=name), args=[ast.Constant(value=str(text)), *_]):
                if name in MARKS:
                    yield text


def strings_of_template(source: str) -> Iterator[str]:
    """The marked texts of a template, as the framework's own extraction reads them."""
    for match in MARKED.finditer(templatize(source)):
        yield ast.literal_eval(match[1])


def marked_strings() -> dict[str, str]:
    """Every marked text, each with one place where it stands."""
    found = {}
    for app in APPS:
        for path in (ROOT / app).rglob("*.py"):
            for text in strings_of_code(path.read_text(encoding="utf-8")):
                found[text] = str(path.relative_to(ROOT))
    for path in (ROOT / "templates").rglob("*.html"):
        for text in strings_of_template(path.read_text(encoding="utf-8")):
            found[text] = str(path.relative_to(ROOT))
    return found


@pytest.fixture(scope="module")
def german() -> dict[str, list[str]]:
    with CATALOGUE.open("rb") as file:
        entries = vars(gettext.GNUTranslations(file))["_catalog"]
    found: dict[str, list[str]] = {}
    for key, text in entries.items():
        found.setdefault(key if isinstance(key, str) else key[0], []).append(text)
    return found


def test_every_marked_text_is_translated(german) -> None:
    marked = marked_strings()
    assert len(marked) > 800
    missing = {text: place for text, place in marked.items() if not all(german.get(text, [""]))}
    assert missing == {}


def test_a_translation_has_the_places_of_its_text(german) -> None:
    """A place that the German lacks loses a number, one too many is an error on the page."""
    wrong = {
        text: forms
        for text, forms in german.items()
        if text and len(forms) == 1
        for form in forms
        if sorted(PLACES.findall(text)) != sorted(PLACES.findall(form))
    }
    assert wrong == {}


def test_the_extraction_sees_plain_lazy_and_plural_texts() -> None:
    code = "_('one'); gettext_lazy(\"two\"); ngettext('three', 'threes', n); other('four')"
    assert list(strings_of_code(code)) == ["one", "two", "three"]
    page = (
        "{% load i18n %}{% translate 'five' %}{% blocktranslate count n=n %}{{ n }} six"
        "{% plural %}{{ n }} sixes{% endblocktranslate %}<p>seven</p>"
    )
    assert list(strings_of_template(page)) == ["five", "%(n)s six"]
