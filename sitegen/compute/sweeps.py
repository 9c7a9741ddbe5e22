"""A wafer's sweeps: the calibration behind each, correction, and the figures taken from them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen.compute.evidence import (
    REASON_CODES,
    CalibrationFacts,
    Evidence,
    Rows,
    reason_text,
    rf_evidence,
)
from sitegen.compute.rf.checks import likeness
from sitegen.compute.rf.figures import FIGURES, figure_at
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.compute.verification import correct_sweeps, frequency_list_matches
from sitegen.model.arrays import ComplexArray
from sitegen.model.campaign import CampaignRecord, Device, Instrument, Parameter, Station
from sitegen.model.figures import FIGURE_UNITS
from sitegen.model.loaded import SweepGroup
from sitegen.model.results import TraceGroup
from sitegen.model.station_state import StationState
from sitegen.problems import Fault
from sitegen.units import conversion

DIFFERENT_STATE = 1 << REASON_CODES.index("different state")


@dataclass(frozen=True)
class WaferSetting:
    """What the rows of one wafer are judged with."""

    campaign: CampaignRecord
    station: Station
    rf_instrument: Instrument | None
    dc_instrument: Instrument | None
    states: Mapping[str, StationState]
    calibrations: tuple[CalibrationFacts, ...]
    terms: Mapping[str, ErrorTerms]
    """Error terms of each solved calibration, by its id."""

    def devices(self) -> dict[str, Device]:
        """The campaign's devices by id."""
        return {device.id: device for device in self.campaign.devices}


@dataclass(frozen=True)
class CorrectedGroup:
    """A group of sweeps with what stands behind each."""

    group: SweepGroup
    """Corrected; NaN where it could not be."""
    evidence: Evidence


def correct_group(group: SweepGroup, setting: WaferSetting, file: str) -> CorrectedGroup:
    """Find the calibration behind each sweep and correct the raw ones with it.

    A raw sweep is corrected only where its frequency list and the state of the RF path equal the
    calibration's; each difference is named and removes standing.
    """
    device = setting.devices()[group.device]
    evidence = rf_evidence(
        rows_of(group.keys.to_pandas(), device.ports),
        setting.calibrations,
        setting.station,
        setting.rf_instrument,
        setting.states,
        setting.campaign.touchdowns.contact_resistance_max_ohm,
        file,
    )
    evidence = _check_frequency_lists(group, evidence, setting)
    if group.corrected:
        return CorrectedGroup(group, evidence)
    s = np.full(group.s.shape, complex(np.nan, np.nan))
    allowed = (evidence.reasons & DIFFERENT_STATE) == 0
    for name, terms in setting.terms.items():
        mine = (evidence.calibration == name) & allowed
        if mine.any():
            s[mine] = correct_sweeps(terms, group.s[mine])
    return CorrectedGroup(replace(group, corrected=True, s=s), evidence)


def rows_of(keys: pd.DataFrame, ports: int | npt.NDArray[np.int64]) -> Rows:
    """The columns of a table of keys that evidence asks for."""
    stamped = keys["measured_at"].dt.tz_convert("UTC").dt.tz_localize(None)
    return Rows(
        measured_at=stamped.to_numpy(dtype="datetime64[us]"),
        named=texts_or_none(keys["calibration"]),
        state=texts_or_none(keys["state"]),
        ambient_c=keys["ambient_c"].to_numpy(dtype=np.float64),
        substrate_c=keys["substrate_c"].to_numpy(dtype=np.float64),
        contact_resistance_ohm=keys["contact_resistance_ohm"].to_numpy(dtype=np.float64),
        ports=np.broadcast_to(np.asarray(ports, dtype=np.int64), (len(keys),)),
    )


def texts_or_none(column: "pd.Series[str]") -> npt.NDArray[np.object_]:
    """A column of texts as objects, None where there is none."""
    values = column.astype(object).to_numpy(copy=True)
    values[pd.isna(values)] = None
    return np.asarray(values, dtype=object)


def _check_frequency_lists(
    group: SweepGroup, evidence: Evidence, setting: WaferSetting
) -> Evidence:
    """Add 'different state' where the sweeps have another frequency list than the calibration."""
    reasons, detail = evidence.reasons.copy(), evidence.detail.copy()
    for name, terms in setting.terms.items():
        mine = evidence.calibration == name
        if not mine.any() or frequency_list_matches(group.frequency_hz, terms):
            continue
        reasons[mine] |= DIFFERENT_STATE
        for row in np.flatnonzero(mine):
            phrase = "different state: frequency list"
            detail[row] = f"{detail[row]}; {phrase}" if detail[row] else phrase
    return replace(
        evidence, reasons=reasons, detail=detail, not_closed=evidence.not_closed & (reasons == 0)
    )


