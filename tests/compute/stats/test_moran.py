"""Moran's I: published examples, every order of a small map, and simulation."""

from itertools import permutations

import numpy as np
import pytest
from scipy.stats import binom

from sitegen.compute.stats.moran import (
    Moran,
    moran,
    residual_moments,
    residuals_resemble,
    skewness,
)
from sitegen.compute.stats.neighbours import Neighbours, neighbours_of
from sitegen.compute.stats.surface_fit import surface_of
from tests.compute.stats.maps import LAWS, disc, square

X4, Y4 = square(4)
X5, Y5 = square(5)
X6, Y6 = square(6)
CHECKERBOARD = ((X4 + Y4) % 2).astype(float)
GRADIENT = X5.astype(float)
HALVES = (X6 >= 3).astype(float)


def one(values: np.ndarray, neighbours: Neighbours) -> Moran:
    return moran(values[np.newaxis], neighbours)


@pytest.mark.parametrize(
    ("values", "side", "corners", "s0", "i", "expected", "normal", "z_normal", "random", "z"),
    [
        (CHECKERBOARD, 4, False, 48, -1, -0.066667, 0.032593, -5.1698, 0.037151, -4.8423),
        (CHECKERBOARD, 4, True, 84, -0.142857, -0.066667, 0.013723, -0.6504, 0.015406, -0.6138),
        (GRADIENT, 5, False, 80, 0.75, -0.041667, 0.021401, 5.4116, 0.022512, 5.2763),
        (GRADIENT, 5, True, 144, 0.638889, -0.041667, 0.009934, 6.8280, 0.010422, 6.6664),
        (HALVES, 6, False, 120, 0.8, -0.028571, 0.014967, 6.7726, 0.015842, 6.5831),
    ],
)
def test_grids(
    values: np.ndarray,
    side: int,
    corners: bool,
    s0: int,
    i: float,
    expected: float,
    normal: float,
    z_normal: float,
    random: float,
    z: float,
) -> None:
    """esda 2.9.0 of the PyPI; R 4.2.2's spdep gives the first and the fourth to 8 digits."""
    neighbours = neighbours_of(*square(side), corners=corners)
    assert 2 * len(neighbours.first) == s0
    found = one(values, neighbours)
    assert found.i[0] == pytest.approx(i, abs=5e-7)
    assert found.expected == pytest.approx(expected, abs=5e-7)
    assert found.variance_normal == pytest.approx(normal, abs=5e-7)
    by_normal = (found.i[0] - found.expected) / np.sqrt(found.variance_normal)
    assert by_normal == pytest.approx(z_normal, abs=5.1e-5)
    assert found.variance[0] == pytest.approx(random, abs=5e-7)
    assert found.z[0] == pytest.approx(z, abs=5.1e-5)


def test_moments_are_those_of_every_order() -> None:
    """All 5,040 orders of seven values on a map with a gap: mean and variance of I themselves."""
    x, y = np.array([0, 1, 2, 0, 1, 1, 2]), np.array([0, 0, 0, 1, 1, 2, 2])
    neighbours = neighbours_of(x, y)
    values = np.array([1.0, 2.5, -4.0, 0.5, 9.0, 2.0, 2.0])
    orders = np.array(list(permutations(values)))
    found = moran(orders, neighbours)
    assert found.i.mean() == pytest.approx(found.expected, rel=1e-10)
    assert found.i.var() == pytest.approx(found.variance[0], rel=1e-10)
    weights = np.zeros((7, 7))
    weights[neighbours.first, neighbours.second] = weights[neighbours.second, neighbours.first] = 1
    z = values - values.mean()
    assert moran(values[np.newaxis], neighbours).i[0] == pytest.approx(
        7 / weights.sum() * (z @ weights @ z) / (z @ z)
    )


