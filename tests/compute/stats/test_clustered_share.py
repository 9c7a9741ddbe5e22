"""The process's yield by the beta-binomial law: against scipy, brute force, laws and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gammaln
from scipy.stats import beta, betabinom

from sitegen.compute.stats.beta_binomial import log_likelihood
from sitegen.compute.stats.clustered_share import (
    LEAST_WAFERS,
    clustered_share,
    share_intervals,
)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.93, 0.9999])
@pytest.mark.parametrize("correlation", [1e-6, 0.01, 0.2, 0.95])
def test_likelihood_agrees_with_scipy(share: float, correlation: float) -> None:
    counts, sizes = np.array([[0, 84, 300, 7, 1], [88, 88, 290, 7, 0]]), [88, 88, 300, 7, 1]
    found = log_likelihood(counts, sizes, np.array([share]), np.array([correlation]))
    total = (1 - correlation) / correlation
    expected = [
        sum(
            betabinom.logpmf(x, n, share * total, (1 - share) * total)
            - (gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1))
            for x, n in zip(row, sizes, strict=True)
        )
        for row in counts
    ]
    assert found.shape == (2, 1, 1)
    # Differences of log-gammas of 1e6 and more keep some nine digits, here and in scipy.
    np.testing.assert_allclose(found[:, 0, 0], expected, rtol=1e-7, atol=2e-7)


def test_impossible_counts_are_refused() -> None:
    for counts in ([[89]], [[-1]]):
        with pytest.raises(ValueError, match="outside its group"):
            log_likelihood(counts, [88], np.array([0.5]), np.array([0.1]))


def brute_force(counts: list[int], sizes: list[int]) -> tuple[float, float]:
    """The middle 95 % of the share by sums over an even fine grid, weights as densities."""
    p = (np.arange(2000) + 0.5) / 2000
    rho = ((np.arange(400) + 0.5) / 400) ** 2
    cell = 2 * np.sqrt(rho) / 400
    shares, rhos = np.meshgrid(p, rho, indexing="ij")
    total = (1 - rhos) / rhos
    log = sum(
        betabinom.logpmf(x, n, shares * total, (1 - shares) * total)
        for x, n in zip(counts, sizes, strict=True)
    )
    density = np.exp(log - np.max(log)) * beta.pdf(shares, 0.5, 0.5) * beta.pdf(rhos, 0.5, 2) * cell
    below = np.cumsum(density.sum(axis=1))
    lower, upper = np.interp([0.025, 0.975], below / below[-1], p + 0.5 / 2000)
    return float(lower), float(upper)


@pytest.mark.parametrize(
    ("counts", "sizes"),
    [
        ([82, 84, 75, 80, 88], [88] * 5),
        ([28, 10, 20, 30, 5, 17], [30, 12, 25, 40, 5, 19]),
        ([30, 30, 3, 29, 30], [30] * 5),
        ([15, 15, 16, 14, 15], [30] * 5),
    ],
)
def test_agrees_with_brute_force(counts: list[int], sizes: list[int]) -> None:
    found = clustered_share(counts, sizes)
    np.testing.assert_allclose((found.lower, found.upper), brute_force(counts, sizes), atol=6e-4)


def test_wafers_that_all_conform_do_not_collapse() -> None:
    """The interval reaches 1 and has a width; below it lies what a rare bad wafer would leave."""
    found = clustered_share([88] * 5, [88] * 5)
    assert found.share == found.upper == 1.0
    assert 0.8 < found.lower < 1 - 3 / 440, "below the rule of three for independent dies"
    assert found.correlation is None
    assert found.design_effect is None
    more = clustered_share([88] * 24, [88] * 24)
    assert found.lower < more.lower < 1.0


def test_none_conform_is_the_mirror_image() -> None:
    good, bad = clustered_share([88] * 5, [88] * 5), clustered_share([0] * 5, [88] * 5)
    assert bad.lower == 0.0
    assert bad.upper == pytest.approx(1 - good.lower, abs=1e-9)


def test_one_bad_wafer_widens_much() -> None:
    spread = clustered_share([88, 88, 0, 88, 88], [88] * 5)
    even = clustered_share([70, 71, 70, 70, 71], [88] * 5)
    assert spread.upper - spread.lower > 4 * (even.upper - even.lower)
    assert spread.correlation is not None and spread.correlation > 0.8
    assert spread.design_effect == pytest.approx(1 + 87 * spread.correlation)
    assert even.correlation == 0.0
    assert even.design_effect == 1.0


@pytest.mark.parametrize("n", [10_000, 1_000_000])
def test_many_dies_on_wafers_alike_give_the_binomial_interval(n: int) -> None:
    """At most some wider than share +- 1.96 sqrt(p (1 - p) / N): the correlation is not known."""
    good = [round(0.93 * n)] * 24
    found = clustered_share(good, [n] * 24)
    half = 1.96 * np.sqrt(0.93 * 0.07 / (24 * n))
    assert half < (found.upper - found.lower) / 2 < 1.5 * half
    assert (found.upper + found.lower) / 2 == pytest.approx(0.93, abs=half / 5)


@given(
    st.lists(
        st.tuples(st.integers(1, 60), st.floats(0, 1)).map(
            lambda one: (round(one[0] * one[1]), one[0])
        ),
        min_size=LEAST_WAFERS,
        max_size=9,
    ),
    st.randoms(),
)
@settings(max_examples=40, deadline=None)
def test_laws(wafers: list[tuple[int, int]], random: object) -> None:
    """Order and empty wafers say nothing; failing and conforming are mirror images."""
    good, of = np.array(wafers).T
    found = clustered_share(good, of)
    assert 0 <= found.lower <= found.share <= found.upper <= 1
    assert found.lower < found.upper
    turned = clustered_share(np.append(good[::-1], 0), np.append(of[::-1], 0))
    assert (turned.lower, turned.upper) == pytest.approx((found.lower, found.upper), abs=1e-9)
    mirrored = clustered_share(of - good, of)
    assert 1 - mirrored.upper == pytest.approx(found.lower, abs=1e-6)
    assert 1 - mirrored.lower == pytest.approx(found.upper, abs=1e-6)
    if found.correlation is not None:
        assert found.correlation_lower is not None and found.correlation_upper is not None
        assert 0 <= found.correlation_lower <= found.correlation <= found.correlation_upper <= 1
        assert mirrored.correlation == pytest.approx(found.correlation, abs=1e-4)


def test_many_sets_at_once_are_what_each_is_alone() -> None:
    counts = np.array([[82, 84, 75, 80, 88], [88, 88, 88, 88, 87], [40, 44, 60, 10, 50]])
    lower, upper = share_intervals(counts, [88] * 5)
    for row, low, high in zip(counts, lower, upper, strict=True):
        alone = clustered_share(row, [88] * 5)
        assert (low, high) == pytest.approx((alone.lower, alone.upper), abs=2e-4)


@pytest.mark.parametrize("wafers", [0, 1, 4])
def test_fewer_wafers_have_no_interval(wafers: int) -> None:
    with pytest.raises(ValueError, match="too few"):
        clustered_share([80] * wafers + [0], [88] * wafers + [0])


def test_a_narrower_confidence_is_narrower() -> None:
    wide, narrow = (clustered_share([82, 84, 75, 80, 88], [88] * 5, c) for c in (0.95, 0.8))
    assert wide.lower < narrow.lower < narrow.upper < wide.upper
