"""What the letters say: every required part, in English and in German."""

import ast
import re
from ast import literal_eval
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils.translation import gettext, override, pgettext

from consult.letters import words
from consult.letters.formats import Formats
from mitigation.letters.outcome import outcome_charts, outcome_content
from mitigation.letters.phrases import reduction_words
from mitigation.letters.verdict import subject
from surveys.letters.survey_report import survey_content
from surveys.letters.technical import visits_and_conditions
from tests.letters import samples
from tests.letters.samples import reduction, row, side

NBSP = "\u00a0"
SOURCES = ("*/letters/*.py", "surveys/services/facts.py")
CATALOGUE = Path(settings.BASE_DIR) / "consult" / "locale" / "de" / "LC_MESSAGES"


def strings(value: Any) -> Iterator[str]:
    """Every text of a content, wherever it lies."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from strings(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from strings(part)


def said(content: dict[str, Any], part: str = "") -> str:
    found = strings(content[part]) if part else strings(content)
    return "\n".join(found).replace(NBSP, " ")


def letter(language: str = "en", **more: Any) -> dict[str, Any]:
    return outcome_content(
        outcome=samples.outcome(), context=samples.outcome_context(**more), language=language
    )


# ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6 (from memory), and the design of the letter.
REQUIRED = [
    ("title", "Report of results with statements of conformity"),
    ("issuer", "Quellmoor Field Survey, 7 Tanner's Yard"),
    ("place of the activity", "12 Elm Row, Lower Ashwick, AW3 9ZY"),
    ("unique number", "L-2026-0042"),
    ("customer", "Ada & Tom Birchall"),
    ("dates of the activity", "3 March 2026, 20 May 2026"),
    ("date of issue", "27 May 2026"),
    ("method", "resultant-1: Three axes are combined"),
    ("documents with edition", "IEC 61786-2:2014"),
    ("results hold for the items only", "The results hold only for the places and the hours"),
    ("passed on only as a whole", "Pass this document on only as a whole."),
    ("who authorises, in what function", "Maren Holt, Head of measurement"),
    ("data from the client", "Stated by the client; so is what each place is used for."),
    ("statements of others", "Statements of others, which we did not check"),
    ("opinions", "held by Maren Holt"),
    ("sampling", "nothing was sampled"),
    ("end mark", "End of letter L-2026-0042"),
    ("placement", "It is an assumption of ours"),
    ("guideline by analogy", "At other places it is applied by analogy."),
    ("risk of a row", "0.099"),  # 1 − 0.9015, met
    ("trial with its result", "18 V/m"),
    ("distance as recorded", "body 1.5 m away"),
    ("instrument", "EF-1 (one-axis field meter)"),
    ("certificate", "C-1188"),
    ("frequency range", "16–2000"),
    ("humidity", "72"),
    ("ground check", "water pipe"),
    ("value with uncertainty", "12.3 ± 1.7"),
    ("reduction with interval", "95.0 % (94.0 to 95.9)"),
    ("decibels", "26.0 (24.4 to 27.7)"),
    ("probability", "0.289"),
    ("decision rule", "Guard band w = 2·u(T)"),
    ("risk of the rule", "wrongly “met” in 2.3 % of cases"),
    ("risk on the other side", "wrongly “not met” in 2.3 % of cases"),
    ("which results it applies to", "The statements of conformity hold for the value after"),
    ("specification", "upper limit of band 2 (“slight anomaly”) of SBM-2015"),
    ("the display", "X 12.5, Y <0.3, Z 8.4 V/m"),
    ("set aside and why", "lead touched"),
    ("caution of a comparison", "other ground point"),
    ("caution of humidity", "humidity above 70 %"),
    ("flag", "two axes"),
    ("not comparable and why", "instrument out of calibration on the day of its visit"),
    ("left to do", "Fit the second demand switch (circuit 6), ordered."),
    ("precautionary", "It is no legal limit"),
    ("no medicine", "This letter makes no medical statement."),
    ("electrician", "only by a registered electrician"),
    ("protective earth", "Never disconnect a protective earth."),
    ("shielding", "must be bonded to earth and protected (RCD)"),
    ("ground rod", "Locate buried services before driving a ground rod."),
    ("outlet tester", "three-lamp socket tester cannot see a bootleg earth"),
]


@pytest.mark.parametrize(("what", "words_of_it"), REQUIRED, ids=[what for what, _ in REQUIRED])
def test_an_outcome_letter_holds(what: str, words_of_it: str) -> None:
    assert words_of_it in said(letter()), what


def test_without_its_facts_it_does_not_hold_them() -> None:
    """The list above fails for the right reason: the facts come from the context."""
    bare = said(
        letter(instruments=(), set_aside=(), ground_checks=(), open_items=(), details={}, log=())
    )
    for gone in ("C-1188", "lead touched", "water pipe", "Fit the second", "Y <0.3"):
        assert gone not in bare
    assert "No check of ground points is on record." in bare


def page_one(content: dict[str, Any]) -> list[dict[str, Any]]:
    """The blocks before the heading of the picture."""
    client: list[dict[str, Any]] = content["client"]
    kinds = [block["type"] for block in client]
    return client[: kinds.index("pictures") - 1]


def test_the_clients_part_comes_in_plain_words() -> None:
    text = said(letter(), "client")
    for technical in ("ILAC", "resultant-1", "u²", "conditional-pass", "JCGM"):
        assert technical not in text
    for method in ("ground-referenced", "interval", "± "):
        assert method not in said({"client": page_one(letter())})
    assert "12.3 V/m, and the target is under 5 V/m. Before the work it was 9.1 V/m." in text


def test_rules_are_kept_beside_the_words() -> None:
    assert letter()["rules"] == list(samples.RULES)


ONE = ("Bedroom", "bed", side(48.0, 3.1, 3), side(2.4, 0.2, 2), None)


@pytest.mark.parametrize(
    ("decisions", "line"),
    [
        (["pass"], "Target reached at the only place"),
        (["conditional-pass"], "Target just reached at the only place"),
        (["conditional-fail"], "Target just missed at the only place"),
        (["fail"], "Target missed at the only place"),
        (["undecided"], "Target not yet proven at the only place"),
        (["pass", "pass"], "Target reached at all two places"),
        (["pass", "conditional-pass"], "Target reached at all two places, at one only just"),
        (["pass", "fail", "pass"], "Target missed at one of three places"),
        (["fail", "conditional-fail", *["pass"] * 7], "Target missed at two of nine places"),
        (["fail", "fail"], "Target missed at all two places"),
        (["undecided", "fail", "pass"], "Target not yet proven: missed at one place, open at one"),
        (
            ["fail", *["undecided"] * 3],
            "Target not yet proven: missed at one place, open at three",
        ),
        (["undecided", "pass", "pass"], "Target not yet proven: open at one of three places"),
        (["undecided", "undecided"], "Target not yet proven: open at all two places"),
        (["fail"] * 13, "Target missed at all 13 places"),
    ],
)
def test_the_subject_states_the_outcome(decisions: list[str], line: str) -> None:
    spots = [
        row("Bedroom", f"bed {at}", *ONE[2:], decision, None)
        for at, decision in enumerate(decisions)
    ]
    assert subject(spots) == line


def test_a_spot_counts_once_with_its_worst_measurand() -> None:
    spots = [
        row(*ONE, "pass", 1.0),
        row(*ONE, "fail", 0.0, measurand=samples.FLUX),
        row("Bedroom", "other", *ONE[2:], "pass", 1.0),
    ]
    assert subject(spots) == "Target missed at one of two places"


@pytest.mark.parametrize(
    ("change", "more", "language", "figure"),
    [
        (reduction(95.0, 94.0, 95.9, 26, 24.4, 27.7), {}, "en", "95.0 % (94.0 to 95.9)"),
        (reduction(95.0, 94.0, 95.9, 26, 24.4, 27.7), {}, "de", "95,0 % (94,0 bis 95,9)"),
        (reduction(-35.2, -57.4, -16.1, -2, -3, -1), {}, "en", "rose by 35 % (16 to 58)"),
        (reduction(-35.2, -57.4, -16.1, -2, -3, -1), {}, "de", "gestiegen um 35 % (16 bis 58)"),
        (reduction(94.0, 90.9, 96.0, 24, 21, 28, at_least=True), {}, "en", "at least 90 %"),
        (reduction(94.0, 90.9, 96.0, 24, 21, 28, at_least=True), {}, "de", "mindestens 90 %"),
        (
            reduction(4.3, -12.5, 18.6, 0.4, -1, 1.8, real=False), {}, "en",
            "4 % (−13 to 19), not certain",
        ),
        (
            reduction(2.0, -9.0, 9.0, 0.4, -1, 1.8, at_least=True, real=False), {}, "en",
            "no certain reduction",
        ),
        (None, {}, "en", "no figure"),
        (None, {"blocks": ["different measurand"]}, "en", "no comparison"),
        (None, {"blocks": ["different measurand"]}, "de", "kein Vergleich"),
    ],
)  # fmt: skip
def test_a_reduction_in_words(
    change: dict[str, Any] | None, more: dict[str, Any], language: str, figure: str
) -> None:
    spot = row(*ONE[:4], change, "pass", 1.0, **more)
    with override(language):
        found = " ".join(reduction_words(spot, Formats(language))).strip()
    assert found.replace(NBSP, " ") == figure


def test_german_numbers_have_a_comma() -> None:
    text = said(letter("de"))
    assert "12,3 ± 1,7" in text
    assert "95,0 % (94,0 bis 95,9)" in text
    assert "X 12,5, Y <0,3, Z 8,4 V/m" in text
    assert "3. März 2026" in text
    assert not re.findall(r"\d\.\d+ (?:%|V/m|nT)", text)


def test_a_house_in_the_united_states_reads_milligauss_beside_nanotesla() -> None:
    content = letter(head=samples.head("US"))
    client, engineer = said(content, "client"), said(content, "engineer")
    assert "target 1 mG" in client or "1 mG" in client
    assert "2.10" in client  # 210 nT
    assert "1 mG = 100 nT" in client
    assert "B [nT]" in engineer
    assert "210 ± 24" in engineer
    assert "GFCI" in client
    assert "March 3, 2026" in said(content)
    assert "mG" not in said(letter(), "client")


@pytest.mark.parametrize(
    ("country", "protection", "other"),
    [("US", "GFCI", "RCD"), ("CA", "GFCI", "RCD"), ("ca", "GFCI", "RCD"), ("GB", "RCD", "GFCI")],
)
@pytest.mark.parametrize("language", ["en", "de"])
def test_the_protection_is_named_as_in_the_country(language, country, protection, other) -> None:
    with override(language):
        sentences = " ".join(words.wiring_sentences(country))
    assert protection in sentences and other not in sentences


def test_the_survey_report_holds_its_findings() -> None:
    text = said(survey_content(context=samples.survey_context(), language="en"))
    for part in (
        "Above the target at all seven places",
        "61 ± 8",
        "61 V/m, extreme anomaly (target 5 V/m)",
        "C-1188",
        "lead touched",
        "water pipe",
        "X 12.5, Y <0.3, Z 8.4 V/m",
        "The results hold only for the places and the hours",
        "It is no legal limit",
        "cannot see a bootleg earth",
        "Never disconnect a protective earth.",
    ):
        assert part in text, part


def test_a_safety_stop_stands_first_in_the_report() -> None:
    context = samples.survey_context(safety=("More than 50 V between two ground points.",))
    first = survey_content(context=context, language="en")["client"][0]
    assert first["title"] == "Stop: keep clear, and call a registered electrician"


def test_a_safety_stop_stands_first_in_the_outcome_letter() -> None:
    stop = "More than 50 V between two ground points."
    assert letter(safety=(stop,))["client"][0]["entries"] == [stop.replace("50 V", f"50{NBSP}V")]
    assert stop not in said(letter())


def test_a_guard_band_that_cannot_be_given_is_a_dash() -> None:
    details = {
        key: replace(detail, guard=float("nan")) for key, detail in samples.details().items()
    }
    assert "nan" not in said(letter(details=details)).split()
    judged = next(
        block
        for block in letter(details=details)["engineer"]
        if block.get("caption") == "Reduction and conformity"
    )
    assert judged["groups"][0]["rows"][0][4] == "–"


def test_charts_for_a_page_are_those_of_the_letter() -> None:
    uses = {key: detail.use for key, detail in samples.details().items()}
    charts = outcome_charts(
        outcome=samples.outcome(), uses=uses, guideline=samples.GUIDELINE, language="en"
    )
    assert [chart.identifier for chart in charts] == [samples.GROUND, samples.FLUX]
    assert [row.rose for row in charts[0].rows].count(True) == 1
    assert [row.at_least for row in charts[0].rows].count(True) == 1
    assert [row.comparable for row in charts[0].rows].count(False) == 2


# -- Translations -----------------------------------------------------------------------------


def msgids() -> list[str]:
    """Every text that the letters' code marks for translation."""
    found = []
    for package in SOURCES:
        for path in sorted(Path(settings.BASE_DIR).glob(package)):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Name)
                    and node.func.id in ("_", "gettext", "gettext_noop")
                    and node.args
                    and isinstance(node.args[0], ast.Constant)
                    and isinstance(node.args[0].value, str)
                ):
                    found.append(node.args[0].value)
    return found


