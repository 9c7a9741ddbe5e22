"""Wilson intervals against Newcombe's printed table and the NIST e-Handbook's data."""

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from sitegen.compute.stats.intervals import wilson


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


def test_never_without_width() -> None:
    """The Wald interval of 0 of 10 is [0, 0]."""
    none, every = wilson(0, 10), wilson(10, 10)
    assert none is not None and every is not None
    assert (none.lower, every.upper) == (0.0, 1.0)
    assert none.upper > 0.27
    assert every.lower < 0.73


@pytest.mark.parametrize("n", [20, 40])
def test_mean_coverage(n: int) -> None:
    """Exact binomial sum: near 95 % on average over yields, never below 83 % (common knowledge:
    Wilson's least coverage is 83 to 84 % at every n, at yields within a fraction of a die of 1)."""
    intervals = [wilson(k, n) for k in range(n + 1)]
    lower = np.array([i.lower for i in intervals if i is not None])
    upper = np.array([i.upper for i in intervals if i is not None])
    p = np.linspace(0.0005, 0.9995, 4001)[:, None]
    covered = (lower <= p) & (p <= upper)
    coverage = (binom.pmf(np.arange(n + 1), n, p) * covered).sum(axis=1)
    assert 0.945 <= coverage.mean() <= 0.960
    assert 0.83 <= coverage.min() <= 0.85


@pytest.mark.parametrize(("successes", "n"), [(-1, 3), (4, 3), (0, -1)])
def test_impossible_counts_are_refused(successes: int, n: int) -> None:
    with pytest.raises(ValueError, match="not a proportion"):
        wilson(successes, n)
