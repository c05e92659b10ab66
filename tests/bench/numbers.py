"""Findings per second against a plain numpy expression and against uncertainties."""

import numpy as np
from uncertainties import ufloat
from uncertainties.umath import sqrt

from surveys.calc.arrays import FloatArray
from surveys.calc.findings import findings
from surveys.calc.uncertainty import Instruments
from tests.bench.timing import Row, at_least, at_most, best_of

BOUNDS = np.array([1.0, 5.0, 50.0])
GAIN_PERCENT, PLACEMENT, RESOLUTION, NOISE = 10.0, 0.05, 0.1, 0.05
ADDITIVE = float(np.hypot(RESOLUTION / np.sqrt(12.0), NOISE))


def three_axes(n: int) -> tuple[FloatArray, Instruments]:
    """n readings of a one-axis probe, and its instrument behind each."""
    rng = np.random.default_rng(20261125)
    values = np.full((n, 4), np.nan)
    values[:, :3] = np.round(rng.lognormal(2.0, 1.0, (n, 3)), 1) + 0.1
    columns = (GAIN_PERCENT, RESOLUTION, NOISE, np.nan, np.nan)
    return values, Instruments(*(np.full(n, column) for column in columns))


def plain(values: FloatArray, instruments: Instruments) -> tuple[FloatArray, ...]:
    """The same three numbers without any rule for what is odd: resultant, u, band."""
    field = np.sqrt((values[:, :3] ** 2).sum(axis=1))
    additive2 = instruments.resolution**2 / 12 + instruments.noise**2
    u = np.sqrt(field**2 * ((instruments.gain_percent / 200) ** 2 + PLACEMENT**2) + additive2)
    band = 1 + (field >= BOUNDS[0]) + (field >= BOUNDS[1]) + (field > BOUNDS[2])
    return field, u, band


def with_uncertainties(values: FloatArray) -> list[tuple[float, float, int]]:
    """One object per axis, gain and placement common to the three."""
    found = []
    for x, y, z in values[:, :3].tolist():
        gain, place = ufloat(1.0, GAIN_PERCENT / 200), ufloat(1.0, PLACEMENT)
        axes = [ufloat(axis, ADDITIVE) for axis in (x, y, z)]
        field = sqrt(axes[0] ** 2 + axes[1] ** 2 + axes[2] ** 2) * gain * place
        value = field.nominal_value
        band = 1 + (value >= BOUNDS[0]) + (value >= BOUNDS[1]) + (value > BOUNDS[2])
        found.append((value, field.std_dev, band))
    return found


def rows(*, quick: bool) -> list[Row]:
    n, n_objects, repeats = (5_000, 100, 2) if quick else (100_000, 1_000, 7)
    values, instruments = three_axes(n)
    marks = np.zeros((n, 4), dtype=np.int8)
    bounds = np.tile(BOUNDS, (n, 1))

    def ours() -> None:
        findings(values, marks, instruments, PLACEMENT, bounds, 1.0)

    check_that_all_agree(values, instruments)
    ours_s, plain_s = best_of(repeats, ours, lambda: plain(values, instruments))
    (objects_s,) = best_of(2, lambda: with_uncertainties(values[:n_objects]))
    return [
        at_most(
            "findings: time against plain numpy",
            ours_s / plain_s,
            3,
            f"{n:,} readings, {n / ours_s / 1e6:.2f} million a second",
        ),
        at_least(
            "findings: speed against uncertainties",
            (n / ours_s) / (n_objects / objects_s),
            100,
            f"{n_objects / objects_s:,.0f} a second there",
        ),
    ]


def check_that_all_agree(values: FloatArray, instruments: Instruments) -> None:
    """A race of programs that give different numbers says nothing."""
    few, n = values[:50], 50
    some = instruments.take(np.arange(n))
    found = findings(few, np.zeros((n, 4), np.int8), some, PLACEMENT, BOUNDS, 1.0)
    field, u, band = plain(few, some)
    np.testing.assert_allclose(found.resultant.value, field, rtol=1e-12)
    np.testing.assert_allclose(found.resultant.u, u, rtol=1e-12)
    np.testing.assert_array_equal(found.band, band)
    objects = np.array(with_uncertainties(few))
    np.testing.assert_allclose(objects[:, 0], field, rtol=1e-12)
    np.testing.assert_allclose(objects[:, 1], u, rtol=1e-9)
