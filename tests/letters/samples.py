"""Invented cases for the letters' tests: one for each thing that a letter has to say."""

from datetime import date
from typing import Any

from consult.letters.content import Addressee, Head, Sender
from mitigation.letters.outcome import OutcomeContext, SpotDetail
from surveys.letters.facts import (
    FindingFacts,
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    LoggedReading,
    ReadingFacts,
    SetAsideFacts,
    VisitFacts,
)
from surveys.letters.survey_report import SurveyContext

GROUND = "electric-field-ground"
FLUX = "magnetic-flux-density"
RULES = (
    "resultant-1", "censored-1", "uncertainty-1", "near-floor-1", "highest-2", "band-1",
    "latest-1", "target-2", "reduction-2", "comparable-2", "safety",
)  # fmt: skip
GUIDELINE = GuidelineFacts(
    code="SBM-2015",
    band_words=("no anomaly", "slight anomaly", "severe anomaly", "extreme anomaly"),
    bounds={GROUND: (1.0, 5.0, 50.0), FLUX: (20.0, 100.0, 500.0)},
)
BEFORE_DAY, AFTER_DAY = date(2026, 3, 3), date(2026, 5, 20)


def side(value: float, u: float | None, band: int, **more: Any) -> dict[str, Any]:
    qualifier = more.get("qualifier", "")
    return {
        "value": value,
        "lower": more.get("lower", value),
        "qualifier": qualifier,
        "u": u,
        "band": band,
        "flags": more.get("flags", []),
    }


def reduction(*figures: float, at_least: bool = False, real: bool = True) -> dict[str, Any]:
    percent, low, high, db, db_low, db_high = figures
    return {
        "percent": percent, "percent_low": low, "percent_high": high, "db": db,
        "db_low": db_low, "db_high": db_high, "at_least": at_least, "real": real,
    }  # fmt: skip


def row(
    room: str,
    spot: str,
    before: dict[str, Any] | None,
    after: dict[str, Any] | None,
    change: dict[str, Any] | None,
    decision: str,
    probability: float | None,
    **more: Any,
) -> dict[str, Any]:
    blocks = more.get("blocks", [])
    magnetic = more.get("measurand", GROUND) == FLUX
    return {
        "room": room,
        "spot": spot,
        "measurand": FLUX if magnetic else GROUND,
        "unit": "nT" if magnetic else "V/m",
        "before": before,
        "after": after,
        "reduction": change,
        "target": {
            "limit": 100.0 if magnetic else 5.0,
            "probability": probability,
            "decision": decision,
        },
        "comparable": not blocks,
        "before_on": str(BEFORE_DAY) if before else None,
        "after_on": str(more.get("after_on", AFTER_DAY)) if after else None,
        "blocks": blocks,
        "cautions": more.get("cautions", []),
    }


