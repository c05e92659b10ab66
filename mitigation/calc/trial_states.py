"""Which states of the panel a switching trial reads, and how many readings its model needs."""

from mitigation.calc.attribution import LEAST_FREEDOM

MOST_ALONE = 8
"""Up to so many sources each is read alone; of more, three mixed states are read instead.

In simulated homes with 5 % coupling the intervals of states that were not read held in 93 to 99 %
where each source was read alone, and in 80 to 90 % with three mixed states.
"""

MIXED = 3


def proposed_states(n: int) -> list[tuple[int, ...]]:
    """The states to read for a trial of n sources, in order.

    Parameters
    ----------
    n : int
        How many sources are tried, 0 or more.

    Returns
    -------
    list of tuple of int
        For each state the places of the sources that are off: all on; each off; all off; each
        alone, or three mixed ones where there are more than eight; all on again. Where these are
        too few readings for a check of the model, "each off" is repeated before the last.

    Notes
    -----
    The model of an axis has n amplitudes and two more parameters. Counted from 1 to 7 and again,
    the sources are off in the mixed state j whose number has bit j: each source is off in some of
    them, and no two of the first seven in the same ones.

    References
    ----------
    Rule attribution-1: at least three degrees of freedom an axis.
    """
    every = tuple(range(n))
    each_off = [(at,) for at in every]
    states: list[tuple[int, ...]] = [(), *each_off]
    if n > 1:
        states.append(every)
    if 2 < n <= MOST_ALONE:
        states += [tuple(other for other in every if other != at) for at in every]
    elif n > MOST_ALONE:
        kinds = (1 << MIXED) - 1  # in none of them a source would be left on
        states += [tuple(at for at in every if (at % kinds + 1) >> bit & 1) for bit in range(MIXED)]
    while n and len(states) + 1 < n + 2 + LEAST_FREEDOM:
        states += [*each_off, ()][: n + 2 + LEAST_FREEDOM - len(states) - 1]
    return [*states, ()] if n else []


def readings_missing(readings: int, sources: int) -> int:
    """How many readings of an axis are missing before its model can be checked.

    Parameters
    ----------
    readings : int
        How many there are of the axis.
    sources : int
        The parts of the model, remainders included.

    Returns
    -------
    int
        0 where it can be checked.

    References
    ----------
    Rule attribution-1.
    """
    return max(0, sources + 2 + LEAST_FREEDOM - readings)
