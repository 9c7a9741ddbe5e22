"""Values that a wafer's parameters take from its sweeps, with every part of their uncertainty."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.alike_sweeps import Alike, GroupSweeps, Places
from sitegen.compute.dummies import StrippedGroup
from sitegen.compute.evidence import reason_text
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.propagated import Propagated
from sitegen.compute.rf.taken import Taken, Wanted, take
from sitegen.compute.rf.two_port import as_two_port
from sitegen.compute.sweeps import WaferSetting, joined_evidence
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.device import Device
from sitegen.model.extraction import FromSweep
from sitegen.units import conversion, frequency

Texts = npt.NDArray[np.object_]
PARTS = ("u_common", "u_own", "u_calibration", "u_definitions", "u_dummies", "u_extraction")
"""Columns of the rows, in the parameter's unit; NaN: not stated, or there is no such source."""
EXTRACTION = "extraction"
"""What the budget by source calls the fit's own part."""
OTHER_CALIBRATION = "its dummies stand on another calibration"


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
    sweeps = GroupSweeps(stripped, setting)
    corrected = stripped.corrected
    keys = joined_evidence(corrected.group.keys.to_pandas(), corrected.evidence)
    device = setting.devices()[corrected.group.device]
    rows, by_source = [], []
    for parameter in parameters:
        if parameter.from_sweep is None or parameter.device != device.id:
            continue
        places = np.flatnonzero(keys["condition"].isin(parameter.conditions).to_numpy())
        found = _of_parameter(sweeps, parameter, parameter.from_sweep, device, places)
        mine = keys.iloc[places]
        rows.append(mine.assign(parameter=parameter.id, **found.columns))
        condition = mine["condition"].to_numpy(dtype=object)
        by_source.append(BySource(parameter.id, condition, found.by_source, found.details))
    if not rows:
        empty = {name: np.empty(0) for name in ("value", *PARTS)}
        none = keys.iloc[:0].assign(parameter="", no_value="", remarks="", **empty)
        return SweepValues(none, ())
    return SweepValues(pd.concat(rows, ignore_index=True), tuple(by_source))


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
class _Found:
    """Of one parameter, all (n,)."""

    columns: Mapping[str, Texts | FloatArray]
    by_source: dict[str, FloatArray]
    details: dict[str, FloatArray]


def _of_parameter(
    sweeps: GroupSweeps,
    parameter: Parameter,
    taken_by: FromSweep,
    device: Device,
    places: Places,
) -> _Found:
    """Values of the sweeps at some places of their group."""
    figure = FIGURES[taken_by.figure]
    scale = conversion(figure.unit, parameter.unit)
    n = len(places)
    columns: dict[str, FloatArray] = {name: np.full(n, np.nan) for name in ("value", *PARTS)}
    remarks, no_value = (np.full(n, "", dtype=object) for _ in range(2))
    by_source: dict[str, FloatArray] = {}
    details: dict[str, FloatArray] = {}
    for alike in sweeps.alike(taken_by, places):
        wanted, of_places = _wanted(taken_by, device, alike.z_ref_ohm), alike.places
        no_value[of_places] = _why_none_at_all(alike, taken_by)
        if alike.missing:
            continue
        taken = take(wanted, alike.frequency_hz, alike.inner, alike.cold)
        if taken is None:
            continue
        propagated = sweeps.propagated(wanted, alike, taken)
        estimate = taken.estimate
        extraction = extraction_beyond(taken, propagated)
        for name, values in (
            ("value", estimate.value),
            ("u_extraction", extraction),
            *propagated.parts().items(),
        ):
            columns[name][of_places] = (scale if name == "value" else abs(scale)) * values
        remarks[of_places] = _remarks(wanted, alike, taken, propagated, device)
        if no_value[of_places[0]] == "":
            no_value[of_places] = _why_none(alike, taken, sweeps.stripped)
        for name, values in {**propagated.by_source(), EXTRACTION: extraction}.items():
            by_source.setdefault(name, np.full(n, np.nan))[of_places] = abs(scale) * values
        for name, values in estimate.details.items():
            details.setdefault(name, np.full(n, np.nan))[of_places] = values
    return _Found({**columns, "remarks": remarks, "no_value": no_value}, by_source, details)


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


def _remarks(
    wanted: Wanted, alike: Alike, taken: Taken, propagated: Propagated, device: Device
) -> Texts:
    """What estimator, de-embedding and propagation have to say of the values that are there."""
    said: list[Texts | str] = [taken.estimate.remarks]
    if wanted.figure.advise is not None and wanted.at_hz is not None:
        two_port = as_two_port(alike.inner)
        said.append(wanted.figure.advise(two_port, alike.frequency_hz, wanted.at_hz, wanted.around))
    upper_hz = device.deembedding.upper_hz if alike.deembedded and device.deembedding else None
    if upper_hz is not None and wanted.place != "whole" and taken.used_hz[-1] > upper_hz:
        said.append(f"above the upper frequency of the de-embedding, {frequency(upper_hz)}")
    if wanted.window_hz is not None:
        lowest, highest = float(alike.frequency_hz[0]), float(alike.frequency_hz[-1])
        if lowest > wanted.window_hz[0] or highest < wanted.window_hz[1]:
            inside = (
                f"{frequency(float(taken.used_hz[0]))} to {frequency(float(taken.used_hz[-1]))}"
            )
            said.append(f"the sweep covers only {inside} of the window")
    if alike.other_calibration:
        said.append(OTHER_CALIBRATION)
    said.append(propagated.remarks)
    n = len(alike.rows)
    lines = [np.broadcast_to(np.asarray(one, dtype=object), (n,)) for one in said]
    joined = np.empty(n, dtype=object)
    joined[:] = ["; ".join(text for text in texts if text) for texts in zip(*lines, strict=True)]
    joined[np.isnan(taken.estimate.value)] = ""
    return joined


def _why_none_at_all(alike: Alike, taken_by: FromSweep) -> str:
    """Why no sweep of a group can give a value; empty where one can."""
    lowest, highest = float(alike.frequency_hz[0]), float(alike.frequency_hz[-1])
    span = f"the sweep from {frequency(lowest)} to {frequency(highest)}"
    at_hz, window_hz = taken_by.frequency_hz, taken_by.window_hz
    if at_hz is not None and not lowest <= at_hz <= highest:
        return f"{frequency(at_hz)} lies outside {span}"
    if window_hz is not None:
        inside = (alike.frequency_hz >= window_hz[0]) & (alike.frequency_hz <= window_hz[1])
        if not inside.any():
            window = f"{frequency(window_hz[0])} to {frequency(window_hz[1])}"
            return f"no point of {span} lies in the window {window}"
    return alike.missing


def _why_none(alike: Alike, taken: Taken, stripped: StrippedGroup) -> Texts:
    """Why a sweep gives no value; empty where it gives one."""
    corrected = stripped.corrected
    told = np.full(len(alike.rows), "", dtype=object)
    for place in np.flatnonzero(np.isnan(taken.estimate.value)):
        row = alike.rows[place]
        if np.isnan(corrected.group.s[row]).all():
            reason = reason_text(int(corrected.evidence.reasons[row]))
            told[place] = f"not corrected: {reason}" if reason else ""
        elif np.isnan(alike.inner[place]).all():
            told[place] = "not de-embedded: no dummies serve this sweep"
        elif not np.isnan(taken.at_used[place, -1]).all():
            told[place] = str(taken.estimate.no_value[place])
        told[place] = told[place] or "not determined at this frequency"
    return told
