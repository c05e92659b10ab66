"""Units: the one that a measurand has inside, and the way in and out of it."""

import unicodedata
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from surveys.calc.arrays import FloatArray

# 1 kV = 1000 V, 1 V = 1000 mV, 1 µT = 1000 nT by the prefixes of the SI; 1 mG = 100 nT because
# 1 G = 1e-4 T. All are exact, and all are whole powers of ten, which float64 holds exactly.
_FACTORS: Mapping[str, float] = MappingProxyType(
    {"V/m": 1.0, "kV/m": 1e3, "mV": 1.0, "V": 1e3, "nT": 1.0, "\u00b5T": 1e3, "mG": 1e2}
)
UNITS: tuple[str, ...] = tuple(_FACTORS)

_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "v/m": "V/m",
        "vm-1": "V/m",
        "v/metre": "V/m",
        "v/meter": "V/m",
        "voltpermetre": "V/m",
        "voltpermeter": "V/m",
        "voltspermetre": "V/m",
        "voltspermeter": "V/m",
        "kv/m": "kV/m",
        "kvm-1": "kV/m",
        "mv": "mV",
        "millivolt": "mV",
        "millivolts": "mV",
        "v": "V",
        "volt": "V",
        "volts": "V",
        "nt": "nT",
        "nanotesla": "nT",
        "\u03bct": "\u00b5T",
        "ut": "\u00b5T",
        "microtesla": "\u00b5T",
        "mg": "mG",
        "milligauss": "mG",
    }
)
_DROPPED = str.maketrans("", "", "[]()*\u00b7\u22c5^")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2044": "/", "\u2215": "/"})


def parse_unit(text: str) -> str:
    """The one spelling used inside for any common spelling of a unit.

    Parameters
    ----------
    text : str
        Case, spaces, brackets and the two micro signs (U+00B5, U+03BC) make no difference.

    Returns
    -------
    str
        One of `UNITS`.

    Raises
    ------
    ValueError
        If the unit is not known; the message names the known ones.
    """
    # NFKC makes superscripts plain, turns U+00B5 into U+03BC and every kind of space into a blank.
    plain = unicodedata.normalize("NFKC", text).translate(_MINUS).translate(_DROPPED)
    token = _SPELLINGS.get("".join(plain.split()).casefold())
    if token is None:
        raise ValueError(f"unknown unit {text!r}; allowed: {', '.join(UNITS)}")
    return token


def factor(unit: str) -> float:
    """How many of its measurand's own unit make one of `unit`, exactly.

    Parameters
    ----------
    unit : str
        One of `UNITS`.

    Returns
    -------
    float
        A whole power of ten: 1 for V/m, mV and nT.

    Raises
    ------
    KeyError
        If the unit is not one of `UNITS`; `parse_unit` makes it one.

    References
    ----------
    SI Brochure, 9th edition, 3 (prefixes); 1 G = 1e-4 T.
    """
    return _FACTORS[unit]


def to_canonical(values: FloatArray, factors: FloatArray | float) -> FloatArray:
    """Readings in their measurand's own unit, exact to the decimals that were written.

    Parameters
    ----------
    values : array, shape (n,) or (n, k)
        As read. [any of `UNITS`] NaN = not given, and stays so.
    factors : float or array, shape (n,)
        From `factor`, one for all or one a row.

    Returns
    -------
    array, shape of `values`
        [V/m, mV or nT] 0.29 mG gives 29.0 nT, where the bare product is 28.999999999999996.

    Notes
    -----
    value · factor, then to the decimal number next to it where that is a matter of the last bits.
    """
    product = values * _beside(factors, values)
    return _decimal_exact(product, product != values)


def from_canonical(values: FloatArray, factors: FloatArray | float) -> FloatArray:
    """The inverse of `to_canonical`.

    Parameters
    ----------
    values : array, shape (n,) or (n, k)
        [V/m, mV or nT] NaN = not given, and stays so.
    factors : float or array, shape (n,)
        From `factor`, of the unit wanted.

    Returns
    -------
    array, shape of `values`
        In the unit wanted.
    """
    quotient = values / _beside(factors, values)
    return _decimal_exact(quotient, quotient != values)


def _beside(factors: FloatArray | float, values: FloatArray) -> FloatArray:
    """One factor a row, shaped to go with the columns of `values`."""
    array = np.asarray(factors, dtype=np.float64)
    return array[:, np.newaxis] if array.ndim == 1 and values.ndim == 2 else array


def _decimal_exact(values: FloatArray, touched: np.ndarray) -> FloatArray:
    """The 15-digit decimal next to each touched value, where it is no further than rounding goes.

    A scaled decimal is off by up to three halves of a last bit: half from the number as typed,
    scaled along, and half from the product. Anything further away was no such decimal.
    """
    rows = np.nonzero(touched & np.isfinite(values) & (np.abs(values) > 1e-150))
    if rows[0].size == 0:
        return values
    some = values[rows]
    places = np.clip(14 - np.floor(np.log10(np.abs(some))).astype(np.int64), -290, 290)
    scale = np.power(10.0, np.abs(places))
    up = places >= 0
    whole = np.rint(np.where(up, some * scale, some / scale))
    decimal = np.where(up, whole / scale, whole * scale)
    near = np.abs(decimal - some) <= 2.0 * np.spacing(np.abs(some))
    values[rows] = np.where(near, decimal, some)
    return values
