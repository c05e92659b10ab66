"""Published reference levels of exposure, against rule safety."""

import pytest

from surveys.calc.safety import (
    above_reference_level,
    electric_limit_v_per_m,
    magnetic_limit_nt,
)
from tests.calc.build import codes, floats

MICROTESLA = 1000.0


@pytest.mark.parametrize(("hz", "v_per_m"), [(1, 5000), (16.7, 5000), (50, 5000), (60, 4167)])
def test_electric_field(hz: float, v_per_m: float) -> None:
    """ICNIRP 2010 (Health Phys 99(6):818-836), seen: 5 kV/m to 50 Hz, 250/f kV/m above."""
    assert round(float(electric_limit_v_per_m(hz))) == v_per_m


def test_electric_field_above_mains_frequency() -> None:
    """The same; by hand: 250/1000 kV/m = 250 V/m."""
    assert float(electric_limit_v_per_m(1000.0)) == pytest.approx(250.0, rel=1e-15)


@pytest.mark.parametrize(
    ("hz", "microtesla"), [(25, 200), (50, 200), (60, 200), (400, 200), (800, 100), (3000, 26.667)]
)
def test_magnetic_flux_density(hz: float, microtesla: float) -> None:
    """ICNIRP 2010, seen: 200 µT from 25 to 400 Hz, 0.08/f T above."""
    assert float(magnetic_limit_nt(hz)) / MICROTESLA == pytest.approx(microtesla, rel=2e-5)


@pytest.mark.parametrize(("hz", "microtesla"), [(16.7, 299.4), (8, 625), (4, 2500), (1, 40000)])
def test_magnetic_flux_density_below_25_hz(hz: float, microtesla: float) -> None:
    """ICNIRP 2010, from memory: 0.005/f T from 8 to 25 Hz, 0.04/f² T below 8 Hz."""
    assert float(magnetic_limit_nt(hz)) / MICROTESLA == pytest.approx(microtesla, rel=1e-4)


def test_an_oven_is_a_small_part_of_it() -> None:
    """WHO, electric oven at 30 cm: 8 V/m; recomputed: 0.16 % of 5000 V/m."""
    assert 100 * 8.0 / float(electric_limit_v_per_m(50.0)) == pytest.approx(0.16, rel=1e-15)


def test_published_appliances_that_stop_a_survey() -> None:
    """BUWAL 2005, µT at 3 cm, upper ends, seen: hair dryer 2000, vacuum cleaner 800, iron 30."""
    values = floats(2000.0, 800.0, 30.0) * MICROTESLA
    limit = magnetic_limit_nt(50.0)
    assert above_reference_level(values, codes("", "", ""), limit).tolist() == [True, True, False]
