"""Which words, columns, units and order a letter takes for which case."""

from dataclasses import replace
from typing import Any

import pytest
from django.utils.translation import override

from consult.letters.content import flux_unit_for
from consult.letters.formats import Formats
from mitigation.letters.outcome import next_steps, outcome_content
from mitigation.letters.phrases import decibel_words, point
from mitigation.letters.verdict import by_place, risen, subject, verdict_sentences
from surveys.letters.survey_report import survey_charts, survey_content
from tests.letters import samples
from tests.letters.samples import FLUX, reduction, row, side

Groups = dict[str, list[list[str]]]


def outcome_letter(country: str = "GB", language: str = "en") -> dict[str, Any]:
    context = samples.outcome_context(head=samples.head(country))
    return outcome_content(outcome=samples.outcome(), context=context, language=language)


def survey_report(**more: Any) -> dict[str, Any]:
    return survey_content(context=samples.survey_context(**more), language="en")


def table_of(part: list[dict[str, Any]], caption: str) -> Groups:
    """The rows of a table by the head of their group."""
    (block,) = (block for block in part if block.get("caption") == caption)
    return {group["head"]: group["rows"] for group in block["groups"]}


BEFORE, AFTER = side(48.0, 3.1, 3), side(2.4, 0.2, 2)


def test_at_least_in_decibels_claims_no_more_than_the_low_end() -> None:
    change = reduction(94.0, 90.9, 96.0, 24.44, 20.87, 28.0, at_least=True)
    with override("en"):
        words = decibel_words(row("Bedroom", "bed", BEFORE, AFTER, change, "pass", 1.0),
                              Formats("en"))  # fmt: skip
    assert words == "at least 20.8"


@pytest.mark.parametrize("order", [1, -1])
def test_what_is_not_met_outweighs_what_is_open_at_a_place(order: int) -> None:
    both = [
        row("Bedroom", "bed", BEFORE, AFTER, None, "fail", 0.0),
        row("Bedroom", "bed", BEFORE, None, None, "undecided", None, measurand=FLUX),
    ][::order]
    spots = [*both, row("Bedroom", "chair", BEFORE, AFTER, None, "pass", 1.0)]
    assert by_place(spots) == {("Bedroom", "bed"): "not met", ("Bedroom", "chair"): "met"}
    with override("en"):
        assert subject(spots) == "Not met at one of two spots"
        (sentence,) = verdict_sentences([{**spot, "comparable": False} for spot in spots])
        steps = next_steps([{**spot, "comparable": False} for spot in spots])
    assert "not met at: Bedroom (bed)" in sentence and "cannot be decided" not in sentence
    assert len(steps) == 1 and steps[0].startswith("Look for what still causes the field")


def test_what_is_open_outweighs_what_is_met_at_a_place() -> None:
    spots = [
        row("Bedroom", "bed", BEFORE, None, None, "undecided", None),
        row("Bedroom", "bed", BEFORE, AFTER, None, "pass", 1.0, measurand=FLUX),
    ]
    assert by_place(spots) == by_place(spots[::-1]) == {("Bedroom", "bed"): "undecided"}


def test_each_value_has_its_own_band_beside_it() -> None:
    values = table_of(outcome_letter()["engineer"], "Values before and after, U = 2u (about 95 %)")
    rows = {
        (head.split(" [")[0], cells[0]): cells[1:5]
        for head, group in values.items()
        for cells in group
    }
    electric = "Electric field, ground-referenced"
    assert rows[electric, "Bedroom, bed head, left"] == ["48 ± 6", "3", "2.4 ± 0.4", "2"]
    assert rows[electric, "Bedroom, bed head, right"] == ["61 ± 8", "4", "4.6 ± 0.6", "2"]
    assert rows[electric, "Living room, sofa & reading <corner>"] == ["6.6 ± 0.9", "3", "–", "–"]


