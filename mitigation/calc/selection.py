"""Rule selection-1: the cheapest plan that holds every row that counts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mitigation.calc.programming import (
    Programme,
    SecondsLeft,
    place_in,
    share_of,
    unlimited,
)
from surveys.calc.arrays import BoolArray, FloatArray, IntArray

SELECTION = "selection-1"

USUAL_PROBABILITY = 0.9

MOST_ENUMERATED = 16
"""Up to so many items every plan is looked at; above, an integer programme is solved."""

_CHOICE_SHARE = 0.75
"""Of the time; the steps share what the choice leaves."""

_SECONDS_OF_A_STEP = 0.5
"""At most: a page waits for them, and each is one of many."""

ROUNDING = 2
"""Decimals to which the sums of probabilities are compared."""


@dataclass(frozen=True)
class Row:
    """A row that counts, with its probability under each set of the items that act on it.

    Attributes
    ----------
    items : array of int, shape (k,)
        Numbers of the items that act here.
    probability : array, shape (2^k,)
        Bit j of the place tells whether items[j] is in the plan. [1] 0 where the row is unknown.
    exact : bool
        False where some items that act here were left out of the table.
    """

    items: IntArray
    probability: FloatArray
    exact: bool = True


@dataclass(frozen=True)
class Offer:
    """What may be chosen from.

    Attributes
    ----------
    cost : array, shape (n,)
        Of each item, in file order. [currency]
    exclusive : tuple of pairs of int
        Items of which a plan has at most one.
    rows : tuple of Row
    wanted : float
        P_min: a row is held at this probability or above. [1]
    """

    cost: FloatArray
    exclusive: tuple[tuple[int, int], ...]
    rows: tuple[Row, ...]
    wanted: float = USUAL_PROBABILITY


@dataclass(frozen=True)
class Step:
    """The cheapest plan that holds at least `held` rows; the cheapest found, where not proven."""

    held: int
    cost: float
    items: tuple[int, ...]
    proven: bool = True


@dataclass(frozen=True)
class Choice:
    """What was chosen.

    Attributes
    ----------
    items : tuple of int
        In file order.
    reached : bool
        Whether every row that counts is held.
    proven : bool
        Whether every cheaper plan was ruled out, for the model.
    bound : float
        Nothing cheaper than this holds as many rows, with as high a sum where not all are held.
        [currency]
    steps : tuple of Step
    """

    items: tuple[int, ...]
    cost: float
    reached: bool
    proven: bool
    bound: float
    steps: tuple[Step, ...]


def choose(
    offer: Offer,
    *,
    enumerate_up_to: int = MOST_ENUMERATED,
    seconds_left: SecondsLeft = unlimited,
) -> Choice:
    """The cheapest plan that holds every row; fewer items, then the first in file order, on a tie.

    Parameters
    ----------
    offer : Offer
    enumerate_up_to : int, optional
        Up to so many items that act somewhere every plan is looked at.
    seconds_left : callable, optional
        Tells how much time is left for all searches together; what it ends is not called proven.
        [s]

    Returns
    -------
    Choice
        Where no plan holds every row: most rows held, then the highest sum of probabilities rounded
        to 0.01, then the cheapest.

    Notes
    -----
    Steps: for each number of rows held from 0 the cheapest plan that holds at least so many. What
    holds more for the same money is a step of each number up to its own.

    References
    ----------
    Rule selection-1.
    """
    used = sorted({int(item) for row in offer.rows for item in row.items})
    search: Plans | Programme
    if len(used) <= enumerate_up_to:
        search = Plans(offer, used)
    else:
        search = Programme(
            offer.cost,
            offer.exclusive,
            [(r.items, r.probability) for r in offer.rows],
            offer.wanted,
            share_of(seconds_left, _CHOICE_SHARE),
        )
    most = search.most_held()
    is_reached = most == len(offer.rows)
    items = search.cheapest(most) if is_reached else search.best(most, ROUNDING)
    cost = float(offer.cost[list(items)].sum())
    exact = all(row.exact for row in offer.rows)
    proven = search.proven and exact
    bound = cost if proven else search.bound
    last = Step(most, cost, items, proven) if is_reached else None
    steps = _steps(offer, search, most, seconds_left, last)
    return Choice(items, cost, is_reached, proven, bound, steps)


def _steps(
    offer: Offer,
    search: "Plans | Programme",
    most: int,
    seconds_left: SecondsLeft,
    last: Step | None,
) -> tuple[Step, ...]:
    """What holds more for the same money is the step of each number up to its own.

    `last` is the step that holds every row, where there is one: it is the choice itself.
    """
    exact = all(row.exact for row in offer.rows)
    steps: list[Step] = []
    held = 0
    while held <= most:
        if last and held == last.held:
            return (*steps, last)
        share = 1 / (most + 1 - held)
        search.seconds_left = share_of(seconds_left, share, _SECONDS_OF_A_STEP)
        search.proven = True
        items = search.cheapest(held)
        reaches = sum(is_held(row, items, offer.wanted) for row in offer.rows)
        cost = float(offer.cost[list(items)].sum())
        numbers = range(held, max(reaches, held) + 1)
        steps += [Step(number, cost, items, search.proven and exact) for number in numbers]
        held = numbers.stop
    return tuple(steps)


def is_held(row: Row, items: Sequence[int], wanted: float) -> bool:
    """Whether the row reaches the wanted probability under these items."""
    return bool(row.probability[place_in(row.items, items)] >= wanted)


class Plans:
    """Every plan of a few items, looked at all at once."""

    def __init__(self, offer: Offer, used: Sequence[int]) -> None:
        self.proven = True
        self.bound = 0.0
        self.seconds_left = unlimited
        self._used = used
        number = np.arange(1 << len(used))
        taken = (number[:, None] >> np.arange(len(used))) & 1
        place_of = {item: at for at, item in enumerate(used)}
        allowed = np.ones(len(number), dtype=np.bool_)
        for first, second in offer.exclusive:
            if first in place_of and second in place_of:
                allowed &= (taken[:, place_of[first]] & taken[:, place_of[second]]) == 0
        # Lexicographic order of the items: of two plans of one size the one with the earlier item.
        later = taken @ (1 << np.arange(len(used))[::-1])
        order = np.flatnonzero(allowed)
        cost = np.round(taken @ offer.cost[list(used)] if used else np.zeros(1), 6)
        order = order[np.lexsort((-later[order], taken.sum(axis=1)[order], cost[order]))]
        self._taken = taken[order]
        self._held = np.zeros(len(order), dtype=np.int64)
        self._sum = np.zeros(len(order))
        for row in offer.rows:
            places = [place_of[int(item)] for item in row.items]
            bits = self._taken[:, places] @ (1 << np.arange(len(places)))
            probability = row.probability[bits]
            self._held += probability >= offer.wanted
            self._sum += probability

    def most_held(self) -> int:
        return int(self._held.max(initial=0))

    def cheapest(self, held: int) -> tuple[int, ...]:
        """The first plan, in the order of the tie rule, that holds so many rows."""
        return self._items(np.flatnonzero(self._held >= held)[0])

    def best(self, held: int, decimals: int) -> tuple[int, ...]:
        """Of the plans that hold so many rows the one of the highest sum, then the cheapest."""
        rows = np.flatnonzero(self._held >= held)
        sums = np.round(self._sum[rows], decimals)
        return self._items(rows[np.argmax(sums >= sums.max())])

    def _items(self, plan: np.int64) -> tuple[int, ...]:
        chosen: BoolArray = self._taken[plan].astype(np.bool_)
        return tuple(item for item, is_in in zip(self._used, chosen, strict=True) if is_in)
