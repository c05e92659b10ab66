"""The count of a case."""

import numpy as np

from mitigation.calc.summary import summarise
from mitigation.calc.target import Decision
from tests.calc.build import NAN, bools, floats


def test_one_of_each() -> None:
    decisions = np.array(list(Decision), dtype=np.int8)
    percent = floats(95.0, -20.0, NAN, -300.0, -20.0)
    real = bools(True, False, False, True, True)
    assert summarise(decisions, percent, real) == {
        "spots": 5,
        "met": 2,
        "not_met": 2,
        "undecided": 1,
        "worse": 2,
    }


def test_nothing() -> None:
    empty = np.zeros(0)
    counts = summarise(empty.astype(np.int8), empty, empty.astype(np.bool_))
    assert counts == {"spots": 0, "met": 0, "not_met": 0, "undecided": 0, "worse": 0}


def test_every_spot_is_in_one_of_the_three() -> None:
    decisions = np.arange(100, dtype=np.int8) % 5
    counts = summarise(decisions, np.full(100, NAN), np.zeros(100, dtype=np.bool_))
    assert counts["met"] + counts["not_met"] + counts["undecided"] == counts["spots"] == 100
    assert counts["worse"] == 0
