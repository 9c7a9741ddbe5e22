"""Sound curves raise no flag; a planted fault of a stated size is found.

Seeds are fixed. Each test of a curve is made for one false flag in 100,000; of 2,000 sound curves
with two range changes each none is flagged here, and at most two could be without doubt about it.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from sitegen.compute.dc.flags import FLAGS, Flag, flags_of, range_steps
from sitegen.model.arrays import BoolArray, FloatArray
from tests.compute.dc import laws

V = np.arange(61) * 0.02
DRAIN_V = np.arange(0.05, 1.51, 0.025)
NOISE = 1e-3
"""Share of a reading."""
ACCURACY = 1e-3
MANY = 500


def ranges_of(current: FloatArray) -> npt.NDArray[np.object_]:
    """A range a thousand times the one before."""
    return np.where(current < 1e-9, "1 nA", np.where(current < 1e-6, "1 µA", "1 mA")).astype(object)


def measured(n: int, seed: int, law: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """First and second readings, and random shares of error that the ranges have in common."""
    random = np.random.default_rng(seed)
    first, second = law * (1 + NOISE * random.normal(size=(2, n, len(law))))
    return first, second, random.normal(size=(n, 3))


def transfer(n: int, seed: int) -> tuple[FloatArray, FloatArray, npt.NDArray[np.object_]]:
    """Transfer curves over six decades whose ranges err within their accuracy."""
    law = laws.soft(V, 0.45, 0.05) + 1e-12
    first, second, share = measured(n, seed, law)
    ranges = np.broadcast_to(ranges_of(law), first.shape)
    for k, name in enumerate(("1 nA", "1 µA", "1 mA")):
        error = 1 + ACCURACY * share[:, [k]]
        first, second = (np.where(ranges == name, one * error, one) for one in (first, second))
    return first, second, ranges


def output(n: int, seed: int, heating: float) -> tuple[FloatArray, FloatArray]:
    """Output curves; heating: share by which the current falls at the greatest power."""
    law = 1e-2 * np.tanh(DRAIN_V / 0.2) * (1 + 0.02 * DRAIN_V)
    power = law * DRAIN_V
    first, second, _ = measured(n, seed, law * (1 - heating * power / power.max()))
    return first, second


def flags(
    swept: FloatArray,
    first: FloatArray,
    second: FloatArray | None,
    ranges: npt.NDArray[np.object_] | None = None,
    is_output: bool = False,
) -> dict[Flag, BoolArray]:
    known = np.full(first.shape, "1 mA", dtype=object) if ranges is None else ranges
    accuracy = np.full(first.shape, ACCURACY), np.zeros(first.shape)
    curves = laws.curves(swept, first)
    return flags_of(curves, second, known, accuracy, is_output)


def test_sound_curves_raise_no_flag() -> None:
    raised = 0
    for seed in range(4):
        first, second, ranges = transfer(MANY, seed)
        found = flags(V, first, second, ranges)
        found_output = flags(DRAIN_V, *output(MANY, 100 + seed, 0.0), is_output=True)
        raised += sum(int(one.sum()) for one in (*found.values(), *found_output.values()))
    assert raised <= 2


def test_a_single_sound_curve_raises_no_flag() -> None:
    """Without other curves to tell the noise from."""
    raised = 0
    for seed in range(200):
        first, second, ranges = transfer(1, 1000 + seed)
        raised += any(one.any() for one in flags(V, first, second, ranges).values())
    assert raised <= 1


def step_of(size: float) -> Callable[[int], BoolArray]:
    def found(seed: int) -> BoolArray:
        first, second, ranges = transfer(100, seed)
        first = np.where(ranges == "1 mA", first * (1 + size), first)
        return flags(V, first, second, ranges)["step at a range change"]

    return found


def moving_by(size: float) -> Callable[[int], BoolArray]:
    def found(seed: int) -> BoolArray:
        first, second, ranges = transfer(100, seed)
        return flags(V, first, second * (1 - size), ranges)["incomplete settling"]

    return found


def heated_by(size: float) -> Callable[[int], BoolArray]:
    def found(seed: int) -> BoolArray:
        return flags(DRAIN_V, *output(100, seed, size), is_output=True)["self-heating"]

    return found


@pytest.mark.parametrize(
    ("planted", "told"),
    [(step_of(0.03), "a step of 3 %"), (moving_by(0.002), "0.2 %"), (heated_by(0.06), "6 %")],
    ids=["step", "settling", "heating"],
)
def test_planted_faults_are_found(planted: Callable[[int], BoolArray], told: str) -> None:
    """With noise and accuracies of 0.1 %, at least 95 % of 400 curves."""
    share = float(np.mean([planted(seed) for seed in range(4)]))
    assert share >= 0.95, told


@pytest.mark.parametrize("planted", [step_of(0.0), moving_by(0.0), heated_by(0.0)])
def test_nothing_planted_is_not_found(planted: Callable[[int], BoolArray]) -> None:
    assert not planted(9).any()


def test_a_step_within_the_accuracies_is_the_instruments_own() -> None:
    first, _, ranges = transfer(100, 5)
    first = np.where(ranges == "1 mA", first * 1.03, first)
    curves = laws.curves(V, first)
    nothing = np.zeros(first.shape)
    assert range_steps(curves, ranges, np.full(first.shape, 1e-3), nothing).mean() > 0.9
    assert not range_steps(curves, ranges, np.full(first.shape, 2e-2), nothing).any()


def test_compliance_is_a_flag() -> None:
    stopped = np.zeros((2, len(V)), dtype=bool)
    stopped[1, -3:] = True
    first, _, ranges = transfer(2, 1)
    curves = laws.curves(V, first, in_compliance=stopped, usable=~stopped)
    nothing = np.zeros(first.shape)
    found = flags_of(curves, None, ranges, (nothing, nothing), False)
    assert found["compliance reached"].tolist() == [False, True]
    assert set(found) == set(FLAGS)


def test_a_curve_too_short_to_judge_has_no_flag() -> None:
    short, empty = np.array([[1e-3, 2e-3]]), np.full((1, 2), np.nan)
    for current in (short, empty):
        found = flags(V[:2], current, current * 0.9, is_output=True)
        assert not any(one.any() for one in found.values())
