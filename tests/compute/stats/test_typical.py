"""The most typical die."""

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from sitegen.compute.stats.typical import most_typical

NAN = np.nan


def test_against_scipy() -> None:
    """scipy's median_abs_deviation gives the same scores: the rule is no other than stated."""
    rng = np.random.default_rng(5)
    values = rng.normal(size=(80, 6)) * [1, 1e-12, 1e9, 3, 4, 5] + [0, 1e-11, 0, 7, 7, 7]
    z = (values - np.median(values, axis=0)) / (1.4826 * median_abs_deviation(values, axis=0))
    scores = (z**2).mean(axis=1)
    typical = most_typical(np.arange(80), np.zeros(80), values)
    assert typical is not None
    assert typical.index == int(scores.argmin())
    assert typical.score == pytest.approx(scores.min(), rel=1e-12)
    assert (typical.n_parameters, typical.complete) == (6, True)


def test_ties_go_to_the_lowest_row_then_column() -> None:
    typical = most_typical([5, 4, 3, 1], [2, 1, 1, 7], np.full((4, 2), 3.0))
    assert typical is not None
    assert typical.index == 2
    assert typical.score == 0


def test_a_die_with_a_parameter_less_is_no_candidate() -> None:
    values = np.array([[1.0, 1.1], [2.0, NAN], [3.0, 3.2], [2.6, 2.9]])
    typical = most_typical([0, 1, 2, 3], [0] * 4, values)
    assert typical is not None
    assert typical.index == 3, "die 1 sits on the median, but lacks a parameter"


def test_where_no_die_is_complete_fewer_parameters_give_no_advantage() -> None:
    values = np.array([[1.0, NAN, 1.0], [2.0, 2.0, NAN], [NAN, 9.0, 7.0], [4.0, NAN, NAN]])
    typical = most_typical([0, 1, 2, 3], [0] * 4, values)
    assert typical is not None
    assert not typical.complete
    assert typical.index == 1


def test_a_parameter_with_mostly_equal_values_still_counts() -> None:
    """The median absolute deviation is zero here; the odd die must not be called typical."""
    values = np.array([[5.0, 1.0], [5.0, 9.0], [5.0, 2.0], [8.0, 3.0], [5.0, 4.0]])
    typical = most_typical([0, 1, 2, 3, 4], [0] * 5, values)
    assert typical is not None
    assert typical.index in (2, 4), "die 3 has the median of the second parameter"
    assert typical.index == 2


@pytest.mark.parametrize("shape", [(3, 2), (0, 2), (3, 0)])
def test_nothing_measured_nothing_typical(shape: tuple[int, int]) -> None:
    assert most_typical(np.arange(shape[0]), np.zeros(shape[0]), np.full(shape, NAN)) is None


def test_misuse_is_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        most_typical([0, 1], [0, 1], [[1.0]])
    with pytest.raises(ValueError, match="infinite"):
        most_typical([0], [0], [[np.inf]])
