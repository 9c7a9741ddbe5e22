"""Correlations within groups: scipy's, published numbers, and how often intervals hold."""

import math

import numpy as np
import pytest
from scipy.stats import binom, pearsonr, rankdata, spearmanr

from sitegen.compute.stats.correlation import (
    correlate_within,
    deviations_within,
    fisher_interval,
    p_of,
    rank_interval,
    ranks_within,
)
from sitegen.model.arrays import FloatArray

RNG = np.random.default_rng(31)
WING = [10.4, 10.8, 11.1, 10.2, 10.3, 10.2, 10.7, 10.5, 10.8, 11.2, 10.6, 11.4]
TAIL = [7.4, 7.6, 7.9, 7.2, 7.4, 7.1, 7.4, 7.2, 7.8, 7.7, 7.8, 8.3]


def gappy(n: int, p: int, decimals: int = 1) -> FloatArray:
    """Columns with ties and gaps."""
    table = np.round(RNG.normal(size=(n, p)) + RNG.normal(size=(n, 1)), decimals)
    table[RNG.uniform(size=table.shape) < 0.15] = np.nan
    return table


def test_a_published_correlation_and_its_interval() -> None:
    """Zar, Biostatistical Analysis, examples 19.1 and 19.3: wing and tail lengths of 12 birds,
    r = 0.870, and the interval of z from 0.680 to 1.986 (quoted from memory)."""
    found = correlate_within(np.column_stack([WING, TAIL]), np.zeros(12))
    assert round(float(found.linear[0, 1]), 3) == 0.870
    ends = [float(end) for end in fisher_interval(0.870, 11)]
    assert [round(math.atanh(end), 3) for end in ends] == [0.680, 1.986]


def test_of_one_group_they_are_scipys() -> None:
    table = gappy(60, 5)
    found = correlate_within(table, np.zeros(60))
    for i in range(5):
        for j in range(5):
            both = ~np.isnan(table[:, i] + table[:, j])
            x, y = table[both, i], table[both, j]
            assert found.n[i, j] == both.sum() and found.groups[i, j] == 1
            assert found.linear[i, j] == pytest.approx(pearsonr(x, y)[0], abs=1e-12)
            assert found.rank[i, j] == pytest.approx(spearmanr(x, y)[0], abs=1e-12)


def test_within_groups_each_pair_is_about_its_own_means() -> None:
    """Group by group in plain loops, with gaps, ties, a lone row and a group without a column."""
    table, group = gappy(80, 4), np.repeat(np.arange(5), [30, 20, 1, 19, 10])[RNG.permutation(80)]
    table[group == 4, 2] = np.nan
    found = correlate_within(table, group)
    for i in range(4):
        for j in range(4):
            sums, ranks = np.zeros(3), np.zeros(3)
            rows = groups = 0
            for one in range(5):
                pair = table[group == one][:, [i, j]]
                pair = pair[~np.isnan(pair).any(axis=1)]
                if len(pair) < 2:
                    continue
                rows, groups = rows + len(pair), groups + 1
                for kept, columns in ((sums, pair), (ranks, rankdata(pair, axis=0))):
                    a, b = (columns - columns.mean(axis=0)).T
                    kept += [a @ b, a @ a, b @ b]
            assert (found.n[i, j], found.groups[i, j]) == (rows, groups)
            assert found.freedom[i, j] == rows - groups
            for matrix, kept in ((found.linear, sums), (found.rank, ranks)):
                expected = kept[0] / math.sqrt(kept[1] * kept[2])
                assert matrix[i, j] == pytest.approx(expected, abs=1e-12)


def test_what_makes_groups_differ_correlates_nothing() -> None:
    table, group = RNG.normal(size=(90, 3)), np.repeat(np.arange(3), 30)
    moved = table + 100.0 * group[:, None]
    plain, found = correlate_within(table, group), correlate_within(moved, group)
    assert found.linear == pytest.approx(plain.linear, abs=1e-10)
    assert found.rank == pytest.approx(plain.rank, abs=1e-12)
    assert np.corrcoef(moved.T)[0, 1] > 0.99


def test_order_units_and_direction() -> None:
    table, group = gappy(70, 3), np.repeat(np.arange(2), 35)
    plain = correlate_within(table, group)
    order = RNG.permutation(70)
    turned = correlate_within(table[order], group[order])
    assert turned.rank == pytest.approx(plain.rank, abs=1e-12)
    assert turned.linear == pytest.approx(plain.linear, abs=1e-12)
    other = correlate_within(table * [1e-12, 1e9, -2.0] + [0.0, 1e8, 5.0], group)
    signs = np.array([1.0, 1.0, -1.0])
    assert other.linear == pytest.approx(plain.linear * np.outer(signs, signs), abs=1e-6)
    assert other.rank == pytest.approx(plain.rank * np.outer(signs, signs), abs=1e-12)
    single = correlate_within(table.astype(np.float32), group)
    assert single.linear == pytest.approx(plain.linear, abs=1e-6)


