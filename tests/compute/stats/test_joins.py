"""Pairs of outside neighbours: every placement of a small map, and simulation."""

from itertools import combinations
from math import comb

import numpy as np
import pytest
from scipy.stats import binom

from sitegen.compute.stats.join_counts import groups, join_count
from sitegen.compute.stats.neighbours import neighbours_of
from tests.compute.stats.maps import disc, square


@pytest.mark.parametrize("corners", [False, True])
@pytest.mark.parametrize("m", [2, 3, 5, 8, 12])
def test_moments_are_those_of_every_placement(m: int, corners: bool) -> None:
    """All placements of m outside dies on 4 x 4: mean, variance and the chance of the tail."""
    neighbours = neighbours_of(*square(4), corners=corners)
    placements = np.zeros((comb(16, m), 16), dtype=bool)
    rows = np.array(list(combinations(range(16), m)))
    placements[np.arange(len(rows))[:, np.newaxis], rows] = True
    joins = (placements[:, neighbours.first] & placements[:, neighbours.second]).sum(axis=1)
    found = join_count(placements[0], neighbours)
    assert found.joins == joins[0]
    assert found.expected == pytest.approx(joins.mean(), rel=1e-10)
    assert found.variance == pytest.approx(joins.var(), rel=1e-10)
    for count in np.unique(joins).tolist():
        # One placement with so many joins: what is said of it against the share of all placements.
        stated = join_count(placements[np.flatnonzero(joins == count)[0]], neighbours).p_value
        true = np.mean(joins >= count)
        assert stated is not None
        assert stated >= 0.8 * true - 0.001, "hardly ever stated smaller than it is"
        assert stated <= 3.5 * true + 0.03


def test_two_dies_are_exact() -> None:
    """The chance that two of 300 dies are neighbours is the share of pairs that are."""
    neighbours = neighbours_of(*disc(300))
    outside = np.zeros(300, dtype=bool)
    outside[[neighbours.first[7], neighbours.second[7]]] = True
    found = join_count(outside, neighbours)
    assert found.joins == 1
    assert found.p_value == pytest.approx(len(neighbours.first) / comb(300, 2), rel=1e-9)


@pytest.mark.parametrize("n", [20, 100, 300])
@pytest.mark.parametrize("share", [0.05, 0.2, 0.5])
def test_clean_maps_are_called_as_seldom_as_stated(n: int, share: float) -> None:
    """2,000 placements: at most 5.5 %, with what the number of draws allows; a whole number cannot
    reach the level everywhere. By the normal law of the count it is up to 7 %."""
    neighbours = neighbours_of(*disc(n))
    rng = np.random.default_rng(6)
    m = max(round(share * n), 2)
    outside = rng.permuted(np.tile(np.arange(n) < m, (2000, 1)), axis=1)
    stated = {}
    called = 0
    for row in outside:
        joins = int(np.sum(row[neighbours.first] & row[neighbours.second]))
        if joins not in stated:
            stated[joins] = join_count(row, neighbours).p_value
        p_value = stated[joins]
        called += p_value is not None and p_value < 0.05
    assert called <= binom.ppf(0.999, 2000, 0.055)


def test_so_many_that_it_cannot_change() -> None:
    neighbours = neighbours_of(*square(4))
    assert join_count(np.ones(16, dtype=bool), neighbours).p_value is None
    assert join_count(np.zeros(16, dtype=bool), neighbours).p_value is None
    alone = neighbours_of([0, 5], [0, 5])
    assert join_count([True, True], alone).p_value is None
    assert join_count([], neighbours_of([], [])).p_value is None


def test_groups_are_connected_dies_the_largest_first() -> None:
    #  y=2  . # .  . #
    #  y=1  # . .  . #
    #  y=0  . . .  # .    and one die far away
    x = np.array([0, 1, 2, 3, 4] * 3 + [9])
    y = np.array([0] * 5 + [1] * 5 + [2] * 5 + [9])
    outside = np.zeros(16, dtype=bool)
    outside[[3, 5, 9, 11, 14, 15]] = True
    found = groups(outside, neighbours_of(x, y))
    assert [group.tolist() for group in found] == [[3, 9, 14], [5, 11]]
    by_edges = groups(outside, neighbours_of(x, y, corners=False))
    assert [group.tolist() for group in by_edges] == [[9, 14]]
    assert groups(np.zeros(16, dtype=bool), neighbours_of(x, y)) == ()


def test_a_long_snake_is_one_group() -> None:
    """Joined from many pieces: every die of a row, taken in an order that starts everywhere."""
    order = np.random.default_rng(1).permutation(60)
    found = groups(np.ones(60, dtype=bool), neighbours_of(order, np.zeros(60, int)))
    assert [len(group) for group in found] == [60]
