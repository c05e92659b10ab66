"""Rule latest-1: which of several visits of a kind counts for a spot and measurand."""

import numpy as np

from surveys.calc.arrays import IntArray

LATEST = "latest-1"


def latest(group: IntArray, day: IntArray, order: IntArray) -> IntArray:
    """The finding that counts of each group of findings of one spot, measurand and kind of visit.

    Parameters
    ----------
    group : array of int, shape (n,)
        Number of the group of each finding.
    day : array of int, shape (n,)
        Day of its visit, later ones greater. [d]
    order : array of int, shape (n,)
        Place of its visit among the visits, the first one lowest.

    Returns
    -------
    array of int, shape (m,)
        The row that counts in each group, in the order in which the groups come first.

    Notes
    -----
    The latest day; on equal days the first visit. A visit without a reading that counts has no
    finding, and so takes nothing away from an earlier one.

    References
    ----------
    Rule latest-1.
    """
    ranked = np.lexsort((order, -day, group))  # the one that counts first in each group
    _groups, of_rank = np.unique(group[ranked], return_index=True)
    _groups, of_rows = np.unique(group, return_index=True)
    chosen: IntArray = ranked[of_rank][np.argsort(of_rows)]
    return chosen
