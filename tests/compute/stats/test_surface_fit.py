"""Plane, bowl, position in the field and zones: against whole least-squares fits; their size."""

import numpy as np
import pytest
from scipy.stats import binom, f, f_oneway

from sitegen.compute.stats.surface_fit import (
    FTests,
    Surface,
    fit_positions,
    fit_surface,
    positions_of,
    surface_of,
)
from sitegen.compute.stats.zone_test import fit_zones, zone_basis
from sitegen.compute.stats.zones import zone_index
from tests.compute.stats.maps import LAWS, disc

RNG = np.random.default_rng(7)
X, Y = (10.0 * axis for axis in disc(90))
X[:] += 3.0
BOWL = 3 + 0.02 * X - 0.01 * Y + 1e-3 * X**2 - 5e-4 * X * Y + 2e-3 * Y**2
ZONE = zone_index(X, Y, 60.0)
POSITION = (X.astype(int) // 10) % 3 + 3 * ((Y.astype(int) // 10) % 2)
ONE = np.ones(90)


def squares(values: np.ndarray, *terms: np.ndarray) -> float:
    """What numpy's least squares leaves."""
    matrix = np.column_stack(terms)
    found = np.linalg.lstsq(matrix, values, rcond=None)[0]
    return float(np.sum((values - matrix @ found) ** 2))


def test_f_tests_are_those_of_nested_fits() -> None:
    values = BOWL + RNG.normal(0, 2, 90)
    found = fit_surface(np.stack([values, -values]), surface_of(X, Y))
    total = squares(values, ONE)
    plane = squares(values, ONE, X, Y)
    whole = squares(values, ONE, X, Y, X**2, X * Y, Y**2)
    expected = (total - plane) / 2 / (whole / 84)
    assert found.plane.f == pytest.approx([expected] * 2, rel=1e-9)
    assert found.plane.p_value[0] == pytest.approx(f.sf(expected, 2, 84), rel=1e-7)
    assert found.plane.share[0] == pytest.approx((total - plane) / total, rel=1e-9)
    expected = (plane - whole) / 3 / (whole / 84)
    assert found.bowl.f == pytest.approx([expected] * 2, rel=1e-9)
    assert found.bowl.p_value[0] == pytest.approx(f.sf(expected, 3, 84), rel=1e-7)
    assert found.bowl.share[0] == pytest.approx((plane - whole) / total, rel=1e-9)


def test_planted_surfaces_come_back() -> None:
    """Curvature of the whole surface; the gradient of a plane alone."""
    found = fit_surface(np.stack([BOWL, 1e6 + 0.02 * X - 0.01 * Y]), surface_of(X, Y))
    assert found.curvature[0] == pytest.approx([1e-3, -5e-4, 2e-3], rel=1e-9)
    assert found.gradient[1] == pytest.approx([0.02, -0.01], rel=1e-6)
    assert np.isnan(found.bowl.f[0]), "nothing is left to test it against"


def test_a_plane_alone_has_its_own_residual() -> None:
    values = RNG.normal(0, 1, 90) + 0.01 * X
    found = fit_surface(values[np.newaxis], surface_of(X, Y).without_bowl)
    total, left = squares(values, ONE), squares(values, ONE, X, Y)
    assert found.plane.f[0] == pytest.approx((total - left) / 2 / (left / 87), rel=1e-9)
    assert np.isnan(found.bowl.f[0])


@pytest.mark.parametrize(
    ("x", "y", "terms"),
    [
        ([], [], 0),
        ([3.0], [4.0], 1),
        ([0.0, 0.0], [0.0, 0.0], 1),
        ([0.0, 10.0, 20.0, 30.0] * 2, [0.0, 10.0, 20.0, 30.0] * 2, 1),
        ([0.0, 10.0, 0.0], [0.0, 0.0, 10.0], 3),
        ([0.0, 10.0, 20.0, 30.0] * 2, [0.0] * 4 + [10.0] * 4, 3),
        ([0.0, 10.0, 20.0] * 3, [0.0] * 3 + [10.0] * 3 + [20.0] * 3, 6),
    ],
)
def test_only_what_the_places_tell_apart(x: list[float], y: list[float], terms: int) -> None:
    surface = surface_of(x, y)
    assert surface.basis.shape == (len(x), terms)
    assert surface.basis.T @ surface.basis == pytest.approx(np.eye(terms), abs=1e-12)
    assert surface.enough == (len(x) - terms >= 5)
    fit = fit_surface(np.ones((2, len(x))), surface)
    assert np.isnan(fit.plane.f).all() and np.isnan(fit.bowl.f).all()


def test_the_position_in_the_field_is_tested_beside_the_surface() -> None:
    effect = np.array([0.0, 1.0, -1.0, 0.5, 0.0, -0.5])
    values = BOWL + effect[POSITION] + RNG.normal(0, 1, 90)
    surface = surface_of(X, Y)
    positions = positions_of(POSITION, surface)
    tests, effects, residuals = fit_positions(values[np.newaxis], surface, positions)
    terms = [ONE, X, Y, X**2, X * Y, Y**2]
    dummies = [(place == POSITION).astype(float) for place in range(1, 6)]
    without, whole = squares(values, *terms), squares(values, *terms, *dummies)
    expected = (without - whole) / 5 / (whole / 79)
    assert tests.f[0] == pytest.approx(expected, rel=1e-8)
    assert tests.p_value[0] == pytest.approx(f.sf(expected, 5, 79), rel=1e-6)
    assert tests.share[0] == pytest.approx((without - whole) / squares(values, ONE), rel=1e-8)
    matrix = np.column_stack([*terms, *dummies])
    found = np.append(0.0, np.linalg.lstsq(matrix, values, rcond=None)[0][6:])
    assert effects[0] == pytest.approx(found - found.mean(), rel=1e-7)
    greatest = np.max(np.abs(values - values.mean()))
    assert np.sum(residuals**2) * greatest**2 == pytest.approx(whole, rel=1e-8)
    exact = fit_positions((BOWL + effect[POSITION])[np.newaxis], surface, positions)[1]
    assert exact[0] == pytest.approx(effect, abs=1e-9)


def test_a_position_that_is_a_place_tells_nothing() -> None:
    """Fields as wide as the wafer: their two columns are a plane."""
    x, y = np.tile([0.0, 10.0], 20), np.repeat(np.arange(20.0), 2)
    surface = surface_of(x, y)
    assert positions_of((x > 0).astype(int), surface).basis.shape == (40, 0)


def test_zones_are_a_one_way_analysis() -> None:
    values = RNG.lognormal(0, 0.5, 90) + 0.3 * ZONE
    groups = [values[zone == ZONE] for zone in range(3)]
    fit = fit_zones(np.stack([values, 5 - 2 * values]), zone_basis(ZONE))
    published = f_oneway(*groups)
    assert fit.tests.f == pytest.approx([published.statistic] * 2, rel=1e-9)
    assert fit.tests.p_value[0] == pytest.approx(published.pvalue, rel=1e-7)
    means = np.array([group.mean() for group in groups]) - values.mean()
    assert fit.means == pytest.approx(np.stack([means, -2 * means]), rel=1e-9)
    between = sum(len(group) * mean**2 for group, mean in zip(groups, means, strict=True))
    assert fit.tests.share[0] == pytest.approx(between / squares(values, ONE), rel=1e-9)


def sizes(tests: FTests, terms: int, left: int) -> tuple[float, float]:
    """Shares below 0.05, as they are and with every F a fifth too great."""
    with_too_much = f.sf(1.21 * tests.f, terms, left)
    return float(np.mean(tests.p_value < 0.05)), float(np.mean(with_too_much < 0.05))


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("n", [20, 100])
def test_clean_maps_are_called_as_often_as_stated(law: str, n: int) -> None:
    """10,000 maps: between 4 and 6 %. F tests as of deviations a tenth too great are refused."""
    x, y = (10.0 * axis for axis in disc(n))
    reach = np.hypot(x, y).max()
    values = LAWS[law](np.random.default_rng(12), (10_000, n))
    surface: Surface = surface_of(x, y)
    fit = fit_surface(values, surface)
    zones = fit_zones(values, zone_basis(zone_index(x, y, reach))).tests
    position = (x.astype(int) // 10) % 3 + 3 * ((y.astype(int) // 10) % 2)
    found = positions_of(position, surface)
    of_field = fit_positions(values, surface, found)[0]
    low = float(binom.ppf(0.0005, 10_000, 0.043)) / 10_000
    high = float(binom.ppf(0.9995, 10_000, 0.057)) / 10_000
    for tests, terms, left in (
        (zones, 2, n - 3),
        (fit.plane, 2, n - 6),
        (fit.bowl, 3, n - 6),
        (of_field, 5, n - 11),
    ):
        size, with_too_much = sizes(tests, terms, left)
        assert low < size < high
        assert with_too_much > high
