"""The rules against two other programs that propagate uncertainty: GTC and uncertainties.

Both are asked in another way than the rules compute: axis by axis, with the gain as one quantity
that multiplies all of them, and the ratio as a ratio and not as a difference of logarithms.
"""

import math
from collections.abc import Callable
from typing import Any

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat, umath

from mitigation.calc.reduction import Side, reductions
from surveys.calc.uncertainty import standard_uncertainty
from tests.calc.build import bools, floats, read

# GUM H.2, JCGM 100:2008, table H.2, five simultaneous observations of amplitude, current, phase.
VOLTS = (5.007, 4.994, 5.005, 4.990, 4.999)
MILLIAMPERES = (19.663, 19.639, 19.640, 19.685, 19.678)
RADIANS = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def impedance(
    v: Any, i: Any, phi: Any, cos: Callable[[Any], Any], sin: Callable[[Any], Any]
) -> Any:
    """R, X and Z of the example."""
    z = v / i
    return z * cos(phi), z * sin(phi), z


def test_gtc_is_right_about_correlation() -> None:
    """GUM H.2, seen: R 127.732 u 0.071, X 219.847 u 0.2956, Z 254.260 u 0.236 ohm."""
    v, i, phi = GTC.ta.multi_estimate_real(
        [VOLTS, [x / 1000 for x in MILLIAMPERES], RADIANS], labels=("v", "i", "phi")
    )
    r, x, z = impedance(v, i, phi, GTC.cos, GTC.sin)
    assert (r.x, x.x, z.x) == pytest.approx((127.732, 219.847, 254.260), abs=6e-4)
    assert (r.u, x.u, z.u) == pytest.approx((0.071, 0.2956, 0.236), abs=5e-4)


def test_uncertainties_is_right_about_correlation() -> None:
    """GUM H.2 again; without the correlation u(R) = 0.195, so that dropping it would show."""
    columns = np.array([VOLTS, np.array(MILLIAMPERES) / 1000, RADIANS])
    from_rows = np.cov(columns) / 5
    v, i, phi = correlated_values(columns.mean(axis=1), from_rows)
    r, x, z = impedance(v, i, phi, umath.cos, umath.sin)
    assert (r.s, x.s, z.s) == pytest.approx((0.071, 0.2956, 0.236), abs=5e-4)
    apart = [
        ufloat(m, s) for m, s in zip(columns.mean(1), np.sqrt(from_rows.diagonal()), strict=True)
    ]
    v, i, phi = apart
    assert impedance(v, i, phi, umath.cos, umath.sin)[0].s == pytest.approx(0.195, abs=5e-4)


axis = st.floats(0.5, 500.0)
share = st.floats(0.001, 0.15)


@given(axis, axis, axis, share, share, st.floats(0.001, 0.2))
def test_resultant_against_gtc(x: float, y: float, z: float, g: float, p: float, a: float) -> None:
    gain, placement = GTC.ureal(1.0, g), GTC.ureal(1.0, p)
    axes = [gain * placement * (true + GTC.ureal(0.0, a)) for true in (x, y, z)]
    theirs = GTC.sqrt(sum(e * e for e in axes))
    ours = read(
        x, y, z, placement=p, gain_percent=200 * g, resolution=a * math.sqrt(12), floor=1e-9
    )
    assert ours.value[0] == pytest.approx(theirs.x, rel=1e-13)
    assert ours.u[0] == pytest.approx(theirs.u, rel=1e-12)


@given(axis, axis, axis, share, share, st.floats(0.001, 0.2))
def test_resultant_against_uncertainties(
    x: float, y: float, z: float, g: float, p: float, a: float
) -> None:
    gain, placement = ufloat(1.0, g), ufloat(1.0, p)
    axes = [gain * placement * (true + ufloat(0.0, a)) for true in (x, y, z)]
    theirs = umath.sqrt(sum(e * e for e in axes))
    ours = standard_uncertainty(floats(theirs.n), g, p, a)
    assert ours[0] == pytest.approx(theirs.s, rel=1e-12)


ratio_case = st.tuples(
    axis, axis, share, share, share, st.floats(0.001, 0.2), st.floats(0.001, 0.2)
)


def ours(case: tuple[float, ...], shared: bool) -> tuple[float, float, float]:
    """Percent, decibels and their standard uncertainty in decibels."""
    b, a, g_b, g_a, p, a_b, a_a = case
    code = np.zeros(1, dtype=np.int8)
    found = reductions(
        Side(floats(b), code, floats(g_b), floats(a_b)),
        Side(floats(a), code, floats(g_a), floats(a_a)),
        p,
        bools(shared),
    )
    spread = (found.db_high[0] - found.db_low[0]) / 4.0
    return float(found.percent[0]), float(found.db[0]), float(spread)


@given(ratio_case, st.booleans())
def test_ratio_against_gtc(case: tuple[float, ...], shared: bool) -> None:
    b, a, g_b, g_a, p, a_b, a_a = case
    gain = GTC.ureal(1.0, g_b)
    before = gain * GTC.ureal(1.0, p) * b + GTC.ureal(0.0, a_b)
    after = (gain if shared else GTC.ureal(1.0, g_a)) * GTC.ureal(1.0, p) * a + GTC.ureal(0.0, a_a)
    reduction, decibels = 100 * (1 - after / before), 20 * GTC.log10(before / after)
    percent, db, u_db = ours(case, shared)
    assert percent == pytest.approx(reduction.x, rel=1e-12, abs=1e-9)
    assert db == pytest.approx(decibels.x, rel=1e-12, abs=1e-12)
    assert u_db == pytest.approx(decibels.u, rel=1e-9)


@given(ratio_case, st.booleans())
def test_ratio_against_uncertainties(case: tuple[float, ...], shared: bool) -> None:
    b, a, g_b, g_a, p, a_b, a_a = case
    gain = ufloat(1.0, g_b)
    before = gain * ufloat(1.0, p) * b + ufloat(0.0, a_b)
    after = (gain if shared else ufloat(1.0, g_a)) * ufloat(1.0, p) * a + ufloat(0.0, a_a)
    decibels = 20 * umath.log10(before / after)
    percent, db, u_db = ours(case, shared)
    assert percent == pytest.approx((100 * (1 - after / before)).n, rel=1e-12, abs=1e-9)
    assert db == pytest.approx(decibels.n, rel=1e-12, abs=1e-12)
    assert u_db == pytest.approx(decibels.s, rel=1e-9)


def test_the_shared_gain_is_seen_by_the_oracles_too() -> None:
    """So that the two tests above can fail: with g = 0.1 the two answers are far apart."""
    case = (50.0, 5.0, 0.1, 0.1, 0.01, 0.01, 0.01)
    assert ours(case, shared=False)[2] > 5 * ours(case, shared=True)[2]
