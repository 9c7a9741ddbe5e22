"""What a set of dies allows to be tested, found once for all maps of the same dies."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sitegen.compute.over_wafers.die_maps import DieMap
from sitegen.compute.over_wafers.pattern_words import there_are
from sitegen.compute.over_wafers.samples import IntArray
from sitegen.compute.stats.moran import LEAST, ResidualMoments, residual_moments
from sitegen.compute.stats.neighbours import KEPT, Neighbours, neighbours_of
from sitegen.compute.stats.surface import TERMS
from sitegen.compute.stats.surface_fit import (
    LEAST_LEFT,
    Positions,
    Surface,
    positions_of,
    surface_of,
)
from sitegen.compute.stats.zone_test import LEAST_IN_ZONE, zone_basis
from sitegen.compute.stats.zones import ZONES, zone_index
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Layout
from sitegen.model.declared_statistics import Reticle
from sitegen.model.geometry import usable_radius_mm
from sitegen.units import count

LEAST_FIELDS = 5
"""Fewest fields with several measured dies for an effect of the position in the field."""

Field = tuple[int, int, int, int]
"""Columns, rows and the die in column 0 and row 0 of a field."""


@dataclass(frozen=True, eq=False)
class ZoneDesign:
    """Zones of a set of dies."""

    basis: FloatArray
    moments: ResidualMoments


@dataclass(frozen=True, eq=False)
class SurfaceDesign:
    """Plane and bowl of a set of dies."""

    surface: Surface
    moments: ResidualMoments


@dataclass(frozen=True, eq=False)
class FieldDesign:
    """Positions in the exposed field of a set of dies."""

    positions: Positions
    names: tuple[tuple[int, int], ...]
    """Column and row of each position with a die."""
    moments: ResidualMoments


@dataclass(frozen=True, eq=False)
class MapDesign:
    """One set of dies; a word instead of a design says why there is none."""

    n: int
    neighbours: Neighbours
    zones: ZoneDesign | str
    surface: SurfaceDesign | str
    bowl: str
    """Why the bowl is not tested although the plane is; empty where it is."""
    field: FieldDesign | str | None
    """None: no field is declared."""
    resemblance: str
    """Why Moran's I is not tested; empty where it is."""


def design_of(dies: DieMap, layout: Layout) -> MapDesign:
    """What the dies of a map allow; kept for the next map of the same dies."""
    return _design(
        dies.die_x.tobytes(),
        dies.die_y.tobytes(),
        dies.x_mm.tobytes(),
        dies.y_mm.tobytes(),
        usable_radius_mm(layout),
        _field_of(layout.reticle),
    )


def _field_of(reticle: Reticle | None) -> Field | None:
    return None if reticle is None else (reticle.columns, reticle.rows, *reticle.origin_die)


@lru_cache(maxsize=KEPT)
def _design(
    die_x: bytes, die_y: bytes, x_mm: bytes, y_mm: bytes, radius_mm: float, field: Field | None
) -> MapDesign:
    column, row = np.frombuffer(die_x, np.int64), np.frombuffer(die_y, np.int64)
    x, y = np.frombuffer(x_mm), np.frombuffer(y_mm)
    neighbours = neighbours_of(column, row)
    surface, bowl = _surface(x, y, neighbours)
    with_some = neighbours.n - int(neighbours.islands.sum())
    return MapDesign(
        n=neighbours.n,
        neighbours=neighbours,
        zones=_zones(x, y, radius_mm, neighbours),
        surface=surface,
        bowl=bowl,
        field=None if field is None else _positions(column, row, field, surface, neighbours),
        resemblance=""
        if with_some >= LEAST
        else f"needs {LEAST} dies with a measured neighbour, {there_are(with_some)}",
    )


def _zones(
    x: FloatArray, y: FloatArray, radius_mm: float, neighbours: Neighbours
) -> ZoneDesign | str:
    zone = zone_index(x, y, radius_mm)
    held = np.bincount(zone, minlength=len(ZONES))
    if held.min() < LEAST_IN_ZONE:
        least = int(np.argmin(held))
        return (
            f"needs {LEAST_IN_ZONE} dies in each of the three zones, the {ZONES[least]} has"
            f" {count(int(held[least]), 'die')}"
        )
    basis = zone_basis(zone)
    return ZoneDesign(basis, residual_moments(neighbours, basis))


def _surface(
    x: FloatArray, y: FloatArray, neighbours: Neighbours
) -> tuple[SurfaceDesign | str, str]:
    surface = surface_of(x, y)
    terms = surface.basis.shape[1]
    if len(x) < 3 + LEAST_LEFT:
        return f"needs {3 + LEAST_LEFT} dies, {there_are(len(x))}", ""
    if terms < 3:
        return "the dies lie on one line", ""
    if not surface.enough:
        surface = surface.without_bowl
        terms = 3
    bowl = ""
    if terms < TERMS:
        bowl = (
            f"needs {TERMS + LEAST_LEFT} dies, {there_are(len(x))}"
            if len(x) < TERMS + LEAST_LEFT
            else "the dies lie in too few rows or columns"
        )
    return SurfaceDesign(surface, residual_moments(neighbours, surface.basis)), bowl


def _positions(
    column: IntArray,
    row: IntArray,
    field: Field,
    design: SurfaceDesign | str,
    neighbours: Neighbours,
) -> FieldDesign | str:
    columns, rows, first_x, first_y = field
    if columns * rows == 1:
        return "a field holds one die"
    if isinstance(design, str):
        return design
    across, along = column - first_x, row - first_y
    field_x, field_y = across // columns, along // rows
    number = (field_y - field_y.min()) * (np.ptp(field_x) + 1) + field_x - field_x.min()
    _, held = np.unique(number, return_counts=True)
    several = int(np.sum(held > 1))
    if several < LEAST_FIELDS:
        return f"needs {LEAST_FIELDS} fields with several measured dies, {there_are(several)}"
    names, position = np.unique(along % rows * columns + across % columns, return_inverse=True)
    found = positions_of(position, design.surface)
    left = len(column) - design.surface.basis.shape[1] - found.basis.shape[1]
    if found.basis.shape[1] == 0:
        return "the dies' positions in the field cannot be told from plane and bowl"
    if left < LEAST_LEFT:
        return f"needs {len(column) + LEAST_LEFT - left} dies, {there_are(len(column))}"
    basis = np.concatenate([design.surface.basis, found.basis], axis=1)
    places = tuple((int(one) % columns, int(one) // columns) for one in names)
    return FieldDesign(found, places, residual_moments(neighbours, basis))