def outcome() -> dict[str, Any]:
    """Seven electric and two magnetic results at seven spots, with every kind of ending."""
    spots = [
        row("Bedroom", "bed head, left", side(48.0, 3.1, 3), side(2.4, 0.2, 2),
            reduction(95.0, 94.0, 95.9, 26.0, 24.4, 27.7), "pass", 0.99999),
        row("Bedroom", "bed head, right", side(61.3, 3.9, 4),
            side(4.6, 0.31, 2, flags=["two axes"]),
            reduction(92.5, 90.9, 93.8, 22.5, 20.8, 24.2), "conditional-pass", 0.9015,
            cautions=["other ground point"]),
        row("Bedroom", "bed middle", side(22.0, 1.5, 3),
            side(0.3, 0.09, 1, qualifier="<", lower=0.0),
            reduction(98.6, 98.3, 98.9, 37.3, 35.8, 38.8, at_least=True), "pass", None),
        row("Children's room", "bed head", side(9.1, 0.62, 3), side(12.3, 0.84, 3),
            reduction(-35.2, -57.4, -16.1, -2.62, -3.94, -1.3), "fail", 0.0,
            cautions=["humidity above 70 %"]),
        row("Children's room", "bed middle", side(17.5, 1.2, 3), side(5.2, 0.36, 3),
            reduction(70.3, 64.9, 74.9, 10.5, 9.1, 12.0), "conditional-fail", 0.289),
        row("Study", "desk seat", side(31.0, 2.1, 3), side(3.1, None, 2), None, "undecided", None,
            blocks=["instrument out of calibration on the day of its visit"]),
        row("Living room", "sofa & reading <corner>", side(6.6, 0.45, 3), None, None, "undecided",
            None, blocks=["no reading left at the other visit"]),
        row("Bedroom", "bed head, left", side(210.0, 12.0, 3), side(64.0, 4.1, 2),
            reduction(69.5, 65.1, 73.4, 10.3, 9.1, 11.5), "pass", 0.99999, measurand=FLUX,
            cautions=["other load"]),
        row("Study", "desk seat", side(92.0, 5.5, 2, flags=["under the standard's range"]),
            side(88.0, 5.3, 2, flags=["under the standard's range"]),
            reduction(4.3, -12.5, 18.6, 0.39, -1.02, 1.79, real=False), "conditional-pass",
            0.9882, measurand=FLUX),
    ]  # fmt: skip
    return {
        "case": "K-2026-017",
        "guideline": "SBM-2015",
        "target_band": 2,
        "rules": list(RULES),
        "spots": spots,
        "summary": {"spots": 9, "met": 5, "not_met": 2, "undecided": 2, "worse": 1},
    }


def head(country: str = "GB", **more: Any) -> Head:
    values: dict[str, Any] = {
        "number": "L-2026-0042",
        "case_reference": "K-2026-017",
        "issued_on": date(2026, 5, 27),
        "sender": Sender(
            name="Quellmoor Field Survey",
            address="7 Tanner's Yard\nLower Ashwick\nAW3 9ZZ",
            phone="+44 0000 555 017",
            email="office@quellmoor.example",
            signatory="Maren Holt",
            signatory_role="Head of measurement",
        ),
        "addressee": Addressee(
            name="Ada & Tom Birchall", address="12 Elm Row\nLower Ashwick\nAW3 9ZY"
        ),
        "property_address": "12 Elm Row\nLower Ashwick\nAW3 9ZY",
        "country": country,
    }
    return Head(**(values | more))


def visits() -> tuple[VisitFacts, ...]:
    return (
        VisitFacts("baseline", BEFORE_DAY, "P. Varga", 19.5, 48.0, 231.0,
                   "evening, heating on", 42, 6, "V1"),
        VisitFacts("follow-up", AFTER_DAY, "P. Varga", 21.0, 72.0, 229.0,
                   "evening, demand switch asleep", 38, 0, "V2"),
    )  # fmt: skip


def instruments() -> tuple[InstrumentFacts, ...]:
    return (
        InstrumentFacts(
            "EF-1", GROUND, "V/m", 5.0, 0.1, 0.05, 0.3, 2000.0, 16.0, 2000.0, "C-1188",
            date(2025, 9, 12), date(2027, 9, 12), "one-axis field meter", 1,
            (BEFORE_DAY, AFTER_DAY),
        ),
        InstrumentFacts(
            "MF-2", FLUX, "nT", 4.0, 1.0, None, 2.0, 20000.0, 16.0, 2000.0, "C-1189",
            date(2025, 9, 12), date(2027, 9, 12), "three-axis flux meter", 3,
            (BEFORE_DAY, AFTER_DAY),
        ),
    )  # fmt: skip


def ground_checks() -> tuple[GroundCheckFacts, ...]:
    return (
        GroundCheckFacts(BEFORE_DAY, "socket, bedroom", "water pipe", 0.8, "ok", "wiring tested"),
        GroundCheckFacts(AFTER_DAY, "rod, garden", "socket, bedroom", 1.4, "not tested"),
    )


