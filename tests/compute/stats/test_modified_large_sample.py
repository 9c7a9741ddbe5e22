"""Intervals of combinations of mean squares: exact cases, and how often they hold the truth."""

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.stats.modified_large_sample import modified_large_sample

N = 20_000
BAND = (0.93, 0.97)


def test_one_mean_square_is_exact() -> None:
    lower, upper = modified_large_sample([3.0], [7], [2.0], 0.95)
    assert float(lower) == pytest.approx(2 * 3.0 * 7 / stats.chi2.ppf(0.975, 7), rel=1e-12)
    assert float(upper) == pytest.approx(2 * 3.0 * 7 / stats.chi2.ppf(0.025, 7), rel=1e-12)


@pytest.mark.parametrize("degrees", [(1, 12), (4, 20), (9, 3)])
def test_a_difference_begins_at_zero_where_f_is_just_significant(degrees: tuple[int, int]) -> None:
    """The lower limit is zero where F is its 97.5 % point, the upper where it is its 2.5 % one."""
    for tail, place in ((0.975, 0), (0.025, 1)):
        ratio = float(stats.f.ppf(tail, *degrees))
        ends = modified_large_sample([ratio, 1.0], degrees, [0.2, -0.2], 0.95)
        assert float(ends[place]) == pytest.approx(0, abs=1e-7)


def test_terms_without_weight_and_the_order_of_terms_do_not_matter() -> None:
    plain = modified_large_sample([5.0, 2.0, 1.0], [4, 8, 60], [0.1, 0.3, -0.4], 0.95)
    more = modified_large_sample([1.0, 9.0, 5.0, 2.0], [60, 3, 4, 8], [-0.4, 0.0, 0.1, 0.3], 0.95)
    assert [float(one) for one in more] == pytest.approx([float(one) for one in plain])
    turned = modified_large_sample([5.0, 2.0, 1.0], [4, 8, 60], [-0.1, -0.3, 0.4], 0.95)
    assert [-float(one) for one in turned] == pytest.approx([float(one) for one in plain[::-1]])


CASES = {
    "operators, 3, large": ((2, 18, 60), (1 / 30, 9 / 30, -1 / 3), (91.0, 1.0, 1.0)),
    "operators, 2, large": ((1, 9, 40), (1 / 30, 9 / 30, -1 / 3), (91.0, 1.0, 1.0)),
    "operators and interaction": ((2, 18, 60), (1 / 30, 9 / 30, -1 / 3), (31.9, 1.9, 1.0)),
    "operators, interaction and repeats": ((2, 18, 60), (1 / 30, 9 / 30, 2 / 3), (31.9, 1.9, 1.0)),
    "parts": ((9, 0, 18), (1 / 9, 0, -1 / 9), (90.0, 1.0, 1.0)),
}


@pytest.mark.parametrize("name", CASES)
def test_held(name: str) -> None:
    """Shares of 20,000 simulated studies; limits a tenth nearer are told apart, all together."""
    degrees, weight, truth = CASES[name]
    rng = np.random.default_rng(len(name))
    squares = np.array(truth) * rng.chisquare(np.maximum(degrees, 1), (N, 3))
    squares = squares / np.maximum(degrees, 1)
    lower, upper = modified_large_sample(squares, degrees, weight, 0.95)
    target = float(np.dot(truth, weight))
    held = (lower <= target) & (target <= upper)
    assert BAND[0] <= held.mean() <= BAND[1]
    estimate = squares @ np.array(weight)
    near = (estimate + 0.9 * (lower - estimate) <= target) & (
        target <= estimate + 0.9 * (upper - estimate)
    )
    assert near.mean() < held.mean() - 0.005


def test_nothing_between_appraisers_is_never_missed_more_often_than_stated() -> None:
    """With a component of zero only the lower limit can miss, in 2.5 % of studies."""
    rng = np.random.default_rng(1)
    squares = rng.chisquare((2, 18), (N, 2)) / (2, 18)
    lower, _ = modified_large_sample(squares, (2, 18), (1 / 30, -1 / 30), 0.95)
    assert (lower > 0).mean() == pytest.approx(0.025, abs=0.004)