SAME_IN_GERMAN = {"Median (95 %)"}


def test_every_text_of_the_letters_is_german_in_german() -> None:
    texts = msgids()
    assert len(texts) > 150
    with override("de"):
        missing = {text for text in texts if gettext(text) == text} - SAME_IN_GERMAN
    assert not missing


def test_translations_keep_their_placeholders() -> None:
    with override("de"):
        for text in msgids():
            assert set(re.findall(r"%\(\w+\)s", gettext(text))) == set(
                re.findall(r"%\(\w+\)s", text)
            ), text


def test_the_compiled_catalogue_is_not_older_than_its_text() -> None:
    """Each entry of the .po that is translated is what the .mo answers."""
    source = (CATALOGUE / "django.po").read_text(encoding="utf-8")
    entry = r'^(?:msgctxt "(.+)"\n)?msgid "(.+)"\nmsgstr "(.+)"$'
    entries = re.findall(entry, source, flags=re.MULTILINE)
    assert len(entries) > 150
    with override("de"):
        for context, text, german in entries:
            text, german = (literal_eval(f'"{word}"') for word in (text, german))
            assert (pgettext(context, text) if context else gettext(text)) == german


def test_every_fixed_phrase_has_german_words() -> None:
    with override("de"):
        assert all(words.phrase(text) != text for text in words.PHRASES)
        assert words.phrase("something nobody foresaw") == "something nobody foresaw"


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("A1", "baseline A1"),
        ("baseline 1", "baseline 1"),
        ("Baseline", "Baseline"),
        ("", "baseline"),
    ],
)
def test_a_visit_is_named_by_its_kind_once(label, words):
    visit = samples.visits()[0]
    visits = [replace(visit, kind="baseline", label=label)]
    assert words in strings(visits_and_conditions(visits, Formats("en")))
