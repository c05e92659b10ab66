"""Items of a plan with the draws of what they leave, shared by all rows."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np

from mitigation.calc.attribution import DRAWS
from mitigation.calc.prediction import left_draws, uniform_draws
from mitigation.comparison.works import declared_spots
from mitigation.models import PlanItem, Remedy
from surveys.calc.arrays import BoolArray, FloatArray
from surveys.models import Measurand, Spot
from surveys.models.names import folded

OPEN = frozenset({PlanItem.State.PROPOSED, PlanItem.State.ACCEPTED})
"""States of items that a choice may take."""


@dataclass(frozen=True)
class Item:
    """An item with what it acts on, and its draws.

    `sources` are folded names. `acts_on_spots` is False for an item on sources. `served` are the
    keys of the spots that it is said to serve; None where nothing says so, and it serves the spots
    at which one of its sources was tried.
    """

    name: str
    cost: float | None
    state: str
    is_chosen: bool
    measurands: frozenset[str]
    sources: frozenset[str]
    acts_on_spots: bool
    served: frozenset[int] | None
    left: FloatArray  # k of prediction-1, shape (draws,)
    works: BoolArray  # whether it does what it should, shape (draws,)

    @property
    def multiplies_field(self) -> bool:
        """Whether it acts on the whole field of the spots that it serves."""
        return self.acts_on_spots and not self.sources

    @property
    def is_open(self) -> bool:
        """Whether a choice may take it: proposed or accepted, with a cost."""
        return self.state in OPEN and self.cost is not None


def generator(text: str) -> np.random.Generator:
    """The same text gives the same draws, on any machine and in any order."""
    return np.random.default_rng(int.from_bytes(sha256(text.encode()).digest()[:8], "big"))


def measurands_of(remedy: Remedy) -> frozenset[str]:
    """What a kind acts on."""
    magnetic = {Measurand.MAGNETIC_FLUX_DENSITY.value}
    electric = {code.value for code in Measurand} - magnetic
    return frozenset(
        (electric if remedy.is_electric else set()) | (magnetic if remedy.is_magnetic else set())
    )


def items_of(rows: Iterable[PlanItem], spots: Sequence[Spot]) -> list[Item]:
    """The items of a case in file order; `spots` are those of its property."""
    return [_item(row, spots) for row in rows]


def _item(row: PlanItem, spots: Sequence[Spot]) -> Item:
    remedy = row.remedy
    names = [circuit.name for circuit in row.circuits.all()]
    names += [appliance.name for appliance in row.appliances.all()]
    effect = remedy.effect_db if row.effect_db is None else row.effect_db
    spread = remedy.spread_db if row.spread_db is None else row.spread_db
    works = remedy.works_percent if row.works_percent is None else row.works_percent
    return Item(
        name=row.name,
        cost=None if row.cost is None else float(row.cost),
        state=row.state,
        is_chosen=row.is_chosen,
        measurands=measurands_of(remedy),
        sources=frozenset(map(folded, names)),
        acts_on_spots=remedy.acts_on == Remedy.ActsOn.SPOTS,
        served=declared_spots(row, spots),
        left=left_draws(effect or 0.0, spread or 0.0, DRAWS, generator(f"item {row.name}")),
        works=uniform_draws(DRAWS, generator(f"works {row.name}")) < works / 100.0,
    )


def exclusive_pairs(items: Sequence[Item]) -> tuple[tuple[int, int], ...]:
    """Items of which a plan has at most one, where their measurands meet.

    Two that name the same source, and two that multiply the whole field of the same spot.
    """
    pairs = []
    for first, one_item in enumerate(items):
        for second in range(first + 1, len(items)):
            other = items[second]
            if not one_item.measurands & other.measurands:
                continue
            same_source = bool(one_item.sources & other.sources)
            both_whole = one_item.multiplies_field and other.multiplies_field
            same_spot = both_whole and bool((one_item.served or set()) & (other.served or set()))
            if same_source or same_spot:
                pairs.append((first, second))
    return tuple(pairs)
