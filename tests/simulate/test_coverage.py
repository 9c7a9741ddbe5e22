"""Truth lies in value ± 1.96 u in 95 % of seeds: the draws and the declared budgets agree.

2,000 seeds for each parameter; band 93.3 to 96.7 %, which is 3.5 standard deviations of a
binomial count at 95 %, so that an honest parameter falls outside once in 2,000 times. A budget
that is 10 % too small covers 92.2 %: with 20,000 seeds and a band of 94.4 to 95.6 % (four
standard deviations) it must fall outside, and the whole budget must lie inside.
"""

from functools import cache

import numpy as np
import pytest

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.draws import drawn_uncertainty, measured
from sitegen.simulate.layout import grid_of
from sitegen.simulate.parameters import BY_ID, PARAMETERS
from sitegen.simulate.process import QUANTITIES, Truth, wafer_truth
from sitegen.simulate.station import noise, usual_analyser
from sitegen.simulate.sweeps import (
    DeviceSweeps,
    capacitor_sweeps,
    grounded_inductor_sweeps,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)
from tests.simulate.forward import figure

SEEDS = 2000
BAND = (0.933, 0.967)
LONGEST_H = 5.0
"""Sweeps are taken at any time up to this after the calibration."""


def _share_covered(value: FloatArray, true: FloatArray, u: FloatArray) -> float:
    return float(np.mean(np.abs(value - true) <= 1.96 * u))


@pytest.mark.parametrize("name", [one.id for one in PARAMETERS if one.truth is not None])
def test_values_of_the_table_are_covered(name: str) -> None:
    parameter = BY_ID[name]
    assert parameter.truth is not None
    nominal: Truth = {key: np.array([one.nominal]) for key, one in QUANTITIES.items()}
    true = parameter.truth(nominal)
    value = np.array([measured(parameter, true, seed, 0, 1)[0] for seed in range(SEEDS)])
    share = _share_covered(value, true, drawn_uncertainty(parameter, value))
    assert BAND[0] <= share <= BAND[1]


@pytest.mark.parametrize("name", ["C", "L", "Q", "IL", "PH", "H21", "H21B", "LGND"])
def test_figures_of_sweeps_are_covered(name: str) -> None:
    """The whole chain: contact, drifting path, noise, correction by an earlier calibration."""
    parameter = BY_ID[name]
    value, true = _figures_over_seeds(name)
    share = _share_covered(value, true, drawn_uncertainty(parameter, value))
    assert BAND[0] <= share <= BAND[1]


def test_budget_that_is_a_tenth_too_small_is_noticed() -> None:
    parameter = BY_ID["VTH"]
    true = np.array([-2.6])
    value = np.array([measured(parameter, true, seed, 0, 1)[0] for seed in range(20_000)])
    u = drawn_uncertainty(parameter, value)
    assert 0.944 <= _share_covered(value, true, u) <= 0.956
    assert not 0.944 <= _share_covered(value, true, 0.9 * u) <= 0.956


def _figures_over_seeds(name: str) -> tuple[FloatArray, FloatArray]:
    """Measured and true figure of the same die over all seeds."""
    parameter = BY_ID[name]
    swept, corrected = _corrected_over_seeds(parameter.device, parameter.conditions[0])
    assert parameter.figure is not None
    value = [figure(parameter.figure, s, parameter.frequency_hz) for s in corrected]
    return np.array(value), swept.true[name]


@cache
def _corrected_over_seeds(device: str, condition: str) -> tuple[DeviceSweeps, list[ComplexArray]]:
    """A device on one die, touched, swept and corrected once for every seed."""
    (frequency_hz,) = {
        one.frequency_hz
        for one in PARAMETERS
        if one.device == device and condition in one.conditions and one.figure and one.sources
    }
    die = wafer_truth(grid_of(1), 1, 0)
    truth = {key: np.repeat(one, SEEDS) for key, one in die.items()}
    at_one = np.array([frequency_hz])
    swept = _sweeps(device, condition, truth, at_one)
    hours = np.random.default_rng(2).uniform(0.1, LONGEST_H, SEEDS)
    corrected = [
        _measured_again(swept.s[seed], at_one, seed, float(hours[seed])) for seed in range(SEEDS)
    ]
    return swept, corrected


def _sweeps(device: str, condition: str, truth: Truth, frequency_hz: FloatArray) -> DeviceSweeps:
    def draw(parameter: str, true: FloatArray) -> FloatArray:
        """A draw of its own seed for each place."""
        draws = [
            measured(BY_ID[parameter], true[seed : seed + 1], seed, 0, 1)[0]
            for seed in range(SEEDS)
        ]
        return np.array(draws)

    match device:
        case "cap":
            return capacitor_sweeps(truth, draw, frequency_hz)
        case "spiral":
            return inductor_sweeps(truth, draw, frequency_hz)
        case "spiral-gnd":
            return grounded_inductor_sweeps(truth, draw, frequency_hz)
        case "line":
            return line_sweeps(truth, draw, frequency_hz)
        case _:
            return transistor_sweeps(truth, condition, draw, frequency_hz)


def _measured_again(
    s: ComplexArray, frequency_hz: FloatArray, seed: int, hours: float
) -> ComplexArray:
    """One sweep through a path that was calibrated at hour 0, at a single frequency."""
    analyser = usual_analyser((seed, 1))
    rng = np.random.default_rng([seed, 99])
    if s.ndim == 1:
        shown = analyser.raw_one_port(s[None], frequency_hz, np.array([hours]))
        shown = shown + noise(rng, frequency_hz, shown.shape)
        box = analyser.boxes(frequency_hz, np.array([0.0]))[0][0]
        excess = shown[0] - box[:, 0, 0]
        reflection = excess / (box[:, 0, 1] * box[:, 1, 0] + box[:, 1, 1] * excess)
        return np.asarray(reflection.reshape(1, 1))
    raw = analyser.raw(s[None], frequency_hz, np.array([hours]))
    raw = raw + noise(rng, frequency_hz, raw.shape)
    return np.asarray(analyser.corrected(raw, frequency_hz, 0.0)[0, 0])
