"""Values that a wafer's parameters take from its sweeps, with every part of their uncertainty."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen.compute.alike_sweeps import Alike, GroupSweeps, Places
from sitegen.compute.dummies import StrippedGroup
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.propagated import Propagated
from sitegen.compute.rf.taken import Taken, Wanted
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting, evidence_columns
from sitegen.compute.value_texts import (
    Texts,
    remarks,
    why_none,
    why_none_at_all,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.device import Device
from sitegen.model.extraction import FromSweep
from sitegen.units import conversion

PARTS = ("u_common", "u_own", "u_calibration", "u_definitions", "u_dummies", "u_extraction")
"""Columns of the rows, in the parameter's unit; NaN: not stated, or there is no such source."""
EXTRACTION = "extraction"
"""What the budget by source calls the fit's own part."""
TEXT = pa.large_string()
"""What pandas keeps texts as."""


@dataclass(frozen=True, eq=False)
class BySource:
    """What each source adds to the values of one parameter from one group of sweeps."""

    parameter: str
    condition: Texts
    """(n,) of each value."""
    u: Mapping[str, FloatArray]
    """(n,) standard uncertainty in the parameter's unit, by a group of
    `event_results.SOURCE_GROUPS`, 'dummy structures' or 'extraction'; NaN: not stated."""
    details: Mapping[str, FloatArray]
    """(n,) facts about the fit, by the name that its estimator gives them."""


@dataclass(frozen=True, eq=False)
class SweepValues:
    """Values from one group of sweeps."""

    rows: pd.DataFrame
    """Keys of the sweeps, what stands behind each, parameter, value, `PARTS`, remarks, and
    no_value, why a value is NaN."""
    by_source: tuple[BySource, ...]
    """One for each parameter."""


def values_from_sweeps(
    stripped: StrippedGroup, parameters: Sequence[Parameter], setting: WaferSetting
) -> SweepValues:
    """Every value that parameters take from one group of sweeps, in each parameter's unit."""
    group, sweeps = stripped.corrected.group, GroupSweeps(stripped, setting)
    conditions = group.keys["condition"].to_numpy()
    device = setting.devices()[group.device]
    found = []
    places: dict[tuple[str, ...], Places] = {}
    for parameter in parameters:
        if parameter.from_sweep is not None and parameter.device == device.id:
            under = parameter.conditions
            if under not in places:
                places[under] = np.flatnonzero(np.isin(conditions, under))
            nothing = np.full((2, len(places[under])), "", dtype=object)
            found.append(_Values(parameter, parameter.from_sweep, places[under], *nothing))
    by_alike: dict[int, list[_Part]] = {}
    for one in found:
        for alike in sweeps.alike(one.taken_by, one.places):
            one.no_value[alike.places] = why_none_at_all(alike, one.taken_by)
            wanted = _wanted(one.taken_by, device, alike.z_ref_ohm)
            taken = None if alike.missing else alike.devices.take(wanted)
            if taken is not None:
                by_alike.setdefault(id(alike), []).append(_Part(one, alike, wanted, taken))
    for parts in by_alike.values():
        figures = [(part.wanted, part.taken) for part in parts]
        propagated = sweeps.propagated(parts[0].alike, figures)
        for part, each in zip(parts, propagated, strict=True):
            _write(part, each, device, stripped)
    return SweepValues(
        _table(stripped.corrected, found),
        tuple(
            BySource(one.parameter.id, conditions[one.places], one.by_source, one.details)
            for one in found
        ),
    )


def _table(corrected: CorrectedGroup, found: Sequence["_Values"]) -> pd.DataFrame:
    """Keys and evidence of the sweeps with what was found for all parameters, behind each other."""
    keys = dict(zip(corrected.group.keys.column_names, corrected.group.keys.columns, strict=True))
    behind = {name: pa.array(each) for name, each in evidence_columns(corrected.evidence).items()}
    of_sweeps = pa.table({**keys, **behind})
    parts = [of_sweeps.slice(0, 0)]
    parts += [
        of_sweeps if len(one.places) == len(of_sweeps) else of_sweeps.take(one.places)
        for one in found
    ]
    rows = pa.concat_tables(parts).combine_chunks()
    columns = dict(zip(rows.column_names, rows.columns, strict=True))
    names = [pa.repeat(one.parameter.id, len(one.places)).cast(TEXT) for one in found]
    columns["parameter"] = pa.concat_arrays([pa.array([], TEXT), *names])
    for name in ("value", *PARTS):
        numbers = [one.numbers.get(name, np.full(len(one.places), np.nan)) for one in found]
        columns[name] = pa.array(np.concatenate([np.zeros(0), *numbers]))
    columns["remarks"] = _texts(one.remarks for one in found)
    columns["no_value"] = _texts(one.no_value for one in found)
    table: pd.DataFrame = pa.table(columns).to_pandas(use_threads=False)
    return table


def _texts(parts: Iterable[Texts]) -> pa.Array:
    """Behind each other."""
    return pa.array(np.concatenate([np.empty(0, object), *parts]), TEXT)


