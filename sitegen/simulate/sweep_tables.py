"""The tables of a wafer's sweeps: what the analyser showed of each device."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.parameters import BIAS_SWEEP
from sitegen.simulate.reading import USUAL
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.sweeps import (
    DeviceSweeps,
    capacitor_sweeps,
    drawer,
    grounded_inductor_sweeps,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)
from sitegen.simulate.touched_wafer import Places, TouchedWafer, as_table, key_columns, true_table

ONE_PORT_PERIOD_H = 40 / 3600
_BIAS_STEP = 0.02
_QUANTUM = 2.0**-20
"""Sweeps are stored to this step, far below the noise, so that they compress."""


@dataclass(frozen=True, eq=False)
class _Swept:
    """Sweeps of one device under one condition on n dies of the wafer."""

    sweeps: DeviceSweeps
    places: Places
    hours: FloatArray

    @property
    def presented(self) -> ComplexArray:
        """What these dies presented to the probe tips."""
        return self.sweeps.s[self.places]


@dataclass(frozen=True, eq=False)
class SweepTable:
    """A table of sweeps with the truth of every figure that is taken from it."""

    file: str
    sweep: str
    """'raw' or 'corrected'."""
    table: pa.Table
    truth: pa.Table


def sweep_tables(wafer: TouchedWafer) -> tuple[SweepTable, ...]:
    """Raw sweeps of the two-port devices, corrected ones of the line, and those of one port."""
    draw = drawer(wafer.scenario.seed, wafer.number, 1)
    every, truth = wafer.touched, wafer.truth
    raw = [
        _Swept(sweeps, every, wafer.swept_hours(sweeps.device, every))
        for sweeps in (
            transistor_sweeps(truth, "rf", draw),
            capacitor_sweeps(truth, draw),
            inductor_sweeps(truth, draw),
        )
    ]
    biased = wafer.places(wafer.plan.bias_dies)
    for n, condition in enumerate(BIAS_SWEEP if len(biased) else ()):
        at = wafer.swept_hours("hemt", biased) + _BIAS_STEP * (n + 1) * wafer.die_hours
        raw.append(_Swept(transistor_sweeps(truth, condition, draw), biased, at))
    line = _Swept(line_sweeps(truth, draw), every, wafer.swept_hours("line", every))
    made = [_two_port(wafer, raw, "raw"), _two_port(wafer, [line], "corrected")]
    session = wafer.plan.one_port
    if session is not None:
        places = wafer.places(session.dies)
        at = session.start + ONE_PORT_PERIOD_H * np.arange(len(places))
        made.append(_one_port(wafer, _Swept(grounded_inductor_sweeps(truth, draw), places, at)))
    return tuple(made)


def _two_port(wafer: TouchedWafer, swept: list[_Swept], kind: str) -> SweepTable:
    shown = []
    for number, one in enumerate(swept):
        key = [wafer.scenario.seed, 30, wafer.number, int(kind == "corrected"), number]
        rng = np.random.default_rng(key)
        touched = USUAL.contacted(one.presented, rng)
        s = USUAL.shown(wafer.analyser.raw(touched, FREQUENCY_HZ, one.hours), rng)
        if kind == "corrected":
            s = _corrected(wafer, s, one.hours)
        shown.append(s.reshape(-1, 4))
    columns = _columns(wafer, swept, "two-port")
    for number, port in enumerate(("s11", "s12", "s21", "s22")):
        columns |= _parts(port, np.concatenate([s[:, number] for s in shown]))
    return SweepTable(f"sweeps-{kind}.parquet", kind, as_table(columns), _truth(wafer, swept))


def _one_port(wafer: TouchedWafer, swept: _Swept) -> SweepTable:
    rng = np.random.default_rng([wafer.scenario.seed, 31, wafer.number])
    presented = swept.presented[..., np.newaxis, np.newaxis]
    touched = USUAL.contacted(presented, rng)[..., 0, 0]
    raw = wafer.analyser.raw_one_port(touched, FREQUENCY_HZ, swept.hours)
    s = USUAL.shown(raw[..., np.newaxis, np.newaxis], rng)
    columns = _columns(wafer, [swept], "one-port") | _parts("s11", s.reshape(-1))
    return SweepTable("sweeps-one-port.parquet", "raw", as_table(columns), _truth(wafer, [swept]))


def _corrected(wafer: TouchedWafer, raw: ComplexArray, hours: FloatArray) -> ComplexArray:
    """What the analyser showed with its correction on: each by the calibration then in force."""
    at = np.array([wafer.scenario.calibration_at(float(hour), 2).at for hour in hours])
    s = np.empty_like(raw)
    for moment in np.unique(at):
        mine = at == moment
        s[mine] = wafer.analyser.corrected(raw[mine], FREQUENCY_HZ, float(moment))
    return s


def _columns(wafer: TouchedWafer, swept: list[_Swept], state: str) -> dict[str, pa.Array]:
    """Everything of the table but the S-parameters, one row a frequency."""
    places = np.concatenate([one.places for one in swept])
    hours = np.concatenate([one.hours for one in swept])
    scenario = wafer.scenario
    by_sweep = {
        **_keys(wafer.frame_numbers(places), swept),
        "measured_at": wafer.stamps(hours),
        "state": pa.array([state] * len(places)),
        "temperature_c": pa.array(wafer.temperature_c(places, 25.0)),
        "ambient_c": pa.array([scenario.ambient_c(float(hour)) for hour in hours]),
        "substrate_c": pa.array([scenario.substrate_c(float(hour)) for hour in hours]),
    }
    rows = np.repeat(np.arange(len(places)), len(FREQUENCY_HZ))
    columns = {name: column.take(rows) for name, column in by_sweep.items()}
    return columns | {"frequency_hz": pa.array(np.tile(FREQUENCY_HZ, len(places)))}


def _keys(
    numbers: np.ndarray[tuple[int, ...], np.dtype[np.int32]], swept: list[_Swept]
) -> dict[str, pa.Array]:
    device = [one.sweeps.device for one in swept for _ in one.places]
    condition = [one.sweeps.condition for one in swept for _ in one.places]
    return key_columns(numbers, device, condition, [1] * len(device))


def _parts(port: str, s: ComplexArray) -> dict[str, pa.Array]:
    return {
        f"{port}_{name}": pa.array((np.round(part / _QUANTUM) * _QUANTUM).astype(np.float32))
        for name, part in (("re", s.real), ("im", s.imag))
    }


def _truth(wafer: TouchedWafer, swept: list[_Swept]) -> pa.Table:
    """The true value of each figure that a parameter takes from these sweeps."""
    return pa.concat_tables(
        true_table(
            wafer.plan.id,
            _keys(wafer.numbers(one.places), [one]),
            [name] * len(one.places),
            figure[one.places],
        )
        for one in swept
        for name, figure in one.sweeps.true.items()
    )
