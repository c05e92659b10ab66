"""Rules uncertainty-1 and near-floor-1."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc import uncertainty
from surveys.calc.measurands import Measurand
from surveys.calc.uncertainty import (
    RANGE_START,
    additive,
    near_floor,
    standard_uncertainty,
    under_range,
)
from tests.calc.build import NAN, codes, fields, floats, instrument, relatives


def test_identifiers_and_words() -> None:
    assert uncertainty.UNCERTAINTY == "uncertainty-1"
    assert uncertainty.NEAR_FLOOR == "near-floor-1"
    assert uncertainty.FLAG_NEAR_FLOOR == "near the floor"
    assert uncertainty.FLAG_UNDER_RANGE == "under the standard's range"
    assert uncertainty.DEFAULT_PLACEMENT == 0.05
    assert uncertainty.COVERAGE_FACTOR == 2.0


def test_by_hand() -> None:
    """E = 40, gain 12 % (k = 2) so g = 0.06, p = 0.08, a = 3: sqrt(2.4² + 3.2² + 3²) = 5."""
    assert standard_uncertainty(floats(40.0), 0.06, 0.08, 3.0)[0] == pytest.approx(5.0, rel=1e-15)


def test_the_certificate_states_twice_the_standard_uncertainty_in_percent() -> None:
    assert instrument(gain_percent=12.0).gain[0] == 0.06


def test_resolution_is_a_rectangle_of_its_full_width() -> None:
    """JCGM 100:2008, F.2.2.1: u = 0.29 δx for a resolution δx (1/sqrt(12) = 0.28868)."""
    assert round(additive(floats(1.0), floats(0.0))[0], 2) == 0.29
    assert additive(floats(1.0), floats(0.0))[0] == pytest.approx(1 / math.sqrt(12), rel=1e-15)


def test_noise_is_a_standard_deviation_and_nothing_when_it_is_not_given() -> None:
    # By hand: 0.6²/12 = 0.03, and 0.03 + 0.01 = 0.2²
    assert additive(floats(0.6), floats(0.1))[0] == pytest.approx(0.2, rel=1e-15)
    assert additive(floats(0.6), floats(NAN))[0] == pytest.approx(math.sqrt(0.03), rel=1e-15)
    assert instrument(resolution=0.6, noise=0.1).additive[0] == pytest.approx(0.2, rel=1e-15)


def test_limits() -> None:
    """At zero field only a is left; in a strong one only what grows with it."""
    assert standard_uncertainty(floats(0.0), 0.1, 0.1, 0.3)[0] == pytest.approx(0.3, rel=1e-15)
    strong = standard_uncertainty(floats(1e9), 0.06, 0.08, 0.3)[0] / 1e9
    assert strong == pytest.approx(0.1, rel=1e-12)
    assert standard_uncertainty(floats(5.0), 0.0, 0.0, 0.0)[0] == 0.0


@given(st.floats(0.0, 1e5), relatives, relatives, st.floats(0.0, 10.0), st.floats(1e-3, 1e3))
def test_the_unit_does_not_matter(e: float, g: float, p: float, a: float, by: float) -> None:
    one = standard_uncertainty(floats(e), g, p, a)[0] * by
    # Each side rounds a handful of times.
    assert standard_uncertainty(floats(e * by), g, p, a * by)[0] == pytest.approx(
        one, rel=1e-14, abs=1e-150
    )


@given(fields, relatives, relatives, st.floats(0.0, 10.0))
def test_every_part_only_adds(e: float, g: float, p: float, a: float) -> None:
    u = standard_uncertainty(floats(e), g, p, a)[0]
    for part in (g * e, p * e, a):
        assert u >= part * (1 - 1e-15) - 1e-150  # squares of less than that vanish
    assert standard_uncertainty(floats(e * 2), g, p, a)[0] >= u


def test_an_array_equals_one_at_a_time() -> None:
    e, g, p, a = (
        floats(1.0, 7.0, 300.0),
        floats(0.02, 0.05, 0.1),
        floats(0.05, 0.0, 0.1),
        floats(0.1, 3.0, 0.0),
    )
    together = standard_uncertainty(e, g, p, a)
    alone = [
        standard_uncertainty(e[i : i + 1], float(g[i]), float(p[i]), float(a[i]))[0]
        for i in range(3)
    ]
    assert together.tolist() == alone


def test_the_value_given_is_not_written_to() -> None:
    e = floats(5.0)
    standard_uncertainty(e, 0.1, 0.1, 0.1)
    assert e[0] == 5.0


def test_near_the_floor_is_below_five_times_a() -> None:
    a = floats(0.1, 0.1, 0.1)
    assert near_floor(floats(0.49, 0.5, 0.51), a, codes("", "", "")).tolist() == [
        True,
        False,
        False,
    ]


def test_what_is_only_known_to_be_above_is_not_near_the_floor_nor_under_the_range() -> None:
    values, signs = floats(0.4, 0.4, 0.4), codes("<", "\u2264", ">")
    assert near_floor(values, floats(0.1, 0.1, 0.1), signs).tolist() == [True, True, False]
    assert under_range(values, 1.0, signs).tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("measurand", "values", "expected"),
    [
        # IEC 61786-2 begins at 1 V/m and 100 nT (from memory)
        (Measurand.ELECTRIC_FIELD_GROUND, (0.99, 1.0), [True, False]),
        (Measurand.ELECTRIC_FIELD_POTENTIAL_FREE, (0.99, 1.0), [True, False]),
        (Measurand.MAGNETIC_FLUX_DENSITY, (99.9, 100.0), [True, False]),
        (Measurand.BODY_VOLTAGE, (0.01, 1000.0), [False, False]),
    ],
)
def test_the_range_of_the_standard(
    measurand: Measurand, values: tuple[float, float], expected: list[bool]
) -> None:
    assert under_range(floats(*values), RANGE_START[measurand], codes("", "")).tolist() == expected


def test_instruments_can_be_taken_by_row() -> None:
    three = instrument(3, gain_percent=10.0, floor=0.3)
    two = three.take(np.array([2, 0]))
    assert two.gain.tolist() == [0.05, 0.05]
    assert two.floor.tolist() == [0.3, 0.3]
