"""Switching trials, from rows of readings to what the rules of planning take."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np

from mitigation.calc.trials import (
    LEAST_REPEATABILITY,
    LEAST_REPEATABILITY_OF_BODY_VOLTAGE,
    AxisTrial,
    ComplexArray,
    axis_trial,
)
from mitigation.planning.sources import Sources
from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.qualifiers import Qualifier
from surveys.calc.resultant import counted_cells, resultants
from surveys.models import Measurand, Reading, Visit
from surveys.models.circuits import MAIN_SWITCH, names_in
from surveys.models.names import folded
from surveys.results import ReadingColumns

State = frozenset[str]
EVERYTHING: State = frozenset({MAIN_SWITCH})
"""The state with the main switch off."""

ALL_ON: State = frozenset()
TOTAL = 3  # the column of a total
"""Columns of a reading: x, y, z, total."""


@dataclass(frozen=True)
class Trial:
    """The readings of one trial, in the order in which they were taken.

    `states` names what was off, folded; `rows` are the places of the readings in the columns of the
    case; `low`, `high` and `value` are bounds and value of each resultant.
    """

    visit: int
    spot: int
    measurand: str
    ground_point: int
    instrument: int
    states: tuple[State, ...]
    pks: tuple[int, ...]
    cells: FloatArray  # (n, 4)
    marks: CodeArray  # (n, 4)
    additive: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray

    @cached_property
    def tried(self) -> tuple[str, ...]:
        """The sources that a state other than the main switch names, in the order of the states."""
        named = (sorted(state) for state in self.states if state != EVERYTHING)
        return tuple(dict.fromkeys(name for names in named for name in names))

    @property
    def all_on(self) -> float:
        """The mean reading with everything on; NaN without one. [V/m, mV or nT]"""
        rows = self._rows(ALL_ON)
        return float(self.value[rows].mean()) if rows else float("nan")

    def _rows(self, state: State) -> list[int]:
        return [at for at, other in enumerate(self.states) if other == state]

    def is_cut_off(self) -> bool:
        """Whether a reading with everything on was beyond the range of the meter, or under it."""
        rows = self._rows(ALL_ON)
        return bool((self.low[rows] != self.high[rows]).any())

    @property
    def least_repeatability(self) -> float:
        """The smallest r of attribution-1. [1]"""
        is_body = self.measurand == Measurand.BODY_VOLTAGE
        return LEAST_REPEATABILITY_OF_BODY_VOLTAGE if is_body else LEAST_REPEATABILITY

    @property
    def digest(self) -> str:
        """What the trial says, in a few characters: other rows have another digest."""
        digest = sha256(f"{self.measurand}".encode())
        for at, state in enumerate(self.states):
            numbers = (*self.cells[at], *self.marks[at], self.additive[at])
            digest.update(f"{sorted(state)}{[float(number) for number in numbers]}".encode())
        return digest.hexdigest()


@dataclass(frozen=True)
class Parts:
    """The parts of which a trial's model is made: tried sources, then the remainders."""

    names: tuple[str, ...]  # of the tried sources; remainders have none
    phase: ComplexArray
    on: BoolArray  # (n, parts)


def trials_of(visits: Sequence[Visit], columns: ReadingColumns) -> list[Trial]:
    """Every trial of the visits; what was set aside or corrected is no part of one: one query."""
    rows = (
        Reading.objects.trials()
        .filter(visit__in=visits)
        .order_by("visit", "position")
        .values_list("pk", "visit", "spot", "measurand", "ground_point", "instrument",
                     "circuits_off")
    )  # fmt: skip
    place_of = {pk: at for at, pk in enumerate(columns.pk.tolist())}
    groups: dict[tuple[int, int, str, int, int], list[tuple[int, State]]] = {}
    for pk, visit, spot, measurand, point, instrument, off in rows:
        state = frozenset(map(folded, names_in(off)))
        key = (visit, spot, measurand, point or 0, instrument)
        groups.setdefault(key, []).append((place_of[pk], state))
    return [_trial(key, members, columns) for key, members in groups.items()]


