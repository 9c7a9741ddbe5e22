"""Dies of a layout: counted exactly, placed by declared senses."""

import pytest

from sitegen.model.campaign import Layout
from sitegen.model.geometry import die_center_mm, die_centers_mm, full_dies, is_full, is_on_wafer


def layout(diameter_mm: float, pitch_mm: float, center_mm: float, exclusion_mm: float) -> Layout:
    return Layout(
        diameter_mm=diameter_mm,
        orientation_mark="notch",
        orientation_mark_angle_deg=270.0,
        die_pitch_x_mm=pitch_mm,
        die_pitch_y_mm=pitch_mm,
        x_increases="right",
        y_increases="up",
        origin_die=(0, 0),
        origin_die_center_x_mm=center_mm,
        origin_die_center_y_mm=center_mm,
        edge_exclusion_mm=exclusion_mm,
    )


@pytest.mark.parametrize(
    ("diameter_mm", "pitch_mm", "exclusion_mm", "corner_centred", "die_centred"),
    [
        # Exact counts from an independent program (no printed source): grid corner at the wafer's
        # centre, and die centre at the wafer's centre.
        (300.0, 10.0, 0.0, 648, 657),
        (300.0, 10.0, 3.0, 616, 621),
        (200.0, 10.0, 0.0, 276, 277),
        (200.0, 10.0, 3.0, 256, 261),
        (150.0, 5.0, 0.0, 648, 657),
        (150.0, 5.0, 3.0, 600, 593),
    ],
)
def test_full_dies_are_counted_exactly(
    diameter_mm: float, pitch_mm: float, exclusion_mm: float, corner_centred: int, die_centred: int
) -> None:
    assert len(full_dies(layout(diameter_mm, pitch_mm, pitch_mm / 2, exclusion_mm))) == (
        corner_centred
    )
    assert len(full_dies(layout(diameter_mm, pitch_mm, 0.0, exclusion_mm))) == die_centred


def test_the_count_does_not_depend_on_which_die_is_named_the_origin() -> None:
    here = layout(150.0, 5.0, 0.0, 3.0)
    elsewhere = here.model_copy(update={"origin_die": (7, -4)})
    far = here.model_copy(update={"origin_die": (20, 0), "origin_die_center_x_mm": 100.0})
    assert len(full_dies(elsewhere)) == len(full_dies(here)) == len(full_dies(far))
    assert set(full_dies(elsewhere)) == {(x + 7, y - 4) for x, y in full_dies(here)}
    assert set(full_dies(far)) == set(full_dies(here))


def test_senses_of_the_axes_place_a_die() -> None:
    mirrored = layout(150.0, 5.0, 0.0, 3.0).model_copy(
        update={"x_increases": "left", "y_increases": "down"}
    )
    x_mm, y_mm = die_centers_mm(mirrored, [2], [3])
    assert (x_mm[0], y_mm[0]) == die_center_mm(mirrored, 2, 3) == (-10.0, -15.0)


def test_a_die_at_the_edge_is_on_the_wafer_and_not_full() -> None:
    here = layout(150.0, 5.0, 0.0, 3.0)
    assert is_on_wafer(here, 14, 0) and not is_full(here, 14, 0)
    assert not is_on_wafer(here, 16, 0)
