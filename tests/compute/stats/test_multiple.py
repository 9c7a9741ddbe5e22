"""Adjusted p-values: a published example, another program's values, and what they promise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, false_discovery_control

from sitegen.compute.stats.multiple import benjamini_hochberg, holm

PUBLISHED = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459),
    *(0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
]
"""Benjamini and Hochberg 1995, JRSS B 57:289, their example of 15 tests (quoted from memory)."""


def test_the_published_example() -> None:
    """The paper rejects four by its procedure at .05, and three by Bonferroni's (as by Holm's)."""
    assert (benjamini_hochberg(PUBLISHED) <= 0.05).tolist() == [True] * 4 + [False] * 11
    assert (holm(PUBLISHED) <= 0.05).tolist() == [True] * 3 + [False] * 12


def test_another_programs_values() -> None:
    """statsmodels 0.15.0, multipletests with 'holm' and 'fdr_bh', ten digits."""
    assert holm(PUBLISHED) == pytest.approx(
        [0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, *[1.0] * 6], abs=1e-10
    )
    false_discoveries = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571429, 0.0638571429]
    false_discoveries += [0.0645, 0.0765, 0.486, 0.5811818182, 0.714875, 0.7532307692]
    false_discoveries += [0.8132142857, 1.0]
    assert benjamini_hochberg(PUBLISHED) == pytest.approx(false_discoveries, abs=1e-10)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30), st.randoms(use_true_random=False))
def test_laws(p_values: list[float], random: "np.random.Generator") -> None:
    """By their definitions; in any order; never below the p-value; scipy's for one of the two."""
    given_p = np.array(p_values)
    m = len(given_p)
    ordered = np.sort(given_p)
    for adjust in (holm, benjamini_hochberg):
        found = adjust(given_p)
        assert (found >= given_p).all() and (found <= 1).all()
        order = list(range(m))
        random.shuffle(order)
        assert adjust(given_p[order]).tolist() == found[order].tolist()
        gaps = np.insert(given_p, m // 2, np.nan)
        assert np.delete(adjust(gaps), m // 2).tolist() == found.tolist()
        assert np.isnan(adjust(gaps)[m // 2])
    steps = [max((m - j) * ordered[j] for j in range(i + 1)) for i in range(m)]
    assert np.sort(holm(given_p)) == pytest.approx(np.minimum(steps, 1))
    assert benjamini_hochberg(given_p) == pytest.approx(false_discovery_control(given_p))


def test_none_and_shapes() -> None:
    assert holm([]).size == 0 and benjamini_hochberg([]).size == 0
    assert np.isnan(holm([np.nan, np.nan])).all()
    assert holm([[0.01, 0.04], [0.03, np.nan]]).shape == (2, 2)
    with pytest.raises(ValueError, match="between 0 and 1"):
        holm([0.5, 1.2])


def test_holm_calls_any_of_ten_true_nulls_with_the_levels_chance() -> None:
    p_values = np.random.default_rng(4).uniform(size=(4000, 10))
    called = sum((holm(one) <= 0.05).any() for one in p_values)
    expected = 1 - 0.995**10  # by Holm's first step alone, for independent tests
    assert binom.ppf(0.001, 4000, expected) <= called <= binom.ppf(0.999, 4000, expected)
