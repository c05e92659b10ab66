"""Rule safety; the published levels are in tests/reference."""

import numpy as np
import pytest

from surveys.calc.measurands import Measurand
from surveys.calc.safety import (
    SAFETY,
    above_reference_level,
    electric_limit_v_per_m,
    ground_points_differ,
    magnetic_limit_nt,
    outlet_faulty,
    reference_level,
)
from tests.calc.build import NAN, codes, floats


def test_identifier() -> None:
    assert SAFETY == "safety"


def test_levels_by_measurand() -> None:
    assert reference_level(Measurand.ELECTRIC_FIELD_GROUND, 50.0) == 5000.0
    assert reference_level(Measurand.ELECTRIC_FIELD_POTENTIAL_FREE, 50.0) == 5000.0
    assert reference_level(Measurand.MAGNETIC_FLUX_DENSITY, 50.0) == pytest.approx(200e3, rel=1e-15)
    assert np.isnan(reference_level(Measurand.BODY_VOLTAGE, 50.0))


def test_above_is_more_than_the_level() -> None:
    words = codes("", "", "\u2264")
    assert above_reference_level(floats(5000.0, 5001.0, 5001.0), words, 5000.0).tolist() == [
        False,
        True,
        True,
    ]


def test_out_of_range_at_the_level_is_above_it() -> None:
    assert above_reference_level(floats(5000.0, 2000.0), codes(">", ">"), 5000.0).tolist() == [
        True,
        False,
    ]


def test_body_voltage_has_no_level() -> None:
    assert not above_reference_level(floats(1e9), codes(">"), NAN)[0]


def test_more_than_fifty_volts_between_ground_points() -> None:
    assert ground_points_differ(floats(49.9, 50.0, 50.1, -60.0, NAN)).tolist() == [
        False,
        False,
        True,
        True,
        False,
    ]


def test_only_a_faulty_outlet_is_faulty() -> None:
    assert outlet_faulty(["ok", "fault", "not tested", ""]).tolist() == [False, True, False, False]


def test_levels_have_no_step_and_never_rise_with_frequency() -> None:
    for limit, joins in (
        (electric_limit_v_per_m, (50.0,)),
        (magnetic_limit_nt, (8.0, 25.0, 400.0)),
    ):
        for join in joins:
            around = limit(floats(join * (1 - 1e-9), join * (1 + 1e-9)))
            assert around[0] == pytest.approx(around[1], rel=1e-8)
        assert (np.diff(limit(np.linspace(1.0, 3000.0, 500))) <= 0.0).all()


@pytest.mark.parametrize("frequency", [0.0, 0.99, 3001.0, NAN])
def test_frequencies_outside_are_refused(frequency: float) -> None:
    with pytest.raises(ValueError, match="frequency"):
        electric_limit_v_per_m(frequency)
    with pytest.raises(ValueError, match="frequency"):
        magnetic_limit_nt(frequency)


def test_an_array_equals_one_at_a_time() -> None:
    frequencies = floats(4.0, 16.7, 50.0, 60.0, 1000.0)
    for limit in (electric_limit_v_per_m, magnetic_limit_nt):
        assert limit(frequencies).tolist() == [float(limit(float(f))) for f in frequencies]
