"""Where the dies of a layout lie: pure functions of `Layout`, seen on the wafer's front side."""

import math

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import Layout
from sitegen.model.device import Die


def die_centers_mm(
    layout: Layout, die_x: npt.ArrayLike, die_y: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Centres of dies right of and above the wafer's centre, in millimetres."""
    step_x_mm, step_y_mm = _steps_mm(layout)
    return (
        layout.origin_die_center_x_mm
        + step_x_mm * (np.asarray(die_x, dtype=np.float64) - layout.origin_die[0]),
        layout.origin_die_center_y_mm
        + step_y_mm * (np.asarray(die_y, dtype=np.float64) - layout.origin_die[1]),
    )


def die_center_mm(layout: Layout, die_x: int, die_y: int) -> tuple[float, float]:
    """The same for one die."""
    step_x_mm, step_y_mm = _steps_mm(layout)
    return (
        layout.origin_die_center_x_mm + step_x_mm * (die_x - layout.origin_die[0]),
        layout.origin_die_center_y_mm + step_y_mm * (die_y - layout.origin_die[1]),
    )


def _steps_mm(layout: Layout) -> tuple[float, float]:
    """From one die to the next, right and up."""
    return (
        layout.die_pitch_x_mm if layout.x_increases == "right" else -layout.die_pitch_x_mm,
        layout.die_pitch_y_mm if layout.y_increases == "up" else -layout.die_pitch_y_mm,
    )


def usable_radius_mm(layout: Layout) -> float:
    """Radius inside the edge exclusion."""
    return layout.diameter_mm / 2 - layout.edge_exclusion_mm


def is_full(layout: Layout, die_x: npt.ArrayLike, die_y: npt.ArrayLike) -> BoolArray:
    """Whether all four corners of a die lie inside the edge exclusion."""
    x_mm, y_mm = die_centers_mm(layout, die_x, die_y)
    corner = np.hypot(
        np.abs(x_mm) + layout.die_pitch_x_mm / 2, np.abs(y_mm) + layout.die_pitch_y_mm / 2
    )
    return np.asarray(corner <= usable_radius_mm(layout) * (1 + 1e-12))


def is_on_wafer(layout: Layout, die_x: npt.ArrayLike, die_y: npt.ArrayLike) -> BoolArray:
    """Whether the centre of a die lies on the wafer."""
    x_mm, y_mm = die_centers_mm(layout, die_x, die_y)
    return np.asarray(np.hypot(x_mm, y_mm) <= layout.diameter_mm / 2)


def full_dies(layout: Layout) -> tuple[Die, ...]:
    """Every full die of the layout, by die_y, then die_x. They are counted, never estimated."""
    reach_x = math.ceil(layout.diameter_mm / layout.die_pitch_x_mm) + 1
    reach_y = math.ceil(layout.diameter_mm / layout.die_pitch_y_mm) + 1
    shift_x = round(abs(layout.origin_die_center_x_mm) / layout.die_pitch_x_mm)
    shift_y = round(abs(layout.origin_die_center_y_mm) / layout.die_pitch_y_mm)
    across = layout.origin_die[0] + np.arange(-reach_x - shift_x, reach_x + shift_x + 1)
    along = layout.origin_die[1] + np.arange(-reach_y - shift_y, reach_y + shift_y + 1)
    grid_y, grid_x = np.meshgrid(along, across, indexing="ij")
    keep = is_full(layout, grid_x, grid_y)
    return tuple(zip(grid_x[keep].tolist(), grid_y[keep].tolist(), strict=True))
