"""Rows, sweeps and curves whose numbers show a laboratory's mistake: told with its likely cause.

Each check leaves out what it tells: nobody knows what the numbers should have been. What is likely
is decided on arrays, in the modules likely_*.py.
"""

from collections.abc import Callable, Iterable, Mapping

import numpy as np

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.tables import BIAS_PREFIX
from sitegen.read.columns import Table
from sitegen.read.entries import Context, Entries, IntArray, column_place, texts_of
from sitegen.read.likely_bias import OtherBias, other_bias
from sitegen.read.likely_scales import (
    MOST,
    NEAR_SET_POINT_C,
    Range,
    frequency_unit,
    limit_range,
    possible_range,
    scale_off,
    temperature_unit,
    unit_after,
)
from sitegen.read.likely_sweeps import exchanged_ports
from sitegen.read.likely_twins import twin_dies, twins
from sitegen.read.runs import Runs
from sitegen.read.words import quoted

UNITS, COLUMNS, BIAS, TWICE, SWAPPED = (
    "Numbers in another unit than stated",
    "Columns that look exchanged",
    "Bias of another condition",
    "One measurement under two dies",
    "Ports that look exchanged",
)
"""Headings of the groups of these faults."""
SET_POINT_REACH_C = 5.0
"""Numbers that all lie so near their conditions' set points are temperatures."""


def refuse_unlikely(entries: Entries, context: Context) -> None:
    """Refuse entries with temperatures in another unit or in place of values, and wrong bias."""
    conditions = texts_of(entries.table, "condition", None)
    by_id = {one.id: one for one in context.campaign.conditions}
    set_point_c = np.array(
        [by_id[one].temperature_c if one in by_id else np.nan for one in conditions], np.float64
    )
    _refuse_exchanged_with_temperature(entries, set_point_c)
    _refuse_other_temperature(entries, "temperature_c", set_point_c)
    around = context.wafer.record.ambient_c
    if around is not None:
        for name in ("ambient_c", "substrate_c"):
            _refuse_other_temperature(entries, name, np.full(len(set_point_c), around))
    measured = {
        name.removeprefix(BIAS_PREFIX): np.where(entries.keep, entries.table.numbers(name), np.nan)
        for name in entries.table.columns
        if name.startswith(BIAS_PREFIX)
    }
    set_points = {one.id: one.bias for one in context.campaign.conditions}
    for each in other_bias(conditions, measured, set_points) if measured else ():
        _refuse_bias(entries, each, measured, set_points)


def _refuse_exchanged_with_temperature(entries: Entries, set_point_c: FloatArray) -> None:
    """Values that are all temperatures beside temperatures that are none."""
    value, measured = (entries.table.numbers(name) for name in ("value", "temperature_c"))
    there = entries.keep & np.isfinite(value) & np.isfinite(measured) & np.isfinite(set_point_c)
    if there.sum() < 3:
        return
    swapped = there & (np.abs(value - set_point_c) <= SET_POINT_REACH_C)
    swapped &= np.abs(measured - set_point_c) > NEAR_SET_POINT_C
    if swapped.sum() < MOST * there.sum():
        return
    entries.refuse(
        there,
        column_place("value", "temperature_c"),
        lambda first: (
            f"values that look like temperatures ({value[first]:g}) and temperatures that look"
            f" like values ({measured[first]:g})"
        ),
        f"temperatures near the set point of {set_point_c[there][0]:g} °C",
        "Exchange the two columns; the rows were left out.",
        cause=COLUMNS,
    )


def _refuse_other_temperature(entries: Entries, name: str, set_point_c: FloatArray) -> None:
    numbers = entries.table.numbers(name)
    there = entries.keep & np.isfinite(numbers) & np.isfinite(set_point_c)
    unit = temperature_unit(numbers[there], set_point_c[there])
    if unit is None:
        return
    entries.refuse(
        there,
        column_place(name),
        f"temperatures that look like {unit}: median {np.median(numbers[there]):.4g}",
        f"degrees Celsius, near {np.median(set_point_c[there]):g}",
        "Convert the column to degrees Celsius; the rows were left out.",
        cause=UNITS,
    )


