"""A wafer's curves: the figures taken from them, with what stands behind each, and their flags."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen import addresses
from sitegen.compute.curve_points import GroupPoints, group_points, turned
from sitegen.compute.dc.accuracy import instrument_uncertainty, undeclared
from sitegen.compute.dc.curves import NEAR, Curves
from sitegen.compute.dc.estimates import Estimate
from sitegen.compute.dc.figures import RESTS_ON_DRAIN_V, extract
from sitegen.compute.dc.flags import FLAGS
from sitegen.compute.evidence import dc_evidence
from sitegen.compute.floors import per_ampere, sense_of, with_floor_columns
from sitegen.compute.sweeps import WaferSetting, joined_evidence
from sitegen.compute.temperature import temperature_uncertainty
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.curve_figures import CURVE_FIGURE_UNITS
from sitegen.model.device_results import CURVE_TRACE_SCHEMA, CurveTraces
from sitegen.model.extraction import FromCurve
from sitegen.model.loaded import CurveGroup
from sitegen.problems import Finding
from sitegen.units import conversion, count

TAKEN_FROM = ["die_x", "die_y", "site", "device", "condition", "touchdown"]
"""What the curves that give one value have in common."""
ROW_COLUMNS = (
    *TAKEN_FROM,
    "parameter",
    "value",
    "no_value",
    "u_extraction",
    "u_misfit",
    "u_instrument",
    "u_temperature",
    "not_reached",
    "remarks",
    "flags",
    "measured_at",
    "temperature_c",
    "bias",
    "range",
    "path",
    "file",
    "floor",
    "below_floor",
    "raw_reading",
)


@dataclass(frozen=True, eq=False)
class CurveValues:
    """What a wafer's curves give."""

    rows: pd.DataFrame
    """A row a die, site, device, parameter, condition and touchdown, with what stands behind it."""
    traces: tuple[CurveTraces, ...]
    findings: tuple[Finding, ...]


def values_from_curves(
    groups: tuple[CurveGroup, ...], setting: WaferSetting, wafer_id: str
) -> CurveValues:
    """The values of every parameter that is taken from curves, in its own unit.

    A value that could not be determined is NaN, and `no_value` says why; a die whose curves lack
    the stepped value that a parameter asks for has such a row too.
    """
    points = [group_points(group, setting) for group in groups]
    parts = [
        _rows_of(parameter, parameter.from_curve, one, setting)
        for parameter in setting.campaign.parameters
        if parameter.from_curve is not None
        for one in points
        if one.group.curve == parameter.from_curve.curve
    ]
    filled = [part for part in parts if len(part)]
    rows = pd.concat(filled, ignore_index=True) if filled else _no_rows()
    return CurveValues(
        rows=rows,
        traces=tuple(trace for one in points for trace in _traces(one)),
        findings=tuple(sorted(found for one in points for found in _findings(one, wafer_id))),
    )


def _no_rows() -> pd.DataFrame:
    none = np.empty(0, dtype="datetime64[us]")
    empty = pd.DataFrame({name: [] for name in ROW_COLUMNS})
    nothing = np.empty(0, dtype=object)
    return joined_evidence(empty, dc_evidence(none, np.empty(0), nothing, None, None))


def _rows_of(
    parameter: Parameter, wanted: FromCurve, points: GroupPoints, setting: WaferSetting
) -> pd.DataFrame:
    """Rows of one parameter from one group of curves."""
    keys = points.keys
    mine = keys["condition"].isin(parameter.conditions) & (keys["device"] == parameter.device)
    rows = keys[mine].drop_duplicates(TAKEN_FROM).reset_index(drop=True)
    if rows.empty:
        return rows
    places, lacking = _curves_for(rows, keys, wanted, points)
    rows = rows.assign(parameter=parameter.id, no_value=lacking, bias=_bias(wanted, points))
    there = lacking == ""
    found = _extracted(places[:, there], wanted, points)
    rows = _filled(rows, there, found)
    return _judged(rows, parameter, wanted, setting)


