"""From a seed to the program's own values: an event and raw sweeps simulated, all else computed.

Each seed draws all anew: the process, an analyser with its drift, a calibration with the noise of
its raw sweeps, and a raw sweep of each device on one die chosen at random, at a time chosen at
random up to five hours after the calibration. The program solves the calibration, corrects the
sweeps and takes the figures; of the forward model it is given the raw sweeps and the records alone.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np

from sitegen.compute.calibration import solve
from sitegen.compute.rf.figures import FIGURES, figure_at
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.compute.verification import correct_sweeps
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Instrument, Parameter
from sitegen.model.loaded import LoadedCalibration, LoadedStandard, Sweep
from sitegen.model.simulated import Portion
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.demo import demo_scenario
from sitegen.simulate.draws import measured
from sitegen.simulate.events import calibration_portion
from sitegen.simulate.networks import Z_REF_OHM
from sitegen.simulate.parameters import BIAS_SWEEP, PARAMETERS
from sitegen.simulate.process import Truth, wafer_truth
from sitegen.simulate.scenario import FREQUENCY_HZ, CalibrationPlan, Plants, Scenario
from sitegen.simulate.station import Analyser, noise
from sitegen.simulate.station_records import station_record
from sitegen.simulate.sweeps import (
    DeviceSweeps,
    Figures,
    capacitor_sweeps,
    drawer,
    grounded_inductor_sweeps,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)

Method = Literal["LRRM", "SOLT", "one-port"]
METHODS: tuple[Method, ...] = ("LRRM", "SOLT", "one-port")
TABLE = "table"
"""Stands for values that no sweep is behind: DC, and what the station's own program gave."""
SOONEST_H, LONGEST_H = 0.1, 5.0
"""A device is swept at any time between these after the calibration."""
_CHUNK = 500
"""Seeds whose sweeps are in memory at once."""
_COVERAGE_FACTOR = 1.96
DECLARED = {
    one.id: Parameter.model_validate(one.record(), strict=False)
    for one in PARAMETERS
    if one.sources
}
"""The parameters with a declared uncertainty, as the program reads them."""


@dataclass(frozen=True, eq=False)
class Values:
    """Values of one parameter with their truth, one a seed, (n_seed,)."""

    parameter: str
    behind: str
    """Method of the calibration that corrected them, or `TABLE`."""
    value: FloatArray
    true: FloatArray

    def covered(self, scale: float = 1.0) -> int:
        """How many truths lie in value ± 1.96 u, with the program's u scaled."""
        u = scale * standard_uncertainty(DECLARED[self.parameter], self.value)
        return int(np.sum(np.abs(self.value - self.true) <= _COVERAGE_FACTOR * u))

    def share(self, scale: float = 1.0) -> float:
        """`covered` as a share of the seeds."""
        return self.covered(scale) / len(self.value)


@dataclass(frozen=True, eq=False)
class _Touched:
    """A device on one die: what the program made of its raw sweep, and what is true."""

    device: str
    true: Figures
    s: ComplexArray
    """Corrected, (n_freq, 2, 2)."""


def values_of(behind: str, seeds: int) -> list[Values]:
    """The program's values of every parameter behind which a method, or the table, stands."""
    if behind == TABLE:
        return _table_values(seeds)
    chunks = (
        _figures(behind, range(start, min(start + _CHUNK, seeds)))
        for start in range(0, seeds, _CHUNK)
    )
    return [_joined(parts) for parts in zip(*chunks, strict=True)]


def _table_values(seeds: int) -> list[Values]:
    """Drawn by the forward model on a die of its own for each parameter."""
    parameters = [one for one in PARAMETERS if one.truth is not None]
    true = np.empty((len(parameters), seeds))
    value = np.empty_like(true)
    for seed in range(seeds):
        die_of = _dies(seed, 0)
        for row, parameter in enumerate(parameters):
            assert parameter.truth is not None
            made = parameter.truth(next(die_of))
            true[row, seed] = made[0]
            value[row, seed] = measured(parameter, made, seed, 0, 1)[0]
    return [
        Values(parameter.id, TABLE, value[row], true[row])
        for row, parameter in enumerate(parameters)
    ]


def _figures(method: str, seeds: range) -> list[Values]:
    """Figures that the program took from sweeps that it corrected, by parameter."""
    by_device: dict[str, list[_Touched]] = {}
    for seed in seeds:
        for one in _touched(method, seed):
            by_device.setdefault(one.device, []).append(one)
    found = []
    for parameter in DECLARED.values():
        if parameter.from_sweep is None or parameter.device not in by_device:
            continue
        name, wanted = parameter.id, parameter.from_sweep
        mine = [one for one in by_device[parameter.device] if name in one.true]
        s = np.stack([one.s for one in mine])
        value = figure_at(FIGURES[wanted.figure], s, FREQUENCY_HZ, wanted.frequency_hz, Z_REF_OHM)
        true = np.concatenate([one.true[name] for one in mine])
        found.append(Values(name, method, value, true))
    return found


