"""Dies on a wafer: a pitch for which a wanted number fits, and where they lie."""

import math
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import FloatArray

EDGE_EXCLUSION_MM = 3.0
_CLEARANCE_MM = 0.05
"""No corner of a die lies closer than this to the edge exclusion: no die is in doubt."""


@dataclass(frozen=True)
class Grid:
    """Square dies, the die (0, 0) in the wafer's centre, x to the right and y up."""

    diameter_mm: float
    pitch_mm: float
    dies: tuple[tuple[int, int], ...]
    """The planned dies, row by row from the top, each row in the other direction."""
    complete: bool
    """True when these are all the dies that lie wholly inside the edge exclusion."""

    def positions_mm(self) -> FloatArray:
        """Die centres right of and above the wafer's centre, (n_die, 2)."""
        return np.array(self.dies, dtype=np.float64) * self.pitch_mm

    def radius_mm(self) -> FloatArray:
        """Distance of the die centres from the wafer's centre, (n_die,)."""
        return np.asarray(np.hypot(*self.positions_mm().T))

    @property
    def usable_mm(self) -> float:
        """Radius inside the edge exclusion."""
        return self.diameter_mm / 2 - EDGE_EXCLUSION_MM

    def record(self) -> dict[str, object]:
        """The layout as campaign.toml has it."""
        return {
            "diameter_mm": self.diameter_mm,
            "orientation_mark": "notch",
            "orientation_mark_angle_deg": 270.0,
            "die_pitch_x_mm": self.pitch_mm,
            "die_pitch_y_mm": self.pitch_mm,
            "x_increases": "right",
            "y_increases": "up",
            "origin_die": [0, 0],
            "origin_die_center_x_mm": 0.0,
            "origin_die_center_y_mm": 0.0,
            "edge_exclusion_mm": EDGE_EXCLUSION_MM,
        }


def grid_of(dies: int, diameter_mm: float | None = None) -> Grid:
    """A grid with exactly `dies` planned dies; where more would fit, those nearest the centre.

    The diameter, where not given, is 100 mm up to 60 dies, 150 mm up to 150, else 200 mm.
    """
    if diameter_mm is None:
        diameter_mm = 100.0 if dies <= 60 else 150.0 if dies <= 150 else 200.0
    radius_mm = diameter_mm / 2 - EDGE_EXCLUSION_MM
    pitch_mm = round(math.sqrt(math.pi * radius_mm**2 / dies), 1)
    while len(fitting := _full_dies(radius_mm, pitch_mm)) < dies or _in_doubt(radius_mm, pitch_mm):
        pitch_mm = round(pitch_mm - 0.1 if pitch_mm > 1.0 else pitch_mm - 0.01, 2)
    nearest = sorted(fitting, key=lambda die: (die[0] ** 2 + die[1] ** 2, die))[:dies]
    return Grid(diameter_mm, pitch_mm, _serpentine(nearest), len(fitting) == dies)


def _farthest_corners_mm(radius_mm: float, pitch_mm: float) -> dict[tuple[int, int], float]:
    """Distance of each die's farthest corner from the wafer's centre."""
    reach = range(-int(radius_mm / pitch_mm) - 1, int(radius_mm / pitch_mm) + 2)
    return {
        (x, y): math.hypot((abs(x) + 0.5) * pitch_mm, (abs(y) + 0.5) * pitch_mm)
        for x in reach
        for y in reach
    }


def _full_dies(radius_mm: float, pitch_mm: float) -> list[tuple[int, int]]:
    corners = _farthest_corners_mm(radius_mm, pitch_mm)
    return [die for die, corner_mm in corners.items() if corner_mm <= radius_mm]


def _in_doubt(radius_mm: float, pitch_mm: float) -> bool:
    clearance_mm = min(_CLEARANCE_MM, 0.01 * pitch_mm)
    corners = _farthest_corners_mm(radius_mm, pitch_mm).values()
    return any(abs(corner_mm - radius_mm) < clearance_mm for corner_mm in corners)


def _serpentine(dies: list[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Row by row from the top; every other row runs from right to left."""
    return tuple(sorted(dies, key=lambda die: (-die[1], die[0] if die[1] % 2 else -die[0])))
