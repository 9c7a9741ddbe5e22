"""Values that a wafer's parameters take from its sweeps, with every part of their uncertainty."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from sitegen.compute.alike_sweeps import Alike, GroupSweeps, Places
from sitegen.compute.dummies import StrippedGroup
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.propagated import Propagated
from sitegen.compute.rf.taken import Taken, Wanted
from sitegen.compute.sweeps import WaferSetting, joined_evidence
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
    keys = joined_evidence(group.keys.to_pandas(), stripped.corrected.evidence)
    conditions = keys["condition"].to_numpy(dtype=object)
    device = setting.devices()[group.device]
    found = [
        _Values(
            parameter,
            parameter.from_sweep,
            np.flatnonzero(np.isin(conditions, parameter.conditions)),
        )
        for parameter in parameters
        if parameter.from_sweep is not None and parameter.device == device.id
    ]
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
    places = np.concatenate([np.zeros(0, np.intp), *(one.places for one in found)])
    rows = keys.iloc[places].reset_index(drop=True)
    return SweepValues(
        pd.concat([rows, _columns(found)], axis=1),
        tuple(
            BySource(one.parameter.id, conditions[one.places], one.by_source, one.details)
            for one in found
        ),
    )


def _columns(found: Sequence["_Values"]) -> pd.DataFrame:
    """What was found for all parameters, behind each other."""
    texts = {
        "parameter": [np.full(len(one.places), one.parameter.id, object) for one in found],
        "remarks": [one.remarks for one in found],
        "no_value": [one.no_value for one in found],
    }
    joined = {
        name: pd.Series(np.concatenate([np.empty(0, object), *each]), dtype="str")
        for name, each in texts.items()
    }
    numbers = {
        name: np.concatenate([np.zeros(0), *(one.numbers[name] for one in found)])
        for name in ("value", *PARTS)
    }
    return pd.DataFrame({"parameter": joined.pop("parameter"), **numbers, **joined})


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
    numbers: dict[str, FloatArray] = field(init=False)
    """Value and `PARTS`, in the parameter's unit."""
    remarks: Texts = field(init=False)
    no_value: Texts = field(init=False)
    by_source: dict[str, FloatArray] = field(default_factory=dict)
    details: dict[str, FloatArray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        n = len(self.places)
        numbers = {name: np.full(n, np.nan) for name in ("value", *PARTS)}
        object.__setattr__(self, "numbers", numbers)
        for name in ("remarks", "no_value"):
            object.__setattr__(self, name, np.full(n, "", dtype=object))

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
    at, scale, n = alike.places, values.scale, len(values.places)
    extraction = extraction_beyond(taken, propagated)
    values.numbers["value"][at] = scale * taken.estimate.value
    for name, u in {"u_extraction": extraction, **propagated.parts()}.items():
        values.numbers[name][at] = abs(scale) * u
    for name, u in {**propagated.by_source(), EXTRACTION: extraction}.items():
        values.by_source.setdefault(name, np.full(n, np.nan))[at] = abs(scale) * u
    for name, facts in taken.estimate.details.items():
        values.details.setdefault(name, np.full(n, np.nan))[at] = facts
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
    u = estimate.u_extraction
    seen = estimate.details.get("u_noise", np.zeros_like(u))
    counted = np.minimum(np.nan_to_num(seen) ** 2, propagated.noise)
    if estimate.departure is not None:
        beyond = estimate.departure.square(propagated.departure)
        counted = counted + estimate.departure.square() - beyond
    rest: FloatArray = np.sqrt(np.maximum(u**2 - counted, 0.0))
    return np.where(propagated.stated, rest, np.nan)