@pytest.mark.parametrize(
    ("value", "qualifier", "line"),
    [
        (4.999, "", "Within the target at the only spot"),
        (5.0, "", "Above the target at the only spot"),  # the target is a value under 5 V/m
        (5.001, "", "Above the target at the only spot"),
        (4.0, ">", "Above the target at the only spot"),  # it may lie anywhere above 4
        (4.0, "<", "Within the target at the only spot"),
    ],
)
def test_a_survey_calls_a_value_on_the_limit_above_the_target(
    value: float, qualifier: str, line: str
) -> None:
    finding = samples.survey_context().findings[0]
    assert samples.GUIDELINE.bounds[finding.measurand][1] == 5.0
    only = replace(finding, value=value, qualifier=qualifier)
    report = survey_report(findings=(only,))
    assert report["subject"] == line
    texts = [block.get("text", "") for block in report["client"]]
    assert ("Every spot is within the target." in texts) == line.startswith("Within")


def test_a_certificate_prints_its_day_and_the_day_it_is_due() -> None:
    caption = "Instruments with the certificate in force on the day of use"
    for letter in (outcome_letter(), survey_report()):
        (rows,) = table_of(letter["engineer"], caption).values()
        assert [cells[2:5] for cells in rows] == [
            ["C-1188", "12 September 2025", "12 September 2027"],
            ["C-1189", "12 September 2025", "12 September 2027"],
        ]


def test_beds_come_first_and_there_the_worst() -> None:
    """By the value after where there is one; what was not measured again stands last."""
    groups = table_of(outcome_letter()["client"], "Before and after at each spot")
    electric, magnetic = ([cells[0] for cells in rows] for rows in groups.values())
    assert electric == [
        "Children's room, bed head",  # 12.3 V/m
        "Children's room, bed middle",  # 5.2
        "Bedroom, bed head, right",  # 4.6
        "Bedroom, bed head, left",  # 2.4
        "Bedroom, bed middle",  # < 0.3
        "Study, desk seat",
        "Living room, sofa & reading <corner>",
    ]
    assert magnetic == ["Bedroom, bed head, left", "Study, desk seat"]


def test_a_survey_puts_beds_first_and_there_the_worst() -> None:
    groups = table_of(survey_report()["client"], "Measured at each spot")
    electric, magnetic = ([cells[0] for cells in rows] for rows in groups.values())
    assert electric == [
        "Bedroom, bed head, right",  # 61.3 V/m
        "Bedroom, bed head, left",  # 48
        "Bedroom, bed middle",  # 22
        "Children's room, bed middle",  # 17.5
        "Children's room, bed head",  # 9.1
        "Study, desk seat",  # 31, no bed
        "Living room, sofa & reading <corner>",  # 6.6
    ]
    assert magnetic == ["Bedroom, bed head, left", "Study, desk seat"]


@pytest.mark.parametrize(
    ("country", "language", "unit"),
    [
        ("US", "en", "mG"),
        ("CA", "en", "mG"),
        ("ca", "en", "mG"),
        ("US", "de", "nT"),
        ("CA", "de", "nT"),
        ("GB", "en", "nT"),
        ("DE", "de", "nT"),
    ],
)
def test_the_clients_unit_is_that_of_the_reader_and_the_country(
    country: str, language: str, unit: str
) -> None:
    assert flux_unit_for(samples.head(country), language) == unit
    heads = [
        group["head"]
        for block in outcome_letter(country, language)["client"]
        for group in block.get("groups", ())
    ]
    assert f" {unit};" in heads[1] and len(heads) == 2


@pytest.mark.parametrize(
    ("country", "language", "day"),
    [
        ("US", "en", "March 3, 2026"),
        ("GB", "en", "3 March 2026"),
        ("CA", "en", "3 March 2026"),
        ("US", "de", "3. März 2026"),
        ("DE", "de", "3. März 2026"),
    ],
)
def test_a_day_is_written_as_its_reader_writes_it(country: str, language: str, day: str) -> None:
    with override(language):
        assert Formats(language, country).day(samples.BEFORE_DAY) == day
    texts = [block.get("text", "") for block in outcome_letter(country, language)["client"]]
    assert any(day in text for text in texts)