def _refuse_bias(
    entries: Entries,
    each: OtherBias,
    measured: Mapping[str, FloatArray],
    set_points: Mapping[str, Mapping[str, float]],
) -> None:
    own = {key: value for key, value in set_points[each.condition].items() if key in measured}
    whose = f"the bias of the condition {quoted(each.other)}" if each.other else "a bias"
    looks = f" {each.looks}" if each.looks else ""

    def found(first: int) -> str:
        told = ", ".join(f"{key} {measured[key][first]:.4g}" for key in own)
        return f"{told}: {whose}{looks}, under the condition {quoted(each.condition)}"

    entries.refuse(
        each.rows,
        column_place(*(BIAS_PREFIX + key for key in own)),
        found,
        ", ".join(f"{key} near {value:g}" for key, value in own.items()),
        "Correct the condition or the bias, or measure again with the right bias table; the rows"
        " were left out.",
        cause=BIAS if each.other else UNITS,
    )


def refuse_other_scale(
    entries: Entries, value: FloatArray, parameters: Mapping[str, Parameter]
) -> None:
    """Refuse values that most look to be in another unit; `value` is in the parameter's unit."""
    names, of_row = entries.table.words("parameter")
    conditions, condition_of_row = entries.table.words("condition")
    usable = entries.keep & np.isfinite(value)
    raw = entries.table.numbers("value")
    for name in sorted(set(names) & set(parameters)):
        parameter = parameters[name]
        possible = possible_range(
            parameter.plausible_lower, parameter.plausible_upper, parameter.lower, parameter.upper
        )
        aim = limit_range(parameter.lower, parameter.upper)
        if possible is None:
            continue
        of_parameter = usable & (of_row == names.index(name))
        for condition in sorted(set(parameter.conditions) & set(conditions)):
            chosen = of_parameter & (condition_of_row == conditions.index(condition))
            is_share = parameter.unit in ("1", "%")
            factor = scale_off(value[chosen], possible, aim, is_share)
            if factor is not None:
                _refuse_scaled(entries, chosen, raw, value, factor, parameter, aim or possible)


def _refuse_scaled(
    entries: Entries,
    chosen: BoolArray,
    raw: FloatArray,
    value: FloatArray,
    factor: float,
    parameter: Parameter,
    usual: Range,
) -> None:
    told = raw[chosen] != 0
    ratio = float(np.median(value[chosen][told] / raw[chosen][told])) if told.any() else 1.0
    unit = unit_after(parameter.unit, ratio * factor)
    in_unit = "" if parameter.unit == "1" else f" {parameter.unit}"
    looks = unit if unit is not None else f"numbers {1 / factor:g} times too large"
    entries.refuse(
        chosen,
        column_place("value"),
        f"values of {quoted(parameter.id)} that look like {looks}: median"
        f" {np.median(raw[chosen]):.4g}",
        f"values between {usual.lower:.4g} and {usual.upper:.4g}{in_unit} once they are"
        " converted from the unit stated for them",
        "Correct the unit stated for the parameter, its limits or the values; the rows were left"
        " out.",
        cause=UNITS,
    )


def refuse_twin_values(
    entries: Entries, die_x: IntArray, die_y: IntArray, value: FloatArray
) -> None:
    """Refuse the values of dies that agree in all of them to the last digit."""
    kept = np.flatnonzero(entries.keep & np.isfinite(value))
    if not len(kept):
        return
    names = ("site", "device", "parameter", "condition")
    columns = [entries.table.words(name)[1][kept] for name in names]
    touchdown = np.nan_to_num(entries.table.numbers("touchdown")[kept], nan=1.0).astype(np.int64)
    items = np.unique(np.column_stack([*columns, touchdown]), axis=0, return_inverse=True)[1]
    dies = np.column_stack([die_x[kept], die_y[kept]])
    other, first = twin_dies(dies, items.reshape(-1), value[kept])
    twin = np.full(len(value), -1)
    twin[kept] = other
    _refuse_twins(
        entries,
        twin >= 0,
        lambda at: (int(x) for x in dies[first[twin[at]]]),
        "the same values to the last digit",
        "values",
    )


