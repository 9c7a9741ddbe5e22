"""Intervals that need no law: exact by enumeration, and needed numbers as tables print them."""

import numpy as np
import pytest
from scipy.stats import beta, binom

from sitegen.compute.stats.order_statistics import (
    clustered_median_ends,
    median_rank,
    tolerance_rank,
    values_needed,
)


@pytest.mark.parametrize("n", range(6, 121))
def test_the_median_is_held_by_enumeration(n: int) -> None:
    """Of all numbers of values below the median, those for which the interval holds it.

    At least 95 % at every n; one rank further in would hold less.
    """
    rank = median_rank(n, 0.95)
    assert rank is not None

    def held(r: int) -> float:
        below = np.arange(n + 1)
        return float(binom.pmf(below, n, 0.5)[(below >= r) & (below <= n - r)].sum())

    assert held(rank) >= 0.95 > held(rank + 1)


def test_printed_ranks_of_the_median() -> None:
    """Ranks of the 95 % interval in Conover's and Hahn and Meeker's tables (quoted from memory)."""
    assert [median_rank(n, 0.95) for n in (5, 6, 10, 20, 25, 50, 100)] == [
        None, 1, 2, 6, 8, 18, 40,
    ]  # fmt: skip
    assert [median_rank(n, 0.95) for n in (0, 1)] == [None, None]


@pytest.mark.parametrize("law", ["normal", "log-normal", "exponential"])
def test_the_median_of_skewed_laws(law: str) -> None:
    rng = np.random.default_rng(3)
    middle = {"normal": 0.0, "log-normal": 1.0, "exponential": np.log(2)}[law]
    for n in (20, 100):
        values = rng.normal(size=(20_000, n))
        if law == "log-normal":
            values = np.exp(values)
        elif law == "exponential":
            values = rng.exponential(size=values.shape)
        values = np.sort(values, axis=1)
        r = median_rank(n, 0.95)
        assert r is not None
        held = ((values[:, r - 1] <= middle) & (middle <= values[:, -r])).mean()
        assert held + 0.005 >= 0.95 and held < 0.97


def test_numbers_needed_as_printed() -> None:
    """The least n for extremes as bounds: e-Handbook 7.2.6.4, ISO 16269-6 (quoted from memory)."""
    two_sided = {(0.90, 0.90): 38, (0.90, 0.95): 46, (0.95, 0.95): 93, (0.99, 0.95): 473}
    one_sided = {(0.90, 0.95): 29, (0.95, 0.95): 59, (0.99, 0.95): 299, (0.95, 0.90): 45}
    for (coverage, confidence), n in two_sided.items():
        assert values_needed(True, coverage, confidence) == n
    for (coverage, confidence), n in one_sided.items():
        assert values_needed(False, coverage, confidence) == n


@pytest.mark.parametrize("n", [59, 93, 100, 300, 1000])
@pytest.mark.parametrize("two_sided", [False, True])
def test_tolerance_by_the_beta_law(n: int, two_sided: bool) -> None:
    """The share between order statistics follows a beta law; one rank further holds too little."""
    rank = tolerance_rank(n, two_sided, 0.95, 0.95)
    if rank is None:
        assert two_sided and n < 93
        return
    outside = 2 if two_sided else 1

    def confidence(r: int) -> float:
        return float(beta.sf(0.95, n + 1 - outside * r, outside * r))

    assert confidence(rank) >= 0.95 > confidence(rank + 1)


@pytest.mark.parametrize("n", [93, 300])
def test_tolerance_is_kept_for_a_skewed_law(n: int) -> None:
    rng = np.random.default_rng(5)
    values = np.sort(rng.exponential(size=(10_000, n)), axis=1)
    r = tolerance_rank(n, True, 0.95, 0.95)
    assert r is not None
    share = np.exp(-values[:, r - 1]) - np.exp(-values[:, -r])
    kept = (share >= 0.95).mean()
    expected = beta.sf(0.95, n + 1 - 2 * r, 2 * r)
    assert kept == pytest.approx(expected, abs=0.01)
    assert kept >= 0.945


@pytest.mark.parametrize("correlation", [0.0, 0.01, 0.05, 0.2])
@pytest.mark.parametrize(("wafers", "dies"), [(5, 20), (24, 20)])
def test_the_median_of_a_process(wafers: int, dies: int, correlation: float) -> None:
    """Skewed values, alike on a wafer: at least 93 % at every correlation."""
    rng = np.random.default_rng(wafers)
    wafer = np.repeat(np.arange(wafers), dies)
    held = 0
    for _ in range(1000):
        own = np.sqrt(1 - correlation) * rng.normal(size=(wafers, dies))
        values = np.exp(own + np.sqrt(correlation) * rng.normal(size=(wafers, 1))).ravel()
        order = np.argsort(values)
        ends = clustered_median_ends(values[order], wafer[order], 0.95)
        held += ends is None or ends[0] <= 1.0 <= ends[1]
    assert held / 1000 >= 0.93 + 0.01


def test_taking_dies_as_independent_would_hold_too_little() -> None:
    rng = np.random.default_rng(1)
    rank, held = median_rank(500, 0.95) or 0, 0
    for _ in range(500):
        values = np.sort((rng.normal(size=(5, 100)) + 0.5 * rng.normal(size=(5, 1))).ravel())
        held += values[rank - 1] <= 0.0 <= values[-rank]
    assert held / 500 < 0.5


def test_wafers_without_spread_in_shares_keep_the_width_of_independent_values() -> None:
    """Wafers with the same values: the ends are those of independent values by the normal law."""
    ranked = np.repeat(np.arange(100.0), 6)
    wafer = np.tile(np.arange(6), 100)
    ends = clustered_median_ends(ranked, wafer, 0.95)
    assert ends is not None
    shares = 0.5 - 1.96 * 0.5 / np.sqrt(600), 0.5 + 1.96 * 0.5 / np.sqrt(600)
    assert ends == pytest.approx((100 * shares[0] - 1, 100 * shares[1]), abs=1)


def test_a_big_wafer_does_not_outweigh_the_others() -> None:
    """One wafer of 400 dies around 0, five of 40 around 10: the process median is with the five."""
    rng = np.random.default_rng(2)
    sizes, centres = [400, *[40] * 5], [0.0, *[10.0] * 5]
    values = np.concatenate([rng.normal(c, 1, n) for c, n in zip(centres, sizes, strict=True)])
    order = np.argsort(values)
    ends = clustered_median_ends(values[order], np.repeat(np.arange(6), sizes)[order], 0.95)
    assert ends is not None and ends[0] <= 9.8 <= ends[1]


def test_values_of_two_wafers_far_apart_bound_no_median() -> None:
    ranked, wafer = np.r_[np.arange(10.0), 100 + np.arange(10.0)], np.repeat([0, 1], 10)
    assert clustered_median_ends(ranked, wafer, 0.95) is None
