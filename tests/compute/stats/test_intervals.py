"""Intervals of a proportion against Newcombe's printed table, the e-Handbook and scipy."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from sitegen.compute.stats.intervals import (
    Interval,
    Proportion,
    clopper_pearson,
    exact_coverage,
    wilson,
)


# Newcombe 1998, Statistics in Medicine 17:857, Table I, method 3 (quoted from memory); the last
# row has the data of the NIST/SEMATECH e-Handbook, 7.2.4.1, and scipy's value.
@pytest.mark.parametrize(
    ("successes", "n", "lower", "upper"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (10, 10, 0.7225, 1.0),
        (8, 10, 0.4902, 0.9433),
        (4, 20, 0.0807, 0.4160),
    ],
)
def test_published_rows(successes: int, n: int, lower: float, upper: float) -> None:
    interval = wilson(successes, n)
    assert interval is not None
    assert (round(interval.lower, 4), round(interval.upper, 4)) == (lower, upper)
    assert interval.share == successes / n
    assert interval.n == n


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
@pytest.mark.parametrize(("successes", "n"), [(0, 1), (1, 3), (77, 80), (250, 253), (7200, 7200)])
def test_agrees_with_scipy(successes: int, n: int, confidence: float) -> None:
    interval = wilson(successes, n, confidence)
    expected = binomtest(successes, n).proportion_ci(confidence, method="wilson")
    assert interval is not None
    assert interval.lower == pytest.approx(expected.low, rel=1e-10, abs=1e-15)
    assert interval.upper == pytest.approx(expected.high, rel=1e-10)


def test_no_dies_no_interval() -> None:
    assert wilson(0, 0) is None
    assert clopper_pearson(0, 0) is None


def test_never_without_width() -> None:
    """The Wald interval of 0 of 10 is [0, 0]."""
    none, every = wilson(0, 10), wilson(10, 10)
    assert none is not None and every is not None
    assert (none.lower, every.upper) == (0.0, 1.0)
    assert none.upper > 0.27
    assert every.lower < 0.73


# Newcombe 1998, Table I, method 5 (quoted from memory).
@pytest.mark.parametrize(
    ("successes", "n", "lower", "upper"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
        (10, 10, 0.6915, 1.0),
        (8, 10, 0.4439, 0.9748),
        (4, 20, 0.0573, 0.4366),
    ],
)
def test_published_exact_rows(successes: int, n: int, lower: float, upper: float) -> None:
    interval = clopper_pearson(successes, n)
    assert interval is not None
    assert (round(interval.lower, 4), round(interval.upper, 4)) == (lower, upper)


def test_handbook_exact_interval() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.1 prints .071354 to .401029 for 4 of 20 at 90 %; the upper end
    is .401028 by an independent program."""
    interval = clopper_pearson(4, 20, 0.9)
    assert interval is not None
    assert interval.lower == pytest.approx(0.071354, abs=5e-7)
    assert interval.upper == pytest.approx(0.4010281, abs=5e-8)


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
@pytest.mark.parametrize(("successes", "n"), [(0, 1), (1, 3), (77, 80), (250, 253), (7200, 7200)])
def test_exact_agrees_with_scipy(successes: int, n: int, confidence: float) -> None:
    interval = clopper_pearson(successes, n, confidence)
    expected = binomtest(successes, n).proportion_ci(confidence, method="exact")
    assert interval is not None
    assert (interval.lower, interval.upper) == pytest.approx((expected.low, expected.high))


def of_definition(interval: Interval, n: int, share: float) -> float:
    """The sum of the binomial over the outcomes whose interval holds the share."""
    found = [interval(successes, n) for successes in range(n + 1)]
    return sum(
        float(binom.pmf(one.successes, n, share))
        for one in found
        if one is not None and one.lower <= share <= one.upper
    )


@pytest.mark.parametrize("interval", [wilson, clopper_pearson])
@pytest.mark.parametrize("n", [1, 5, 20])
def test_enumeration_is_the_binomial_sum(interval: Interval, n: int) -> None:
    share, coverage = exact_coverage(interval, n, between=11)
    expected = [of_definition(interval, n, float(one)) for one in share]
    np.testing.assert_allclose(coverage, expected, atol=1e-12)
    assert (share[0], share[-1]) == (0.0, 1.0)


@pytest.mark.parametrize("n", [5, 20, 40, 100, 1000])
def test_wilson_covers_at_least_83(n: int) -> None:
    """Least coverage 83 to 84 % at every n (figure of an independent program), at yields within a
    fraction of a die of 0 and 1."""
    share, coverage = exact_coverage(wilson, n)
    assert 0.83 <= coverage.min() <= 0.84
    worst = share[np.argmin(coverage)]
    assert min(worst, 1 - worst) < 0.2 / n


@pytest.mark.parametrize("n", [20, 40, 100])
def test_wilson_is_near_95_on_average(n: int) -> None:
    shares = np.linspace(0.0, 1.0, 4001)
    share, coverage = exact_coverage(wilson, n, between=len(shares))
    assert 0.945 <= coverage[np.isin(share, shares)].mean() <= 0.960


@pytest.mark.parametrize("n", [1, 5, 20, 100, 1000])
def test_exact_never_covers_less_than_95(n: int) -> None:
    _, coverage = exact_coverage(clopper_pearson, n, between=1001)
    assert coverage.min() >= 0.95


def test_exact_at_five_dies_never_covers_less_than_97_5() -> None:
    """Figure of an independent program."""
    _, coverage = exact_coverage(clopper_pearson, 5, between=1001)
    assert coverage.min() >= 0.975 - 1e-12


def test_an_interval_a_tenth_too_small_fails_the_check() -> None:
    def narrowed(successes: int, n: int) -> Proportion | None:
        whole = clopper_pearson(successes, n)
        assert whole is not None
        cut = 0.05 * (whole.upper - whole.lower)
        return replace(whole, lower=whole.lower + cut, upper=whole.upper - cut)

    _, coverage = exact_coverage(narrowed, 100, between=1001)
    assert coverage.min() < 0.95


@pytest.mark.parametrize("interval", [wilson, clopper_pearson])
@pytest.mark.parametrize(("successes", "n"), [(-1, 3), (4, 3), (0, -1)])
def test_impossible_counts_are_refused(interval: Interval, successes: int, n: int) -> None:
    with pytest.raises(ValueError, match="not a proportion"):
        interval(successes, n)
