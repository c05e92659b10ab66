"""Rule selection-1 for many items: an integer programme over items and rows held."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from surveys.calc.arrays import BoolArray, FloatArray, IntArray

_SAME_COST = 1e-6
_CENT = 0.01

Line = tuple[FloatArray, float, float]  # weights of the variables, least and most of their sum

SecondsLeft = Callable[[], float]
"""Tells how much of its time a search still has. [s]"""


def unlimited() -> float:
    """Time enough for any proof, as a number that can be shared out. [s]"""
    return 1e9


def share_of(seconds_left: SecondsLeft, share: float, most: float = np.inf) -> SecondsLeft:
    """What is left of a share of the time that is left now, of `most` seconds at most."""
    left = seconds_left()
    kept = left - min(share * left, most)
    return lambda: seconds_left() - kept


@dataclass(frozen=True)
class _Solution:
    """What one search came to: the values of all variables, None where no plan was found."""

    values: FloatArray | None
    proven: bool
    bound: float  # of the objective


def prime_failures(fails: BoolArray) -> list[tuple[int, int]]:
    """The largest families of sets of k items under all of which a row is not held.

    Parameters
    ----------
    fails : array of bool, shape (2^k,)
        Bit j of the place tells whether item j is in the set.

    Returns
    -------
    list of (in, out)
        Bits of the items that every set of the family has, and of those that none has.

    References
    ----------
    Rule selection-1. Prime implicants; W. V. Quine, Am. Math. Monthly 59 (1952) 521 (from memory).
    """
    k = int(fails.size).bit_length() - 1
    # Base 3, a digit an item: 0 it is out, 1 it is in, 2 either.
    cube = fails.reshape((2,) * k)
    for axis in range(k):
        cube = np.concatenate([cube, cube.all(axis=axis, keepdims=True)], axis=axis)
    largest = cube.copy()
    for axis in range(k):
        wider = np.take(cube, [2], axis=axis)
        covered = np.concatenate([wider, wider, np.zeros_like(wider)], axis=axis)
        largest &= ~covered
    families = []
    for digits in np.argwhere(largest):
        items = digits[::-1]  # the last axis is item 0
        inside = sum(1 << at for at in range(k) if items[at] == 1)
        outside = sum(1 << at for at in range(k) if items[at] == 0)
        families.append((inside, outside))
    return families


class Programme:
    """Each item is 0 or 1, and each row; a row is 1 only where no family of failures holds.

    Solved by HiGHS, which proves its optimum or gives a bound. Where its time is over before, the
    best plan found so far is taken.

    Attributes
    ----------
    proven : bool
        Whether each search that decides over rows, sums and costs came to its end.
    bound : float
        Nothing cheaper holds as many rows, and sums as high, as was last asked for. [currency]
    seconds_left : callable
        Of the time of all searches together. [s]
    """

    def __init__(
        self,
        cost: FloatArray,
        exclusive: Sequence[tuple[int, int]],
        rows: Sequence[tuple[IntArray, FloatArray]],
        wanted: float,
        seconds_left: SecondsLeft = unlimited,
    ) -> None:
        self.proven = True
        self.bound = 0.0
        self.seconds_left = seconds_left
        self._cost, self._rows, self._wanted = cost, rows, wanted
        self._n = len(cost)
        self._size = self._n + len(rows)
        self._reached: set[tuple[int, ...]] = {()}
        self._lines: list[Line] = [
            (self._weights({first: 1.0, second: 1.0}), -np.inf, 1.0) for first, second in exclusive
        ]
        for number, (items, table) in enumerate(rows):
            fails = (table < wanted) | _impossible(items, exclusive)
            for inside, outside in prime_failures(fails):
                has, lacks = _members(items, inside), _members(items, outside)
                weights = dict.fromkeys(has, -1.0) | dict.fromkeys(lacks, 1.0)
                line = self._weights(weights | {self._n + number: -1.0})
                self._lines.append((line, -float(len(has)), np.inf))
        self._costs = self._weights(dict(enumerate(cost.tolist())))
        self._number = self._weights(dict.fromkeys(range(self._n), 1.0))
        self._held = self._weights(dict.fromkeys(range(self._n, self._size), 1.0))
        self._in_cents = bool(np.allclose(cost / _CENT, np.round(cost / _CENT), atol=1e-6))

    def most_held(self) -> int:
        """How many rows a plan can hold at most."""
        self._decide(-self._held, [])
        return max(map(self._number_held, self._reached))

    def cheapest(self, held: int) -> tuple[int, ...]:
        """The cheapest plan that holds so many rows; fewer items, then the first, on a tie."""
        if held <= 0:  # no item costs less than nothing
            self.bound = 0.0
            return ()
        return self._cheapest(held, [(self._held, held - 0.5, np.inf)])

    def best(self, held: int, decimals: int) -> tuple[int, ...]:
        """Of the plans that hold so many rows the one of the highest sum, then the cheapest."""
        lines, total, size = self._sums()
        enough = (np.append(self._held, np.zeros(size - self._size)), held - 0.5, np.inf)
        values = self._decide(-total, [enough, *lines]).values
        if values is None:
            return self._cheapest_reached(held)
        near = round(float(total @ values), decimals) - 0.5 * 10.0**-decimals
        return self._cheapest(held, [enough, (total, near, np.inf), *lines], near)

    def _sums(self) -> tuple[list[Line], FloatArray, int]:
        """A further variable for each set of the items of a row, of which the chosen one is 1."""
        size = self._size + sum(len(table) for _items, table in self._rows)
        total, lines, at = np.zeros(size), [], self._size
        for items, table in self._rows:
            sets = at + np.arange(len(table))
            total[sets] = table
            lines.append((_weights(size, dict.fromkeys(sets.tolist(), 1.0)), 1.0, 1.0))
            for bit, item in enumerate(items.tolist()):
                with_it = sets[(np.arange(len(table)) >> bit) & 1 == 1].tolist()
                line = _weights(size, dict.fromkeys(with_it, 1.0) | {item: -1.0})
                lines.append((line, 0.0, 0.0))
            at += len(table)
        return lines, total, size

    def _cheapest(
        self, held: int, wanted: list[Line], lowest_sum: float = -np.inf
    ) -> tuple[int, ...]:
        size = max(len(line) for line, _low, _high in wanted)
        costs, number = (
            np.append(row, np.zeros(size - self._size)) for row in (self._costs, self._number)
        )
        # Where every cost is a whole number of cents, the number of items decides below a cent.
        tie = _CENT / (2 * (self._n + 1)) if self._in_cents else 0.0
        solution = self._decide(costs + tie * number, wanted)
        self.bound = max(0.0, solution.bound - tie * self._n)
        if solution.values is None or not solution.proven:
            return self._cheapest_reached(held, lowest_sum)
        items = self._items(solution.values)
        self.bound = float(costs[list(items)].sum())
        return self._first_of_a_tie(items, costs, number, wanted)

    def _first_of_a_tie(
        self, items: tuple[int, ...], costs: FloatArray, number: FloatArray, wanted: list[Line]
    ) -> tuple[int, ...]:
        """Of the plans of this cost the one of the fewest items, then the first in file order.

        Where the time is over, the plan as it came so far.
        """
        wanted = [*wanted, (costs, -np.inf, costs[list(items)].sum() + _SAME_COST)]
        if not self._in_cents:
            items = self._items(self._solution(number, wanted).values, items)
        wanted = [*wanted, (number, -np.inf, len(items) + 0.5)]
        other = (_weights(len(costs), dict.fromkeys(items, 1.0)), -np.inf, len(items) - 0.5)
        if not items or self._solution(number, [*wanted, other]).values is None:
            return items
        fixed: list[Line] = []
        for item in range(self._n):
            with_it = (_weights(len(costs), {item: 1.0}), 0.5, np.inf)
            solution = self._solution(number, [*wanted, *fixed, with_it])
            if solution.values is not None:
                fixed.append(with_it)
                items = self._items(solution.values)
            if len(fixed) == len(items) or not solution.proven:
                break
        return items

    def _items(self, values: FloatArray | None, otherwise: tuple[int, ...] = ()) -> tuple[int, ...]:
        if values is None:
            return otherwise
        return tuple(np.flatnonzero(values[: self._n] > 0.5).tolist())

    def _weights(self, given: dict[int, float]) -> FloatArray:
        return _weights(self._size, given)

    def _cheapest_reached(self, held: int, lowest_sum: float = -np.inf) -> tuple[int, ...]:
        """Of the plans that any search came to, the cheapest that holds so many rows."""
        enough = [
            items
            for items in self._reached
            if self._number_held(items) >= held and self._sum(items) >= lowest_sum - 1e-6
        ]
        return min(enough, key=lambda items: (self._cost[list(items)].sum(), len(items), items))

    def _number_held(self, items: tuple[int, ...]) -> int:
        held = (table[place_in(acting, items)] >= self._wanted for acting, table in self._rows)
        return sum(map(bool, held))

    def _sum(self, items: tuple[int, ...]) -> float:
        return float(sum(table[place_in(acting, items)] for acting, table in self._rows))

    def _decide(self, objective: FloatArray, lines: Sequence[Line]) -> _Solution:
        """A search on which the choice rests: it has an end, or the choice is not proven."""
        solution = self._solution(objective, lines)
        if solution.proven and solution.values is None:
            raise ValueError("no plan was found, although there is one")
        self.proven &= solution.proven
        return solution

    def _solution(self, objective: FloatArray, lines: Sequence[Line]) -> _Solution:
        size = len(objective)
        seconds = self.seconds_left()
        if seconds <= 0:
            return _Solution(None, False, -np.inf)
        short = [np.append(line, np.zeros(size - len(line))) for line, _low, _high in self._lines]
        matrix = [*short, *(line for line, _low, _high in lines)]
        lows = [low for _line, low, _high in (*self._lines, *lines)]
        highs = [high for _line, _low, high in (*self._lines, *lines)]
        whole = np.zeros(size, dtype=np.int64)
        whole[: self._size] = 1
        result = milp(
            objective,
            integrality=whole,
            bounds=Bounds(0, 1),
            constraints=[LinearConstraint(csr_array(np.array(matrix)), lows, highs)]
            if lows
            else [],
            options={"mip_rel_gap": 0.0, "time_limit": seconds},
        )
        bound = -np.inf if result.mip_dual_bound is None else float(result.mip_dual_bound)
        values: FloatArray | None = result.x
        if values is not None:
            self._reached.add(self._items(values))
        return _Solution(values, result.status in (0, 2), bound)


def _weights(size: int, given: dict[int, float]) -> FloatArray:
    weights = np.zeros(size)
    weights[list(given)] = list(given.values())
    return weights


def place_in(acting: IntArray, items: Sequence[int]) -> int:
    """The place of these items in a table over all sets of those that act."""
    return sum(1 << at for at, item in enumerate(acting.tolist()) if item in items)


def _members(items: IntArray, bits: int) -> list[int]:
    return [item for at, item in enumerate(items.tolist()) if bits >> at & 1]


def _impossible(items: IntArray, exclusive: Sequence[tuple[int, int]]) -> BoolArray:
    """Sets that no plan has, because two of their items exclude each other."""
    place_of = {item: at for at, item in enumerate(items.tolist())}
    sets = np.arange(1 << len(place_of))
    never = np.zeros(len(sets), dtype=np.bool_)
    for first, second in exclusive:
        if first in place_of and second in place_of:
            never |= ((sets >> place_of[first]) & (sets >> place_of[second]) & 1).astype(np.bool_)
    return never
