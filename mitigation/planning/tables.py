"""The probability of a row under every set of the items that act on it."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from mitigation.calc.attribution import DRAWS
from mitigation.calc.prediction import after_draws, probability_under_limit
from mitigation.calc.selection import Row
from mitigation.planning.items import Item
from mitigation.planning.rows import PlanRow
from surveys.calc.arrays import FloatArray

MOST_ITEMS = 10
"""So many items of a row are looked at in every set; of more the strongest."""


def table_of(row: PlanRow, items: Sequence[Item]) -> Row:
    """A row that counts as selection-1 takes it; `items` are those that may be chosen."""
    acting = [at for at, item in enumerate(items) if row.acting([item]) or row.not_tried([item])]
    exact = len(acting) <= MOST_ITEMS
    if not exact:
        alone = {at: _probability(row, [items[at]]) for at in acting}
        acting = sorted(sorted(acting, key=lambda at: -alone[at])[:MOST_ITEMS])
    chosen = [items[at] for at in acting]
    if row.attribution is not None and chosen and not row.not_tried(chosen):
        table = _of_attribution(row, chosen)
    else:
        table = np.array([_probability(row, subset) for subset in _subsets(chosen)])
    return Row(np.array(acting, dtype=np.int64), table, exact)


def _subsets(items: Sequence[Item]) -> list[list[Item]]:
    return [
        [item for bit, item in enumerate(items) if number >> bit & 1]
        for number in range(1 << len(items))
    ]


def _probability(row: PlanRow, items: Sequence[Item]) -> float:
    after = row.forecast(items).after
    return 0.0 if after is None else probability_under_limit(after, row.limit)


def _of_attribution(row: PlanRow, items: Sequence[Item]) -> FloatArray:
    """All sets at once: a phasor is linear in what items leave, product by product.

    A source on which several items act has a term for each set of them, (k1 − 1)·(k2 − 1).
    """
    attribution = row.attribution
    assert attribution is not None
    n_sets = 1 << len(items)
    bits = (np.arange(n_sets)[:, None] >> np.arange(len(items))) & 1
    each = attribution.parts * attribution.phase  # (axes, draws, parts)
    terms: dict[tuple[int, ...], np.ndarray] = {}
    on_sources = [at for at, item in enumerate(items) if not item.multiplies_field]
    for part, name in enumerate(row.names):
        act = [at for at in on_sources if name in row.reached(items[at].sources)]
        for size in range(1, len(act) + 1):
            for together in combinations(act, size):
                change = np.prod([items[at].left - 1.0 for at in together], axis=0)
                terms[together] = terms.get(together, 0.0) + each[:, :, part] * change
    whole = each.sum(axis=2) + attribution.outside
    everything_on = np.sqrt((np.abs(whole) ** 2).sum(axis=0))
    square = np.zeros((n_sets, DRAWS))
    if terms:
        applies = np.stack([bits[:, list(key)].all(axis=1) for key in terms], axis=1)
        for axis in range(len(whole)):
            changes = np.stack([term[axis] for term in terms.values()])
            square += np.abs(whole[axis] + applies.astype(np.float64) @ changes) ** 2
    else:
        square += everything_on**2
    ratio = np.sqrt(square) / everything_on
    for at, item in enumerate(items):
        if item.multiplies_field:
            ratio[bits[:, at] == 1] *= item.left
    additive = float(np.nan_to_num(row.finding.additive, nan=0.0))
    after = after_draws(row.finding.value, ratio, row.placement, additive, row.noise)
    share: FloatArray = np.mean(after < row.limit, axis=1)
    return share
