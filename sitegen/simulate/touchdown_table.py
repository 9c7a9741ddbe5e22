"""The table of a wafer's touchdowns with their contact checks, one row a touchdown of a device."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.simulate.devices_declared import DUMMIES
from sitegen.simulate.scenario import Die
from sitegen.simulate.sweep_tables import ONE_PORT_PERIOD_H
from sitegen.simulate.touched_wafer import (
    SWEPT_AT,
    TOUCHED_DEVICES,
    Places,
    TouchedWafer,
    Touches,
    as_table,
)

CHECKS: tuple[dict[str, object], ...] = (
    {"quantity": "contact resistance", "upper": 1.5, "mandatory": True},
    {"quantity": "pad-to-pad leakage", "upper": 5e-12, "devices": ["cap"]},
    {"quantity": "overtravel", "lower": 35.0, "upper": 65.0},
)
PAD_TOUCHDOWNS_MAX = 6
_TOUCHED_AT = {"hemt": 0.02, "contacts": 0.10, "cap": 0.13, "chain": 0.26, "spiral": 0.69}
_LEAKAGE_A = 3e-13
_CONTACTS_BEFORE, _CONTACTS_A_WAFER = 4240, 1400


@dataclass(frozen=True, eq=False)
class _Touched:
    """Touchdowns of one device on n dies."""

    device: str
    places: Places
    hours: FloatArray
    number: Touches
    ohm: FloatArray


def touchdown_table(wafer: TouchedWafer) -> pa.Table:
    """The wafer's touchdowns in the order of time."""
    groups = list(_groups(wafer))
    places = np.concatenate([one.places for one in groups])
    hours = np.concatenate([one.hours for one in groups])
    device = np.concatenate([[one.device] * len(one.places) for one in groups])
    order = np.argsort(hours, kind="stable")
    rng = np.random.default_rng([wafer.scenario.seed, 26, wafer.number])
    leakage = np.abs(_LEAKAGE_A * (1.0 + 0.3 * rng.standard_normal(len(places))))
    for place, poor in (both for name in TOUCHED_DEVICES for both in wafer.poor_touches(name)):
        leakage[(places == place) & (device == poor.device)] += poor.leakage_a
    dies = wafer.frame_numbers(places)
    before = _CONTACTS_BEFORE + _CONTACTS_A_WAFER * wafer.number
    columns = {
        "die_x": pa.array(dies[:, 0]),
        "die_y": pa.array(dies[:, 1]),
        "site": pa.array([""] * len(places), pa.string()),
        "device": pa.array(device, pa.string()),
        "touchdown": pa.array(np.concatenate([one.number for one in groups])),
        "measured_at": wafer.stamps(hours),
        "contact_resistance_ohm": pa.array(
            np.concatenate([one.ohm for one in groups]), pa.float64(), from_pandas=True
        ),
        "pad_leakage_a": pa.array(np.round(leakage, 15)),
        "overtravel_um": pa.array(np.round(50.0 + 2.0 * rng.standard_normal(len(places)), 1)),
    }
    table = as_table(columns).take(order)
    counted = pa.array(before + 1 + np.arange(len(places)), pa.int64())
    return table.append_column("probe_contacts", counted)


def _groups(wafer: TouchedWafer) -> Iterator[_Touched]:
    for device in TOUCHED_DEVICES[:-1]:
        places = wafer.places((dummy_die(wafer),)) if device in DUMMIES else wafer.touched
        share = _TOUCHED_AT.get(device, SWEPT_AT.get(device, 0.0) - 0.01)
        at = wafer.hours[places] + share * wafer.die_hours
        yield _of(wafer, device, places, at, wafer.touchdown(device, places), 1)
        for control in wafer.controls(device):
            place = wafer.places((control.die,))
            for number, hours in ((1, control.start), (3, control.end)):
                yield _of(wafer, device, place, np.array([hours]), np.array([number]), 10 + number)
    again = wafer.scenario.plants.retouched
    if again is not None and again.wafer == wafer.number:
        place = wafer.places((again.die,))
        at = wafer.hours[place] + 0.31 * wafer.die_hours
        yield _of(wafer, again.device, place, at, np.array([2]), 2)
    session = wafer.plan.one_port
    if session is not None:
        places = wafer.places(session.dies)
        at = session.start + ONE_PORT_PERIOD_H * (np.arange(len(places)) - 0.2)
        yield _of(wafer, "spiral-gnd", places, at, np.ones(len(places)), 1)


def dummy_die(wafer: TouchedWafer) -> Die:
    """The die whose dummy structures serve the wafer."""
    return wafer.plan.dummy_die or wafer.scenario.grid.dies[wafer.touched[0]]


def _of(
    wafer: TouchedWafer,
    device: str,
    places: Places,
    hours: FloatArray,
    number: FloatArray | Touches,
    stream: int,
) -> _Touched:
    ohm = wafer.contact_ohm(device, stream)[places]
    return _Touched(device, places, hours, np.asarray(number, dtype=np.int32), ohm)
