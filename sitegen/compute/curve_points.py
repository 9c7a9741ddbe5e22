"""The points of a group of curves: which are usable, their floors, accuracies and flags."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.dc.accuracy import Instruments, RangeAccuracy
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.flags import Flag, flags_of
from sitegen.compute.floors import Circumstances, Floors
from sitegen.compute.sweeps import WaferSetting, texts_or_none
from sitegen.compute.temperature import ZERO_CELSIUS_K
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.curve_figures import DRAIN_AXES
from sitegen.model.extraction import Curve
from sitegen.model.loaded import CurveGroup


@dataclass(frozen=True, eq=False)
class GroupPoints:
    """A group of curves with what is known of each point and curve."""

    group: CurveGroup
    record: Curve
    keys: pd.DataFrame
    floor_a: FloatArray
    """(n_curve, n_point): floor of each reading, NaN where none is stored or it is no current."""
    below_floor: BoolArray
    drain_v: FloatArray
    """(n_curve,) with the device's own sign; NaN where not known or the swept axis."""
    temperature_k: FloatArray
    instruments: Instruments
    links: int | None
    flags: Mapping[Flag, BoolArray]

    @property
    def sign(self) -> int:
        """-1 for a p-type device."""
        return -1 if self.record.polarity == "p" else 1


def turned(points: GroupPoints, rows: npt.NDArray[np.int64]) -> Curves:
    """Curves of a group, in the signs of an n-type device."""
    group, record, sign = points.group, points.record, points.sign
    measured = sign * group.measured[rows].astype(np.float64)
    below, stopped = points.below_floor[rows], group.in_compliance[rows]
    return Curves(
        swept=sign * group.swept[rows].astype(np.float64),
        measured=measured,
        usable=np.isfinite(measured) & ~below & ~stopped,
        in_compliance=stopped,
        below_floor=below,
        drain_v=sign * points.drain_v[rows],
        temperature_k=points.temperature_k[rows],
        swept_is_current=record.swept.endswith("_a"),
        measured_is_current=record.measured.endswith("_a"),
        links=points.links,
    )


def group_points(group: CurveGroup, setting: WaferSetting) -> GroupPoints:
    """What is known of a group's points and curves."""
    record = next(one for one in setting.campaign.curves if one.id == group.curve)
    device = setting.devices()[record.device]
    keys = group.keys.to_pandas()
    conditions = {one.id: one for one in setting.campaign.conditions}
    set_points = np.array([conditions[one].temperature_c for one in keys["condition"]])
    measured_c = keys["temperature_c"].astype(np.float64).to_numpy()
    floor_a = _floors(group, record, keys, setting)
    with np.errstate(invalid="ignore"):
        below = np.abs(group.measured) < floor_a
    found = GroupPoints(
        group=group,
        record=record,
        keys=keys,
        floor_a=floor_a,
        below_floor=below,
        drain_v=_drain_v(record, keys, setting)
        if device.kind == "transistor"
        else np.full(len(keys), np.nan),
        temperature_k=np.where(np.isnan(measured_c), set_points, measured_c) + ZERO_CELSIUS_K,
        instruments=_instruments(record, setting),
        links=device.links,
        flags={},
    )
    curves = turned(found, np.arange(len(keys)))
    again = None if group.again is None else found.sign * group.again.astype(np.float64)
    relative = np.zeros(group.measured.shape)
    offset = np.zeros(group.measured.shape)
    for name, accuracy in found.instruments.readings.items():
        relative[group.range == name] = accuracy.relative_u
        offset[group.range == name] = accuracy.offset_u
    output = device.kind == "transistor" and record.swept in DRAIN_AXES
    flags = flags_of(curves, again, group.range, (relative, offset), output)
    return replace(found, flags=flags)


def _drain_v(record: Curve, keys: pd.DataFrame, setting: WaferSetting) -> FloatArray:
    """Of each curve: the stepped axis if it is the drain voltage, else the condition's bias."""
    if record.swept in DRAIN_AXES:
        return np.full(len(keys), np.nan)
    if record.stepped in DRAIN_AXES:
        return keys["stepped"].astype(np.float64).to_numpy()
    known = {
        one.id: next((one.bias[name] for name in DRAIN_AXES if name in one.bias), np.nan)
        for one in setting.campaign.conditions
    }
    return np.array([known[one] for one in keys["condition"]], dtype=np.float64)


def _instruments(record: Curve, setting: WaferSetting) -> Instruments:
    """Declared accuracies of the readings by range, the source and a stepped drain voltage."""
    instrument = setting.dc_instrument.id if setting.dc_instrument else ""
    mine = [one for one in setting.station.accuracies if one.instrument == instrument]
    measures, sets = (
        "current" if name.endswith("_a") else "voltage" for name in (record.measured, record.swept)
    )
    readings = {
        one.range: RangeAccuracy(one.relative_u, one.offset_u)
        for one in mine
        if one.quantity == measures
    }

    def declared(quantity: str, range_: str | None) -> RangeAccuracy | None:
        return next(
            (
                RangeAccuracy(one.relative_u, one.offset_u)
                for one in mine
                if one.quantity == quantity and one.range == range_
            ),
            None,
        )

    source = declared(sets, record.source_accuracy_range)
    steps_drain = record.stepped in DRAIN_AXES and record.swept not in DRAIN_AXES
    drain = declared("voltage", record.stepped_accuracy_range) if steps_drain else None
    return Instruments(readings, source, drain)


def _floors(
    group: CurveGroup, record: Curve, keys: pd.DataFrame, setting: WaferSetting
) -> FloatArray:
    """Floor of each point's reading by its range; NaN where none is stored, or it is no current."""
    floor = np.full(group.measured.shape, np.nan)
    if not record.measured.endswith("_a"):
        return floor
    floors = Floors(setting)
    set_points = {one.id: one.temperature_c for one in setting.campaign.conditions}
    days = keys["measured_at"].dt.date.to_numpy()
    paths = texts_or_none(keys["path"])
    times = keys["integration_s"].astype(np.float64).to_numpy()
    greatest = np.abs(np.where(np.isfinite(group.swept), group.swept, 0.0)).max(axis=1, initial=0)
    volts = None if record.swept.endswith("_a") else np.round(greatest, 6)
    names = {one for one in group.range.reshape(-1) if one is not None}
    for row, condition in enumerate(keys["condition"]):
        for name in names:
            mine = group.range[row] == name
            if not mine.any():
                continue
            limit = floors.limit_a(
                Circumstances(
                    range=name,
                    path=paths[row],
                    day=days[row],
                    set_point_c=set_points[condition],
                    integration_s=None if np.isnan(times[row]) else float(times[row]),
                    voltage_v=None if volts is None else float(volts[row]),
                )
            )
            if limit is not None:
                floor[row, mine] = limit
    return floor
