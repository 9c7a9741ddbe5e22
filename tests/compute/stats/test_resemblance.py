"""What correlated dies are worth: by the sum over every pair of dies, and by simulation."""

import math

import numpy as np
import pytest

from sitegen.compute.stats.correlation import (
    correlate_within,
    deviations_within,
    fisher_interval,
    p_of,
)
from sitegen.compute.stats.resemblance import (
    CLASS_EDGES,
    Grid,
    independent_deviations,
    spacing,
)
from sitegen.model.arrays import FloatArray
from tests.compute.over_wafers.sample_data import grid as dies_of


def grid_of(radius: float, wafers: int, pitch: tuple[float, float] = (1.0, 1.0)) -> Grid:
    dies = dies_of(radius)
    n = len(dies)
    x, y = np.tile(dies[:, 0], wafers), np.tile(dies[:, 1], wafers)
    return Grid(np.repeat(np.arange(wafers), n), x, y, pitch)


def smooth(grid: Grid, columns: int, length: float, seed: int) -> FloatArray:
    """(n, columns) normal values whose correlation falls by e over `length` pitches on a wafer."""
    first = grid.wafer == 0
    x, y = grid.column[first], grid.row[first]
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    root = np.linalg.cholesky(np.exp(-distance / length) + 1e-9 * np.eye(len(x)))
    wafers = int(grid.wafer.max()) + 1
    noise = np.random.default_rng(seed).normal(size=(len(x), wafers * columns))
    return (root @ noise).reshape(len(x), wafers, columns).transpose(1, 0, 2).reshape(-1, columns)


def by_every_pair(z: FloatArray, grid: Grid, r: float) -> float:
    """The same sum as in the paper, over all pairs of rows one by one; no gaps."""
    unit = math.sqrt(grid.pitch[0] * grid.pitch[1])
    products: dict[tuple[bool, int], list[tuple[float, float]]] = {}
    n = len(z)
    for a in range(n):
        for b in range(n):
            if a == b:
                continue
            dx = (grid.column[a] - grid.column[b]) * grid.pitch[0] / unit
            dy = (grid.row[a] - grid.row[b]) * grid.pitch[1] / unit
            place = sum(math.hypot(dx, dy) >= edge for edge in CLASS_EDGES)
            key = (bool(grid.wafer[a] == grid.wafer[b]), place)
            products.setdefault(key, []).append((z[a, 0] * z[b, 0], z[a, 1] * z[b, 1]))
    variance = (z**2).mean(axis=0)
    total = 1 / n - 2 * len(products) * r**2 / n**2
    for listed in products.values():
        rho = np.mean(listed, axis=0) / variance
        total += len(listed) * rho[0] * rho[1] / n**2
    return 1 / max(total, 0.5 / n)


@pytest.mark.parametrize(("radius", "wafers"), [(2.5, 1), (2.5, 3), (3.7, 2)])
def test_it_is_the_sum_over_every_pair(radius: float, wafers: int) -> None:
    grid = grid_of(radius, wafers, (8.0, 5.0))
    z = deviations_within(smooth(grid, 2, 2.0, 7), grid.wafer)
    found = independent_deviations(z, grid, np.full((2, 2), 0.3))
    assert found[0, 1] == pytest.approx(by_every_pair(z, grid, 0.3), rel=1e-9)
    assert found[0, 1] == found[1, 0]


def test_sites_of_a_die_are_pairs_of_no_distance() -> None:
    grid = grid_of(1.5, 2)
    wafer, column, row = (np.tile(part, 2) for part in (grid.wafer, grid.column, grid.row))
    twice = Grid(wafer, column, row, (1.0, 1.0))
    z = deviations_within(smooth(grid, 2, 2.0, 8), grid.wafer)
    z = np.concatenate([z, z + np.random.default_rng(1).normal(0, 0.1, z.shape)])
    found = independent_deviations(z, twice, np.zeros((2, 2)))
    assert found[0, 1] == pytest.approx(by_every_pair(z, twice, 0.0), rel=1e-9)


def test_independent_dies_are_worth_themselves() -> None:
    grid = grid_of(5.6, 4)
    values = np.random.default_rng(5).normal(size=(len(grid.wafer), 2, 40))
    worth = []
    for column in values.transpose(2, 0, 1):
        z = deviations_within(column, grid.wafer)
        r = correlate_within(column, grid.wafer).linear
        worth.append(float(independent_deviations(z, grid, r)[0, 1]))
    assert np.median(worth) == pytest.approx(len(grid.wafer) - 4, rel=0.03)