def test_each_visit_has_its_own_day_and_conditions() -> None:
    letter = outcome_letter()
    (first, *_) = [block["text"] for block in letter["client"] if block["type"] == "paragraph"]
    assert first.startswith("On 3 March 2026 we measured the fields")
    assert "On 20 May 2026, after the work, we measured again" in first
    (rows,) = table_of(letter["engineer"], "Conditions on the days of measurement").values()
    assert rows == [
        ["baseline V1", "3 March 2026", "P. Varga", "19.5", "48", "231", "36 readings and 6 trials",
         "evening, heating on"],
        ["follow-up V2", "20 May 2026", "P. Varga", "21", "72", "229", "38 readings",
         "evening, demand switch asleep"],
    ]  # fmt: skip


@pytest.mark.parametrize(("guard", "words"), [(0.25, "0.25"), (0.57, "0.6"), (8.4, "8")])
def test_a_guard_band_is_printed_to_its_own_place(guard: float, words: str) -> None:
    """w is an expanded uncertainty: two figures up to 354, one from there on."""
    details = {key: replace(detail, guard=guard) for key, detail in samples.details().items()}
    letter = outcome_content(
        outcome=samples.outcome(), context=samples.outcome_context(details=details), language="en"
    )
    groups = table_of(letter["engineer"], "Reduction and conformity")
    assert {cells[4] for rows in groups.values() for cells in rows} == {words}


@pytest.mark.parametrize(
    ("qualifier", "lower", "ends"),
    [
        ("", 48.0, (41.8, 54.2)),  # 48 ± 2·3.1
        ("\u2264", 45.0, (45.0, 48.0)),  # a bound has its bounds
        ("<", 0.0, (0.0, 48.0)),
    ],
)
def test_the_picture_draws_the_whole_interval(
    qualifier: str, lower: float, ends: tuple[float, float]
) -> None:
    after = point(side(48.0, 3.1, 3, qualifier=qualifier, lower=lower), "V/m", "nT")
    assert after is not None
    assert (after.value, after.low, after.high) == pytest.approx((48.0, *ends))
    finding = replace(
        samples.survey_context().findings[0], value=48.0, u=3.1, qualifier=qualifier, lower=lower
    )
    context = samples.survey_context(findings=(finding,))
    with override("en"):
        (chart,) = survey_charts(context, Formats("en"), "nT")
    drawn = chart.rows[0].after
    assert drawn is not None
    assert (drawn.value, drawn.low, drawn.high) == pytest.approx((48.0, *ends))


def test_the_interval_of_the_picture_is_in_the_clients_unit_and_not_below_zero() -> None:
    flux = point(side(210.0, 12.0, 3), "nT", "mG")
    assert flux is not None
    assert (flux.value, flux.low, flux.high) == pytest.approx((2.1, 1.86, 2.34))
    weak = point(side(3.0, 2.0, 1), "V/m", "nT")
    assert weak is not None and (weak.low, weak.high) == (0.0, 7.0)


@pytest.mark.parametrize(("real", "places"), [(True, [("Bedroom", "bed")]), (False, [])])
def test_a_rise_is_told_where_it_is_certain(real: bool, places: list[tuple[str, str]]) -> None:
    change = reduction(-35.2, -57.4, -16.1 if real else 8.0, -2.6, -3.9, -1.3, real=real)
    spots = [row("Bedroom", "bed", side(9.1, 0.6, 3), side(12.3, 0.8, 3), change, "fail", 0.0)]
    assert risen(spots) == places
    with override("en"):
        (sentences,) = verdict_sentences(spots)
        steps = next_steps(spots)
    assert ("The field rose at: Bedroom (bed)." in sentences) == real
    assert any("higher than before" in step for step in steps) == real
