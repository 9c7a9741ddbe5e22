"""Differences of means: other programs, published numbers, and how often intervals hold."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import brentq
from scipy.stats import binom, nct, t, ttest_ind

from sitegen.compute.stats.comparison import (
    Difference,
    Group,
    equivalence,
    hedges_g,
    welch,
)
from sitegen.model.arrays import FloatArray

A = [5.12, 4.87, 5.33, 5.05, 4.96, 5.21, 5.08, 4.79]
B = [5.02, 5.44, 4.71, 5.29, 5.63, 4.88]


def group(values: npt.ArrayLike) -> Group:
    """Of rows (m, n), or of one row."""
    rows = np.atleast_2d(np.asarray(values, dtype=np.float64))
    n = np.full(len(rows), float(rows.shape[1]))
    return Group(
        n, rows.mean(axis=1), rows.var(axis=1, ddof=1) if rows.shape[1] > 1 else n * np.nan
    )


def summary(n: float, mean: float, sd: float) -> Group:
    return Group(np.array([float(n)]), np.array([mean]), np.array([sd**2]))


def one(found: FloatArray) -> float:
    return float(found[0])


def test_welch_is_scipys() -> None:
    found, expected = welch(group(A), group(B)), ttest_ind(A, B, equal_var=False)
    assert one(found.p_value) == pytest.approx(expected.pvalue, rel=1e-10)
    assert one(found.freedom) == pytest.approx(expected.df, rel=1e-12)
    ends = expected.confidence_interval(0.95)
    assert [one(end) for end in found.interval()] == pytest.approx([ends.low, ends.high])


def test_the_handbooks_two_fleets() -> None:
    """e-Handbook 1.3.5.3, AUTO83B.DAT: miles per gallon of 249 and 79 cars; with unequal spreads
    T = -12.94627 with 136.8750 degrees of freedom (quoted from memory, as are the summaries)."""
    found = welch(summary(249, 20.14458, 6.414700), summary(79, 30.48101, 6.107710))
    assert one(found.value / found.u) == pytest.approx(-12.94627, abs=2e-5)
    assert one(found.freedom) == pytest.approx(136.8750, abs=2e-3)


def test_equivalence_is_another_programs() -> None:
    """statsmodels 0.15.0, ttost_ind(a, b, -.5, .5, usevar='unequal'): p .0209978638; scipy's 90 %
    interval."""
    found = welch(group(A), group(B))
    tests = equivalence(found, 0.5)
    assert one(tests.p_value) == pytest.approx(0.02099786379267272, rel=1e-9)
    ends = ttest_ind(A, B, equal_var=False).confidence_interval(0.9)
    assert (one(tests.lower), one(tests.upper)) == pytest.approx((ends.low, ends.high))
    assert tests.verdict.tolist() == ["equivalent"]
    assert equivalence(found, 0.3).verdict.tolist() == ["not shown"]
    apart = welch(group(np.array(A) + 2), group(B))
    assert equivalence(apart, 1.0).verdict.tolist() == ["different by more"]
    assert equivalence(apart, 5.0).verdict.tolist() == ["equivalent"]
    with pytest.raises(ValueError, match="above 0"):
        equivalence(found, 0.0)


def test_what_is_given_beside_the_spread() -> None:
    """Adds in quadrature; with much of it the interval is that of a normal value."""
    plain, wide = welch(group(A), group(B)), welch(group(A), group(B), 10.0)
    assert one(wide.u) == pytest.approx(math.hypot(one(plain.u), 10.0))
    low, high = wide.interval()
    assert one(high - low) / 2 == pytest.approx(1.959964 * one(wide.u), rel=1e-5)
    # GUM G.2b: u^4 / sum of u_i^4 / v_i
    parts = np.var(A, ddof=1) / 8, np.var(B, ddof=1) / 6
    freedom = (sum(parts) + 0.01) ** 2 / (parts[0] ** 2 / 7 + parts[1] ** 2 / 5)
    assert one(welch(group(A), group(B), 0.1).freedom) == pytest.approx(freedom)


def test_hedges_g_by_hand() -> None:
    """Values 1 to 4 and 3 to 6: pooled s² = 5/3, d = -2/1.290994, J(6) = 1 - 3/(4 6 - 1) nearly."""
    g, lower, upper = hedges_g(group([1.0, 2, 3, 4]), group([3.0, 4, 5, 6]))
    d = -2 / math.sqrt(5 / 3)
    assert one(g) == pytest.approx(d * (1 - 3 / 23), rel=2e-3)
    exact = math.gamma(3) / (math.sqrt(3) * math.gamma(2.5))
    assert one(g) == pytest.approx(d * exact, rel=1e-12)
    for end, share in ((lower, 0.975), (upper, 0.025)):
        found = brentq(lambda size, p=share: nct.cdf(d * math.sqrt(2), 6, size) - p, -12, 6)
        assert one(end) == pytest.approx(found / math.sqrt(2), rel=1e-4)


@pytest.mark.parametrize(("d", "off"), [(0.0, 1e-3), (0.3, 1e-3), (-1.0, 2e-3), (4.0, 6e-3)])
def test_the_closed_form_meets_the_exact_one(d: float, off: float) -> None:
    """At 100 degrees of freedom, where the one follows the other: off by this share of the width,
    the more the larger the difference."""
    g, lower, upper = hedges_g(summary(51, d, 1.0), summary(51, 0.0, 1.0))
    scale = math.sqrt(51 / 2)
    exact = [
        brentq(lambda size, p=share: nct.cdf(d * scale, 100, size) - p, -60, 60) / scale
        for share in (0.975, 0.025)
    ]
    width = exact[1] - exact[0]
    assert [one(lower), one(upper)] == pytest.approx(exact, abs=off * width)
    assert one(g) == pytest.approx(d * (1 - 3 / 399), abs=1e-4)


def draws(n: int, m: int, apart: float, ratio: float) -> tuple[Group, Group]:
    rng = np.random.default_rng(100 * n + int(10 * ratio))
    return group(rng.normal(apart, 1, (m, n))), group(rng.normal(0, ratio, (m, n)))


def held(ends: tuple[FloatArray, FloatArray], truth: float) -> float:
    return float(((ends[0] <= truth) & (truth <= ends[1])).mean())


def narrowed(found: Difference) -> Difference:
    return Difference(found.value, 0.9 * found.u, found.freedom, found.p_value)


@pytest.mark.parametrize("n", [5, 20, 100])
@pytest.mark.parametrize("ratio", [1.0, 3.0])
def test_intervals_of_differences_hold_the_truth(n: int, ratio: float) -> None:
    """20,000 pairs; at n = 5 with spreads of 1 to 3 Welch's holds 94 to 95 %."""
    found = welch(*draws(n, 20_000, 1.5, ratio))
    assert 0.93 <= held(found.interval(), 1.5) <= 0.97
    if n > 5:
        assert held(narrowed(found).interval(), 1.5) < 0.93
    assert 0.93 <= held(welch(*draws(n, 20_000, 0.0, 1.0)).interval(), 0.0) <= 0.97


