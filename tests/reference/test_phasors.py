"""Sums of phasors and fields of wires against published and hand-computed values."""

import numpy as np
import pytest

from mitigation.calc.attribution import attribute
from mitigation.calc.trials import AxisTrial, phasors
from tests.homes import Home, read, states


def summed(*parts: tuple[float, float]) -> float:
    """The magnitude of parts given as rms value and angle in degrees."""
    amplitude = [value for value, _degrees in parts]
    phase = np.exp(1j * np.radians([degrees for _value, degrees in parts]))
    trial = AxisTrial(
        np.ones((1, len(parts)), dtype=bool), phase, np.ones(1), np.zeros(1, np.int8), np.ones(1)
    )
    return float(np.abs(phasors(trial, np.array([[*amplitude, 0.0, 0.0]])))[0, 0])


@pytest.mark.parametrize(
    ("parts", "total"),
    [  # hand calculation: sums of complex numbers
        (((10, 0), (10, 0)), 20.0),
        (((10, 0), (10, 180)), 0.0),
        (((10, 0), (8, 180)), 2.0),
        (((10, 0), (10, 120)), 10.0),
        (((10, 0), (10, 120), (10, 240)), 0.0),
        (((12, 0), (9, 120), (6, 240)), 5.1962),
    ],
)
def test_sums_of_rms_phasors(parts, total) -> None:
    assert summed(*parts) == pytest.approx(total, abs=5e-5)


def below_wire(volts: float, height: float, radius: float, lateral: float = 0.0) -> float:
    """Vertical field at the ground under a wire by its image charge. [V/m]"""
    distance = height**2 / (height**2 + lateral**2)
    return 2 * volts / (height * np.log(2 * height / radius)) * distance


@pytest.mark.parametrize(
    ("volts", "height", "radius", "field"),
    # Conductor over ground (method of images): 230 V at 2.4 m, 0.8 mm; 120 V with 1.0 mm.
    [(230, 2.4, 0.8e-3, 22.032), (120, 2.4, 1.0e-3, 11.798)],
)
def test_the_field_under_a_wire(volts, height, radius, field) -> None:
    assert below_wire(volts, height, radius) == pytest.approx(field, abs=5e-4)
    assert below_wire(volts, height, radius, height) == pytest.approx(field / 2, abs=5e-4)


def test_a_room_of_wires_is_taken_apart() -> None:
    """Three wires over ground, by image charges: each one's share is found from the trial."""
    offsets = np.array([0.0, 1.2, 2.9])
    vertical = np.array([below_wire(230, 2.4, 0.8e-3, x) for x in offsets])
    sideways = vertical * offsets / 2.4 * 0.3  # a probe off the ground sees some of it
    house = Home(
        np.ones(3, complex),
        np.array([vertical, sideways, 0.1 * vertical]),
        np.full(3, 0.05 + 0j),
        np.zeros((3, 3)),
    )
    rng = np.random.default_rng(11)
    on = states(3, alone=True, rng=rng)
    attribution = attribute(read(house, on, rng), np.random.default_rng(3))
    assert attribution is not None and attribution.checkable
    for number in range(3):
        left = np.ones(3)
        left[number] = 0.0
        low, high = np.quantile(attribution.field(left) / attribution.field(), [0.005, 0.995])
        true = house.field(left)[0] / house.field(np.ones(3))[0]
        assert low <= true <= high