def _curves_for(
    rows: pd.DataFrame, keys: pd.DataFrame, wanted: FromCurve, points: GroupPoints
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.object_]]:
    """For each row the curve that it is taken from, and why there is none.

    Returns indices (1 or 2, n_row), two for a pair of stepped values, and texts (n_row,).
    """
    stepped = points.record.stepped
    lacking = np.full(len(rows), "", dtype=object)
    steps: tuple[float | None, ...] = wanted.stepped_pair or (wanted.stepped_at,)
    if (steps[0] is None) != (stepped is None):
        told = "does not step anything" if stepped is None else f"is stepped over {stepped}"
        asked = "asks for a stepped value" if stepped is None else "states no 'stepped_at'"
        lacking[:] = f"the curve {wanted.curve} {told} and the parameter {asked}"
        return np.zeros((len(steps), len(rows)), dtype=np.int64), lacking
    found = np.zeros((len(steps), len(rows)), dtype=np.int64)
    for place, step in enumerate(steps):
        at = np.ones(len(keys), dtype=bool)
        if step is not None:
            at = np.isclose(keys["stepped"].astype(np.float64), step, rtol=NEAR, atol=1e-9)
        chosen = keys.loc[at, TAKEN_FROM].assign(curve_row=np.flatnonzero(at))
        joined = rows[TAKEN_FROM].merge(
            chosen.drop_duplicates(TAKEN_FROM), how="left", on=TAKEN_FROM
        )
        missing = joined["curve_row"].isna().to_numpy()
        found[place] = joined["curve_row"].fillna(0).to_numpy(dtype=np.int64)
        if step is not None:
            lacking[missing & (lacking == "")] = f"no curve at {stepped} = {step:g}"
    return found, lacking


def _bias(wanted: FromCurve, points: GroupPoints) -> str:
    """'vds_v=1.2 vgs_v=0': where on the curves a value is taken; a pair of steps is no bias."""
    told = [
        "" if wanted.stepped_at is None else f"{points.record.stepped}={wanted.stepped_at:g}",
        "" if wanted.swept_at is None else f"{points.record.swept}={wanted.swept_at:g}",
    ]
    return " ".join(text for text in told if text)


@dataclass(frozen=True, eq=False)
class _Extracted:
    """An estimate with what belongs to it, in the figure's own unit."""

    estimate: Estimate
    u_instrument: FloatArray
    floor_a: FloatArray
    range: npt.NDArray[np.object_]
    remarks: npt.NDArray[np.object_]
    flags: npt.NDArray[np.object_]


def _extracted(places: npt.NDArray[np.int64], wanted: FromCurve, points: GroupPoints) -> _Extracted:
    """The figure of each value's curve, or pair of curves; places: (1 or 2, n)."""
    n = places.shape[1]
    every = places.reshape(-1)
    ranges = points.group.range[every]
    curves = turned(points, every)
    sign = points.sign

    def extract_again(one: Curves) -> Estimate:
        return extract(one, wanted, sign)

    found = extract(curves, wanted, sign)
    instruments = points.instruments
    if wanted.figure not in RESTS_ON_DRAIN_V:
        instruments = replace(instruments, drain=None)
    u = instrument_uncertainty(extract_again, curves, found, ranges, instruments)
    touched = _touched(found)
    own = every[:n]
    pair = [np.flatnonzero(mask) for mask in found.used]
    first = np.array([one[0] if len(one) else -1 for one in pair], dtype=np.int64)
    where_floor = np.where(found.used, points.floor_a[own], -np.inf)
    floor = where_floor.max(axis=1, initial=-np.inf)
    return _Extracted(
        estimate=found,
        u_instrument=u,
        floor_a=np.where(np.isfinite(floor), floor, np.nan),
        range=np.array(
            [None if at < 0 else ranges[row, at] for row, at in enumerate(first)], dtype=object
        ),
        remarks=_remarks(found, touched, wanted, points, own, ranges[:n]),
        flags=_flags(touched, wanted, points, places),
    )


