"""The table of a wafer's values: parameters that the station's program gave as numbers."""

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.simulate.draws import measured
from sitegen.simulate.measured import Measured
from sitegen.simulate.parameters import BY_ID, PARAMETERS
from sitegen.simulate.set_points import SET_POINTS
from sitegen.simulate.touched_wafer import (
    Places,
    TouchedWafer,
    Touches,
    as_table,
    key_columns,
    true_table,
)

AT_RF_BIAS = BY_ID["IDRF"]
EVERY_DIE = tuple(
    one for one in PARAMETERS if one.tabled and not one.some_dies and one is not AT_RF_BIAS
)
HOT = tuple(one for one in PARAMETERS if one.tabled and one.some_dies)
HOT_PERIOD_H = 60 / 3600
_FIRST_AT, _STEP = 0.05, 0.03
_AGAIN_AT, _AGAIN_STEP = 0.32, 0.015
"""When, as a share of a die's time, values are taken at the first and at a second touchdown."""
BIAS_NAMES = sorted(
    {name for one in SET_POINTS for name in one.bias if not name.startswith("vds_limit")}
)
_SET_POINT = {one.id: one for one in SET_POINTS}


@dataclass(frozen=True, eq=False)
class _Group:
    """Values of one parameter under its condition at one touchdown, on n dies."""

    parameter: Measured
    touchdown: Touches
    places: Places
    hours: FloatArray
    value: FloatArray
    true: FloatArray
    contact_ohm: FloatArray

    @property
    def condition(self) -> str:
        return self.parameter.conditions[0]


def value_table(wafer: TouchedWafer) -> tuple[pa.Table, pa.Table]:
    """The wafer's values in the order in which they were taken, and the truth of each row."""
    groups = _groups(wafer)
    counts = [len(group.places) for group in groups]
    places = np.concatenate([group.places for group in groups])
    hours = np.concatenate([group.hours for group in groups])
    order = np.argsort(hours, kind="stable")

    def each(entries: list[object], kind: pa.DataType) -> pa.Array:
        """One entry a group, repeated on each of its rows."""
        return pa.array(entries, kind).take(np.repeat(np.arange(len(groups)), counts))

    parameters = [group.parameter for group in groups]
    currents = [one.range_path or (None, None) for one in parameters]
    set_points = [_SET_POINT[group.condition] for group in groups]
    keys = key_columns(
        wafer.frame_numbers(places),
        each([one.device for one in parameters], pa.string()).to_pylist(),
        each([group.condition for group in groups], pa.string()).to_pylist(),
        np.concatenate([group.touchdown for group in groups]),
    )
    set_c = np.repeat([one.temperature_c for one in set_points], counts)
    columns = {
        **keys,
        "parameter": each([one.id for one in parameters], pa.string()),
        "value": pa.array(np.concatenate([group.value for group in groups])),
        "measured_at": wafer.stamps(hours),
        "temperature_c": pa.array(
            np.where(
                set_c > 25.0, wafer.temperature_c(places, 85.0), wafer.temperature_c(places, 25.0)
            )
        ),
        "ambient_c": pa.array([wafer.scenario.ambient_c(float(hour)) for hour in hours]),
        "contact_resistance_ohm": pa.array(np.concatenate([one.contact_ohm for one in groups])),
        "range": each([one[0] for one in currents], pa.string()),
        "path": each([one[1] for one in currents], pa.string()),
        **{
            f"bias_{name}": each([one.bias.get(name) for one in set_points], pa.float64())
            for name in BIAS_NAMES
        },
    }
    numbers = wafer.numbers(places)
    truth = true_table(
        wafer.plan.id,
        keys | {"die_x": pa.array(numbers[:, 0]), "die_y": pa.array(numbers[:, 1])},
        columns["parameter"].to_pylist(),
        np.concatenate([group.true for group in groups]),
    )
    return as_table(columns).take(order), truth.take(order)


def _groups(wafer: TouchedWafer) -> list[_Group]:
    """Every value that is not taken from a sweep or a curve."""
    every = wafer.touched
    groups = [
        _group(wafer, one, 1, every, wafer.hours[every] + (_FIRST_AT + _STEP * n) * wafer.die_hours)
        for n, one in enumerate(EVERY_DIE)
    ]
    at_bias = _group(wafer, AT_RF_BIAS, 1, every, wafer.swept_hours("hemt", every))
    groups.append(replace(at_bias, touchdown=wafer.touchdown("hemt", every, swept=True)))
    again = wafer.scenario.plants.retouched
    if again is not None and again.wafer == wafer.number:
        place = wafer.places((again.die,))
        groups = [_poor_contact(one, place, again.shift_ohm) for one in groups]
        for n, one in enumerate(one for one in EVERY_DIE if one.device == again.device):
            at = wafer.hours[place] + (_AGAIN_AT + _AGAIN_STEP * n) * wafer.die_hours
            groups.append(_group(wafer, one, 2, place, at))
    if wafer.plan.hot is not None:
        places = wafer.places(wafer.plan.hot.dies)
        for n, one in enumerate(HOT):
            at = wafer.plan.hot.start + HOT_PERIOD_H * (np.arange(len(places)) + 0.2 * n)
            groups.append(_group(wafer, one, 1, places, at))
    return groups


def _group(
    wafer: TouchedWafer, parameter: Measured, touchdown: int, places: Places, hours: FloatArray
) -> _Group:
    assert parameter.truth is not None, "a figure of a sweep has no row in the table of values"
    true = parameter.truth(wafer.truth)
    shown = true.copy()
    for place, poor in wafer.poor_touches(parameter.device):
        shown[place] += poor.leakage_a
    value = measured(parameter, shown, wafer.scenario.seed, wafer.number, touchdown)
    number = wafer.touchdown(parameter.device, places) + (touchdown - 1)
    return _Group(
        parameter,
        number.astype(np.int32),
        places,
        hours,
        value[places],
        true[places],
        wafer.contact_ohm(parameter.device, touchdown)[places],
    )


def _poor_contact(group: _Group, place: Places, shift_ohm: float) -> _Group:
    """The group with a first touchdown that raised the on resistance of one die."""
    if group.parameter.id != "RON":
        return group
    return replace(group, value=group.value + shift_ohm * (group.places == place[0]))