def refuse_twin_runs(
    entries: Entries,
    table: Table,
    runs: Runs,
    names: tuple[str, ...],
    die_x: IntArray,
    die_y: IntArray,
    what: str,
) -> None:
    """Refuse sweeps or curves whose readings agree to the last digit with another die's.

    `names` are the columns of readings; `what` is a sweep or a curve.
    """
    columns = [table.numbers(name)[runs.order] for name in names if name in table.columns]
    dies = np.column_stack([die_x, die_y])
    twin = np.full(len(entries.rows), -1)
    for length in np.unique(runs.lengths[entries.keep]) if columns else ():
        chosen = np.flatnonzero(entries.keep & (runs.lengths == length))
        at = runs.starts[chosen][:, None] + np.arange(length)
        chosen, at = _alike(columns[0], chosen, at)
        if not len(chosen):
            continue
        readings = np.concatenate([column[at] for column in columns], axis=1)
        finite = np.isfinite(readings).any(axis=1)
        found = twins(np.nan_to_num(readings[finite]), dies[chosen[finite]])
        twin[chosen[finite]] = np.where(found >= 0, chosen[finite][found], -1)
    _refuse_twins(
        entries,
        twin >= 0,
        lambda at: (int(number) for number in dies[twin[at]]),
        f"the same {what} to the last digit",
        f"{what}s",
    )


def _alike(column: FloatArray, chosen: IntArray, at: IntArray) -> tuple[IntArray, IntArray]:
    """Those whose first readings are not all different: only they can be equal throughout."""
    _, which, counts = np.unique(column[at[:, 0]], return_inverse=True, return_counts=True)
    again = counts[which.reshape(-1)] > 1
    if again.any():
        _, which, counts = np.unique(column[at[:, -1]], return_inverse=True, return_counts=True)
        again &= counts[which.reshape(-1)] > 1
    return chosen[again], at[again]


def _refuse_twins(
    entries: Entries,
    bad: BoolArray,
    other: Callable[[int], Iterable[int]],
    found: str,
    what: str,
) -> None:
    entries.refuse(
        bad,
        "",
        lambda at: (
            f"{found} as on die ({', '.join(str(number) for number in other(at))}) of the layout"
        ),
        f"{what} that differ by noise",
        "Find out which die was measured and remove the other; both were left out.",
        cause=TWICE,
    )


def refuse_exchanged_ports(entries: Entries, chosen: BoolArray, s: ComplexArray) -> BoolArray:
    """Refuse sweeps whose ports look exchanged beside the others of their device and condition.

    chosen: which entries are the sweeps of `s`, shape (n, n_freq, n_port, n_port). Returns which of
    these n stay.
    """
    at = np.flatnonzero(chosen)
    if s.shape[-1] != 2:
        return np.ones(len(at), np.bool_)
    codes = entries.table.words("condition")[1][at]
    odd = np.zeros(len(chosen), np.bool_)
    for code in np.unique(codes):
        mine = codes == code
        odd[at[mine]] = exchanged_ports(s[mine])
    entries.refuse(
        odd,
        "",
        "a sweep whose ports look exchanged: it passes from port 2 to port 1 as the others pass"
        " from port 1 to port 2",
        "the device's ports as in most sweeps of this device and condition",
        "Exchange S11 with S22 and S21 with S12 if the probes were exchanged; the sweep was left"
        " out.",
        cause=SWAPPED,
    )
    return np.asarray(entries.keep[at])


def refuse_other_frequencies(entries: Entries, table: Table) -> None:
    """Refuse all sweeps of a table whose frequencies look to be in another unit than hertz."""
    unit = frequency_unit(table.numbers("frequency_hz"))
    if unit is None:
        return
    entries.refuse(
        np.ones(len(entries.rows), np.bool_),
        column_place("frequency_hz"),
        f"frequencies that look like {unit}: the largest is"
        f" {np.nanmax(table.numbers('frequency_hz')):g}",
        "frequencies in Hz",
        "Convert the column, or state its unit in the column's metadata; the sweeps were left out.",
        cause=UNITS,
    )