def _joined(parts: Sequence[Values]) -> Values:
    """One parameter's values of all chunks."""
    return replace(
        parts[0],
        value=np.concatenate([one.value for one in parts]),
        true=np.concatenate([one.true for one in parts]),
    )


def _touched(method: str, seed: int) -> Iterator[_Touched]:
    """Each device once, on a die and at a time of its own, corrected by the program."""
    number = METHODS.index(method)
    scenario = _scenario(seed)
    analyser = analyser_of(scenario)
    terms = _solved(calibration_portion(scenario, number, analyser))
    rng = np.random.default_rng([seed, 91, number])
    for sweeps in _device_sweeps(method, seed, number, rng):
        hours = scenario.calibrations[number].at + rng.uniform(SOONEST_H, LONGEST_H)
        raw = _raw(analyser, sweeps.s, np.array([hours]), rng)
        s = _as_two_port(correct_sweeps(terms, raw)[0])
        yield _Touched(sweeps.device, sweeps.true, s)


def _device_sweeps(
    method: str, seed: int, number: int, rng: np.random.Generator
) -> Iterable[DeviceSweeps]:
    """What the devices present to the probe tips, with the draws of the declared sources."""
    draw, die_of = drawer(seed, number, 1), _dies(seed, number)
    if method == "one-port":
        return (grounded_inductor_sweeps(next(die_of), draw),)
    return (
        transistor_sweeps(next(die_of), "rf", draw),
        transistor_sweeps(next(die_of), str(rng.choice(BIAS_SWEEP)), draw),
        capacitor_sweeps(next(die_of), draw),
        inductor_sweeps(next(die_of), draw),
        line_sweeps(next(die_of), draw),
    )


def _dies(seed: int, wafer: int) -> Iterator[Truth]:
    """The truth of one die after another of a wafer, chosen at random."""
    truth = wafer_truth(_demo().grid, seed, wafer)
    rng = np.random.default_rng([seed, 90, wafer])
    while True:
        place = int(rng.integers(len(_demo().grid.dies)))
        yield {name: made[place : place + 1] for name, made in truth.items()}


def _raw(
    analyser: Analyser, true: ComplexArray, hours: FloatArray, rng: np.random.Generator
) -> ComplexArray:
    """A raw sweep (1, n_freq, n_port, n_port) as the analyser shows it."""
    if true.ndim > 2:
        raw = analyser.raw(true, FREQUENCY_HZ, hours)
        return raw + noise(rng, FREQUENCY_HZ, raw.shape)
    raw = analyser.raw_one_port(true, FREQUENCY_HZ, hours)
    raw = raw + noise(rng, FREQUENCY_HZ, raw.shape)
    return raw[..., np.newaxis, np.newaxis]


def _as_two_port(s: ComplexArray) -> ComplexArray:
    """A one-port as port 1 of a two-port through which nothing passes."""
    if s.shape[-1] == 2:
        return s
    widened = np.zeros((len(s), 2, 2), dtype=np.complex128)
    widened[:, :1, :1] = s
    return widened


@cache
def _demo() -> Scenario:
    return demo_scenario()


def _scenario(seed: int) -> Scenario:
    """The demo's station without its planted faults, calibrated by each method at one time."""
    at = np.random.default_rng([seed, 92]).uniform(0.0, 24.0)
    plans = tuple(CalibrationPlan(f"CAL-{method}", at, method) for method in METHODS)
    return replace(_demo(), seed=seed, calibrations=plans, plants=Plants())


def _solved(portion: Portion) -> ErrorTerms:
    """The error terms that the program solves from a calibration's raw sweeps."""
    record = CalibrationRecord.model_validate(portion.record, strict=False)
    sweeps = {
        file: Sweep(file, one.frequency_hz, one.s, Z_REF_OHM)
        for file, one in portion.sweeps.items()
    }
    standards = tuple(
        LoadedStandard(one, sweeps[one.file], tuple(sweeps[file] for file in one.repeats))
        for one in record.sweeps
    )
    switch = record.switch_terms
    loaded = LoadedCalibration(
        record=record,
        standards=standards,
        switch_forward=sweeps[switch.forward].s[:, 0, 0] if switch else None,
        switch_reverse=sweeps[switch.reverse].s[:, 0, 0] if switch else None,
        reported_terms=None,
        missing=(),
        note=None,
        sources=(),
    )
    solved = solve(loaded, _analyser_record())
    assert solved.terms is not None and solved.result.outcome == "usable", solved.result.checks
    return solved.terms


@cache
def _analyser_record() -> Instrument:
    instruments = station_record(_demo().start.date())["instruments"]
    assert isinstance(instruments, list)
    return Instrument.model_validate(instruments[0], strict=False)
