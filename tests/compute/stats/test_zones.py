"""Zones of equal area, and summaries in them."""

import math

import numpy as np
import pytest

from sitegen.compute.stats.zones import ZONES, zone_index


def test_each_zone_has_a_third_of_the_area() -> None:
    """Counting points of a fine square grid measures area; the rim's error is under 0.1 %."""
    side = np.linspace(-97, 97, 1001)
    x, y = (axis.ravel() for axis in np.meshgrid(side, side))
    usable = np.hypot(x, y) <= 97
    counts = np.bincount(zone_index(x[usable], y[usable], 97.0))
    assert counts.shape == (3,)
    assert counts / usable.sum() == pytest.approx([1 / 3] * 3, abs=1e-3)


def test_borders_belong_to_the_inner_zone() -> None:
    radius = math.sqrt(3.0)
    x = [0.0, 1.0, 1.0 + 1e-9, math.sqrt(2) - 1e-9, math.sqrt(2) + 1e-9, radius - 1e-9, 5.0]
    assert [ZONES[zone] for zone in zone_index(x, [0.0] * 7, radius)] == [
        "centre",
        "centre",
        "middle",
        "middle",
        "edge",
        "edge",
        "edge",
    ]


def test_whole_numbers_on_the_border() -> None:
    """A 3-4-5 triangle: the die at (3, 4) lies on the centre's border when R squared is 75."""
    assert list(zone_index([3.0, -4.0, 4.0], [4.0, 3.0, 4.0], math.sqrt(75.0))) == [0, 0, 1]
    assert list(zone_index([5.0, 0.0, 7.0], [5.0, -7.0, 1.1], math.sqrt(75.0))) == [1, 1, 2]


@pytest.mark.parametrize("radius", [0.0, -1.0, math.nan, math.inf])
def test_a_useless_radius_is_refused(radius: float) -> None:
    with pytest.raises(ValueError, match="usable radius"):
        zone_index([0.0], [0.0], radius)


def test_a_die_without_a_place_is_refused() -> None:
    with pytest.raises(ValueError, match="finite coordinates"):
        zone_index([math.nan], [0.0], 97.0)
