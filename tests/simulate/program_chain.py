"""From a seed to the program's own values: an event and raw sweeps simulated, all else computed.

`seeds` draws all anew for each seed. The program solves the calibration, propagates its
uncertainty, corrects the sweeps, takes the figures and states u; of the forward model it is given
the raw sweeps and the records alone. The line is corrected by the analyser, as on the demo's
wafers: no calibration's uncertainty is propagated to it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.correction import correct_sweeps
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.figures import FIGURES, Surroundings, figure_at
from sitegen.compute.rf.propagated import Swept, propagate
from sitegen.compute.rf.taken import DEVICE, Corrected, Wanted, take
from sitegen.compute.sweep_uncertainty import sources_for
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Instrument, Parameter
from sitegen.model.extraction import FromSweep
from sitegen.model.loaded import LoadedCalibration, LoadedStandard, Sweep
from sitegen.model.simulated import Portion
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.simulate.devices_declared import LINE_LENGTH_UM
from sitegen.simulate.draws import SURFACE_U_C, measured
from sitegen.simulate.networks import Z_REF_OHM
from sitegen.simulate.parameters import PARAMETERS
from sitegen.simulate.set_points import TEMPERATURE_OF
from sitegen.simulate.station_records import station_record
from sitegen.simulate.sweeps import Figures
from tests.simulate.seeds import CHAIN_HZ, METHODS, Method, demo, dies, draw

TABLE = "table"
"""Stands for values that no sweep is behind: DC, and what the station's own program gave."""
_CHUNK = 500
"""Seeds whose sweeps are in memory at once."""
_COVERAGE_FACTOR = 1.96
COVERED = {
    one.id: one
    for one in PARAMETERS
    if one.tabled
    or (
        one.frequency_hz
        and (one.device != "hemt" or not one.deembedded)
        and one.figure != "capacitor quality"
    )
}
"""Values of the table, and figures of sweeps at one frequency at the probe tips; coverage of
de-embedded figures and of those over windows has its own test, and so has a capacitor's quality,
whose u is not stated for every seed."""
DECLARED = {
    name: Parameter.model_validate(one.record(), strict=False) for name, one in COVERED.items()
}
"""The same as the program reads them."""


@dataclass(frozen=True, eq=False)
class Values:
    """Values of one parameter with their truth, one a seed, (n_seed,)."""

    parameter: str
    behind: str
    """Method of the calibration that corrected them, or `TABLE`."""
    value: FloatArray
    true: FloatArray
    propagated_u: FloatArray
    """From the calibration and the sweep itself; zero where nothing is propagated."""

    def covered(self, scale: float = 1.0) -> int:
        """How many truths lie in value ± 1.96 u, with the program's u scaled."""
        return int(np.sum(np.abs(self.normalised(scale)) <= _COVERAGE_FACTOR))

    def normalised(self, scale: float = 1.0) -> FloatArray:
        """Deviations from the truth in the program's u, (n_seed,)."""
        parameter, covered = DECLARED[self.parameter], COVERED[self.parameter]
        none = np.zeros(len(self.value))
        declared = standard_uncertainty(parameter, self.value) if covered.sources else none
        warm = covered.per_c * SURFACE_U_C[TEMPERATURE_OF[covered.conditions[0]]]
        u = np.sqrt(declared**2 + self.propagated_u**2 + warm**2)
        return np.asarray((self.value - self.true) / (scale * u))

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
    propagated_u: dict[str, float]
    """By the parameter's id."""


def values_of(behind: str, seeds: int) -> list[Values]:
    """The program's values of every parameter behind which a method, or the table, stands."""
    if behind == TABLE:
        return _table_values(seeds)
    method = METHODS[METHODS.index(behind)]
    chunks = (
        _figures(method, range(start, min(start + _CHUNK, seeds)))
        for start in range(0, seeds, _CHUNK)
    )
    return [_joined(parts) for parts in zip(*chunks, strict=True)]


