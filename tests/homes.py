"""Simulated homes with sources of known strength, as planning.md states the generator."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mitigation.calc.trials import LEAST_REPEATABILITY, AxisTrial, axis_trial

ANGLES = {1: (0.0,), 2: (0.0, np.pi), 3: (0.0, 2 * np.pi / 3, 4 * np.pi / 3)}
RESOLUTION = 0.1  # [V/m]


@dataclass(frozen=True)
class Home:
    """Sources over one, two or three phases at one spot.

    `phase` (n,) complex; `amplitude` (3, n), `outside` (3,) complex [V/m]; `coupling` (n, n): what
    part of each live source's phasor an open one takes on.
    """

    phase: np.ndarray
    amplitude: np.ndarray
    outside: np.ndarray
    coupling: np.ndarray

    def axes(self, on: np.ndarray) -> np.ndarray:
        """The field on each axis in each state, shape (states, 3). [V/m]"""
        live = np.atleast_2d(on) * self.phase
        floating = (1 - np.atleast_2d(on)) * (live @ self.coupling.T)
        return np.abs((live + floating) @ self.amplitude.T + self.outside)

    def field(self, on: np.ndarray) -> np.ndarray:
        """The resultant in each state. [V/m]"""
        return np.sqrt((self.axes(on) ** 2).sum(axis=1))


def home(phases: int, sources: int, coupling: float, rng: np.random.Generator) -> Home:
    """A home: amplitude 10^U(0.5, 1.5)·exp(N(0, 1))·random sign, e = 0.03 of that scale.

    An open conductor floats at the coupled sum of the live ones.
    """
    angle = np.array([ANGLES[phases][at] for at in rng.integers(0, phases, sources)])
    scale = 10 ** rng.uniform(0.5, 1.5)
    sign = rng.choice([-1.0, 1.0], (3, sources))
    amplitude = scale * np.exp(rng.standard_normal((3, sources))) * sign
    outside = 0.03 * scale * np.exp(1j * rng.uniform(0, 2 * np.pi, 3))
    between = coupling * (1.0 - np.eye(sources))
    return Home(np.exp(1j * angle), amplitude, outside, between)


def states(sources: int, *, alone: bool, rng: np.random.Generator) -> np.ndarray:
    """All on, each off, all off, each alone or three mixed ones, all on again."""
    every = np.ones(sources)
    each_off = 1 - np.eye(sources)
    more = np.eye(sources) if alone else (rng.random((3, sources)) < 0.5).astype(float)
    return np.vstack([every, each_off, 0 * every, more, every])


def read(house: Home, on: np.ndarray, rng: np.random.Generator) -> list[AxisTrial]:
    """What a meter with a digit of 0.1 V/m and a repeatability of 1 % shows on each axis."""
    true = house.axes(on)
    shown = np.round(np.abs(true * (1 + 0.01 * rng.standard_normal(true.shape))), 1)
    mark = np.where(shown < RESOLUTION, -1, 0).astype(np.int8)
    shown = np.maximum(shown, RESOLUTION)
    additive = np.full(len(on), RESOLUTION / np.sqrt(12))
    return [
        axis_trial(
            on.astype(bool), house.phase, shown[:, at], mark[:, at], additive, LEAST_REPEATABILITY
        )
        for at in range(3)
    ]


def unmeasured(on: np.ndarray, most: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Random states that were not read."""
    known: set[Sequence[float]] = {tuple(row) for row in on}
    drawn = (rng.random((4 * most, on.shape[1])) < 0.5).astype(float)
    return [row for row in drawn if tuple(row) not in known][:most]
