"""The tables of a wafer's sweeps: what the analyser showed of each device."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.devices_declared import DUMMIES
from sitegen.simulate.reading import USUAL
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.set_points import BIAS_OF, BIAS_SWEEP
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
from sitegen.simulate.touched_wafer import (
    Places,
    TouchedWafer,
    Touches,
    as_table,
    key_columns,
    true_table,
)
from sitegen.simulate.transfer import transfer_law

ONE_PORT_PERIOD_H = 40 / 3600
_BIAS_STEP = 0.02
_QUANTUM = 2.0**-18
"""Sweeps are stored to this step, a fifth of the noise, so that they compress."""


@dataclass(frozen=True, eq=False)
class _Swept:
    """Sweeps of one device under one condition on n dies of the wafer."""

    sweeps: DeviceSweeps
    places: Places
    hours: FloatArray
    touchdown: Touches
    current_a: FloatArray | None = None
    """Drain current of each die of the grid, where the device was biased."""

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
    raw = [*_passive(wafer), *_transistors(wafer), *_dummies(wafer)]
    draw = drawer(wafer.scenario.seed, wafer.number, 1)
    line = _in_turn(wafer, line_sweeps(wafer.truth, draw))
    made = [_two_port(wafer, raw, "raw"), _two_port(wafer, [line], "corrected")]
    session = wafer.plan.one_port
    if session is not None:
        places = wafer.places(session.dies)
        at = session.start + ONE_PORT_PERIOD_H * np.arange(len(places))
        first = np.ones(len(places), dtype=np.int32)
        made.append(
            _one_port(wafer, _Swept(grounded_inductor_sweeps(wafer.truth), places, at, first))
        )
    return tuple(made)


def _in_turn(wafer: TouchedWafer, sweeps: DeviceSweeps) -> _Swept:
    """A device on every measured die, each in its own turn."""
    return _in_turn_on(wafer, sweeps, wafer.touched)


def _passive(wafer: TouchedWafer) -> Iterator[_Swept]:
    capacitor = capacitor_sweeps(wafer.truth)
    yield _in_turn(wafer, capacitor)
    for control in wafer.controls("cap"):
        place = wafer.places((control.die,))
        for number, hours in ((1, control.start), (3, control.end)):
            yield _Swept(capacitor, place, np.array([hours]), np.array([number], dtype=np.int32))
    poor_ohm = np.zeros(len(wafer.scenario.grid.dies))
    for where, touch in wafer.poor_touches("spiral"):
        poor_ohm[where] = touch.ohm or 0.0
    yield _in_turn(wafer, inductor_sweeps(wafer.truth, contact_ohm=poor_ohm))


def _transistors(wafer: TouchedWafer) -> Iterator[_Swept]:
    yield _biased(wafer, "rf", wafer.touched, 0)
    biased = wafer.places(wafer.plan.bias_dies)
    for n, condition in enumerate(BIAS_SWEEP if len(biased) else (), 1):
        yield _biased(wafer, condition, biased, n)


def _biased(wafer: TouchedWafer, condition: str, places: Places, step: int) -> _Swept:
    """The transistor under an RF bias, with the drain current that was read meanwhile."""
    bias = BIAS_OF[condition]
    current = transfer_law(wafer.truth).current_a(np.array([bias["vgs_v"]]), bias["vds_v"])[:, 0]
    rng = np.random.default_rng([wafer.scenario.seed, 32, wafer.number, step])
    return _Swept(
        transistor_sweeps(wafer.truth, condition),
        places,
        wafer.swept_hours("hemt", places) + _BIAS_STEP * step * wafer.die_hours,
        wafer.touchdown("hemt", places, True),
        np.round(current * (1.0 + 0.002 * rng.standard_normal(len(current))), 6),
    )


def _dummies(wafer: TouchedWafer) -> Iterator[_Swept]:
    """The pads' dummy structures on one die."""
    die = wafer.plan.dummy_die or wafer.scenario.grid.dies[wafer.touched[0]]
    place = wafer.places((die,))
    count = len(wafer.scenario.grid.dies)
    for name in DUMMIES:
        s = np.repeat(dummy_sweeps(name), count, axis=0)
        yield _in_turn_on(wafer, DeviceSweeps(name, "unbiased", {}, s), place)


def _in_turn_on(wafer: TouchedWafer, sweeps: DeviceSweeps, places: Places) -> _Swept:
    device = sweeps.device
    return _Swept(
        sweeps, places, wafer.swept_hours(device, places), wafer.touchdown(device, places)
    )


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
        "calibration": _named(wafer, hours),
        "state": pa.array([state] * len(places)),
        "temperature_c": pa.array(wafer.temperature_c(places, 25.0)),
        "ambient_c": pa.array([scenario.ambient_c(float(hour)) for hour in hours]),
        "substrate_c": pa.array([scenario.substrate_c(float(hour)) for hour in hours]),
        **_bias(swept),
    }
    rows = np.repeat(np.arange(len(places)), len(FREQUENCY_HZ))
    columns = {name: column.take(rows) for name, column in by_sweep.items()}
    return columns | {"frequency_hz": pa.array(np.tile(FREQUENCY_HZ, len(places)))}


def _named(wafer: TouchedWafer, hours: FloatArray) -> pa.Array:
    """The calibration that each sweep names; on most wafers none."""
    names = [
        wafer.scenario.calibration_at(float(hour), 2).id if wafer.plan.names_calibration else None
        for hour in hours
    ]
    return pa.array(names, pa.string())


def _bias(swept: list[_Swept]) -> dict[str, pa.Array]:
    """Voltages as they were set and the drain current as it was read, where there was a bias."""
    columns: dict[str, list[float | None]] = {"vds_v": [], "vgs_v": [], "id_a": []}
    for one in swept:
        bias = BIAS_OF[one.sweeps.condition]
        for place in one.places:
            for name in ("vds_v", "vgs_v"):
                columns[name].append(bias.get(name))
            columns["id_a"].append(None if one.current_a is None else one.current_a[place])
    return {f"bias_{name}": pa.array(each, pa.float64()) for name, each in columns.items()}


def _keys(
    numbers: np.ndarray[tuple[int, ...], np.dtype[np.int32]], swept: list[_Swept]
) -> dict[str, pa.Array]:
    device = [one.sweeps.device for one in swept for _ in one.places]
    condition = [one.sweeps.condition for one in swept for _ in one.places]
    return key_columns(numbers, device, condition, np.concatenate([one.touchdown for one in swept]))


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