def _table_values(seeds: int) -> list[Values]:
    """Drawn by the forward model on a die of its own for each parameter."""
    parameters = [one for one in PARAMETERS if one.truth is not None]
    true = np.empty((len(parameters), seeds))
    value = np.empty_like(true)
    for seed in range(seeds):
        die_of = dies(seed, 0)
        for row, parameter in enumerate(parameters):
            assert parameter.truth is not None
            made = parameter.truth(next(die_of))
            true[row, seed] = made[0]
            value[row, seed] = measured(parameter, made, seed, 0, 1)[0]
    return [
        Values(parameter.id, TABLE, value[row], true[row], np.zeros(seeds))
        for row, parameter in enumerate(parameters)
    ]


def _figures(method: Method, seeds: range) -> list[Values]:
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
        assert wanted.frequency_hz is not None
        assert wanted.frequency_hz is not None
        length_m = LINE_LENGTH_UM * 1e-6
        value = figure_at(
            FIGURES[wanted.figure], s, CHAIN_HZ, wanted.frequency_hz, Z_REF_OHM, length_m
        )
        true = np.concatenate([one.true[name] for one in mine])
        u = np.array([one.propagated_u[name] for one in mine])
        found.append(Values(name, method, value, true, u))
    return found


def _joined(parts: Sequence[Values]) -> Values:
    """One parameter's values of all chunks."""
    return replace(
        parts[0],
        value=np.concatenate([one.value for one in parts]),
        true=np.concatenate([one.true for one in parts]),
        propagated_u=np.concatenate([one.propagated_u for one in parts]),
    )


def _touched(method: Method, seed: int) -> Iterator[_Touched]:
    """Each device of a seed once, corrected by the program."""
    drawn = draw(method, seed)
    calibration = _solved(drawn.calibration)
    assert calibration.terms is not None
    for one in drawn.swept:
        device, true = one.device.device, one.device.true
        if device == "line":
            s = drawn.analyser.corrected(one.raw, CHAIN_HZ, drawn.calibrated_h)
            yield _Touched(device, true, s[0], dict.fromkeys(true, 0.0))
            continue
        s = correct_sweeps(calibration.terms, one.raw)
        u = {
            name: _propagated(calibration, s, DECLARED[name].from_sweep)
            for name in true
            if name in DECLARED
        }
        yield _Touched(device, true, _as_two_port(s[0]), u)


def _propagated(calibration: SolvedCalibration, s: ComplexArray, wanted: FromSweep | None) -> float:
    """What the program propagates to a figure of one sweep (1, n_freq, n_port, n_port)."""
    assert calibration.terms is not None and calibration.uncertainty is not None
    assert wanted is not None
    figure = FIGURES[wanted.figure]
    at = Wanted(figure, "frequency", Surroundings(Z_REF_OHM), wanted.frequency_hz)
    taken = take(at, CHAIN_HZ, s)
    assert taken is not None
    sources = sources_for(calibration.terms, calibration.uncertainty, s.shape[-1], 1)
    swept = Swept(CHAIN_HZ, Corrected(s), {DEVICE: "its calibration"})
    found = propagate(at, taken, swept, {"its calibration": sources}, shared=False)
    return float(np.sqrt(found.calibration[0] + found.own[0]))


def _as_two_port(s: ComplexArray) -> ComplexArray:
    """One-ports (..., 1, 1) as port 1 of two-ports through which nothing passes."""
    if s.shape[-1] == 2:
        return s
    widened = np.zeros((*s.shape[:-2], 2, 2), dtype=np.complex128)
    widened[..., :1, :1] = s
    return widened


def _solved(portion: Portion) -> SolvedCalibration:
    """What the program makes of a calibration's raw sweeps, with its uncertainty."""
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
    solved = with_uncertainty(solve(loaded, _analyser_record()))
    assert solved.result.outcome == "usable", solved.result.checks
    assert solved.uncertainty is not None
    return solved


@cache
def _analyser_record() -> Instrument:
    instruments = station_record(demo().start.date())["instruments"]
    assert isinstance(instruments, list)
    return Instrument.model_validate(instruments[0], strict=False)
