"""Noise floor and trace noise come back from repeated sweeps, with the truth in their spread."""

import numpy as np
import pytest

from sitegen.compute.rf.noise import noise_from_repeats
from tests.compute.rf import forward as fw


def repeats(floor: float, trace: float, n_repeat: int, seed: int) -> list[fw.Array]:
    """Four contacts of a lossy reflect, swept so many times without lifting."""
    rng = np.random.default_rng(seed)
    size = np.geomspace(1e-3, 0.8, 101)[:, np.newaxis, np.newaxis]
    true = size * np.array([[1.0, 1e-4], [1e-4, 1.0]])
    shape = (n_repeat, *true.shape)
    sigma = np.hypot(floor, trace * true)
    return [true + sigma * (rng.normal(size=shape) + 1j * rng.normal(size=shape)) for _ in range(4)]


@pytest.mark.parametrize("n_repeat", [2, 5])
def test_both_parts_of_the_noise_come_back_without_bias(n_repeat: int) -> None:
    found = [noise_from_repeats(repeats(2e-5, 3e-4, n_repeat, seed)) for seed in range(40)]
    floors = np.array([one.floor for one in found if one is not None])
    traces = np.array([one.trace for one in found if one is not None])
    assert len(floors) == 40
    for values, true in ((floors, 2e-5), (traces, 3e-4)):
        assert values.std() < 0.1 * true
        assert abs(values.mean() - true) < 4.0 * values.std() / np.sqrt(40)


@pytest.mark.parametrize(("floor", "trace"), [(1e-4, 0.0), (0.0, 1e-3)])
def test_a_part_that_is_not_there_is_found_small(floor: float, trace: float) -> None:
    found = noise_from_repeats(repeats(floor, trace, 5, 3))
    assert found is not None
    assert found.floor == pytest.approx(floor, rel=0.05, abs=1e-6)
    assert found.trace == pytest.approx(trace, rel=0.05, abs=1e-4)


def test_without_repeats_there_is_nothing_to_estimate() -> None:
    once = np.ones((1, 11, 2, 2), np.complex128)
    assert noise_from_repeats([once, once]) is None
    assert noise_from_repeats([]) is None
    assert noise_from_repeats([np.full((3, 11, 1, 1), np.nan + 0j)]) is None


def test_identical_sweeps_have_no_noise() -> None:
    found = noise_from_repeats([np.ones((3, 11, 1, 1), np.complex128)])
    assert found is not None
    assert (found.floor, found.trace, found.degrees_of_freedom) == (0.0, 0.0, 44)
