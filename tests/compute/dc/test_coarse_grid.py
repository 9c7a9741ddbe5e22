"""Curves measured in coarse steps: the bend between points is neither noise nor left out.

The law is a transistor from subthreshold to its on-state. Truth is taken from the law itself: where
it reaches the current, and the line through a fine grid of it between the window's currents.
"""

import numpy as np
import pytest

from sitegen.compute.dc.estimates import IN_95_PERCENT, Estimate
from sitegen.compute.dc.figures import extract
from sitegen.model.arrays import FloatArray
from sitegen.model.extraction import FromCurve
from tests.compute.dc import laws
from tests.compute.dc.coverage_curves import figure

STEP_V = 0.05
COARSE_V = np.arange(0.0, 1.2001, STEP_V)
FINE_V = np.arange(0.0, 1.2, 1e-4)
DIES = 200
NOISE = 1e-3
WINDOW_A = (1e-8, 3e-6)
CURRENT_A = 5e-6
FIGURES = {
    "threshold": figure("threshold by constant current", current_a=CURRENT_A),
    "slope": figure("subthreshold slope", current_window_a=WINDOW_A),
    "shift": figure("drain-induced shift", current_a=CURRENT_A, stepped_pair=(0.05, 1.05)),
}


def law(v: FloatArray, v_t: FloatArray) -> FloatArray:
    return laws.soft(v - v_t, 0.0, 0.05)


def truths(name: str, v_t: FloatArray) -> FloatArray:
    current = law(FINE_V, np.array(0.4))
    threshold = float(np.interp(np.log(CURRENT_A), np.log(current), FINE_V))
    inside = (current >= WINDOW_A[0]) & (current <= WINDOW_A[1])
    slope = 1 / np.polyfit(FINE_V[inside], np.log10(current[inside]), 1)[0]
    return {
        "threshold": threshold - 0.4 + v_t,
        "slope": np.full(len(v_t), slope),
        "shift": np.full(len(v_t), 0.033),
    }[name]


def dies(name: str, seed: int) -> tuple[Estimate, FloatArray]:
    """Estimates of dies whose thresholds spread over a step, less the truth."""
    random = np.random.default_rng(seed)
    v_t = random.uniform(0.4, 0.4 + STEP_V, DIES)
    shifts = (0.0, -0.033) if name == "shift" else (0.0,)
    true = np.concatenate([law(COARSE_V, (v_t + one)[:, None]) for one in shifts])
    read = true * (1 + NOISE * random.normal(size=true.shape))
    found = extract(laws.curves(COARSE_V, read), wanted(name))
    return found, found.value - truths(name, v_t)


def wanted(name: str) -> FromCurve:
    return FIGURES[name]


@pytest.mark.parametrize("name", FIGURES)
def test_each_value_and_the_mean_are_right_within_their_uncertainty(name: str) -> None:
    held = []
    for seed in range(10):
        found, error = dies(name, seed)
        u = np.hypot(found.u_extraction, found.misfit)
        held.append(np.mean(np.abs(error) <= IN_95_PERCENT * u))
        own = np.sqrt(np.sum(found.u_extraction**2)) / DIES
        u_mean = np.hypot(own, np.mean(np.abs(found.misfit)))
        assert abs(error.mean()) <= IN_95_PERCENT * u_mean
    assert np.mean(held) > 0.93
