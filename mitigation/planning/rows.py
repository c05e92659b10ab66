"""One row of a plan: a spot and measurand with its finding, its trial, and what items do to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from mitigation.calc.attribution import ATTRIBUTION, DRAWS, Attribution
from mitigation.calc.prediction import (
    Predicted,
    after_draws,
    may_rise,
    normal_draws,
    predicted,
    probability_under_limit,
    uniform_draws,
)
from mitigation.calc.read_states import READ_STATE, several_ends, single_ends
from mitigation.planning.items import Item, generator
from mitigation.planning.sources import Sources
from mitigation.planning.trials import ALL_ON, Trial, measured_bounds
from surveys.calc.arrays import FloatArray, none_if_nan
from surveys.models import Spot
from surveys.results import SpotFinding

SPOT, NOTHING = "spot", "none"
OUT_OF_RANGE = "finding out of range"
FAULTY_GROUND = "finding on a faulty ground point"
NOT_COMPUTED = "trial not computed yet"


@dataclass(frozen=True)
class Forecast:
    """A row under a set of items; ratio and after draws are None where `unknown` says why."""

    basis: str
    ratio: FloatArray | None
    after: FloatArray | None
    unknown: tuple[str, ...] = ()
    needs: tuple[frozenset[str], ...] = ()  # states that would have to be read

    def figures(self, row: "PlanRow") -> Predicted | None:
        return None if self.after is None else predicted(self.after, row.bounds, row.limit)

    def may_rise(self, row: "PlanRow") -> bool:
        return self.after is not None and may_rise(self.after, row.finding.value)


@dataclass(frozen=True)
class PlanRow:
    """A spot and measurand with its finding; `attribution` is None where nothing is attributed."""

    spot: Spot
    measurand: str
    finding: SpotFinding
    bounds: FloatArray
    limit: float
    placement: float
    sources: Sources
    trial: Trial | None
    attribution: Attribution | None
    is_misfit: bool = False
    is_pending: bool = False  # the trial is still to be sampled
    names: tuple[str, ...] = ()  # of the parts of the attribution, folded
    noise: FloatArray = field(default_factory=lambda: np.zeros((3, DRAWS)))

    @property
    def place(self) -> tuple[str, str, str]:
        return self.spot.room.name, self.spot.name, self.measurand

    @property
    def tried(self) -> frozenset[str]:
        return frozenset(self.trial.tried) if self.trial else frozenset()

    @cached_property
    def measured(self) -> Mapping[frozenset[str], tuple[float, float]]:
        """Between what the reading of each state lies; nothing without a trial."""
        return measured_bounds(self.trial, self.sources) if self.trial else {}

    @cached_property
    def between(self) -> FloatArray:
        """Draws of where between the ends of read-state-1 the field lies. [1]"""
        return uniform_draws(DRAWS, generator(f"between {self.place}"))

    def blocks(self) -> tuple[str, ...]:
        """Why nothing at all can be foretold here."""
        reasons = []
        if self.finding.qualifier == ">":
            reasons.append(OUT_OF_RANGE)
        if self.finding.ground.fault:
            reasons.append(FAULTY_GROUND)
        return tuple(reasons)

    def is_of_another_state(self) -> bool:
        """Whether "all on" of the trial and the finding differ by more than placement explains."""
        if self.trial is None or self.trial.is_cut_off() or self.finding.qualifier:
            return False
        change = abs(self.trial.all_on - self.finding.value) / self.finding.value
        return bool(change > 2.0 * np.sqrt(2.0) * self.placement)

    def acting(self, items: Sequence[Item]) -> list[Item]:
        """Those of the items that change something here."""
        return [item for item in items if self._acts(item)]

    def _acts(self, item: Item) -> bool:
        if self.measurand not in item.measurands:
            return False
        is_served = item.served is None or self.spot.pk in item.served
        if item.multiplies_field:
            return is_served
        tried_here = bool(self.reached(item.sources))
        return tried_here and (is_served or not item.acts_on_spots)

    def not_tried(self, items: Sequence[Item]) -> list[str]:
        """The sources of items that should serve this spot, where none of them was tried."""
        missing = []
        for item in items:
            serves = item.served is not None and self.spot.pk in item.served
            acts = self.measurand in item.measurands and item.sources and serves
            if acts and not self.reached(item.sources):
                missing += sorted(item.sources)
        return list(dict.fromkeys(missing))

    def reached(self, names: frozenset[str]) -> frozenset[str]:
        """Of these sources those that were tried, with the tried appliances on their circuits."""
        return self.sources.with_appliances(names & self.tried, self.tried)

    def forecast(self, items: Sequence[Item], *, overall: bool = False) -> Forecast:
        """The row with these items; `overall`: each does what it should as often as its kind does.

        Where a state that some draws need was not read, these draws are above any target.
        """
        acting = self.acting(items)
        basis = self._basis(acting)
        unknown = [
            *self.blocks(),
            *(f"not tried: {self._shown([n])}" for n in self.not_tried(items)),
        ]
        if unknown:
            return Forecast(basis, None, None, tuple(unknown))
        on_sources = [item for item in acting if not item.multiplies_field]
        if on_sources and self.is_pending:
            return Forecast(basis, None, None, (NOT_COMPUTED,))
        ratio, needs = self._ratio_of_sources(on_sources, basis, overall=overall)
        if ratio is None:
            words = [f"read this state: {self._shown(state)} off" for state in needs]
            return Forecast(basis, None, None, tuple(words), needs)
        for item in acting:
            if item.multiplies_field:
                ratio = ratio * _left(item, overall=overall)
        after = after_draws(
            self.finding.value,
            ratio,
            self.placement,
            float(np.nan_to_num(self.finding.additive, nan=0.0)),
            self.noise,
        )
        return Forecast(basis, ratio, after)

    def overall(self, items: Sequence[Item]) -> float | None:
        """The probability where each item works as often as its kind does; None if unknown."""
        after = self.forecast(items, overall=True).after
        return None if after is None else none_if_nan(probability_under_limit(after, self.limit))

    def _basis(self, acting: Sequence[Item]) -> str:
        if not acting:
            return NOTHING
        if all(item.multiplies_field for item in acting):
            return SPOT
        is_attributed = self.attribution is not None or self.is_pending
        return ATTRIBUTION if is_attributed else READ_STATE

    def _shown(self, names: Sequence[str] | frozenset[str]) -> str:
        return " + ".join(self.sources.shown(name) for name in sorted(names))

    def _ratio_of_sources(
        self, items: Sequence[Item], basis: str, *, overall: bool
    ) -> tuple[FloatArray | None, tuple[frozenset[str], ...]]:
        if not items:
            return np.ones(DRAWS), ()
        if basis == ATTRIBUTION and self.attribution is not None:
            left = np.ones((DRAWS, len(self.attribution.phase)))
            for at, name in enumerate(self.names):
                for item in items:
                    if name in self.reached(item.sources):
                        left[:, at] *= _left(item, overall=overall)
            return self.attribution.field(left) / self.attribution.field(), ()
        if not overall:
            ratio = self._ratio_of_read_state(items)
            return ratio, () if ratio is not None else (self._off(items),)
        return self._overall_of_read_states(items), ()

    def _off(self, items: Sequence[Item]) -> frozenset[str]:
        """The state that these items make if nothing of their sources is left."""
        return frozenset().union(*(self.reached(item.sources) for item in items))

    def _ratio_of_read_state(self, items: Sequence[Item]) -> FloatArray | None:
        """Draws between the ends of read-state-1; None where just that state was not read."""
        if self.trial is None:
            return None
        read = self.measured
        on_low, on_high = read[ALL_ON]
        off = read.get(self._off(items))
        if off is None or not np.isfinite(off[1]) or on_low != on_high or on_low <= 0.0:
            return None
        groups = self._grouped(items)
        left = np.stack(
            [np.prod([item.left for item in group], axis=0) for group in groups.values()]
        )
        if len(groups) == 1:
            low, high = single_ends(left[0], *off, on_low)
        else:
            alone = [read.get(name) for name in groups]
            each = np.array([bounds[1] if bounds else np.nan for bounds in alone])
            low, high = several_ends(left.T, *off, on_low, each)
        return np.asarray((low + (high - low) * self.between) / on_low)

    def _grouped(self, items: Sequence[Item]) -> dict[frozenset[str], list[Item]]:
        """Sources by the items that act on them; a circuit with its appliances under one κ is one.

        The key is what is off when just that source is.
        """
        tried = self.tried
        acting = {
            name: tuple(item.name for item in items if name in self.reached(item.sources))
            for name in self._off(items)
        }
        heads = [
            name
            for name in sorted(acting)
            if acting.get(self.sources.circuit_of(name)) != acting[name]
        ]
        return {
            self.sources.with_appliances({name}, tried): [
                item for item in items if item.name in acting[name]
            ]
            for name in heads
        }

    def _overall_of_read_states(self, items: Sequence[Item]) -> FloatArray:
        """Each draw from the state that its items make; infinite where that was not read."""
        ratio = np.full(DRAWS, np.inf)
        works = np.stack([item.works for item in items])
        for pattern in np.unique(works, axis=1).T:
            draws_here = (works == pattern[:, None]).all(axis=0)
            acting = [item for item, does in zip(items, pattern, strict=True) if does]
            drawn = self._ratio_of_read_state(acting) if acting else np.ones(DRAWS)
            if drawn is not None:
                ratio[draws_here] = drawn[draws_here]
        return ratio


def _left(item: Item, *, overall: bool) -> FloatArray:
    return np.where(item.works, item.left, 1.0) if overall else item.left


def row_noise(place: tuple[str, str, str]) -> FloatArray:
    """z2, z3 and z5 of a row: the same for the same place, whatever else a case has."""
    rng = generator(f"row {place}")
    return np.stack([normal_draws(DRAWS, rng) for _number in range(3)])