def _trial(
    key: tuple[int, int, str, int, int],
    members: Sequence[tuple[int, State]],
    columns: ReadingColumns,
) -> Trial:
    at = np.array([place for place, _state in members], dtype=np.int64)
    instruments = columns.instruments.take(at)
    cells = counted_cells(columns.values[at], columns.marks[at], instruments)
    whole = resultants(columns.values[at], columns.marks[at], instruments, 0.0)
    visit, spot, measurand, ground_point, instrument = key
    exact = whole.qualifier == Qualifier.NONE
    return Trial(
        visit=visit,
        spot=spot,
        measurand=measurand,
        ground_point=ground_point,
        instrument=instrument,
        states=tuple(state for _place, state in members),
        pks=tuple(int(pk) for pk in columns.pk[at]),
        cells=np.where(np.isnan(columns.values[at]), np.nan, cells.number),
        marks=cells.mark,
        additive=np.nan_to_num(instruments.additive, nan=0.0),
        value=whole.value,
        low=np.where(exact, whole.value, whole.lower),
        high=np.where(exact, whole.value, whole.upper),
    )


def chosen_trial(
    trials: Iterable[Trial], visit: int, spot: int, measurand: str, ground_point: int
) -> Trial | None:
    """The trial that stands for a finding: on its ground point, else the one of the highest field.

    It is of the finding's visit, and has a reading with everything on.
    """
    fitting = [
        trial
        for trial in trials
        if (trial.visit, trial.spot, trial.measurand) == (visit, spot, measurand)
        and ALL_ON in trial.states
    ]
    same = [trial for trial in fitting if trial.ground_point == ground_point]
    return max(same or fitting, key=lambda trial: trial.all_on, default=None)


def parts_of(trial: Trial, sources: Sources) -> Parts | None:
    """The parts of a trial's model; None where the phase of a tried source is not known."""
    tried = trial.tried
    angles = [sources.angle(name) for name in tried]
    if any(angle is None for angle in angles):
        return None
    on = np.array(
        [
            [
                state != EVERYTHING and name not in state and sources.circuit_of(name) not in state
                for name in tried
            ]
            for state in trial.states
        ],
        dtype=np.bool_,
    ).reshape(len(trial.states), len(tried))
    phase = np.exp(1j * np.array(angles, dtype=np.float64))
    remainders = _remainders(tried, sources) if EVERYTHING in trial.states else []
    under_main = np.array([[state != EVERYTHING] * len(remainders) for state in trial.states])
    return Parts(
        tried,
        np.concatenate([phase, np.array(remainders, dtype=np.complex128)]),
        np.concatenate([on, under_main.astype(np.bool_).reshape(len(on), len(remainders))], axis=1),
    )


def _remainders(tried: Sequence[str], sources: Sources) -> list[complex]:
    """A phasor for each phase of the declared circuits that were not tried.

    Where a phase is not known the remainder may have any: two parts at right angles.
    """
    angles = {sources.angle(name) for name in sources.circuits - set(tried)}
    known = sorted(angle for angle in angles if angle is not None)
    return [*np.exp(1j * np.array(known)).tolist(), *((1.0, 1j) if None in angles else ())]


def axes_of(trial: Trial, parts: Parts) -> list[AxisTrial]:
    """Each axis that every reading with everything on has; none where a field was read as a total.

    Body voltage is one channel.
    """
    is_body = trial.measurand == Measurand.BODY_VOLTAGE
    given = ~np.isnan(trial.cells)
    if trial.measurand == Measurand.MAGNETIC_FLUX_DENSITY:
        return []
    if not is_body and given[:, TOTAL].any():
        return []
    all_on = np.array([state == ALL_ON for state in trial.states])
    axes = []
    for column in range(TOTAL + 1):
        rows = given[:, column]
        if not rows[all_on].any():
            continue
        axes.append(
            axis_trial(
                parts.on[rows],
                parts.phase,
                trial.cells[rows, column],
                trial.marks[rows, column],
                trial.additive[rows],
                trial.least_repeatability,
            )
        )
    return axes


def measured_bounds(trial: Trial, sources: Sources) -> Mapping[State, tuple[float, float]]:
    """Bounds of the mean reading by what was off, an appliance off with its circuit."""
    tried = trial.tried
    groups: dict[State, list[int]] = {}
    for at, state in enumerate(trial.states):
        off = state if state == EVERYTHING else sources.with_appliances(state, tried)
        groups.setdefault(off, []).append(at)
    return {
        state: (float(trial.low[rows].mean()), float(trial.high[rows].mean()))
        for state, rows in groups.items()
    }
