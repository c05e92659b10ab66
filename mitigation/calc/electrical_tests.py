"""Tests that a licensed electrician records after the work, and the limits published for them.

The local code and the electrician's judgement stand above what is written here: a limit is only
there to call out a value. Where no source is known there is no limit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Practice = Literal["230 V", "120 V"]

LOWEST_OF_230_V = 160.0
"""From this supply voltage to earth on, the works follow 230 V practice. [V]"""

IEC_60364_6 = "IEC 60364-6"
IEC_61008_61009 = "EN 61008-1, EN 61009-1"
INSULATION, CONTINUITY, BOND, LOOP = "insulation", "continuity", "bond", "loop-impedance"
TRIP_1X, TRIP_5X, POLARITY, GROUNDING = "rcd-trip-1x", "rcd-trip-5x", "polarity", "grounding"
GFCI_BUTTON, GFCI_TESTER, AFCI = "gfci-button", "gfci-tester", "afci"
NET_BEFORE, NET_AFTER = "net-current-before", "net-current-after"
BOTH: frozenset[Practice] = frozenset({"230 V", "120 V"})
ONLY_230: frozenset[Practice] = frozenset({"230 V"})
ONLY_120: frozenset[Practice] = frozenset({"120 V"})


@dataclass(frozen=True)
class TestKind:
    """One kind of test: its unit, empty where it is passed or not, and where it is usual."""

    __test__ = False  # no test of ours, though its name begins so

    code: str
    unit: str
    practices: frozenset[Practice]
    wants_test_voltage: bool = False
    wants_device: bool = False  # a residual-current device, with its rated current


KINDS: tuple[TestKind, ...] = (
    TestKind(INSULATION, "Mohm", BOTH, wants_test_voltage=True),
    TestKind(CONTINUITY, "ohm", BOTH),
    TestKind(BOND, "ohm", BOTH),
    TestKind(LOOP, "ohm", ONLY_230),
    TestKind(TRIP_1X, "ms", ONLY_230, wants_device=True),
    TestKind(TRIP_5X, "ms", ONLY_230, wants_device=True),
    TestKind(POLARITY, "", BOTH),
    TestKind(GROUNDING, "", ONLY_120),
    TestKind(GFCI_BUTTON, "", ONLY_120),
    TestKind(GFCI_TESTER, "", ONLY_120),
    TestKind(AFCI, "", ONLY_120),
    TestKind(NET_BEFORE, "A", BOTH),
    TestKind(NET_AFTER, "A", BOTH),
)
KIND_OF = {kind.code: kind for kind in KINDS}


@dataclass(frozen=True)
class Limit:
    """A published limit: values of `test` from `low` to `high` keep it, both ends included."""

    test: str
    source: str
    low: float | None = None
    high: float | None = None
    test_voltage_v: float | None = None  # the dc voltage that the limit is for [V]
    device: str = ""  # type of the residual-current device; empty where it does not matter


LIMITS: tuple[Limit, ...] = (
    Limit(INSULATION, IEC_60364_6, low=1.0, test_voltage_v=500.0),
    Limit(INSULATION, IEC_60364_6, low=0.5, test_voltage_v=250.0),
    Limit(TRIP_1X, IEC_61008_61009, high=300.0, device="general"),
    Limit(TRIP_1X, IEC_61008_61009, low=130.0, high=500.0, device="selective"),
    Limit(TRIP_5X, IEC_61008_61009, high=40.0, device="general"),
)
"""For 230 V practice. 250 V dc is the test voltage of SELV and PELV circuits."""


def practice_of(supply_voltage_v: float) -> Practice:
    """Which of the two electrical practices a supply follows; `supply_voltage_v` to earth [V]."""
    return "230 V" if supply_voltage_v >= LOWEST_OF_230_V else "120 V"


def kinds_of(practice: Practice) -> Sequence[TestKind]:
    """The tests that are usual in a practice, in the order in which they are recorded."""
    return [kind for kind in KINDS if practice in kind.practices]


def limits_of(test: str, practice: Practice) -> Sequence[Limit]:
    """Every published limit of a test in a practice; none where no source is known."""
    return [limit for limit in LIMITS if limit.test == test] if practice == "230 V" else []


def limit_of(
    test: str, practice: Practice, *, test_voltage_v: float | None = None, device: str = ""
) -> Limit | None:
    """The published limit of a test; None where no source is known.

    Parameters
    ----------
    test : code of a kind of test.
    practice : "230 V" or "120 V".
    test_voltage_v : dc voltage of an insulation test [V].
    device : type of the residual-current device.
    """
    fitting = (
        limit
        for limit in limits_of(test, practice)
        if limit.test_voltage_v in (None, test_voltage_v) and limit.device in ("", device)
    )
    return next(fitting, None)


def keeps(limit: Limit, value: float, qualifier: str = "") -> bool:
    """Whether a value certainly keeps a limit.

    Parameters
    ----------
    limit : the limit, in the unit of its test.
    value : what the tester showed, in that unit.
    qualifier : "<" or ">" where the tester showed that its range ends there.

    Returns
    -------
    bool
        False also where it may keep it, but the range of the tester ends too early to tell.
    """
    lowest = 0.0 if qualifier == "<" else value
    highest = float("inf") if qualifier == ">" else value
    above = limit.low is None or lowest >= limit.low
    below = limit.high is None or highest <= limit.high
    return above and below
