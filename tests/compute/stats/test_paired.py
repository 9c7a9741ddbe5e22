"""Differences of pairs: against scipy, a published example, and by simulation."""

import numpy as np
import pytest
from scipy import stats as reference
from scipy.special import bdtr

from sitegen.compute.stats.correlation import correlate_within, p_of
from sitegen.compute.stats.paired import (
    Groups,
    Mean,
    groups_of,
    median_ends,
    sign_p,
    sums_and_differences,
    weighted,
)
from sitegen.model.arrays import FloatArray

FIRST = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SECOND = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
"""Hours of sleep gained with two drugs, ten patients: Cushny and Peebles, in Student 1908,
Biometrika 6:1; quoted from memory."""
DRAWS = 4_000


def one_group(differences: FloatArray) -> Mean:
    return weighted(groups_of(differences, np.zeros(len(differences), dtype=int), 1), [1.0])


def test_students_example() -> None:
    """Mean 1.58, standard deviation 1.23, t = 4.06 with n = 10 (Student 1908, from memory)."""
    groups = groups_of(SECOND - FIRST, np.zeros(10, dtype=int), 1)
    found = weighted(groups, [1.0])
    assert groups.mean[0] == pytest.approx(1.58)
    assert np.sqrt(groups.variance[0]) == pytest.approx(1.23, abs=0.005)
    assert found.value / found.u == pytest.approx(4.0621, abs=5e-5)
    expected = reference.ttest_rel(SECOND, FIRST)
    assert found.p_value == pytest.approx(expected.pvalue)
    ends = expected.confidence_interval(0.95)
    assert found.interval() == pytest.approx((ends.low, ends.high))
    assert found.interval() == pytest.approx((0.7001142, 2.4598858), abs=1e-7)


@pytest.mark.parametrize("n", [2, 3, 17, 200])
def test_one_group_is_the_paired_t(n: int) -> None:
    rng = np.random.default_rng(n)
    before = rng.normal(5, 2, n)
    after = before + rng.normal(0.3, 0.5, n)
    found, expected = one_group(after - before), reference.ttest_rel(after, before)
    assert found.p_value == pytest.approx(expected.pvalue)
    ends = expected.confidence_interval(0.95)
    assert found.interval() == pytest.approx((ends.low, ends.high))


def test_one_group_less_another_is_welch() -> None:
    rng = np.random.default_rng(7)
    one, other = rng.normal(1, 1, 12), rng.normal(0, 3, 31)
    groups = groups_of(np.r_[one, other], np.repeat([0, 1], [12, 31]), 2)
    found = weighted(groups, [1.0, -1.0])
    expected = reference.ttest_ind(one, other, equal_var=False)
    ends = expected.confidence_interval(0.95)
    assert found.p_value == pytest.approx(expected.pvalue)
    assert found.interval() == pytest.approx((ends.low, ends.high))


def test_what_is_given_besides_widens_as_if_known_exactly() -> None:
    wide = weighted(Groups(np.array([9.0]), np.array([1.0]), np.array([9.0])), [1.0], 2.0)
    assert wide.u == pytest.approx(np.sqrt(1 + 4))
    assert wide.freedom == pytest.approx(8 * 5**2)


def held(groups: int, n: int, narrower: float = 1.0) -> float:
    """How often the interval of the mean over groups of unequal spread holds the truth."""
    rng = np.random.default_rng(100 * groups + n)
    spread = 1.0 + np.arange(groups)
    true = np.arange(groups) - 0.5
    values = true[:, None] + spread[:, None] * rng.standard_normal((DRAWS, groups, n))
    weight = np.full(groups, 1 / groups)
    hits = 0
    for draw in values:
        found = weighted(
            Groups(np.full(groups, float(n)), draw.mean(axis=1), draw.var(axis=1, ddof=1)), weight
        )
        low, high = found.interval()
        half = narrower * (high - low) / 2
        hits += abs(found.value - true.mean()) <= half
    return hits / DRAWS


@pytest.mark.parametrize("groups", [1, 3])
@pytest.mark.parametrize("n", [5, 20, 100])
def test_the_interval_of_the_mean_holds_it(groups: int, n: int) -> None:
    assert 0.93 <= held(groups, n) <= 0.97


def test_a_narrower_interval_would_be_seen() -> None:
    assert held(1, 100, 0.9) < 0.93
    assert held(3, 20, 0.9) < 0.93


def test_the_median_and_the_sign_test_are_one() -> None:
    """The ends are the outermost values that the sign test at 5 % does not refuse as a median."""
    rng = np.random.default_rng(3)
    values = np.sort(rng.exponential(1.0, 25))
    ends = median_ends(values)
    assert ends is not None
    for median, refused in ((ends[0] - 1e-9, True), (ends[0] + 1e-9, False)):
        p = sign_p(values - median)
        assert p is not None and (p < 0.05) == refused
    for median, refused in ((ends[1] + 1e-9, True), (ends[1] - 1e-9, False)):
        p = sign_p(values - median)
        assert p is not None and (p < 0.05) == refused


