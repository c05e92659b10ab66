"""evidence-1 and promise-1 against published figures and statsmodels."""

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.stats.meta_analysis import combine_effects

from mitigation.calc.evidence import between_homes, home_effect, pooled
from mitigation.calc.promises import held_against, kept_promises, reliability, wilson

# BCG vaccine, 13 trials (Colditz et al., JAMA 1994;271:698-702): tpos, tneg, cpos, cneg.
BCG = np.array(
    [
        (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
        (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619),
        (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
        (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
    ],
    dtype=float,
)  # fmt: skip
# The three-study example.
THREE = np.array([0.1, 0.3, 0.5]), np.array([0.01, 0.02, 0.04])


def bcg() -> tuple[np.ndarray, np.ndarray]:
    """Log risk ratios and their variances."""
    a, b, c, d = BCG.T
    return np.log(a / (a + b)) - np.log(c / (c + d)), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def test_the_bcg_trials() -> None:
    """DerSimonian-Laird: tau² 0.3088, mean -0.7141, plain z interval -1.0644..-0.3638."""
    effect, variance = bcg()
    mean_effect = pooled(effect, variance)
    assert mean_effect.tau2 == pytest.approx(0.3088, abs=5e-5)
    assert mean_effect.mean == pytest.approx(-0.7141, abs=5e-5)
    plain = np.sqrt(1 / (1 / (variance + mean_effect.tau2)).sum())
    assert mean_effect.mean - 1.959964 * plain == pytest.approx(-1.0644, abs=5e-5)
    assert mean_effect.mean + 1.959964 * plain == pytest.approx(-0.3638, abs=5e-5)


def test_the_three_studies() -> None:
    """tau² 0.01714286, mean 0.2523976; Hartung-Knapp 0.1106392 is below the plain 0.1109297."""
    mean_effect = pooled(*THREE)
    assert mean_effect.tau2 == pytest.approx(0.01714286, abs=5e-9)
    assert mean_effect.mean == pytest.approx(0.2523976, abs=5e-8)
    assert mean_effect.se == pytest.approx(0.1109297, abs=5e-8)
    assert (mean_effect.low, mean_effect.high) == pytest.approx((-0.2249, 0.7297), abs=5e-5)


def test_the_next_home_by_the_published_formula() -> None:
    """mean ± t(k − 2)·sqrt(tau² + se²) (Higgins, Thompson and Spiegelhalter 2009)."""
    mean_effect = pooled(*THREE)
    half = student.ppf(0.975, 1) * np.sqrt(0.01714286 + 0.1109297**2)
    assert (mean_effect.next_low, mean_effect.next_high) == pytest.approx(
        (0.2523976 - half, 0.2523976 + half), rel=1e-5
    )


def test_statsmodels_agrees() -> None:
    effect, variance = bcg()
    oracle = combine_effects(effect, variance, method_re="dl")
    mean_effect = pooled(effect, variance)
    assert mean_effect.tau2 == pytest.approx(oracle.tau2, rel=1e-10)
    assert mean_effect.mean == pytest.approx(oracle.mean_effect_re, rel=1e-10)
    assert mean_effect.se == pytest.approx(
        max(oracle.sd_eff_w_re_hksj, oracle.sd_eff_w_re), rel=1e-10
    )


def test_homes_that_agree_have_no_variance_between_them() -> None:
    assert between_homes(np.full(4, -2.0), np.full(4, 0.1)) == 0.0
    same = pooled(np.full(4, -2.0), np.full(4, 0.1))
    assert same.mean == pytest.approx(-2.0) and same.se == pytest.approx(np.sqrt(0.1 / 4))


def test_two_homes_are_counted_and_nothing_more() -> None:
    few = pooled(np.array([-1.0, -2.0]), np.array([0.1, 0.1]))
    assert few.homes == 2 and np.isnan([few.mean, few.se, few.low, few.tau2]).all()
    with pytest.raises(ValueError, match="above zero"):
        pooled(np.array([-1.0]), np.array([0.0]))


def test_a_home_of_three_rows() -> None:
    """Mean of -1, -2, -3; v = (0.01 + 0.04 + 0.09)/9."""
    effect, variance = home_effect(np.array([-1.0, -2.0, -3.0]), np.array([0.1, 0.2, 0.3]))
    assert (effect, variance) == pytest.approx((-2.0, 0.14 / 9))
    with pytest.raises(ValueError, match="at least one row"):
        home_effect(np.array([]), np.array([]))


def test_wilson_by_hand() -> None:
    """38 of 40 at z = 1.959964: (0.95 + 0.048018)/1.096036 ∓ 0.073930."""
    assert wilson(38, 40) == pytest.approx((0.83497, 0.98619), abs=5e-5)
    for n in range(1, 200):  # the ends hold the share, to the last bit
        assert wilson(0, n)[0] == 0.0 and wilson(n, n)[1] == 1.0


def test_promises_by_hand() -> None:
    """Four rows, three of them inside; Brier (0.01 + 0.04 + 0.81 + 0.25)/4."""
    inside, ln_ratio = held_against(
        np.array([1.0, 2.0, 8.0, 4.0]),
        median=np.array([1.0, 1.0, 4.0, 4.0]),
        low=np.array([0.5, 0.5, 3.0, 3.0]),
        high=np.array([2.0, 2.0, 5.0, 5.0]),
    )
    assert inside.tolist() == [True, True, False, True]
    promises = kept_promises(
        inside,
        probability=np.array([0.9, 0.8, 0.9, 0.5]),
        met=np.array([True, True, False, True]),
        ln_ratio=ln_ratio,
    )
    assert (promises.rows, promises.inside) == (4, 0.75)
    assert promises.brier == pytest.approx(1.11 / 4)
    assert promises.mean_ln == pytest.approx(np.log(4.0) / 4)
    nothing = kept_promises(*(np.array([]),) * 4)
    assert nothing.rows == 0 and np.isnan(nothing.brier)


def test_five_classes_of_probability() -> None:
    chance = np.array([0.1, 0.2, 0.85, 0.95, 1.0])
    count, mean, share = reliability(chance, np.array([False, True, True, True, False]))
    assert count.tolist() == [1, 1, 0, 0, 3]
    assert mean[4] == pytest.approx(2.8 / 3) and share[4] == pytest.approx(2 / 3)
    assert np.isnan(mean[2])