def test_a_signature_that_all_wafers_share_counts_once() -> None:
    """Ten wafers with one and the same map are worth little more than one of them."""
    one, ten = grid_of(5.6, 1), grid_of(5.6, 10)
    values = smooth(one, 2, 2.0, 9)
    worth = [
        float(
            independent_deviations(deviations_within(table, grid.wafer), grid, np.zeros((2, 2)))[
                0, 1
            ]
        )
        for grid, table in ((one, values), (ten, np.tile(values, (10, 1))))
    ]
    assert worth[1] == pytest.approx(worth[0], rel=0.05)
    assert worth[0] < 60 < len(values)


def test_place_does_not_matter_where_it_should_not() -> None:
    """Rotated by a quarter, mirrored, renumbered, in another order, in other units."""
    grid = grid_of(3.7, 2)
    z = deviations_within(smooth(grid, 2, 2.0, 3), grid.wafer)
    r = np.zeros((2, 2))
    plain = independent_deviations(z, grid, r)
    order = np.random.default_rng(2).permutation(len(z))
    others = [
        (z, Grid(grid.wafer, -grid.row, grid.column, (1.0, 1.0))),
        (z, Grid(grid.wafer, -grid.column, grid.row + 40, (25.0, 25.0))),
        (1e-15 * z, Grid(1 - grid.wafer, grid.column, grid.row, (1.0, 1.0))),
        (z[order], Grid(grid.wafer[order], grid.column[order], grid.row[order], (1.0, 1.0))),
    ]
    for values, placed in others:
        assert independent_deviations(values, placed, r) == pytest.approx(plain, rel=1e-9)


@pytest.mark.parametrize("apart", [2, 3, 4, 9])
def test_few_dies_of_many_are_neighbours_all_the_same(apart: int) -> None:
    """Every second to ninth column and row of a finer grid: worth as much as at a wide pitch."""
    grid = grid_of(5.6, 2)
    z = deviations_within(smooth(grid, 2, 2.0, 4), grid.wafer)
    fine = Grid(grid.wafer, apart * grid.column, apart * grid.row, (1.0, 1.0))
    assert spacing(grid) == 1 and abs(spacing(fine) - apart) <= 1
    r = np.zeros((2, 2))
    plain = independent_deviations(z, grid, r)[0, 1]
    assert plain < 0.5 * len(z)
    assert independent_deviations(z, fine, r)[0, 1] == pytest.approx(plain, rel=0.15)


def test_edges() -> None:
    empty = np.zeros(0, dtype=np.int64)
    nothing = independent_deviations(
        np.zeros((0, 2)), Grid(empty, empty, empty, (1, 1)), np.zeros((2, 2))
    )
    assert np.isnan(nothing).all() and nothing.shape == (2, 2)
    grid = grid_of(2.5, 1)
    n = len(grid.wafer)
    z = np.column_stack([np.zeros(n), np.full(n, np.nan), smooth(grid, 1, 1.0, 1)])
    found = independent_deviations(z, grid, np.full((3, 3), np.nan))
    assert np.isnan(found[:2]).all() and np.isnan(found[:, :2]).all() and found[2, 2] > 1
    one = independent_deviations(
        np.zeros((1, 1)), Grid(*(np.zeros(1, dtype=np.int64),) * 3, (1.0, 1.0)), np.zeros((1, 1))
    )
    assert np.isnan(one).all()


@pytest.mark.parametrize(
    ("radius", "wafers", "length"), [(5.6, 1, 2.0), (5.6, 4, 2.0), (5.6, 2, 4.0)]
)
def test_correlations_of_dies_that_resemble_each_other(
    radius: float, wafers: int, length: float
) -> None:
    """500 pairs of columns that have nothing to do with each other, each 95 % interval to hold 0.

    As independent dies 50 to 75 % of them would; the test of 5 % errs as often as the rest.
    """
    grid = grid_of(radius, wafers)
    held = naive = called = 0
    for seed in range(10):
        table = smooth(grid, 100, length, seed)
        z = deviations_within(table, grid.wafer)
        r = correlate_within(table, grid.wafer).linear
        freedom = len(z) - wafers
        worth = np.minimum(independent_deviations(z, grid, r), freedom)
        pairs = np.arange(0, 100, 2), np.arange(1, 100, 2)
        for value, n, kept in ((r[pairs], worth[pairs], True), (r[pairs], freedom, False)):
            low, high = fisher_interval(value, n)
            count = int(((low <= 0) & (high >= 0)).sum())
            held, naive = held + count * kept, naive + count * (not kept)
        called += int((p_of(r[pairs], worth[pairs]) < 0.05).sum())
    assert 0.93 <= held / 500 <= 0.98
    assert naive / 500 < 0.80
    assert called / 500 <= 0.07
