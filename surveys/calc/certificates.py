"""Which certificate is in force on a day, and whether it covers that day."""

from collections.abc import Mapping
from datetime import date


def in_force(day: date, began: Mapping[int, date | None]) -> int | None:
    """The certificate that is in force on a day: of those begun by then, the latest.

    Parameters
    ----------
    day : date
    began : mapping of keys to days
        When each certificate of one instrument and quantity began; None = before every day. On
        equal days the higher key, which was entered later, is the later one.

    Returns
    -------
    int or None
        A key of `began`. If all begin after `day`, the first of them, because its row describes
        the instrument in any case; None where there is none at all.

    Notes
    -----
    A newer certificate takes the place of the older one even where it ends earlier: whether the
    one in force covers the day is for `covers` to say.
    """
    order = {key: (first or date.min, key) for key, first in began.items()}
    begun = [key for key, (first, _) in order.items() if first <= day]
    if begun:
        return max(begun, key=order.__getitem__)
    return min(order, key=order.__getitem__, default=None)


def covers(day: date, began: date | None, due: date | None) -> bool:
    """Whether a certificate has begun by `day` and is not past due.

    Parameters
    ----------
    day : date
    began : date or None
        None = before every day.
    due : date or None
        The last day that it covers; None = no end.

    Returns
    -------
    bool
    """
    return (began is None or began <= day) and (due is None or day <= due)
