"""Page one of an outcome letter: by place, and the sentence that the client waits for."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from django.utils.translation import override

from consult.letters.formats import Formats
from mitigation.letters.outcome import outcome_content
from mitigation.letters.places import place_rows
from mitigation.letters.verdict import counted, decisions_by_place, waited_for
from surveys.letters.facts import FindingFacts, InstrumentFacts
from surveys.letters.scale import Measured, not_excluded
from surveys.letters.survey_report import survey_content
from tests.letters import samples
from tests.letters.samples import FLUX, GROUND, reduction, row, side

NBSP = "\u00a0"
BEFORE, AFTER = side(48.0, 3.1, 3), side(2.4, 0.2, 2)


def spots_of(decisions: list[str], room: str = "Bedroom") -> list[dict[str, Any]]:
    return [
        row(room, f"bed {at}", BEFORE, AFTER, None, decision, None)
        for at, decision in enumerate(decisions)
    ]


def waited(decisions: list[str], beds: int) -> str:
    spots = spots_of(decisions)
    sleeping = [(spot["room"], spot["spot"]) for spot in spots[:beds]]
    return waited_for(decisions_by_place(spots), sleeping)


@pytest.mark.parametrize(
    ("decisions", "beds", "sentence"),
    [
        (["pass", "pass", "fail"], 2, "Everywhere you sleep is now in the target range."),
        (
            ["pass", "conditional-pass"], 2,
            "Everywhere you sleep is now in the target range, at one place only just.",
        ),
        (
            ["pass", "fail", "undecided", "fail"], 3,
            "Of 3 places where you sleep, 1 is now in the target range, 1 is not and 1 is open.",
        ),
        (
            ["undecided", "undecided"], 2,
            "Of 2 places where you sleep, none is yet proven to be in the target range.",
        ),
        (["fail"], 1, "The place where you sleep is not in the target range."),
        (["undecided"], 1, "Whether the place where you sleep is in the target range is open."),
        (["pass", "pass"], 0, "Every place that we measured is now in the target range."),
        (
            ["pass", "conditional-fail"], 0,
            "Of 2 places that we measured, 1 is now in the target range and 1 is not.",
        ),
        (["fail", "fail"], 0, "Of 2 places that we measured, none is in the target range."),
    ],
)  # fmt: skip
def test_the_sentence_that_the_client_waits_for(decisions, beds, sentence) -> None:
    with override("en"):
        assert waited(decisions, beds) == sentence


def test_certain_and_narrow_results_are_counted_apart() -> None:
    decisions = ["pass", "pass", "conditional-pass", "undecided", "conditional-fail", "fail"]
    with override("en"):
        assert counted(decisions_by_place(spots_of(decisions))) == (
            "The target at all 6 places measured: met with certainty at 2, just met at 1, open at "
            "1, just missed at 1, not met at 1."
        )
        assert counted(decisions_by_place(spots_of(["pass"]))) == ""


def rows_of(spots: list[dict[str, Any]], **more: Any) -> list[tuple[int, str, str]]:
    context = samples.outcome_context(details={}, **more)
    with override("en"):
        rows = place_rows(spots, context, Formats("en", "GB"), "nT")
    return [(len(row.places), row.decision, row.why.replace(NBSP, " ")) for row in rows]


def test_places_of_a_room_with_one_verdict_share_a_row() -> None:
    spots = [*spots_of(["pass", "pass"]), *spots_of(["pass", "fail"], "Study")]
    assert [(n, decision) for n, decision, _ in rows_of(spots)] == [
        (2, "pass"), (1, "pass"), (1, "fail"),
    ]  # fmt: skip


def test_above_six_rows_what_is_met_with_certainty_is_one_line() -> None:
    rooms = [spot for at in range(6) for spot in spots_of(["pass"], f"Room {at}")]
    assert len(rows_of(rooms)) == 6
    spots = [*rooms, *spots_of(["conditional-pass"], "Study")]
    assert rows_of(spots) == [
        (1, "conditional-pass", "Too close to the limit to be certain."),
        (6, "pass", ""),
    ]


@pytest.mark.parametrize(
    ("spot", "why"),
    [
        (
            row("Study", "desk", BEFORE, None, None, "undecided", None,
                blocks=["no reading left at the other visit"]),
            "Electric field: not measured again. We measure here again and agree the day with you.",
        ),
        (
            row("Study", "desk", BEFORE, None, None, "undecided", None,
                blocks=["different measurand"]),
            "Electric field: measured by another method the second time. We measure here again "
            "and agree the day with you.",
        ),
        (
            row("Study", "desk", BEFORE, AFTER, None, "undecided", None,
                blocks=["ground point found faulty"]),
            "Electric field: ground point found faulty. We measure here again and agree the day "
            "with you.",
        ),
        (
            row("Study", "desk", side(9.1, 0.62, 3), side(12.3, 0.84, 3),
                reduction(-35.2, -57.4, -16.1, -2.6, -3.9, -1.3), "fail", 0.0),
            "Electric field: 12.3 V/m, and the target is under 5 V/m. Before the work it was "
            "9.1 V/m. We look for the cause and agree the next step with you.",
        ),
        (
            row("Study", "desk", side(2.0, 0.1, 2), side(3.0, 0.2, 2),
                reduction(-50.0, -70.0, -30.0, -3.5, -4.6, -2.3), "pass", 1.0),
            "Electric field: higher than before, and still in the target range.",
        ),
        (row("Study", "desk", BEFORE, AFTER, None, "pass", 1.0), ""),
    ],
)  # fmt: skip
def test_a_place_says_why_and_what_is_left(spot, why) -> None:
    assert [words for _, _, words in rows_of([spot])] == [why]


def test_a_place_measured_on_another_day_says_so() -> None:
    spots = [
        row("Study", "desk", BEFORE, AFTER, None, "pass", 1.0),
        row("Study", "sofa", BEFORE, AFTER, None, "pass", 1.0, after_on=date(2026, 4, 2)),
    ]
    words = {why for _, _, why in rows_of(spots)}
    assert words == {"", "Measured after: 2 April 2026."}
    context = samples.outcome_context(details={})
    letter = outcome_content(
        outcome={**samples.outcome(), "spots": spots}, context=context, language="en"
    )
    (chart,) = next(block["charts"] for block in letter["client"] if block["type"] == "pictures")
    assert [line["days"] for line in chart["rows"]] == ["", "after: 2 April 2026"]
    values = next(
        block for block in letter["engineer"]
        if block.get("caption", "").startswith("Values before")
    )  # fmt: skip
    assert [group["rows"][0][0] for group in values["groups"]] == [
        "E, ground [V/m]", "E, ground [V/m], after: 2 April 2026",
    ]  # fmt: skip


def titled(letter: dict[str, Any]) -> dict[str, list[str]]:
    return {
        block["title"]: block["entries"] for block in letter["client"] if block["type"] == "note"
    }


def test_a_changed_method_an_expired_meter_and_damp_air_are_said_on_page_one() -> None:
    spots = [
        row("Study", "desk", BEFORE, None, None, "undecided", None, blocks=["different measurand"],
            cautions=["humidity above 70 %"]),
    ]  # fmt: skip
    expired = replace(
        samples.instruments()[0], due_on=date(2026, 4, 1), out_of_force_on=(samples.AFTER_DAY,)
    )
    context = samples.outcome_context(instruments=(expired,), details={})
    outcome = {**samples.outcome(), "spots": spots}
    limits = titled(outcome_content(outcome=outcome, context=context, language="en"))[
        "What limits these results"
    ]
    method, meter, air = (sentence.replace(NBSP, " ") for sentence in limits)
    assert method.startswith("The electric field was measured by another method")
    assert meter.startswith(
        "The calibration of the meter EF-1 expired on 1 April 2026, before it was used on "
        "20 May 2026."
    )
    assert air.startswith("The air was damp on 20 May 2026 (72 %).")
    plain = samples.outcome_context(details={})
    spots = spots_of(["pass"])
    sound = outcome_content(outcome={**outcome, "spots": spots}, context=plain, language="en")
    assert "What limits these results" not in titled(sound)


def instruments(**more: Any) -> tuple[InstrumentFacts, ...]:
    return (replace(samples.instruments()[0], **more), samples.instruments()[1])


def test_an_expired_certificate_is_marked_at_each_value_that_was_read_on_it() -> None:
    details = {
        key: replace(detail, after_is_certified=key[2] == FLUX)
        for key, detail in samples.details().items()
    }
    context = samples.outcome_context(
        details=details,
        instruments=instruments(due_on=date(2026, 4, 1), out_of_force_on=(samples.AFTER_DAY,)),
    )
    letter = outcome_content(outcome=samples.outcome(), context=context, language="en")
    tables = {block.get("caption", ""): block for block in letter["engineer"]}
    (group,) = tables["Instruments with the certificate of each"]["groups"]
    rows = group["rows"]
    assert [cells[4] for cells in rows] == [f"EXPIRED on 1 April 2026{NBSP}†", "12 September 2027"]
    values = next(block for name, block in tables.items() if name.startswith("Values before"))
    marks = {
        (cells[0], cells[1].endswith("†"), cells[3].endswith("†"))
        for group in values["groups"]
        for cells in group["rows"]
        if cells[3] != "–"
    }
    assert marks == {("E, ground [V/m]", False, True), ("B [nT]", False, False)}


def measured(value: float, qualifier: str) -> Measured:
    return Measured(
        ("Studio", "chair"), GROUND, "Electric field", "V/m", value, qualifier, None, 5.0
    )


@pytest.mark.parametrize(
    ("value", "qualifier", "is_told"),
    [(312.6, ">", True), (312.6, "", False), (6000.0, ">", False)],  # the last one is a danger
)
def test_beyond_the_range_of_the_meter_the_public_level_is_not_excluded(
    value, qualifier, is_told
) -> None:
    with override("en"):
        notes = not_excluded([measured(value, qualifier)], {GROUND: 5000.0}, Formats("en"), "nT")
    assert bool(notes) == is_told
    if notes:
        assert f"Studio (chair): Electric field >{NBSP}312{NBSP}V/m" in notes[0]


def test_the_scale_has_the_highest_missed_value_of_each_quantity_with_a_public_level() -> None:
    letter = outcome_content(
        outcome=samples.outcome(), context=samples.outcome_context(), language="en"
    )
    (scale,) = (block for block in letter["client"] if block["type"] == "levels")
    assert [(line["name"], line["value"], line["level"]) for line in scale["rows"]] == [
        ("Electric field", 12.3, 5000.0)
    ]
    without = samples.outcome_context(frequency_hz=None)
    letter = outcome_content(outcome=samples.outcome(), context=without, language="en")
    assert not any(block["type"] == "levels" for block in letter["client"])


def survey(findings: tuple[FindingFacts, ...]) -> dict[str, Any]:
    return survey_content(context=samples.survey_context(findings=findings), language="en")


def test_a_survey_has_one_value_for_a_place() -> None:
    desk = next(finding for finding in samples.survey_context().findings if finding.room == "Study")
    flux = replace(desk, measurand=FLUX, unit="nT", value=92.0, band=2)
    letter = survey((desk, flux))
    (table,) = (block for block in letter["client"] if block["type"] == "table")
    ((place, result, why),) = table["groups"][0]["rows"]
    assert (place, result) == ("Study, desk seat", "above the target ▲")
    assert why.replace(NBSP, " ") == "Electric field 31 V/m, severe anomaly (target 5 V/m)."


@pytest.mark.parametrize(("n", "is_printed"), [(120, True), (121, False)])
def test_more_readings_than_anybody_reads_stay_with_the_case(n, is_printed) -> None:
    log = tuple(replace(samples.log()[0], position=at) for at in range(n))
    letter = outcome_content(
        outcome=samples.outcome(), context=samples.outcome_context(log=log), language="en"
    )
    lines = [line for block in letter["annex"] for line in block.get("entries", ())]
    assert len(lines) == (n if is_printed else 0)
    assert is_printed or "121 readings" in letter["annex"][0]["text"]


def test_the_annex_has_each_reading_as_it_was_logged() -> None:
    first, trial, second = samples.log()
    log = (
        first,
        trial,
        replace(second, aside="lead touched", decides=False, is_certified=False),
    )
    letter = outcome_content(
        outcome=samples.outcome(), context=samples.outcome_context(log=log), language="en"
    )
    lines = [
        line.replace(NBSP, " ") for block in letter["annex"] for line in block.get("entries", ())
    ]
    assert lines == [
        "1 ◆  Bedroom, bed head, left · E, ground · X 12.5, Y <0.3, Z 8.4 V/m · EF-1 · "
        "socket, bedroom · 19:42 · body 1.5 m away",
        "2  Bedroom, bed head, left · E, ground · X 12.5, Y <0.3, Z 8.4 V/m · EF-1 · "
        "socket, bedroom · 19:42 · trial, off: 4 · body 1.5 m away",
        "3  Bedroom, bed head, left · E, ground · X 1.5, Y 1.2, Z 0.9 V/m † · EF-1 · "
        "rod, garden · 20:05 · does not count: lead touched",
    ]


def test_page_two_begins_a_page_only_where_page_one_fits() -> None:
    def heads(n: int) -> list[bool]:
        spots = [spot for at in range(n) for spot in spots_of(["fail"], f"Room {at}")]
        outcome = {**samples.outcome(), "spots": spots}
        letter = outcome_content(
            outcome=outcome, context=samples.outcome_context(details={}), language="en"
        )
        return [block["new_page"] for block in letter["client"] if block["type"] == "heading"][-1:]

    assert heads(3) == [True] and heads(16) == [False]
