"""Truth lies in value ± 1.96 u in 95 % of seeds: the draws and the declared budgets agree.

For values of the table and for figures of sweeps that the analyser corrected, whose uncertainty is
what they declare; figures of raw sweeps have their calibration's as well, and are held to it by
`test_program_coverage`.

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
from sitegen.simulate.parameters import BY_ID, LINE_HZ, PARAMETERS
from sitegen.simulate.process import QUANTITIES, Truth, wafer_truth
from sitegen.simulate.reading import USUAL
from sitegen.simulate.station import usual_analyser
from sitegen.simulate.sweeps import DeviceSweeps, line_sweeps
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


@pytest.mark.parametrize("name", ["IL", "PH", "ATT", "EPS", "ZC"])
def test_figures_of_sweeps_that_the_analyser_corrected_are_covered(name: str) -> None:
    """The whole chain: contact, drifting path, noise, correction by an earlier calibration."""
    parameter = BY_ID[name]
    assert parameter.figure is not None
    swept, corrected = _corrected_over_seeds()
    value = np.array([figure(parameter.figure, s, LINE_HZ) for s in corrected])
    share = _share_covered(value, swept.true[name], drawn_uncertainty(parameter, value))
    assert BAND[0] <= share <= BAND[1]


def test_budget_that_is_a_tenth_too_small_is_noticed() -> None:
    parameter = BY_ID["RON"]
    true = np.array([28.0])
    value = np.array([measured(parameter, true, seed, 0, 1)[0] for seed in range(20_000)])
    u = drawn_uncertainty(parameter, value)
    assert 0.944 <= _share_covered(value, true, u) <= 0.956
    assert not 0.944 <= _share_covered(value, true, 0.9 * u) <= 0.956


@cache
def _corrected_over_seeds() -> tuple[DeviceSweeps, list[ComplexArray]]:
    """The line on one die, touched, swept and corrected once for every seed."""
    die = wafer_truth(grid_of(1), 1, 0)
    truth: Truth = {key: np.repeat(one, SEEDS) for key, one in die.items()}

    def draw(parameter: str, true: FloatArray) -> FloatArray:
        """A draw of its own seed for each place."""
        draws = [
            measured(BY_ID[parameter], true[seed : seed + 1], seed, 0, 1)[0]
            for seed in range(SEEDS)
        ]
        return np.array(draws)

    swept = line_sweeps(truth, draw, np.array([LINE_HZ]))
    hours = np.random.default_rng(2).uniform(0.1, LONGEST_H, SEEDS)
    corrected = [_measured_again(swept.s[seed], seed, float(hours[seed])) for seed in range(SEEDS)]
    return swept, corrected


def _measured_again(s: ComplexArray, seed: int, hours: float) -> ComplexArray:
    """One sweep (1, 2, 2) through a path that was calibrated at hour 0, at a single frequency."""
    analyser, at = usual_analyser((seed, 1)), np.array([LINE_HZ])
    rng = np.random.default_rng([seed, 99])
    raw = analyser.raw(USUAL.contacted(s[None], rng), at, np.array([hours]))
    return np.asarray(analyser.corrected(USUAL.shown(raw, rng), at, 0.0)[0, 0])
