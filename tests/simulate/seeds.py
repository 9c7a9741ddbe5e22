"""Everything drawn anew from a seed: a calibration, and a raw sweep of each device after it.

The process, an analyser with its drift, the standards from their definitions, a calibration with
the contacts and the noise of its raw sweeps, and a raw sweep of each device on one die chosen at
random, at a time chosen at random up to five hours after the calibration. Nothing here comes from
`sitegen.compute`.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.simulated import Portion
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.demo import demo_scenario
from sitegen.simulate.devices_declared import DUMMIES
from sitegen.simulate.events import calibration_portion
from sitegen.simulate.process import Truth, wafer_truth
from sitegen.simulate.reading import USUAL
from sitegen.simulate.scenario import FREQUENCY_HZ, CalibrationPlan, Plants, Scenario
from sitegen.simulate.set_points import BIAS_SWEEP
from sitegen.simulate.station import Analyser
from sitegen.simulate.sweeps import (
    DeviceSweeps,
    capacitor_sweeps,
    drawer,
    dummy_sweeps,
    grounded_inductor_sweeps,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)

Method = Literal["LRRM", "SOLT", "one-port"]
METHODS: tuple[Method, ...] = ("LRRM", "SOLT", "one-port")
REPEATED: dict[Method, str] = {"LRRM": "thru", "SOLT": "thru", "one-port": "short"}
CHAIN_HZ = FREQUENCY_HZ[
    [2, 4, 6, 10, 14, 18, 22, 30, 40, 50, 60, 70, 100, 130, 160, 180, 200]
]  # fmt: skip
"""Of the demo's frequencies those of the figures, some of each window, and enough others for the
load's fit."""
SOONEST_H, LONGEST_H = 0.1, 5.0
"""A device is swept at any time between these after the calibration."""


@dataclass(frozen=True, eq=False)
class Swept:
    """A device on one die, and the raw sweep that the analyser showed of it."""

    device: DeviceSweeps
    raw: ComplexArray
    """(1, n_freq, n_port, n_port)."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """What one seed gave."""

    calibration: Portion
    analyser: Analyser
    calibrated_h: float
    swept: tuple[Swept, ...]
    dummies: Mapping[str, ComplexArray]
    """Raw sweeps (1, n_freq, 2, 2) of the pads' dummy structures, soon after the calibration."""


def draw(method: Method, seed: int) -> Drawn:
    """A calibration by a method, and each device once, on a die and at a time of its own."""
    number = METHODS.index(method)
    scenario = _scenario(seed)
    analyser = analyser_of(scenario)
    at = scenario.calibrations[number].at
    rng = np.random.default_rng([seed, 91, number])
    swept = []
    for device in _devices(method, seed, number, rng):
        hours = np.array([at + rng.uniform(SOONEST_H, LONGEST_H)])
        swept.append(Swept(device, _raw(analyser, device.s, hours, rng)))
    soon = np.array([at + SOONEST_H])
    dummies = {
        name: _raw(analyser, dummy_sweeps(name, CHAIN_HZ), soon, rng)
        for name in (DUMMIES if method != "one-port" else ())
    }
    portion = calibration_portion(scenario, number, analyser, CHAIN_HZ)
    return Drawn(portion, analyser, at, tuple(swept), dummies)


def dies(seed: int, wafer: int) -> Iterator[Truth]:
    """The truth of one die after another of a wafer, chosen at random."""
    truth = wafer_truth(demo().grid, seed, wafer)
    rng = np.random.default_rng([seed, 90, wafer])
    while True:
        place = int(rng.integers(len(demo().grid.dies)))
        yield {name: made[place : place + 1] for name, made in truth.items()}


@cache
def demo() -> Scenario:
    """The demo's scenario."""
    return demo_scenario()


def _scenario(seed: int) -> Scenario:
    """The demo's station without its planted faults, calibrated by each method at one time."""
    at = np.random.default_rng([seed, 92]).uniform(0.0, 24.0)
    plans = tuple(
        CalibrationPlan(f"CAL-{method}", at, method, repeated=REPEATED[method])
        for method in METHODS
    )
    return replace(demo(), seed=seed, calibrations=plans, plants=Plants())


def _devices(
    method: Method, seed: int, number: int, rng: np.random.Generator
) -> Iterable[DeviceSweeps]:
    """What the devices present to the probe tips, with the draws of the declared sources."""
    declared, die_of = drawer(seed, number, 1), dies(seed, number)
    if method == "one-port":
        return (grounded_inductor_sweeps(next(die_of), CHAIN_HZ),)
    return (
        transistor_sweeps(next(die_of), "rf", CHAIN_HZ),
        transistor_sweeps(next(die_of), str(rng.choice(BIAS_SWEEP)), CHAIN_HZ),
        capacitor_sweeps(next(die_of), CHAIN_HZ),
        inductor_sweeps(next(die_of), CHAIN_HZ),
        line_sweeps(next(die_of), declared, CHAIN_HZ),
    )


def _raw(
    analyser: Analyser, true: ComplexArray, hours: FloatArray, rng: np.random.Generator
) -> ComplexArray:
    """A raw sweep (1, n_freq, n_port, n_port) as the analyser shows it."""
    two_port = true.ndim > 2
    touched = USUAL.contacted(true if two_port else true[..., None, None], rng)
    if two_port:
        return USUAL.shown(analyser.raw(touched, CHAIN_HZ, hours), rng)
    raw = analyser.raw_one_port(touched[..., 0, 0], CHAIN_HZ, hours)
    return USUAL.shown(raw[..., None, None], rng)
