"""A layout for tests of what is found on whole wafers: die (0, 0) in the middle."""

from typing import Any

from sitegen.model.campaign import Layout
from tests.compute.over_wafers.sample_data import PITCH_MM

RETICLE = {"columns": 3, "rows": 2, "origin_die": (0, 0)}


def layout(**changes: Any) -> Layout:
    """200 mm with dies of `PITCH_MM`, right and up."""
    return Layout.model_validate(
        {
            "diameter_mm": 200.0,
            "orientation_mark": "notch",
            "orientation_mark_angle_deg": 270.0,
            "die_pitch_x_mm": PITCH_MM,
            "die_pitch_y_mm": PITCH_MM,
            "x_increases": "right",
            "y_increases": "up",
            "origin_die": (0, 0),
            "origin_die_center_x_mm": 0.0,
            "origin_die_center_y_mm": 0.0,
            "edge_exclusion_mm": 0.0,
            **changes,
        }
    )
