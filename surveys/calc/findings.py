"""The rules of one reading in their order: resultant, uncertainty, band and flags."""

from dataclasses import dataclass

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.bands import FLAG_ON_BOUND, band, on_bound
from surveys.calc.resultant import FLAG_ONE_AXIS, FLAG_TWO_AXES, Resultants, resultants
from surveys.calc.uncertainty import (
    FLAG_NEAR_FLOOR,
    FLAG_UNDER_RANGE,
    Instruments,
    near_floor,
    under_range,
)


@dataclass(frozen=True)
class Findings:
    """Each reading against its guideline.

    Attributes
    ----------
    resultant : Resultants, n rows
    band : array of int8, shape (n,)
        1 to 4.
    on_bound, near_floor, under_range : array of bool, shape (n,)
        Flags of band-1 and near-floor-1.
    """

    resultant: Resultants
    band: CodeArray
    on_bound: BoolArray
    near_floor: BoolArray
    under_range: BoolArray

    def flags(self, row: int) -> list[str]:
        """The flags of one reading in words, always in the same order."""
        words = (
            (self.resultant.axes[row] == 1, FLAG_ONE_AXIS),
            (self.resultant.axes[row] == 2, FLAG_TWO_AXES),
            (self.near_floor[row], FLAG_NEAR_FLOOR),
            (self.under_range[row], FLAG_UNDER_RANGE),
            (self.on_bound[row], FLAG_ON_BOUND),
        )
        return [word for holds, word in words if holds]


def findings(
    values: FloatArray,
    marks: CodeArray,
    instruments: Instruments,
    placement: FloatArray | float,
    bounds: FloatArray,
    range_start: FloatArray | float,
) -> Findings:
    """All that can be said of each reading alone.

    Parameters
    ----------
    values : array, shape (n, 4)
        Axes x, y, z and the total, as read. [V/m, mV or nT] NaN = not given.
    marks : array of int8, shape (n, 4)
        -1 where the cell said "<", 1 where it said ">", else 0.
    instruments : Instruments, n rows
    placement : array, shape (n,), or float
        p. [1]
    bounds : array, shape (3,) or (n, 3)
        Of the guideline. [unit of `values`]
    range_start : array, shape (n,), or float
        From `RANGE_START`. [unit of `values`]

    Returns
    -------
    Findings, n rows

    Raises
    ------
    ValueError
        If a row is no reading; see `resultants`.

    References
    ----------
    Rules resultant-1, censored-1, uncertainty-1, near-floor-1 and band-1.
    """
    resultant = resultants(values, marks, instruments, placement)
    value, qualifier = resultant.value, resultant.qualifier
    return Findings(
        resultant=resultant,
        band=band(value, bounds),
        on_bound=on_bound(value, bounds),
        near_floor=near_floor(value, instruments.additive, qualifier),
        under_range=under_range(value, range_start, qualifier),
    )
