"""Rule selection-1 for many items: an integer programme over items and rows held."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from surveys.calc.arrays import BoolArray, FloatArray, IntArray

_SAME_COST = 1e-6
_CENT = 0.01
SECONDS = 20.0
"""Of one search; after it the best plan so far is taken, and not called proven. [s]"""

Line = tuple[FloatArray, float, float]  # weights of the variables, least and most of their sum


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

    Solved by HiGHS, which proves its optimum or gives a bound.
    """

    def __init__(
        self,
        cost: FloatArray,
        exclusive: Sequence[tuple[int, int]],
        rows: Sequence[tuple[IntArray, FloatArray]],
        wanted: float,
    ) -> None:
        self.proven = True
        self.bound = 0.0
        self.seconds = SECONDS
        self._n, self._rows = len(cost), rows
        self._size = self._n + len(rows)
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
        return round(float(self._held @ self._solve(-self._held, [])))

    def cheapest(self, held: int) -> tuple[int, ...]:
        """The cheapest plan that holds so many rows; fewer items, then the first, on a tie."""
        return self._cheapest([(self._held, held - 0.5, np.inf)])

    def best(self, held: int, decimals: int) -> tuple[int, ...]:
        """Of the plans that hold so many rows the one of the highest sum, then the cheapest."""
        lines, total, size = self._sums()
        enough = (np.append(self._held, np.zeros(size - self._size)), held - 0.5, np.inf)
        solution = self._solve(-total, [enough, *lines], size)
        near = round(float(total @ solution), decimals) - 0.5 * 10.0**-decimals
        return self._cheapest([enough, (total, near, np.inf), *lines], size)

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

    def _cheapest(self, wanted: list[Line], size: int = 0) -> tuple[int, ...]:
        size = size or self._size
        costs, number = (
            np.append(row, np.zeros(size - self._size)) for row in (self._costs, self._number)
        )
        # Where every cost is a whole number of cents, the number of items decides below a cent.
        tie = _CENT / (2 * (self._n + 1)) if self._in_cents else 0.0
        items = self._items(self._solve(costs + tie * number, wanted, size))
        wanted = [*wanted, (costs, -np.inf, costs[list(items)].sum() + _SAME_COST)]
        if not self._in_cents:
            items = self._items(self._solve(number, wanted, size))
        wanted = [*wanted, (number, -np.inf, len(items) + 0.5)]
        other = (_weights(size, dict.fromkeys(items, 1.0)), -np.inf, len(items) - 0.5)
        if not items or self._solution(number, [*wanted, other], size) is None:
            return items
        fixed: list[Line] = []
        for item in range(self._n):
            with_it = (_weights(size, {item: 1.0}), 0.5, np.inf)
            if self._solution(number, [*wanted, *fixed, with_it], size) is not None:
                fixed.append(with_it)
            if len(fixed) == len(items):
                break
        return self._items(self._solve(number, [*wanted, *fixed], size))

    def _items(self, solution: FloatArray) -> tuple[int, ...]:
        return tuple(np.flatnonzero(solution[: self._n] > 0.5).tolist())

    def _weights(self, given: dict[int, float]) -> FloatArray:
        return _weights(self._size, given)

    def _solve(self, objective: FloatArray, lines: Sequence[Line], size: int = 0) -> FloatArray:
        solution = self._solution(objective, lines, size)
        if solution is None:
            raise ValueError("no plan was found, although there is one")
        return solution

    def _solution(
        self, objective: FloatArray, lines: Sequence[Line], size: int = 0
    ) -> FloatArray | None:
        """The best values of all variables, None where nothing fits; a limit of time is noted."""
        size = size or self._size
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
            options={"mip_rel_gap": 0.0, "time_limit": self.seconds},
        )
        if result.status not in (0, 2):
            self.proven = False
            self.bound = max(self.bound, float(result.mip_dual_bound or 0.0))
        values: FloatArray | None = result.x
        return values


def _weights(size: int, given: dict[int, float]) -> FloatArray:
    weights = np.zeros(size)
    weights[list(given)] = list(given.values())
    return weights


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