def details() -> dict[tuple[str, str, str], SpotDetail]:
    found = {}
    for spot in outcome()["spots"]:
        magnetic = spot["measurand"] == FLUX
        bed = "bed" in spot["spot"]
        found[spot["room"], spot["spot"], spot["measurand"]] = SpotDetail(
            use="sleeping" if bed else "seating",
            before_instrument="MF-2" if magnetic else "EF-1",
            after_instrument="MF-2" if magnetic else "EF-1",
            before_ground_point="" if magnetic else "socket, bedroom",
            after_ground_point="" if magnetic else "rod, garden",
            before_reading=ReadingFacts(
                BEFORE_DAY, "12.5", "<0.3", "8.4", "", "V/m", "EF-1", "socket, bedroom", "19:42"
            ),
            after_reading=ReadingFacts(
                AFTER_DAY, "1.5", "1.2", "0.9", "", "V/m", "EF-1", "rod, garden", "20:05"
            ),
            guard=8.4 if magnetic else 0.57,
        )
    return found


def log() -> tuple[LoggedReading, ...]:
    """The reading that decides, a trial with its result, and one of the second day."""
    first = ReadingFacts(
        BEFORE_DAY, "12.5", "<0.3", "8.4", "", "V/m", "EF-1", "socket, bedroom", "19:42",
        body_distance_m=1.5,
    )  # fmt: skip
    second = ReadingFacts(AFTER_DAY, "1.5", "1.2", "0.9", "", "V/m", "EF-1", "rod, garden", "20:05")
    place = {"room": "Bedroom", "spot": "bed head, left", "measurand": GROUND}
    return (
        LoggedReading("baseline V1, 3 March 2026", 1, **place, reading=first, decides=True),
        LoggedReading(
            "baseline V1, 3 March 2026", 2, **place, reading=first, off="4", is_trial=True,
            result="18 V/m",
        ),
        LoggedReading("follow-up V2, 20 May 2026", 3, **place, reading=second, decides=True),
    )  # fmt: skip


def outcome_context(**more: Any) -> OutcomeContext:
    values: dict[str, Any] = {
        "head": head(),
        "guideline": GUIDELINE,
        "placement_percent": 5.0,
        "visits": visits(),
        "instruments": instruments(),
        "ground_checks": ground_checks(),
        "set_aside": (
            SetAsideFacts(BEFORE_DAY, "Study", "desk seat", GROUND, "88.4 V/m", "lead touched"),
        ),
        "details": details(),
        "work_done": (
            "demand switch on circuit 4",
            "bedside lamps with earthed metal bodies",
        ),
        "open_items": ("Fit the second demand switch (circuit 6), ordered.",),
        "frequency_hz": 50.0,
        "log": log(),
    }
    return OutcomeContext(**(values | more))


def survey_context(**more: Any) -> SurveyContext:
    findings = tuple(
        FindingFacts(
            room=spot["room"],
            spot=spot["spot"],
            use="sleeping" if "bed" in spot["spot"] else "seating",
            measurand=spot["measurand"],
            unit=spot["unit"],
            value=spot["before"]["value"],
            lower=spot["before"]["lower"],
            qualifier=spot["before"]["qualifier"],
            u=spot["before"]["u"],
            band=spot["before"]["band"],
            flags=tuple(spot["before"]["flags"]),
            ground_point="socket, bedroom",
            instrument="EF-1",
            reading=details()[spot["room"], spot["spot"], spot["measurand"]].before_reading,
        )
        for spot in outcome()["spots"]
    )
    values: dict[str, Any] = {
        "head": head(),
        "guideline": GUIDELINE,
        "target_band": 2,
        "rules": RULES[:6],
        "visit": visits()[0],
        "findings": findings,
        "instruments": instruments(),
        "ground_checks": ground_checks()[:1],
        "set_aside": outcome_context().set_aside,
        "frequency_hz": 50.0,
        "log": log()[:2],
    }
    return SurveyContext(**(values | more))
