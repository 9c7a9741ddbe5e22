"""Neighbours and windows against looking at every pair."""

import numpy as np
import pytest

from sitegen.compute.stats.neighbours import neighbours_of, window_of
from tests.compute.stats.maps import disc


@pytest.mark.parametrize("corners", [True, False])
def test_against_every_pair(corners: bool) -> None:
    rng = np.random.default_rng(3)
    x, y = disc(150)
    some = rng.permutation(150)[:60]
    x, y = x[some] - 7, y[some] + 1000
    apart_x, apart_y = np.abs(x[:, None] - x), np.abs(y[:, None] - y)
    near = np.maximum(apart_x, apart_y) == 1 if corners else apart_x + apart_y == 1
    found = neighbours_of(x, y, corners)
    told = np.zeros((60, 60), dtype=bool)
    told[found.first, found.second] = told[found.second, found.first] = True
    assert np.array_equal(told, near)
    assert np.array_equal(found.degree, near.sum(axis=0))
    assert np.array_equal(found.islands, ~near.any(axis=0))
    assert found.triangles == round(np.trace(np.linalg.matrix_power(near.astype(float), 3)) / 6)
    for place, around in enumerate(found.around):
        assert set(around[around < 60]) == set(np.flatnonzero(near[place]))
    kept = ~found.islands
    connected = found.connected
    assert connected.n == kept.sum() < 60
    told = np.zeros((connected.n, connected.n), dtype=bool)
    told[connected.first, connected.second] = told[connected.second, connected.first] = True
    assert np.array_equal(told, near[np.ix_(kept, kept)])
    for place, around in enumerate(connected.around):
        assert set(around[around < connected.n]) == set(np.flatnonzero(told[place]))


@pytest.mark.parametrize("reach", [1, 2])
def test_windows(reach: int) -> None:
    x, y = disc(80)
    found = window_of(x, y, reach)
    near = np.maximum(np.abs(x[:, None] - x), np.abs(y[:, None] - y)) <= reach
    np.fill_diagonal(near, False)
    assert found.shape == (80, (2 * reach + 1) ** 2 - 1)
    for place, window in enumerate(found):
        assert set(window[window < 80]) == set(np.flatnonzero(near[place]))


def test_no_dies_and_far_dies() -> None:
    assert neighbours_of([], []).n == 0
    assert neighbours_of([], []).connected.n == 0
    far = neighbours_of([0, 2**30, -(2**30)], [0, -(2**30), 2**30])
    assert far.islands.all() and far.connected.n == 0


def test_one_set_of_dies_is_worked_through_once() -> None:
    x, y = disc(30)
    assert neighbours_of(x, y) is neighbours_of(x.copy(), y.astype(np.int32))
