"""Bands of the published guideline tables, and of published field values.

That a value on an inner bound takes the more cautious band is the choice of rule band-1; no
source publishes one.
"""

import numpy as np
import pytest

from surveys.calc.bands import band, on_bound
from surveys.calc.measurands import Measurand
from surveys.calc.units import factor, to_canonical
from tests.calc.build import floats
from tests.reference.build import SBM

GROUND = Measurand.ELECTRIC_FIELD_GROUND
FREE = Measurand.ELECTRIC_FIELD_POTENTIAL_FREE
BODY = Measurand.BODY_VOLTAGE
MAGNETIC = Measurand.MAGNETIC_FLUX_DENSITY


@pytest.mark.parametrize(
    ("measurand", "values", "bands"),
    [
        (GROUND, (0.9, 1.0, 4.9, 5.0, 50.0, 50.1), [1, 2, 2, 3, 3, 4]),
        (FREE, (0.29, 0.3, 1.5, 10.0, 10.1), [1, 2, 3, 3, 4]),
        (BODY, (9.0, 10.0, 100.0, 1000.0, 1001.0), [1, 2, 3, 3, 4]),
        (MAGNETIC, (19.0, 20.0, 100.0, 500.0, 501.0), [1, 2, 3, 3, 4]),
    ],
)
def test_bands_of_the_table(
    measurand: Measurand, values: tuple[float, ...], bands: list[int]
) -> None:
    """SBM-2008 and SBM-2015, seen; "<1, 1-5, 5-50, >50" V/m and so on."""
    found = floats(*values)
    assert band(found, SBM[measurand]).tolist() == bands
    assert on_bound(found, SBM[measurand]).tolist() == [v in SBM[measurand] for v in values]


def test_the_same_reading_is_another_band_on_another_measurand() -> None:
    assert band(floats(0.9), SBM[GROUND])[0] == 1
    assert band(floats(0.9), SBM[FREE])[0] == 2


def assessed(values: tuple[float, ...], unit: str, measurand: Measurand) -> list[int]:
    """Bands of values as published, in their own unit."""
    found = band(to_canonical(floats(*values), factor(unit)), SBM[measurand])
    return [int(code) for code in found]


def test_power_lines() -> None:
    """Bonneville Power Administration 1994, in NIEHS/DOE "EMF Questions & Answers", seen.

    At the right of way, 50, 100, 200 and 300 ft; 1 mG = 100 nT. Bands by hand: 2970, 650, 170,
    40, 20 nT and 5750, 1950, 710, 180, 80 nT against 20, 100, 500 nT; 1000, 500, 70, 10, 3 and
    2000, 1500, 300, 50, 10 V/m against 0.3, 1.5, 10 V/m.
    """
    assert assessed((29.7, 6.5, 1.7, 0.4, 0.2), "mG", MAGNETIC) == [4, 4, 3, 2, 2]
    assert assessed((57.5, 19.5, 7.1, 1.8, 0.8), "mG", MAGNETIC) == [4, 4, 4, 3, 2]
    assert assessed((1.0, 0.5, 0.07, 0.01, 0.003), "kV/m", FREE) == [4, 4, 4, 3, 3]
    assert assessed((2.0, 1.5, 0.3, 0.05, 0.01), "kV/m", FREE) == [4, 4, 4, 4, 3]


def test_three_of_them_in_nanotesla() -> None:
    """Recomputed: 29.7 mG = 2970 nT, 0.4 mG = 40 nT, and 0.2 mG = 20 nT is on the bound."""
    inside = to_canonical(floats(29.7, 0.4, 0.2), factor("mG"))
    assert inside.tolist() == [2970.0, 40.0, 20.0]
    assert on_bound(inside, SBM[MAGNETIC]).tolist() == [False, False, True]


def test_homes_in_germany() -> None:
    """BfS, 24-hour personal exposure, µT: median and 95th percentile at night, seen."""
    assert assessed((0.092, 0.144), "\u00b5T", MAGNETIC) == [2, 3]
    # at home: mean, median, 95th percentile
    assert assessed((0.090, 0.063, 0.215), "\u00b5T", MAGNETIC) == [2, 2, 3]


def test_appliances_electric() -> None:
    """WHO, "Typical exposure levels at home", 30 cm, V/m, seen.

    How they were read is not said; taken as potential-free. Stereo receiver, iron, refrigerator,
    mixer, toaster, hair dryer, colour TV, coffee machine, vacuum cleaner, oven, light bulb.
    """
    values = (180.0, 120.0, 120.0, 100.0, 80.0, 80.0, 60.0, 60.0, 50.0, 8.0, 5.0)
    assert assessed(values, "V/m", FREE) == [4] * 9 + [3, 3]


def test_appliances_magnetic() -> None:
    """BBEMG, University of Liège, µT at 5, 30 and 50 cm, seen: toaster, extractor hood."""
    assert assessed((5.25, 0.4, 0.07), "\u00b5T", MAGNETIC) == [4, 3, 2]
    assert assessed((6.0, 1.0, 0.5), "\u00b5T", MAGNETIC) == [4, 4, 3]  # 500 nT is on the bound


def test_a_range_at_its_two_ends() -> None:
    """BUWAL 2005, µT at 100 cm, seen: clock radio 0.01-0.03, microwave 0.25-0.6."""
    assert assessed((0.01, 0.03), "\u00b5T", MAGNETIC) == [1, 2]
    assert assessed((0.25, 0.6), "\u00b5T", MAGNETIC) == [3, 4]


def test_reported_means_of_three_heights() -> None:
    """University of Cyprus public reports, µT, seen: each mean is that of its three heights."""
    heights = np.array([[6.195, 6.043, 1.237], [0.610, 0.505, 0.229], [0.002, 0.016, 0.019]])
    means = heights.mean(axis=1)
    assert means.round(3).tolist() == [4.492, 0.448, 0.012]
    assert assessed(tuple(means), "\u00b5T", MAGNETIC) == [4, 3, 1]