def _touched(found: Estimate) -> BoolArray:
    """Points that a value rests on, would rest on, and their neighbours."""
    wide = found.used | found.wanted
    grown = wide.copy()
    grown[:, 1:] |= found.used[:, :-1]
    grown[:, :-1] |= found.used[:, 1:]
    return grown


def _remarks(
    found: Estimate,
    touched: BoolArray,
    wanted: FromCurve,
    points: GroupPoints,
    own: npt.NDArray[np.int64],
    ranges: npt.NDArray[np.object_],
) -> npt.NDArray[np.object_]:
    told = found.remarks.copy()
    floor_a = points.floor_a[own]
    current = points.record.measured.endswith("_a")
    unknown = undeclared(found, ranges, points.instruments)
    for row in np.flatnonzero(found.no_value == ""):
        left_out = 0
        if wanted.figure not in ("current", "breakdown voltage"):
            left_out = int((touched[row] & points.below_floor[own[row]]).sum())
        used = found.used[row]
        phrases = [
            told[row],
            f"{count(left_out, 'point')} below the floor left out" if left_out else "",
            "no floor is stored for its readings"
            if current and used.any() and np.isnan(floor_a[row][used]).any()
            else "",
            f"accuracy not declared for the range {unknown[row]}" if unknown[row] else "",
        ]
        told[row] = "; ".join(text for text in phrases if text)
    return told


def _flags(
    touched: BoolArray, wanted: FromCurve, points: GroupPoints, places: npt.NDArray[np.int64]
) -> npt.NDArray[np.object_]:
    """Flags of the value's curves; compliance only where it touches the points of the value."""
    told = np.full(places.shape[1], "", dtype=object)
    for row in range(len(told)):
        mine = {flag for one in places[:, row] for flag in FLAGS if points.flags[flag][one]}
        in_use = touched[row] & points.group.in_compliance[places[:, row]].any(axis=0)
        if wanted.figure == "breakdown voltage" or not in_use.any():
            mine.discard("compliance reached")
        told[row] = "; ".join(flag for flag in FLAGS if flag in mine)
    return told


def _filled(rows: pd.DataFrame, there: BoolArray, found: _Extracted) -> pd.DataFrame:
    """Rows with the extracted values where there are curves, else with none."""
    n = len(rows)

    def numbers(part: FloatArray) -> FloatArray:
        whole = np.full(n, np.nan)
        whole[there] = part
        return whole

    def texts(part: npt.NDArray[np.object_], none: str | None) -> npt.NDArray[np.object_]:
        whole = np.full(n, none, dtype=object)
        whole[there] = part
        return whole

    not_reached = np.zeros(n, dtype=bool)
    not_reached[there] = found.estimate.not_reached
    no_value = rows["no_value"].to_numpy(dtype=object).copy()
    no_value[there] = found.estimate.no_value
    return rows.assign(
        value=numbers(found.estimate.value),
        u_extraction=numbers(found.estimate.u_extraction),
        u_misfit=numbers(np.abs(found.estimate.misfit)),
        u_instrument=numbers(found.u_instrument),
        floor_a=numbers(found.floor_a),
        range=texts(found.range, None),
        remarks=texts(found.remarks, ""),
        flags=texts(found.flags, ""),
        no_value=no_value,
        not_reached=not_reached,
    )