def values_from_sweeps(
    corrected: CorrectedGroup, parameters: tuple[Parameter, ...], z_ref_ohm: float
) -> pd.DataFrame:
    """Rows of values, in each parameter's unit, that are taken from one group of sweeps.

    Rows have the keys of the sweeps, the parameter and its value (NaN where the figure is not
    defined or the frequency lies outside the sweep), and what stands behind them.
    """
    group, evidence = corrected.group, corrected.evidence
    keys = group.keys.to_pandas()
    keys["ev_calibration"] = evidence.calibration
    keys["ev_basis"] = evidence.basis
    keys["ev_reasons"] = evidence.reasons
    keys["ev_not_closed"] = evidence.not_closed
    keys["ev_detail"] = evidence.detail
    parts = []
    for parameter in parameters:
        if parameter.from_sweep is None or parameter.device != group.device:
            continue
        figure = parameter.from_sweep.figure
        values = figure_at(
            FIGURES[figure],
            _as_two_port(group.s),
            group.frequency_hz,
            parameter.from_sweep.frequency_hz,
            z_ref_ohm,
        ) * conversion(FIGURE_UNITS[figure], parameter.unit)
        mine = keys["condition"].isin(parameter.conditions).to_numpy()
        rows = keys[mine].copy()
        rows["parameter"] = parameter.id
        rows["value"] = values[mine]
        parts.append(rows)
    if not parts:
        empty: pd.DataFrame = keys.iloc[:0].assign(parameter="", value=np.nan)
        return empty
    table: pd.DataFrame = pd.concat(parts, ignore_index=True)
    return table


def _as_two_port(s: ComplexArray) -> ComplexArray:
    """A one-port sweep as the first port of a two-port whose second port is matched and alone."""
    if s.shape[-1] == 2:
        return s
    widened = np.zeros((*s.shape[:-2], 2, 2), dtype=np.complex128)
    widened[..., 0, 0] = s[..., 0, 0]
    return widened


def trace_groups(corrected: CorrectedGroup) -> tuple[TraceGroup, ...]:
    """One group of traces for each condition, with the standing of each sweep."""
    group, evidence = corrected.group, corrected.evidence
    keys = group.keys
    place = keys.schema.get_field_index("calibration")
    keys = keys.set_column(place, "calibration", pa.array(evidence.calibration, pa.string()))
    reasons = [reason_text(int(bits)) for bits in evidence.reasons]
    standing = np.where(
        evidence.reasons != 0,
        "without standing",
        np.where(evidence.not_closed, "not closed", "stands"),
    )
    keys = (
        keys.append_column("standing", pa.array(standing, pa.string()))
        .append_column("standing_reasons", pa.array(reasons, pa.string()))
        .append_column("standing_detail", pa.array(evidence.detail, pa.string()))
    )
    conditions = np.asarray(keys.column("condition").to_pylist(), dtype=object)
    return tuple(
        TraceGroup(
            device=group.device,
            condition=condition,
            frequency_hz=group.frequency_hz,
            keys=keys.filter(pa.array(conditions == condition)),
            s=group.s[conditions == condition],
        )
        for condition in sorted(set(conditions))
    )


@dataclass(frozen=True)
class Suspects:
    """Sweeps of a group that look like bare probes, by row."""

    like_open: npt.NDArray[np.bool_]
    like_short: npt.NDArray[np.bool_]


def suspects(group: SweepGroup, device: Device, z_ref_ohm: float) -> Suspects:
    """Which corrected sweeps look like an open or a short at any port, where that is suspicious."""
    n_ports = group.s.shape[-1]
    s = group.s[..., 0, 0] if n_ports == 1 else group.s
    found = likeness(s, np.asarray(group.frequency_hz), z_ref_ohm, n_ports=n_ports)
    like_open = found.open if n_ports == 1 else found.open.any(axis=-1)
    like_short = found.short if n_ports == 1 else found.short.any(axis=-1)
    nothing = np.zeros(len(group.s), dtype=bool)
    return Suspects(
        nothing if device.may_look_like == "open" else np.asarray(like_open),
        nothing if device.may_look_like == "short" else np.asarray(like_short),
    )


def reference_impedance_ohm(setting: WaferSetting) -> float:
    """Reference impedance of the station's calibrations; 50 ohms where there is none."""
    for one in setting.calibrations:
        if one.result.record.station == setting.station.id:
            return one.result.record.reference_impedance_ohm
    return 50.0


def join_faults(groups: tuple[CorrectedGroup, ...]) -> tuple[Fault, ...]:
    """The faults of all groups, each once."""
    return tuple(sorted({fault for group in groups for fault in group.evidence.faults}))