def test_ranks_of_a_monotone_change_stay() -> None:
    table, group = RNG.normal(size=(50, 2)), np.repeat(np.arange(2), 25)
    plain = correlate_within(table, group).rank
    assert correlate_within(np.exp(3 * table), group).rank == pytest.approx(plain, abs=1e-12)


@pytest.mark.parametrize("value", [0.0, -0.0, 0.1, 1e9 / 3])
def test_a_column_that_does_not_vary_has_none(value: float) -> None:
    table = np.column_stack([RNG.normal(size=40), np.full(40, value), np.full(40, np.nan)])
    table[3, 1] = np.nan
    found = correlate_within(table, np.repeat(np.arange(2), 20))
    assert found.linear[0, 0] == pytest.approx(1.0) and found.rank[0, 0] == pytest.approx(1.0)
    for matrix in (found.linear, found.rank):
        assert np.isnan(matrix[1:, :]).all() and np.isnan(matrix[:, 1:]).all()
    assert found.n.tolist()[2] == [0, 0, 0]


def test_none_at_all() -> None:
    for shape in ((0, 3), (1, 3), (4, 0)):
        found = correlate_within(np.zeros(shape), np.zeros(shape[0]))
        assert found.linear.shape == (shape[1], shape[1])
        assert np.isnan(found.linear).all() and np.isnan(found.rank).all()
    assert ranks_within(np.zeros((0, 2)), np.zeros(0)).shape == (0, 2)
    assert deviations_within(np.full((3, 1), 0.1), np.zeros(3)).tolist() == [[0.0]] * 3


def test_p_values_are_scipys() -> None:
    for n, scale in ((8, 1.0), (40, 0.3)):
        x = RNG.normal(size=n)
        y = scale * x + RNG.normal(size=n)
        assert float(p_of(pearsonr(x, y)[0], n - 1)) == pytest.approx(pearsonr(x, y)[1], rel=1e-9)
        assert float(p_of(spearmanr(x, y)[0], n - 1)) == pytest.approx(spearmanr(x, y)[1], rel=1e-9)
    assert p_of([1.0, -1.0, 0.0], 5).tolist() == [0.0, 0.0, 1.0]
    assert np.isnan(p_of([0.5, 1.0, np.nan], [1, 0.5, 20])).all()


def test_intervals_need_more_than_two_deviations() -> None:
    for interval in (fisher_interval, rank_interval):
        assert np.isnan(interval([0.5, 0.5], [2, 1])).all()
        low, high = interval([1.0, -1.0, np.nan], 20)
        assert 0.99 < low[0] <= high[0] <= 1.0 and -1.0 <= low[1] <= high[1] < -0.99
        assert np.isnan(low[2]) and np.isnan(high[2])


def drawn(n: int, rho: float, m: int) -> tuple[FloatArray, FloatArray]:
    """m Pearson's and Spearman's correlations of n pairs, in formulas of their own."""
    rng = np.random.default_rng(n)
    x = rng.normal(size=(m, n))
    y = rho * x + math.sqrt(1 - rho**2) * rng.normal(size=(m, n))

    def correlation(a: FloatArray, b: FloatArray) -> FloatArray:
        a, b = a - a.mean(axis=1, keepdims=True), b - b.mean(axis=1, keepdims=True)
        products = (a * b).sum(axis=1)
        return np.asarray(products / np.sqrt((a**2).sum(axis=1) * (b**2).sum(axis=1)))

    return correlation(x, y), correlation(rankdata(x, axis=1), rankdata(y, axis=1))


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
@pytest.mark.parametrize("n", [5, 10, 20, 100])
def test_intervals_hold_the_truth(n: int, rho: float) -> None:
    """10,000 samples of normal pairs; Spearman's truth is 6/π asin(ρ/2), and needs 10 pairs."""
    linear, rank = drawn(n, rho, 10_000)

    def held(ends: tuple[FloatArray, FloatArray], truth: float, share: float = 1.0) -> float:
        low, high = np.arctanh(ends[0]), np.arctanh(ends[1])
        off = np.abs(np.arctanh(truth) - (low + high) / 2)
        return float((off <= share * (high - low) / 2).mean())

    assert 0.93 <= held(fisher_interval(linear, n - 1), rho) <= 0.97
    if n >= 10:
        assert held(fisher_interval(linear, n - 1), rho, 0.9) < 0.93
        truth = 6 / math.pi * math.asin(rho / 2)
        assert 0.93 <= held(rank_interval(rank, n - 1), truth) <= 0.97


@pytest.mark.parametrize("n", [10, 20, 100])
def test_the_test_of_ranks_keeps_its_level(n: int) -> None:
    p_values = p_of(drawn(n, 0.0, 10_000)[1], n - 1)
    called = int((p_values < 0.05).sum())
    most = 0.057 if n == 10 else 0.05  # Student's t is an approximation for ranks
    assert binom.ppf(0.001, 10_000, 0.045) <= called <= binom.ppf(0.999, 10_000, most)