@pytest.mark.parametrize("n", [1, 5, 10, 37])
def test_the_sign_test_against_scipy(n: int) -> None:
    values = np.random.default_rng(n).normal(0.4, 1, n)
    expected = reference.binomtest(int((values > 0).sum()), n, 0.5).pvalue
    assert sign_p(values) == pytest.approx(expected)
    assert sign_p(np.r_[values, 0.0, -0.0]) == pytest.approx(expected), "zeros are left out"


def test_signs_of_students_example() -> None:
    """Nine patients of ten slept longer, one was equal: p = 2/512."""
    assert sign_p(SECOND - FIRST) == pytest.approx(2 / 512)
    wilcoxon = reference.wilcoxon(SECOND, FIRST, method="approx")
    assert wilcoxon.pvalue < 0.05, "the signed ranks say the same"


@pytest.mark.parametrize("n", [6, 7, 20, 61, 100])
def test_the_median_is_held_by_exact_enumeration(n: int) -> None:
    ends = median_ends(np.arange(n, dtype=float))
    assert ends is not None
    below = int(ends[0])
    assert 1 - 2 * bdtr(below, n, 0.5) >= 0.95
    if below + 1 < n // 2:
        assert 1 - 2 * bdtr(below + 1, n, 0.5) < 0.95, "the next values would not hold it"


def test_groups_with_medians_of_their_own_hold_the_median_of_all_more_often() -> None:
    """Equal groups about -1, 0 and 1: the median of their mixture is 0."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(2_000):
        ends = median_ends((np.arange(3)[:, None] - 1 + rng.normal(0, 1, (3, 20))).ravel())
        assert ends is not None
        hits += ends[0] <= 0 <= ends[1]
    assert hits / 2_000 >= 0.95


def test_few_and_equal_differences() -> None:
    nothing = groups_of([], np.zeros(0, dtype=int), 1)
    assert nothing.n[0] == 0 and np.isnan(nothing.mean[0]) and np.isnan(nothing.variance[0])
    one = one_group(np.array([3.0]))
    assert one.value == 3.0 and np.isnan(one.u) and np.isnan(one.p_value)
    assert np.isnan(one.interval()).all()
    equal = one_group(np.full(9, 0.1, dtype=np.float32).astype(np.float64))
    assert np.isnan(equal.u), "a spread of nothing says nothing"
    assert sign_p([]) is None and sign_p([0.0, -0.0]) is None and sign_p([2.0]) == 1.0
    assert median_ends([]) is None and median_ends(np.arange(5)) is None
    single = np.array([1, 2, 4], dtype=np.float32)
    assert one_group(single).value == pytest.approx(7 / 3)


def correlations(rng: np.random.Generator, slope: float, noise: float) -> tuple[float, float]:
    """Of the shift with the mean of both values, and with the value before, of 4,000 dies."""
    true = rng.normal(400, 10, 4_000)
    before = true + noise * rng.standard_normal(4_000)
    after = true * (1 + slope) - 5 + noise * rng.standard_normal(4_000)
    table = sums_and_differences(before, after)
    ours = correlate_within(table, np.zeros(4_000, dtype=int)).linear[0, 1]
    return float(ours), float(np.corrcoef(after - before, before)[0, 1])


def test_noise_alone_makes_the_naive_slope_and_not_ours() -> None:
    """Of nothing that depends on anything, with noise half as large as the spread of the dies.

    The naive correlation tends to -noise / sqrt(2 (spread² + noise²)) = -0.316.
    """
    ours, naive = correlations(np.random.default_rng(5), 0.0, 5.0)
    assert abs(ours) < 3 / np.sqrt(4_000)
    assert naive == pytest.approx(-5 / np.sqrt(2 * 125), abs=0.04)


def test_a_shift_that_grows_with_the_size_is_seen_with_its_sign() -> None:
    for slope in (0.5, -0.5):
        ours, _ = correlations(np.random.default_rng(6), slope, 5.0)
        assert np.sign(ours) == np.sign(slope) and abs(ours) > 0.3
    naive = correlations(np.random.default_rng(8), 0.1, 5.0)[1]
    ours = correlations(np.random.default_rng(8), 0.1, 5.0)[0]
    assert naive < 0 < ours, "the naive one turns the sign of a small true dependence"


def test_it_is_the_test_of_pitman_and_morgan() -> None:
    """t = (F - 1) sqrt(n - 2) / (2 sqrt(F (1 - r²))), F the ratio of the variances: closed form
    from memory, beside our correlation's p-value."""
    rng = np.random.default_rng(9)
    before = rng.normal(0, 1, 40)
    after = 0.8 * before + rng.normal(0, 0.9, 40)
    ratio = after.var(ddof=1) / before.var(ddof=1)
    r = np.corrcoef(before, after)[0, 1]
    t = (ratio - 1) * np.sqrt(38) / (2 * np.sqrt(ratio * (1 - r**2)))
    ours = correlate_within(sums_and_differences(before, after), np.zeros(40, dtype=int))
    p = p_of(ours.linear[0, 1], ours.freedom[0, 1])
    assert float(p) == pytest.approx(2 * reference.t.sf(abs(t), 38))
