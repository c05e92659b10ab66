"""Units: exact factors, every spelling, and nothing lost on the way in and out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.measurands import MEASURAND_OF, MEASURANDS, NUMBER_OF, Measurand, Quantity
from surveys.calc.units import (
    UNITS,
    factor,
    from_canonical,
    parse_unit,
    to_canonical,
)
from tests.calc.build import NAN, floats


@pytest.mark.parametrize(
    ("text", "token"),
    [
        ("V/m", "V/m"),
        ("v/m", "V/m"),
        (" V / m ", "V/m"),
        ("V\u00a0/\u202fm", "V/m"),
        ("[V/m]", "V/m"),
        ("V m\u207b\u00b9", "V/m"),
        ("V\u00b7m^-1", "V/m"),
        ("volts per meter", "V/m"),
        ("kV/m", "kV/m"),
        ("KV/M", "kV/m"),
        ("mV", "mV"),
        ("MV", "mV"),
        ("m V", "mV"),
        ("V", "V"),
        ("volt", "V"),
        ("nT", "nT"),
        ("NT", "nT"),
        ("\u00b5T", "\u00b5T"),  # the micro sign
        ("\u03bcT", "\u00b5T"),  # the Greek letter
        ("\u00b5t", "\u00b5T"),
        ("\u039cT", "\u00b5T"),  # the capital letter that upper() makes of it
        ("uT", "\u00b5T"),
        ("UT", "\u00b5T"),
        ("microtesla", "\u00b5T"),
        ("mG", "mG"),
        ("mg", "mG"),
        ("milligauss", "mG"),
    ],
)
def test_spellings(text: str, token: str) -> None:
    assert parse_unit(text) == token


@pytest.mark.parametrize("text", ["", " ", "T", "mT", "G", "A/m", "V/m2", "dBm", "V//m", "m/V"])
def test_an_unknown_unit_is_refused_with_the_known_ones(text: str) -> None:
    with pytest.raises(ValueError, match=r"allowed: V/m, kV/m, mV, V, nT, .T, mG"):
        parse_unit(text)


def test_every_token_is_its_own_spelling_and_belongs_to_a_measurand() -> None:
    assert [parse_unit(unit) for unit in UNITS] == list(UNITS)
    assert {unit for quantity in Quantity for unit in quantity.units} == set(UNITS)


def test_units_inside() -> None:
    assert [measurand.unit for measurand in Measurand] == ["V/m", "V/m", "mV", "nT"]
    assert all(factor(measurand.unit) == 1.0 for measurand in Measurand)
    assert all(measurand.unit in measurand.units for measurand in Measurand)


def test_measurands_are_known_by_code_number_and_by_the_words_of_a_case_folder() -> None:
    assert list(MEASURANDS) == [
        "electric-field-ground", "electric-field-potential-free", "body-voltage",
        "magnetic-flux-density",
    ]  # fmt: skip
    assert [measurand.number for measurand in MEASURANDS] == [0, 1, 2, 3]
    assert NUMBER_OF["body-voltage"] == 2
    assert MEASURAND_OF["electric field", "potential-free"] is MEASURANDS[1]
    assert MEASURAND_OF["magnetic flux density", ""] is Measurand("magnetic-flux-density")
    assert len(MEASURAND_OF) == len(MEASURANDS)
    assert [measurand.has_ground_point for measurand in MEASURANDS] == [True, False, True, False]


def test_one_milligauss_is_a_hundred_nanotesla_is_a_tenth_of_a_microtesla() -> None:
    """1 G = 1e-4 T by definition, the rest by the prefixes of the SI (SI Brochure, 9th edition)."""
    assert to_canonical(floats(1.0), factor("mG"))[0] == 100.0
    assert to_canonical(floats(0.1), factor("\u00b5T"))[0] == 100.0
    assert to_canonical(floats(1.0), factor("kV/m"))[0] == 1000.0
    assert to_canonical(floats(1.0), factor("V"))[0] == 1000.0


@pytest.mark.parametrize(
    ("read", "unit", "inside"),
    [
        (0.2, "mG", 20.0),
        (0.29, "mG", 29.0),  # the bare product is 28.999999999999996
        (29.7, "mG", 2970.0),
        (0.07, "mG", 7.0),  # 7.000000000000001
        (0.3, "mG", 30.0),
        (0.092, "\u00b5T", 92.0),
        (0.0, "mG", 0.0),
        (0.001, "kV/m", 1.0),
    ],
)
def test_decimals_come_out_exact(read: float, unit: str, inside: float) -> None:
    assert to_canonical(floats(read), factor(unit))[0] == inside


@given(st.decimals("0.00001", "99999.99999", places=5), st.sampled_from(UNITS))
def test_any_decimal_comes_out_as_the_decimal_product(number: object, unit: str) -> None:
    """The exact product in decimal arithmetic, rounded to a float once."""
    from_text = float(str(number))
    exact = float(number * int(factor(unit)))  # type: ignore[operator]
    assert to_canonical(floats(from_text), factor(unit))[0] == exact


@given(st.decimals("0.00001", "99999.99999", places=5).map(float), st.sampled_from(UNITS))
def test_there_and_back_is_the_same_number(number: float, unit: str) -> None:
    there = to_canonical(floats(number), factor(unit))
    assert from_canonical(there, factor(unit))[0] == number


@given(st.floats(1e-6, 1e9), st.sampled_from(UNITS))
def test_numbers_that_are_no_short_decimals_are_left_at_the_product(x: float, unit: str) -> None:
    # Two last bits: the product is off by half of one, the decimal beside it by two at the most.
    assert to_canonical(floats(x), factor(unit))[0] == pytest.approx(x * factor(unit), rel=5e-16)


def test_one_factor_a_row_equals_one_row_at_a_time() -> None:
    values = np.array([[1.5, NAN, 0.29, NAN], [NAN, NAN, NAN, 0.29]])
    factors = floats(factor("mG"), factor("\u00b5T"))
    together = to_canonical(values, factors)
    for row in range(2):
        assert np.array_equal(
            together[row], to_canonical(values[row], float(factors[row])), equal_nan=True
        )
    assert np.isnan(together[0, 1])


def test_the_readings_given_are_not_written_to() -> None:
    values = floats(0.29)
    to_canonical(values, 100.0)
    assert values[0] == 0.29
