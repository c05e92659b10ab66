"""What each source adds at a spot, with its sign and how sure that is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mitigation.planning.rows import PlanRow
from mitigation.planning.trials import ALL_ON
from surveys.calc.arrays import FloatArray

REST, OUTSIDE = "rest", "outside"
"""Instead of a name: circuits that were not tried, and what no switch takes off."""

_ENDS = (0.025, 0.5, 0.975)


@dataclass(frozen=True)
class Interval:
    """A median with the 2.5 and 97.5 percentiles."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class Contribution:
    """What a source adds to the field with everything on; all of a spot add up to it.

    `source` is a folded name, `REST` or `OUTSIDE`. `opened` is the field with that source alone
    off; None for what no breaker of the trial takes off. `opening_raises` is the share of draws in
    which the field is then higher.
    """

    source: str
    adds: Interval
    opened: Interval | None = None
    opening_raises: float = 0.0

    @property
    def cancels(self) -> bool:
        """Whether it surely takes off some of what others make."""
        return self.adds.high < 0.0


def contributions_of(row: PlanRow) -> list[Contribution]:
    """The sources of an attributed row, strongest first, then what was not tried and the outside.

    Empty where nothing is attributed.
    """
    adds = _adds(row)
    if not adds:
        return []
    opened, raises = _opened(row)
    sources = [
        Contribution(name, adds[name], opened[at], float(raises[at]))
        for at, name in enumerate(row.names)
    ]
    sources.sort(key=lambda source: -abs(source.adds.median))
    others = [Contribution(name, adds[name]) for name in (REST, OUTSIDE) if name in adds]
    return [*sources, *others]


def _adds(row: PlanRow) -> dict[str, Interval]:
    """What each source adds, by its name; empty where nothing is attributed."""
    attribution = row.attribution
    if attribution is None:
        return {}
    along, outside = attribution.contributions()
    n = len(row.names)
    columns = [along[:, :n]]
    labels = [*row.names]
    if along.shape[1] > n:
        columns.append(along[:, n:].sum(axis=1, keepdims=True))
        labels.append(REST)
    columns.append(outside[:, None])
    labels.append(OUTSIDE)
    return dict(zip(labels, _intervals(np.concatenate(columns, axis=1)), strict=True))


def _intervals(draws: FloatArray) -> list[Interval]:
    """Of each column."""
    ends = np.quantile(draws, _ENDS, axis=0)
    return [Interval(*map(float, column)) for column in ends.T]


def _opened(row: PlanRow) -> tuple[list[Interval], FloatArray]:
    """The field with each source alone off, and how often it is higher than with everything on."""
    attribution = row.attribution
    assert attribution is not None
    if not row.names:
        return [], np.zeros(0)
    goes = np.zeros((attribution.parts.shape[2], len(row.names)))
    for at, name in enumerate(row.names):
        off = row.reached(frozenset({name}))
        goes[: len(row.names), at] = [other in off for other in row.names]
    field = np.stack([attribution.field(1.0 - off) for off in goes.T], axis=1)
    everything_on = attribution.field()
    return _intervals(field), np.asarray(np.mean(field > everything_on[:, None], axis=0))


def read_states(row: PlanRow) -> Mapping[frozenset[str], tuple[float, float]]:
    """What was read in each state of a trial but "all on", by what was off."""
    return {state: bounds for state, bounds in row.measured.items() if state != ALL_ON}


def shares_of(
    row: PlanRow, contributions: Sequence[Contribution] | None = None
) -> dict[str, float]:
    """How much of the field a source makes, whatever its sign, by folded name. [1]

    From its contributions, where the caller has them already. Where nothing is attributed: how far
    the reading with it alone off is from "all on".
    """
    if contributions is None:
        adds = _adds(row)
    else:
        adds = {part.source: part.adds for part in contributions}
    if adds:
        whole = abs(sum(part.median for part in adds.values())) or 1.0
        return {name: abs(adds[name].median) / whole for name in row.names}
    if row.trial is None or row.is_pending or not row.trial.all_on > 0.0:
        return {}
    read, tried = read_states(row), row.trial.tried
    shares = {}
    for name in tried:
        bounds = read.get(row.sources.with_appliances({name}, tried))
        if bounds is not None and np.isfinite(bounds[1]):
            shares[name] = abs(1.0 - bounds[1] / row.trial.all_on)
    return shares
