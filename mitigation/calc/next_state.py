"""Rule next-state-1: which state of the panel to read next."""

from collections.abc import Sequence

import numpy as np

from mitigation.calc.attribution import Attribution
from surveys.calc.arrays import BoolArray, FloatArray

NEXT_STATE = "next-state-1"


def spreads(attribution: Attribution, on: BoolArray) -> FloatArray:
    """How far apart the ends of the predicted ratio of each state are.

    Parameters
    ----------
    attribution : Attribution
        With m parts.
    on : array of bool, shape (states, m)
        Which parts are on in each state.

    Returns
    -------
    array, shape (states,)
        The 97.5 percentile of E/E(all on) over the 2.5 percentile; infinite where that is 0. [1]

    References
    ----------
    Rule next-state-1.
    """
    everything_on = attribution.field()
    ratios = np.stack([attribution.field(row.astype(np.float64)) / everything_on for row in on])
    low, high = np.quantile(ratios, [0.025, 0.975], axis=1)
    return np.where(low > 0.0, high / np.where(low > 0.0, low, 1.0), np.inf)


def next_state(attribution: Attribution, on: BoolArray, preferred: Sequence[bool]) -> int | None:
    """The place of the state to read next among those that were not read.

    Parameters
    ----------
    attribution : Attribution
    on : array of bool, shape (states, m)
        The states that were not read.
    preferred : sequence of bool, length states
        Those that the current plan makes; they come first.

    Returns
    -------
    int or None
        None where every state was read.

    References
    ----------
    Rule next-state-1: the one whose own predicted ratio is most spread.
    """
    if not len(on):
        return None
    chosen = np.asarray(preferred, dtype=np.bool_)
    if not chosen.any():
        chosen = np.ones(len(on), dtype=np.bool_)
    rows = np.flatnonzero(chosen)
    return int(rows[np.argmax(spreads(attribution, on[rows]))])