def _judged(
    rows: pd.DataFrame, parameter: Parameter, wanted: FromCurve, setting: WaferSetting
) -> pd.DataFrame:
    """Rows in the parameter's unit, against the floor where it is a current, with evidence."""
    missing = np.full(len(rows), "", dtype=object)
    floor = np.full(len(rows), np.nan)
    sense = np.zeros(len(rows))
    if wanted.figure == "current":
        width_um = setting.devices()[parameter.device].width_um
        scale = per_ampere(parameter.unit, width_um)
        unit = float("nan") if scale is None else scale
        floor = rows["floor_a"].to_numpy(dtype=np.float64) * unit
        curves = {one.id: one for one in setting.campaign.curves}
        sense[:] = sense_of(parameter, 1 if curves[wanted.curve].polarity == "n" else -1)
        lacking = np.isnan(floor) & (rows["no_value"] == "").to_numpy()
        for row in np.flatnonzero(lacking):
            missing[row] = _lacking(rows.iloc[row], parameter, unit, setting)
        if np.isnan(unit):
            rows = rows.assign(no_value=f"{parameter.device} states no width_um")
    else:
        unit = conversion(CURVE_FIGURE_UNITS[wanted.figure], parameter.unit)
    parts = ("u_extraction", "u_misfit", "u_instrument")
    rows = rows.assign(
        value=unit * rows["value"], **{name: abs(unit) * rows[name] for name in parts}
    )
    rows = with_floor_columns(rows, floor, sense)
    rows["u_temperature"] = temperature_uncertainty(rows, setting.campaign, setting.thermal)
    stamped = rows["measured_at"].dt.tz_convert("UTC").dt.tz_localize(None)
    evidence = dc_evidence(
        stamped.to_numpy(dtype="datetime64[us]"),
        np.full(len(rows), np.nan),
        missing,
        setting.dc_instrument,
        setting.campaign.touchdowns.contact_resistance_max_ohm,
    )
    return joined_evidence(rows[list(ROW_COLUMNS)], evidence)


def _lacking(row: pd.Series, parameter: Parameter, unit: float, setting: WaferSetting) -> str:
    if np.isnan(unit):
        return f"{parameter.device} states no width_um"
    instrument = setting.dc_instrument.id if setting.dc_instrument else "no instrument"
    range_, path = (row[name] if row[name] else "not stated" for name in ("range", "path"))
    return f"{instrument}, range {range_}, path {path}"


def _traces(points: GroupPoints) -> list[CurveTraces]:
    """The group's curves by condition, with their flags."""
    flags = [
        "; ".join(flag for flag in FLAGS if points.flags[flag][row])
        for row in range(len(points.keys))
    ]
    keys = points.group.keys.append_column("flags", pa.array(flags, pa.string()))
    conditions = points.keys["condition"].to_numpy()
    return [
        CurveTraces(
            curve=points.group.curve,
            condition=str(condition),
            keys=keys.filter(pa.array(conditions == condition)).cast(CURVE_TRACE_SCHEMA),
            swept=points.group.swept[conditions == condition],
            measured=points.group.measured[conditions == condition],
            floor_a=points.floor_a[conditions == condition],
        )
        for condition in sorted(set(conditions))
    ]


def _findings(points: GroupPoints, wafer_id: str) -> list[Finding]:
    """A finding for each flag that curves of the group have; compliance is for its values only."""
    found = []
    for flag in FLAGS:
        mine = points.flags[flag]
        if flag == "compliance reached" or not mine.any():
            continue
        first = points.keys.iloc[int(np.argmax(mine))]
        found.append(
            Finding(
                kind=flag,
                subject=f"wafer {wafer_id}",
                text=f"On wafer {wafer_id}, {count(int(mine.sum()), 'curve')} of"
                f" {len(mine)} of {points.group.curve}"
                f" {'shows' if mine.sum() == 1 else 'show'} {PHRASES[flag]}, the first on die"
                f" ({first['die_x']}, {first['die_y']}).",
                weight="attention",
                address=addresses.wafer(wafer_id),
            )
        )
    return found


PHRASES = {
    "step at a range change": "a step where the measuring range changes, beyond the accuracies of"
    " both ranges",
    "incomplete settling": "incomplete settling: second readings differ from the first by one"
    " tendency",
    "self-heating": "self-heating: the current falls while the power grows",
}
