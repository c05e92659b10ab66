"""A switching trial while it is walked: states proposed and read, what each changed, what next."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from mitigation.calc.attribution import LEAST_FREEDOM
from mitigation.calc.next_state import next_state
from mitigation.calc.trial_states import proposed_states, readings_missing
from mitigation.calc.trials import repeatability
from mitigation.planning.attributions import (
    Fit,
    Kept,
    basis_digest,
    can_be_attributed,
    fit_of,
    nothing_kept,
)
from mitigation.planning.sources import Sources
from mitigation.planning.trials import (
    ALL_ON,
    EVERYTHING,
    TOTAL,
    State,
    Trial,
    axes_of,
    parts_of,
    trials_of,
)
from surveys.calc.arrays import BoolArray
from surveys.calc.resultant import MARK_ABOVE, MARK_BELOW
from surveys.models import GroundPoint, Instrument, Measurand, Spot, Visit
from surveys.models.names import folded
from surveys.results import read_columns

QUICK = 9
"""Parts times axes up to which a trial that can be checked is sampled within a request.

Measured: with three parts on three axes at most 0.3 s, with five 1.3 s, and several seconds where
there are fewer than three degrees of freedom.
"""
AT_MOST, AT_LEAST = "≤", "≥"
CLEARLY = 2.0  # standard uncertainties of a difference


@dataclass(frozen=True)
class Where:
    """What is the same in all readings of a trial, and the sources that it tries, as spelt."""

    visit: Visit
    spot: Spot
    measurand: str
    ground_point: GroundPoint | None
    instrument: Instrument
    names: tuple[str, ...]

    @property
    def key(self) -> tuple[int, int, str, int, int]:
        """As the keys of trials are."""
        point = self.ground_point.pk if self.ground_point else 0
        return self.visit.pk, self.spot.pk, self.measurand, point, self.instrument.pk


@dataclass(frozen=True)
class Change:
    """A reading against the mean reading with everything on, over the axes that both have.

    `sign` is "≤" or "≥" where the display was out of its range: the difference is then the least
    one, and there is none where it may have either sign.
    """

    value: float
    sign: str
    all_on: float | None
    rises: bool = False

    @property
    def difference(self) -> float | None:
        if self.all_on is None:
            return None
        difference = self.value - self.all_on
        is_sure = not self.sign or (difference < 0 if self.sign == AT_MOST else difference > 0)
        return difference if is_sure else None

    @property
    def percent(self) -> float | None:
        difference = self.difference
        return 100 * difference / self.all_on if difference is not None and self.all_on else None


@dataclass(frozen=True)
class Step:
    """One state of a walk; `reading` is None until it is read, `has` are the columns read."""

    off: State
    shown: str  # as the column of what was off has it
    nth: int
    reading: int | None = None
    has: frozenset[int] = frozenset()
    change: Change | None = None


@dataclass(frozen=True)
class Walk:
    """The steps of a trial with what is known by now."""

    steps: tuple[Step, ...]
    missing: int  # readings, until the model can be checked
    is_attributed: bool  # what is read can be shared out among the sources
    unknown_phases: tuple[str, ...]
    rising: tuple[str, ...]  # sources whose opening alone raises the field
    fit: Fit | None
    is_too_long: bool  # to be sampled within a request
    next_off: State | None
    plan_state_is_read: bool


def walk_of(where: Where, sources: Sources, planned: Iterable[str], kept: Kept) -> Walk:
    """What is proposed and read of a trial; `planned` are the sources on which the plan acts."""
    trials = trials_of([where.visit], read_columns([where.visit]))
    trial = next((trial for trial in trials if _key(trial) == where.key), None)
    tried = set(trial.tried) if trial else set()
    plan = frozenset(map(folded, planned)) & tried
    steps = _steps(where, trial, sources)
    missing, size = _missing(where, trial, sources)
    fit, is_too_long = _fit(trial, sources, kept, size)
    next_off = _next(fit, trial, sources, steps, plan)
    return Walk(
        steps=tuple(_with_next(steps, next_off, sources)),
        missing=missing,
        is_attributed=_may_be_attributed(where, trial),
        unknown_phases=_unknown_phases(where, tried, sources),
        rising=_rising(steps, sources),
        fit=fit,
        is_too_long=is_too_long,
        next_off=next_off,
        plan_state_is_read=bool(plan) and trial is not None and plan in trial.states,
    )


def _missing(where: Where, trial: Trial | None, sources: Sources) -> tuple[int, int]:
    """Readings missing on the axis that has fewest; axes times parts of the model."""
    parts = parts_of(trial, sources) if trial else None
    axes = axes_of(trial, parts) if trial and parts else []
    tried = trial.tried if trial else ()
    n_parts = len({*tried, *map(folded, where.names)})
    n_parts += len(parts.phase) - len(parts.names) if parts else 0
    fewest = min((axis.reading.size for axis in axes), default=0)
    return readings_missing(fewest, n_parts), len(axes) * n_parts


def _rising(steps: Sequence[Step], sources: Sources) -> tuple[str, ...]:
    """The sources whose opening alone raised the field, as they are spelt."""
    alone = (step for step in steps if len(step.off) == 1 and step.off != EVERYTHING)
    rising = (next(iter(step.off)) for step in alone if step.change and step.change.rises)
    return tuple(sources.shown(name) for name in dict.fromkeys(rising))


def _key(trial: Trial) -> tuple[int, int, str, int, int]:
    return trial.visit, trial.spot, trial.measurand, trial.ground_point, trial.instrument


def _steps(where: Where, trial: Trial | None, sources: Sources) -> list[Step]:
    """What is proposed, in its order, then what was read beyond that."""
    rows: dict[State, list[int]] = {}
    for at, state in enumerate(trial.states if trial else ()):
        rows.setdefault(state, []).append(at)
    steps, used = [], dict.fromkeys(rows, 0)
    for off in _proposed(where, sources):
        nth = used.get(off, 0)
        used[off] = nth + 1
        steps.append(_step(off, nth, trial, rows.get(off, []), sources))
    for off, places in rows.items():
        for nth in range(used.get(off, 0), len(places)):
            steps.append(_step(off, nth, trial, places, sources))
    return steps


def _proposed(where: Where, sources: Sources) -> Iterable[State]:
    """A source that is read alone needs its circuit."""
    names = [folded(name) for name in where.names]
    n_alone = len(names) - 1
    for off in proposed_states(len(names)):
        state = frozenset(names[at] for at in off)
        if len(off) == n_alone > 1:
            (alone,) = set(names) - state
            state -= {sources.circuit_of(alone)}
        yield state


def _step(
    off: State, nth: int, trial: Trial | None, places: Sequence[int], sources: Sources
) -> Step:
    shown = "; ".join(sources.shown(name) for name in sorted(off))
    if trial is None or nth >= len(places):
        return Step(off, shown, nth)
    at = places[nth]
    has = frozenset(np.flatnonzero(~np.isnan(trial.cells[at])).tolist())
    return Step(off, shown, nth, trial.pks[at], has, _change(trial, at, has))


def _change(trial: Trial, at: int, has: frozenset[int]) -> Change:
    reference = [
        row
        for row, state in enumerate(trial.states)
        if state == ALL_ON and not np.isnan(trial.cells[row, sorted(has)]).all()
    ]
    columns = sorted(
        column for column in has if all(~np.isnan(trial.cells[reference, column]))
    )  # fmt: skip
    if not reference or not columns:
        low, high = _bounds(trial, at, sorted(has))
        return Change(*_shown(low, high), None)
    low, high = _bounds(trial, at, columns)
    ends = [_bounds(trial, row, columns) for row in reference]
    on_low, on_high = (float(np.mean([end[side] for end in ends])) for side in (0, 1))
    value, sign = _shown(low, high)
    all_on, on_sign = _shown(on_low, on_high)
    r = repeatability(np.array([end[0] for end in ends]), trial.least_repeatability)
    a = float(trial.additive[at])
    u = np.sqrt((r * low) ** 2 + (r * on_high) ** 2 / len(ends) + a**2 * (1 + 1 / len(ends)))
    return Change(value, sign, None if on_sign else all_on, bool(low - on_high > CLEARLY * u))


def _bounds(trial: Trial, at: int, columns: Sequence[int]) -> tuple[float, float]:
    """The least and the most that the field over these columns may be."""
    numbers, marks = trial.cells[at, columns], trial.marks[at, columns]
    low = float(np.sqrt((np.where(marks == MARK_BELOW, 0.0, numbers) ** 2).sum()))
    most = float(np.sqrt((numbers**2).sum()))
    return low, float("inf") if (marks == MARK_ABOVE).any() else most


def _shown(low: float, high: float) -> tuple[float, str]:
    if high == float("inf"):
        return low, AT_LEAST
    return high, "" if high - low <= 0.01 * high else AT_MOST


def _may_be_attributed(where: Where, trial: Trial | None) -> bool:
    """Not the flux density, nor a field that was read as a total."""
    if where.measurand == Measurand.MAGNETIC_FLUX_DENSITY:
        return False
    is_total = trial is not None and not np.isnan(trial.cells[:, TOTAL]).all()
    return where.measurand == Measurand.BODY_VOLTAGE or not is_total


def _unknown_phases(where: Where, tried: set[str], sources: Sources) -> tuple[str, ...]:
    names = dict.fromkeys([*map(folded, where.names), *sorted(tried)])
    return tuple(sources.shown(name) for name in names if sources.angle(name) is None)


def _fit(
    trial: Trial | None, sources: Sources, kept: Kept, size: int
) -> tuple[Fit | None, bool]:  # fmt: skip
    """The kept draws, or new ones where they are quickly made; else whether that takes longer."""
    if trial is None or ALL_ON not in trial.states or not can_be_attributed(trial, sources):
        return None, False
    known = kept(basis_digest(trial, sources))
    if known is not None:
        return known, False
    parts = parts_of(trial, sources)
    assert parts is not None
    axes = axes_of(trial, parts)
    if min(axis.degrees_of_freedom for axis in axes) < LEAST_FREEDOM:
        return None, False
    if size > QUICK:
        return None, True
    return fit_of(trial, sources, nothing_kept), False


def _next(
    fit: Fit | None, trial: Trial | None, sources: Sources, steps: Sequence[Step], plan: State
) -> State | None:
    """The state that tells most: of the proposed ones, those of two sources, and the plan's."""
    if fit is None or fit.attribution is None or trial is None:
        return None
    tried = set(fit.names)
    pairs = [frozenset(pair) for pair in combinations(fit.names, 2)]
    wanted = [plan, *(step.off for step in steps), *pairs]
    unread = [
        state
        for state in dict.fromkeys(wanted)
        if state and state <= tried and state not in trial.states
    ]
    on = _on(unread, fit, sources)
    at = next_state(fit.attribution, on, [state == plan for state in unread])
    return None if at is None else unread[at]


def _on(states: Sequence[State], fit: Fit, sources: Sources) -> BoolArray:
    """Which parts are on in each state; the remainders always are."""
    assert fit.attribution is not None
    on = np.ones((len(states), len(fit.attribution.phase)), dtype=np.bool_)
    for row, state in enumerate(states):
        on[row, : len(fit.names)] = [
            name not in state and sources.circuit_of(name) not in state for name in fit.names
        ]
    return on


def _with_next(steps: Sequence[Step], off: State | None, sources: Sources) -> list[Step]:
    """The steps, with one for the state that tells most where nobody proposed it."""
    if off is None or any(step.off == off for step in steps):
        return list(steps)
    return [*steps, _step(off, 0, None, (), sources)]
