"""The floor of a current: what a reading below it means, and which floor holds for a reading.

A floor is a decision limit: the smallest current that can be told from none. A reading smaller in
size is shown as "< floor" and its raw reading kept. A reading beyond the floor in the sense in
which the current cannot flow is a fault of the measurement: it has no value.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen import addresses
from sitegen.compute.sweeps import WaferSetting, texts_or_none
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import Condition, Floor, Parameter
from sitegen.problems import Finding
from sitegen.units import conversion, count, parse

BELOW_MINUS_FLOOR = "below minus the floor"
"""The flag of a reading that is a fault of the measurement."""

PER_WIDTH = {"current per width": "A/m", "current per millimetre": "A/mm"}
"""Quantities whose floor is the current's divided by the device's width, with their base units."""


@dataclass(frozen=True)
class Circumstances:
    """What decides which floor holds for a reading; None: not stated."""

    range: str | None
    path: str | None
    day: date
    set_point_c: float | None
    """Of the condition."""
    integration_s: float | None = None
    voltage_v: float | None = None


class Floors:
    """The floors of one instrument; what was looked up once is remembered."""

    def __init__(self, setting: WaferSetting) -> None:
        self.instrument = setting.dc_instrument.id if setting.dc_instrument else ""
        self._stored = [one for one in setting.station.floors if one.instrument == self.instrument]
        self._found: dict[Circumstances, float | None] = {}

    def limit_a(self, at: Circumstances) -> float | None:
        """The decision limit that holds, in amperes; None: none is stored."""
        if at not in self._found:
            floor = floor_of(self._stored, at)
            self._found[at] = None if floor is None else floor.decision_limit_a
        return self._found[at]

    def lacking(self, at: Circumstances) -> str:
        """For what no floor is stored, as a phrase."""
        told = (
            f"{self.instrument or 'no instrument'}, range {at.range or 'not stated'}, path"
            f" {at.path or 'not stated'}"
        )
        return told if at.integration_s is None else f"{told}, {at.integration_s:g} s"


def floor_of(stored: Iterable[Floor], at: Circumstances) -> Floor | None:
    """The floor that holds for a reading.

    It must be of the reading's range and path, measured no later than the reading's day, and of
    the reading's integration time and set point where it states them. Of several the one that
    states more holds; of these the latest; of these the one found at the nearest voltage.
    """
    fitting = [
        one
        for one in stored
        if (one.range, one.path) == (at.range, at.path)
        and one.measured_on <= at.day
        and _fits(one.integration_s, at.integration_s)
        and _fits(one.temperature_c, at.set_point_c)
    ]

    def rank(one: Floor) -> tuple[int, date, float]:
        stated = (one.integration_s is not None) + (one.temperature_c is not None)
        known = one.voltage_v is not None and at.voltage_v is not None
        apart = abs((one.voltage_v or 0.0) - (at.voltage_v or 0.0)) if known else np.inf
        return stated, one.measured_on, -apart

    return max(fitting, key=rank, default=None)


def _fits(asked: float | None, stated: float | None) -> bool:
    return asked is None or (stated is not None and bool(np.isclose(asked, stated, rtol=1e-3)))


def sense_of(parameter: Parameter, without: int = 1) -> int:
    """In which sense a current can flow: 1 or -1; 0: in either.

    Its declared limits, target and plausible range say it: none of them negative: 1; none
    positive: -1; both: 0. Without any it is `without`.
    """
    declared = (
        parameter.lower,
        parameter.upper,
        parameter.target,
        parameter.plausible_lower,
        parameter.plausible_upper,
    )
    numbers = [one for one in declared if one]
    if not numbers:
        return -1 if 0 in (parameter.upper, parameter.plausible_upper) else without
    if min(numbers) > 0:
        return 1
    return -1 if max(numbers) < 0 else 0


def against_floor(
    value: npt.ArrayLike, floor: npt.ArrayLike, sense: int
) -> tuple[BoolArray, BoolArray]:
    """Which readings lie below the floor in size, and which beyond it in the impossible sense."""
    values, floors = np.asarray(value, dtype=np.float64), np.asarray(floor, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        below = np.abs(values) < floors
        faulty = (sense * values < -floors) & (sense != 0)
    return np.asarray(below), np.asarray(faulty)


def with_floor_columns(rows: pd.DataFrame, floor: FloatArray, sense: FloatArray) -> pd.DataFrame:
    """Rows of values with floor, below_floor, raw_reading, and faults of the measurement told.

    floor: (n,) in the unit of the value, NaN where none applies. sense: (n,), as `sense_of` says.
    """
    value = rows["value"].to_numpy(dtype=np.float64)
    below = np.zeros(len(rows), dtype=bool)
    faulty = np.zeros(len(rows), dtype=bool)
    for one in np.unique(sense):
        mine = sense == one
        below[mine], faulty[mine] = against_floor(value[mine], floor[mine], int(one))
    told = rows["no_value"].to_numpy(dtype=object).copy()
    flags = rows["flags"].to_numpy(dtype=object).copy()
    for row in np.flatnonzero(faulty):
        told[row] = (
            "a fault of the measurement: the reading lies beyond the floor in the sense in which"
            " the current cannot flow"
        )
        flags[row] = f"{flags[row]}; {BELOW_MINUS_FLOOR}" if flags[row] else BELOW_MINUS_FLOOR
    return rows.assign(
        floor=floor,
        below_floor=below,
        raw_reading=np.where(below | faulty, value, np.nan),
        value=np.where(faulty, np.nan, value),
        no_value=told,
        flags=flags,
    )


def with_floors(
    rows: pd.DataFrame, parameters: Mapping[str, Parameter], setting: WaferSetting
) -> tuple[pd.DataFrame, npt.NDArray[np.object_]]:
    """Floors of a table's current readings, in each parameter's unit, and why one is missing.

    Only currents, and currents per width, have floors.
    """
    floors = Floors(setting)
    conditions = {one.id: one for one in setting.campaign.conditions}
    floor = np.full(len(rows), np.nan)
    sense = np.zeros(len(rows))
    missing = np.full(len(rows), "", dtype=object)
    names = rows["parameter"].to_numpy()
    ranges, paths = texts_or_none(rows["range"]), texts_or_none(rows["path"])
    days = rows["measured_at"].dt.date.to_numpy()
    under = rows["condition"].to_numpy()
    widths = {name: one.width_um for name, one in setting.devices().items()}
    for name in pd.unique(rows["parameter"]):
        parameter = parameters[name]
        scale = per_ampere(parameter.unit, widths[parameter.device])
        if scale is None:
            continue
        sense[names == name] = sense_of(parameter)
        for place in np.flatnonzero(names == name):
            if np.isnan(scale):
                missing[place] = f"{parameter.device} states no width_um"
                continue
            at = circumstances(conditions[under[place]], ranges[place], paths[place], days[place])
            found = floors.limit_a(at)
            if found is None:
                missing[place] = floors.lacking(at)
            else:
                floor[place] = found * scale
    return with_floor_columns(rows, floor, sense), missing


def circumstances(
    condition: Condition, range_: str | None, path: str | None, day: date
) -> Circumstances:
    """Of a reading whose voltage is the largest set point of its condition."""
    volts = [abs(value) for name, value in condition.bias.items() if name.endswith("_v")]
    return Circumstances(
        range_, path, day, condition.temperature_c, voltage_v=max(volts, default=None)
    )


def per_ampere(unit: str, width_um: float | None) -> float | None:
    """How many of `unit` an ampere is.

    None: the unit is none of current. NaN: it is one of current per width, and no width is stated.
    """
    quantity = parse(unit).quantity
    if quantity == "current":
        return conversion("A", unit)
    if quantity not in PER_WIDTH:
        return None
    if width_um is None:
        return float("nan")
    width = width_um * (1e-6 if PER_WIDTH[quantity] == "A/m" else 1e-3)
    return conversion(PER_WIDTH[quantity], unit) / width


def floor_findings(rows: pd.DataFrame, wafer_id: str) -> tuple[Finding, ...]:
    """A finding for each parameter with readings below minus the floor; rows of any source."""
    if "flags" not in rows:
        return ()
    faulty = rows[rows["flags"].fillna("").str.contains(BELOW_MINUS_FLOOR, regex=False)]
    return tuple(
        Finding(
            kind="reading below minus the floor",
            subject=f"wafer {wafer_id}",
            text=f"On wafer {wafer_id}, {count(len(mine), 'reading')} of {parameter}"
            f" {'lies' if len(mine) == 1 else 'lie'} beyond the floor in the sense in which the"
            f" current cannot flow, the first on die ({mine['die_x'].iloc[0]},"
            f" {mine['die_y'].iloc[0]}): a fault of the measurement, unless the parameter's"
            " limits or plausible range should admit it.",
            weight="attention",
            address=addresses.wafer(wafer_id),
        )
        for parameter, mine in faulty.groupby("parameter", sort=True)
    )
