"""Frames of die numbers: every turn, mirroring and shift is found, and nothing else fits."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.model.wafer import ReferenceDie
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.frames import apply, read_frames

TURNS = {
    "none": lambda x, y: (x, y),
    "quarter": lambda x, y: (-y, x),
    "half": lambda x, y: (-x, -y),
    "three quarters": lambda x, y: (y, -x),
    "left and right": lambda x, y: (-x, y),
    "up and down": lambda x, y: (x, -y),
    "diagonal": lambda x, y: (y, x),
    "other diagonal": lambda x, y: (-y, -x),
}
"""The eight ways to lay a square grid on itself (common knowledge), written as what they do."""
DIES = ((-4, -3), (5, -2), (1, 6), (0, 2))
DIE = st.tuples(st.integers(-9, 9), st.integers(-9, 9))


def frames_of(pairs: dict[tuple[int, int], tuple[int, int]]) -> tuple[dict, list[Fault]]:  # type: ignore[type-arg]
    intake = Intake(Path("nowhere"))
    references = [ReferenceDie(die=die, frames={"f": other}) for die, other in pairs.items()]
    return dict(read_frames(intake, "wafer.toml", references)), intake.faults


@pytest.mark.parametrize("turn", TURNS)
@settings(derandomize=True, max_examples=20, deadline=None)
@given(shift=DIE, probe=DIE)
def test_every_frame_is_found(turn: str, shift: tuple[int, int], probe: tuple[int, int]) -> None:
    def in_frame(die: tuple[int, int]) -> tuple[int, int]:
        x, y = TURNS[turn](*die)
        return x + shift[0], y + shift[1]

    frames, faults = frames_of({die: in_frame(die) for die in DIES})
    assert faults == []
    assert apply(frames["f"], in_frame(probe)) == probe
    assert apply(frames["layout"], probe) == probe


def test_the_die_that_does_not_fit_is_named() -> None:
    pairs = {die: (-die[1], die[0]) for die in DIES}
    pairs[5, -2] = (2, 4)
    frames, faults = frames_of(pairs)
    assert "f" not in frames
    assert len(faults) == 1 and "die (5, -2) as (2, 4)" in faults[0].found


def test_a_stretch_is_no_frame() -> None:
    frames, faults = frames_of({die: (2 * die[0], die[1]) for die in DIES})
    assert "f" not in frames and len(faults) == 1


@pytest.mark.parametrize(
    ("dies", "found"),
    [
        (((0, 0), (3, 1)), "only 2 reference dies"),
        (((0, 0), (1, 2), (3, 6)), "on one line"),
        (((0, 0), (1, 0), (0, 1)), "onto themselves"),
        (((-2, 0), (2, 0), (0, 5)), "onto themselves"),
    ],
)
def test_dies_that_fix_no_frame(dies: tuple[tuple[int, int], ...], found: str) -> None:
    frames, faults = frames_of({die: die for die in dies})
    assert set(frames) == {"layout"}
    assert len(faults) == 1 and found in faults[0].found