@pytest.mark.parametrize("n", [5, 20, 100])
@pytest.mark.parametrize("apart", [0.0, 1.0, 3.0])
def test_intervals_of_g_hold_the_truth(n: int, apart: float) -> None:
    m = 12_000 if n == 100 else 6_000
    g, lower, upper = hedges_g(*draws(n, m, apart, 1.0))
    assert 0.93 <= held((lower, upper), apart) <= 0.97
    assert g.mean() == pytest.approx(apart, abs=4 * g.std() / math.sqrt(m))
    middle, half = (lower + upper) / 2, 0.45 * (upper - lower)
    assert held((middle - half, middle + half), apart) < 0.93


def test_equivalence_errs_as_often_as_its_level() -> None:
    """On the margin itself 5 % are called equivalent, and 5 % different by more."""
    first, second = draws(50, 20_000, 1.0, 1.0)
    verdicts = equivalence(welch(first, second), 1.0).verdict
    for word in ("equivalent", "different by more"):
        n = int((verdicts == word).sum())
        assert binom.ppf(0.0005, 20_000, 0.05) <= n <= binom.ppf(0.9995, 20_000, 0.05)


def test_edges() -> None:
    nothing = Group(np.empty(0), np.empty(0), np.empty(0))
    assert welch(nothing, nothing).value.size == 0
    assert all(part.size == 0 for part in hedges_g(nothing, nothing))
    single = welch(group([1.0]), group(B))
    assert one(single.value) == 1.0 - np.mean(B) and np.isnan(one(single.u))
    assert equivalence(single, 1.0).verdict.tolist() == ["not stated"]
    assert np.isnan(one(hedges_g(group([1.0]), group(B))[0]))
    level = welch(group([2.0, 2.0]), group([1.0, 1.0, 1.0]))
    assert one(level.value) == 1.0 and np.isnan(one(level.p_value))
    one_level = welch(group([2.0, 2.0]), group(B))
    assert one(one_level.freedom) == pytest.approx(5.0)
    same = welch(group(A), group(A))
    assert one(same.value) == 0.0 and one(same.p_value) == pytest.approx(1.0)


def test_scale_and_exchange() -> None:
    plain = welch(group(A), group(B))
    scaled = welch(group(1e-12 * np.array(A)), group(1e-12 * np.array(B)))
    turned = welch(group(B), group(A))
    assert one(scaled.p_value) == pytest.approx(one(plain.p_value))
    assert one(turned.value) == -one(plain.value)
    assert one(turned.p_value) == one(plain.p_value)
    low, high = hedges_g(group(A), group(B))[1:]
    back = hedges_g(group(B), group(A))
    assert (one(back[1]), one(back[2])) == pytest.approx((-one(high), -one(low)), rel=1e-4)


def test_students_t_where_spreads_are_alike() -> None:
    """Equal n and equal variances: Welch's degrees of freedom are all of them."""
    found = welch(summary(9, 1.0, 2.0), summary(9, 0.0, 2.0))
    assert one(found.freedom) == pytest.approx(16.0)
    assert one(found.p_value) == pytest.approx(2 * t.sf(1 / (2 * math.sqrt(2 / 9)), 16))