def median_by_source(
    parts: Iterable[BySource],
) -> dict[tuple[str, str], dict[str, float]]:
    """Median u by source of the values of each (parameter, condition) of a wafer, the parameter's
    unit; a source that no value states is left out."""
    return {
        key: {name: float(np.nanmedian(u)) for name, u in found.items() if np.isfinite(u).any()}
        for key, found in _joined((one, one.u) for one in parts).items()
    }


def median_details(parts: Iterable[BySource]) -> dict[tuple[str, str], dict[str, float]]:
    """Median facts about the fits of each (parameter, condition) of a wafer, by name."""
    return {
        key: {name: float(np.nanmedian(x)) for name, x in found.items() if np.isfinite(x).any()}
        for key, found in _joined((one, one.details) for one in parts).items()
    }


def _joined(
    parts: Iterable[tuple[BySource, Mapping[str, FloatArray]]],
) -> dict[tuple[str, str], dict[str, FloatArray]]:
    """Arrays of all groups of sweeps of a parameter and condition behind each other."""
    gathered: dict[tuple[str, str], dict[str, list[FloatArray]]] = {}
    for one, arrays in parts:
        for condition in sorted(set(one.condition)):
            mine = one.condition == condition
            at = gathered.setdefault((one.parameter, condition), {})
            for name, values in arrays.items():
                at.setdefault(name, []).append(values[mine])
    return {
        key: {name: np.concatenate(values) for name, values in found.items()}
        for key, found in gathered.items()
    }


@dataclass(frozen=True, eq=False)
class _Values:
    """Of one parameter, filled part by part, all (n,)."""

    parameter: Parameter
    taken_by: FromSweep
    places: Places
    """Sweeps of the group."""
    remarks: Texts
    no_value: Texts
    numbers: dict[str, FloatArray] = field(default_factory=dict)
    """Value and `PARTS`, in the parameter's unit; absent: NaN."""
    by_source: dict[str, FloatArray] = field(default_factory=dict)
    details: dict[str, FloatArray] = field(default_factory=dict)

    def put(self, into: dict[str, FloatArray], at: Places, found: Mapping[str, FloatArray]) -> None:
        """Arrays of some of the values to their places; the others are NaN."""
        n = len(self.places)
        if len(at) == n:
            into.update(found)
            return
        for name, numbers in found.items():
            into.setdefault(name, np.full(n, np.nan))[at] = numbers

    @property
    def scale(self) -> float:
        """The figure's unit in the parameter's."""
        return conversion(FIGURES[self.taken_by.figure].unit, self.parameter.unit)


@dataclass(frozen=True, eq=False)
class _Part:
    """Values of one parameter from sweeps that stand on the same calibrations."""

    values: _Values
    alike: Alike
    wanted: Wanted
    taken: Taken


def _write(part: _Part, propagated: Propagated, device: Device, stripped: StrippedGroup) -> None:
    """Put values with all that belongs to them to their places."""
    values, alike, taken = part.values, part.alike, part.taken
    at, scale = alike.places, values.scale
    extraction = extraction_beyond(taken, propagated)
    parts = {"u_extraction": extraction, **propagated.parts()}
    by_source = {**propagated.by_source(), EXTRACTION: extraction}
    values.put(values.numbers, at, {"value": scale * taken.estimate.value})
    values.put(values.numbers, at, {name: abs(scale) * u for name, u in parts.items()})
    values.put(values.by_source, at, {name: abs(scale) * u for name, u in by_source.items()})
    values.put(values.details, at, taken.estimate.details)
    values.remarks[at] = remarks(part.wanted, alike, taken, propagated.remarks, device)
    if values.no_value[at[0]] == "":
        values.no_value[at] = why_none(alike, taken, stripped)


def _wanted(taken_by: FromSweep, device: Device, z_ref_ohm: float) -> Wanted:
    length_m = None if device.length_um is None else 1e-6 * device.length_um
    return Wanted(
        FIGURES[taken_by.figure],
        "frequency" if taken_by.frequency_hz else "window" if taken_by.window_hz else "whole",
        Surroundings(z_ref_ohm, length_m),
        taken_by.frequency_hz,
        taken_by.window_hz,
    )


def extraction_beyond(taken: Taken, propagated: Propagated) -> FloatArray:
    """What the fit adds beyond what is propagated already and shows in its points once more.

    That is of their scatter the sweep's noise, and of their departure from a law all that the
    sources make of it. NaN where nothing is propagated: a fit's part alone would pass for the
    whole.
    """
    estimate = taken.estimate
    u, counted = estimate.u_extraction, np.zeros(len(estimate.value))
    if "u_noise" in estimate.details:
        counted = np.minimum(estimate.details["u_noise"] ** 2, propagated.noise)
    if estimate.departure is not None:
        beyond = estimate.departure.square(propagated.departure)
        counted = counted + estimate.departure.square() - beyond
    rest: FloatArray = np.sqrt(np.maximum(u**2 - counted, 0.0))
    return np.where(propagated.stated, rest, np.nan)