def test_skewness_is_that_of_the_matrices() -> None:
    """By dense matrices, and by simulation of normal values."""
    for corners in (True, False):
        neighbours = neighbours_of(*disc(40), corners=corners).connected
        n = neighbours.n
        weights = np.zeros((n, n))
        weights[neighbours.first, neighbours.second] = 1
        weights += weights.T
        centring = np.eye(n) - 1 / n
        seen = centring @ weights @ centring
        t1, t2, t3 = (np.trace(np.linalg.matrix_power(seen, k)) for k in (1, 2, 3))
        v = n - 1
        m1, m2 = t1 / v, (t1**2 + 2 * t2) / (v * (v + 2))
        m3 = (t1**3 + 6 * t1 * t2 + 8 * t3) / (v * (v + 2) * (v + 4))
        dense = (m3 - 3 * m1 * m2 + 2 * m1**3) / (m2 - m1**2) ** 1.5
        assert skewness(neighbours) == pytest.approx(dense, rel=1e-9)
    i = moran(np.random.default_rng(2).normal(size=(40_000, n)), neighbours).i
    drawn = np.mean((i - i.mean()) ** 3) / i.std() ** 3
    assert skewness(neighbours) == pytest.approx(drawn, abs=0.06)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("n", [20, 100])
def test_far_tails_keep_their_level(law: str, n: int) -> None:
    """p < 0.002, as Holm's correction asks of 24 wafers: at most twice as often, whatever the law.

    By the normal law of z alone it is 2 to 2.7 times as often at n = 20.
    """
    neighbours = neighbours_of(*disc(n)).connected
    values = LAWS[law](np.random.default_rng(8), (20_000, neighbours.n))
    p = moran(values, neighbours).p_value
    assert np.sum(p < 0.002) <= binom.ppf(0.999, 20_000, 0.0032)
    assert np.sum(p < 0.05) <= binom.ppf(0.999, 20_000, 0.053)
    assert np.sum(p < 0.05) >= binom.ppf(0.001, 20_000, 0.046)


def test_undefined_where_it_is_undefined() -> None:
    neighbours = neighbours_of(X4, Y4)
    assert np.isnan(one(np.full(16, 0.1), neighbours).z[0])
    assert np.isnan(one(np.full(16, 0.1) + np.linspace(0, 1e-16, 16), neighbours).z[0])
    for n in (0, 1, 2, 3):
        few = neighbours_of(np.arange(n), np.zeros(n, int))
        assert np.isnan(one(np.arange(float(n)), few).z[0])
    # Four dies of which each is each other's neighbour: no order changes anything.
    assert np.isnan(one(np.array([1.0, 2.0, 4.0, 9.0]), neighbours_of(*square(2))).z[0])


def test_tiny_units_and_float32() -> None:
    neighbours = neighbours_of(X5, Y5)
    plain = one(GRADIENT + HALVES[:25], neighbours)
    tiny = one(1e-120 * (GRADIENT + HALVES[:25]), neighbours)
    assert tiny.z[0] == pytest.approx(plain.z[0], rel=1e-9)
    single = (1e4 + 0.25 * GRADIENT).astype(np.float32)
    assert one(single, neighbours).i[0] == pytest.approx(0.638889, abs=5e-7)


@pytest.mark.parametrize("n", [20, 100])
def test_residuals_of_independent_values_are_called_alike_as_often_as_stated(n: int) -> None:
    """The moments of plain values would call them alike far too seldom at 20 dies."""
    x, y = disc(n)
    neighbours = neighbours_of(x, y)
    basis = surface_of(x, y).basis
    moments = residual_moments(neighbours, basis)
    values = np.random.default_rng(4).normal(size=(20_000, n))
    residuals = values - values @ basis @ basis.T
    cross = 2 * np.sum(residuals[:, neighbours.first] * residuals[:, neighbours.second], axis=1)
    ratio = cross / np.sum(residuals**2, axis=1)
    error = np.sqrt(moments.variance / 20_000)
    assert ratio.mean() == pytest.approx(moments.mean, abs=5 * error)
    assert ratio.var() == pytest.approx(moments.variance, rel=0.06)
    called = np.mean(residuals_resemble(residuals, neighbours, moments) < 0.05)
    assert 0.04 < called < 0.06
    plain = residual_moments(neighbours, basis[:, :1])
    assert np.mean(residuals_resemble(residuals, neighbours, plain) < 0.05) < 0.04
