"""Which words, columns, units and order a letter takes for which case."""

from dataclasses import replace
from typing import Any

import pytest
from django.utils.translation import override

from consult.letters.content import flux_unit_for
from consult.letters.formats import Formats
from mitigation.letters.outcome import next_steps, outcome_content
from mitigation.letters.phrases import decibel_words, point
from mitigation.letters.verdict import decisions_by_place, risen, subject, verdict_sentences
from surveys.letters.survey_report import survey_charts, survey_content
from tests.letters import samples
from tests.letters.samples import FLUX, reduction, row, side

Groups = dict[str, list[list[str]]]


def outcome_letter(country: str = "GB", language: str = "en") -> dict[str, Any]:
    context = samples.outcome_context(head=samples.head(country))
    return outcome_content(outcome=samples.outcome(), context=context, language=language)


def survey_report(**more: Any) -> dict[str, Any]:
    return survey_content(context=samples.survey_context(**more), language="en")


NBSP = "\u00a0"


def charts_of(letter: dict[str, Any]) -> list[dict[str, Any]]:
    (block,) = (block for block in letter["client"] if block["type"] == "pictures")
    charts: list[dict[str, Any]] = block["charts"]
    return charts


def order_of_pictures(letter: dict[str, Any]) -> list[list[str]]:
    return [[row["spot"] for row in chart["rows"]] for chart in charts_of(letter)]


def table_of(part: list[dict[str, Any]], caption: str) -> Groups:
    """The rows of a table by the head of their group."""
    captions = [str(block.get("caption", "")).replace(NBSP, " ") for block in part]
    block = part[captions.index(caption)]
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
    bed = [
        row("Bedroom", "bed", BEFORE, AFTER, None, "fail", 0.0),
        row("Bedroom", "bed", BEFORE, None, None, "undecided", None, measurand=FLUX),
    ][::order]
    spots = [*bed, row("Bedroom", "chair", BEFORE, AFTER, None, "pass", 1.0)]
    assert decisions_by_place(spots) == {("Bedroom", "bed"): "fail", ("Bedroom", "chair"): "pass"}
    with override("en"):
        assert subject(spots) == "Target missed at one of two places"
        (sentence,) = verdict_sentences([{**spot, "comparable": False} for spot in spots])
        steps = next_steps([{**spot, "comparable": False} for spot in spots])
    assert "1 is not" in sentence and "open" not in sentence
    assert len(steps) == 1 and steps[0].startswith("Look for what still causes the field")


def test_what_is_open_outweighs_what_is_met_at_a_place() -> None:
    spots = [
        row("Bedroom", "bed", BEFORE, None, None, "undecided", None),
        row("Bedroom", "bed", BEFORE, AFTER, None, "pass", 1.0, measurand=FLUX),
    ]
    for rows in (spots, spots[::-1]):
        assert decisions_by_place(rows) == {("Bedroom", "bed"): "undecided"}


def test_each_value_has_its_own_band_beside_it() -> None:
    values = table_of(outcome_letter()["engineer"], "Values before and after, U = 2u (about 95 %)")
    rows = {
        (place, cells[0]): [cell.replace(NBSP, " ") for cell in cells[1:5]]
        for place, group in values.items()
        for cells in group
    }
    electric = "E, ground [V/m]"
    assert rows["Bedroom, bed head, left", electric] == ["48 ± 6", "3", "2.4 ± 0.4", "2"]
    assert rows["Bedroom, bed head, right", electric] == ["61 ± 8", "4", "4.6 ± 0.6", "2"]
    assert rows["Living room, sofa & reading <corner>", electric] == ["6.6 ± 0.9", "3", "–", "–"]


@pytest.mark.parametrize(
    ("value", "qualifier", "line"),
    [
        (4.999, "", "Within the target at the only place"),
        (5.0, "", "Above the target at the only place"),  # the target is a value under 5 V/m
        (5.001, "", "Above the target at the only place"),
        (4.0, ">", "Above the target at the only place"),  # it may lie anywhere above 4
        (4.0, "<", "Within the target at the only place"),
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
    assert ("Everywhere you sleep is in the target range." in texts) == line.startswith("Within")


def test_a_certificate_prints_its_day_and_the_day_it_is_due() -> None:
    caption = "Instruments with the certificate of each"
    for letter in (outcome_letter(), survey_report()):
        (rows,) = table_of(letter["engineer"], caption).values()
        assert [cells[2:5] for cells in rows] == [
            ["C-1188", "12 September 2025", "12 September 2027"],
            ["C-1189", "12 September 2025", "12 September 2027"],
        ]


def test_beds_come_first_and_there_the_worst() -> None:
    """By the value after where there is one; what was not measured again stands last."""
    beds = [
        "Children's room (bed head)",  # 12.3 V/m
        "Children's room (bed middle)",  # 5.2
        "Bedroom (bed head, right)",  # 4.6
        "Bedroom (bed head, left; bed middle)",  # 2.4 and < 0.3, both met with certainty
    ]
    others = ["Study (desk seat)", "Living room (sofa & reading <corner>)"]
    letter = outcome_letter()
    (rows,) = table_of(letter["client"], "The target at each place").values()
    assert [cells[0] for cells in rows] == [*beds, *others]
    electric, magnetic = order_of_pictures(letter)
    assert electric == [
        "bed head", "bed middle", "bed head, right", "bed head, left", "bed middle",
        "desk seat", "sofa & reading <corner>",
    ]  # fmt: skip
    assert magnetic == ["bed head, left", "desk seat"]
    values = table_of(letter["engineer"], "Values before and after, U = 2u (about 95 %)")
    assert [place.split(", ", 1)[1] for place in values] == electric


def test_a_survey_puts_beds_first_and_there_the_worst() -> None:
    report = survey_report()
    (rows,) = table_of(report["client"], "The target at each place").values()
    assert [cells[0] for cells in rows] == [
        "Bedroom, bed head, right",  # 61.3 V/m
        "Bedroom, bed head, left",  # 48
        "Bedroom, bed middle",  # 22
        "Children's room, bed middle",  # 17.5
        "Children's room, bed head",  # 9.1
        "Study, desk seat",  # 31, no bed
        "Living room, sofa & reading <corner>",  # 6.6
    ]
    electric, magnetic = order_of_pictures(report)
    assert electric == [cells[0].split(", ", 1)[1] for cells in rows]
    assert magnetic == ["bed head, left", "desk seat"]


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
    charts = charts_of(outcome_letter(country, language))
    assert [chart["unit"] for chart in charts] == ["V/m", unit]
    assert charts[1]["limit_text"] == f"{1 if unit == 'mG' else 100}{NBSP}{unit}"


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
    (measured,) = [
        value
        for word, value in outcome_letter(country, language)["references"]
        if word in ("Measured", "Gemessen")
    ]
    assert day in measured


def test_each_visit_has_its_own_day_and_conditions() -> None:
    letter = outcome_letter()
    assert ["Measured", "3 March 2026 and 20 May 2026"] in letter["references"]
    (rows,) = table_of(letter["engineer"], "Conditions on the days of measurement").values()
    assert rows == [
        ["baseline V1", "3 March 2026", "P. Varga", "19.5", "48", "231", "36 readings and 6 trials",
         "evening, heating on"],
        ["follow-up V2", "20 May 2026", "P. Varga", "21", "72", "229", "38 readings",
         "evening, demand switch asleep"],
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("guard", "words"), [(0.25, "0.25"), (0.57, "0.57"), (8.4, "8.4"), (0.3333, "0.33")]
)
def test_a_guard_band_is_printed_to_its_own_place(guard: float, words: str) -> None:
    """To two digits."""
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
