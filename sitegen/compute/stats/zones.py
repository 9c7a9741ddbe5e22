"""Zones of a wafer: centre, middle and edge, each a third of the usable area."""

import numpy as np
import numpy.typing as npt

ZONES = ("centre", "middle", "edge")
"""Names of the zones; a zone's index is its place here."""

BORDER_ROUNDING = 1e-12
"""Relative rounding by which a die may lie beyond a border and still count as on it."""


def zone_index(
    x_mm: npt.ArrayLike, y_mm: npt.ArrayLike, usable_radius_mm: float
) -> npt.NDArray[np.int8]:
    """Zone of each die by its centre: 0 centre, 1 middle, 2 edge.

    x_mm, y_mm: (n_die,), die centres from the wafer's centre. The borders lie at R sqrt(1/3) and
    R sqrt(2/3) of the usable radius R, so that each zone has the same area; a die on a border
    belongs to the inner zone. A die whose centre lies beyond the usable radius counts as edge.

    Raises ValueError for a radius that is not positive and finite, or for a centre that is not.
    """
    if not (np.isfinite(usable_radius_mm) and usable_radius_mm > 0):
        raise ValueError(f"the usable radius must be positive, not {usable_radius_mm} mm")
    x = np.asarray(x_mm, dtype=np.float64)
    y = np.asarray(y_mm, dtype=np.float64)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("every die centre needs finite coordinates")
    thirds_of_area = 3 * (x * x + y * y) / usable_radius_mm**2 * (1 - BORDER_ROUNDING)
    return np.asarray(np.clip(np.ceil(thirds_of_area) - 1, 0, 2), dtype=np.int8)
