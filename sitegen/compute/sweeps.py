"""A wafer's sweeps: the calibration behind each, and their correction."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen.compute.correction import correct_sweeps
from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.evidence import REASON_CODES, Evidence, reason_text, rf_evidence
from sitegen.compute.in_force import CalibrationFacts, Rows, needed_ports
from sitegen.compute.rf.checks import likeness
from sitegen.compute.rf.propagation import CalibrationUncertainty
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.compute.sweep_uncertainty import covariance_of
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import CampaignRecord, Instrument, Station
from sitegen.model.device import Device
from sitegen.model.frequency_lists import first_difference, same_frequencies
from sitegen.model.loaded import SweepGroup
from sitegen.model.results import TraceGroup
from sitegen.model.station_state import StationState
from sitegen.model.wafer import Thermal

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
    uncertainties: Mapping[str, CalibrationUncertainty]
    """Of each solved calibration whose record states one, by its id."""
    campaign_dummies: Mapping[str, Mapping[str, DummySweeps]] = field(default_factory=dict)
    """Dummies that one die lends to the whole campaign: by device, then by part."""
    thermal: tuple[Thermal, ...] = ()
    """How the wafer's temperature is known, one for each set point."""

    def devices(self) -> dict[str, Device]:
        """The campaign's devices by id."""
        return {device.id: device for device in self.campaign.devices}


@dataclass(frozen=True)
class CorrectedGroup:
    """A group of sweeps with what stands behind each."""

    group: SweepGroup
    """Corrected; NaN where it could not be."""
    evidence: Evidence
    covariance: FloatArray | None
    """(*s.shape, 3) of real and imaginary part; NaN where no calibration states its uncertainty,
    None where none does."""


def correct_group(group: SweepGroup, setting: WaferSetting, file: str) -> CorrectedGroup:
    """Find the calibration behind each sweep and correct the raw ones with it.

    A raw sweep is corrected only where its frequency list and the state of the RF path equal the
    calibration's; each difference is named and removes standing.
    """
    device = setting.devices()[group.device]
    evidence = group_evidence(group, setting, file)
    evidence = _check_frequency_lists(group, evidence, setting)
    if group.corrected:
        return CorrectedGroup(group, evidence, None)
    s = np.full(group.s.shape, complex(np.nan, np.nan))
    allowed = (evidence.reasons & DIFFERENT_STATE) == 0
    for name, terms in setting.terms.items():
        mine = (evidence.calibration == name) & allowed
        if mine.any():
            s[mine] = correct_sweeps(terms, group.s[mine], device.port)
    found = CorrectedGroup(replace(group, s=s), evidence, None)
    return replace(found, covariance=_covariance(found, group.s, setting))


def _covariance(
    corrected: CorrectedGroup, raw: ComplexArray, setting: WaferSetting
) -> FloatArray | None:
    """Of every sweep that a calibration with a stated uncertainty corrected."""
    group = corrected.group
    parts = [(name, mine) for name, mine in _stated_rows(corrected, setting) if mine.any()]
    if not parts:
        return None
    found: FloatArray = np.full((*group.s.shape, 3), np.nan, np.float32)
    port = setting.devices()[group.device].port
    for name, mine in parts:
        found[mine] = covariance_of(
            raw[mine], setting.terms[name], setting.uncertainties[name], port
        )
    return found


def _stated_rows(
    corrected: CorrectedGroup, setting: WaferSetting
) -> tuple[tuple[str, npt.NDArray[np.bool_]], ...]:
    """Each calibration with a stated uncertainty, and the raw sweeps that it corrected."""
    if corrected.group.corrected:
        return ()
    known = ~np.isnan(corrected.group.s).all(axis=(1, 2, 3))
    return tuple(
        (name, (corrected.evidence.calibration == name) & known) for name in setting.uncertainties
    )


def group_evidence(group: SweepGroup, setting: WaferSetting, file: str) -> Evidence:
    """What stands behind each sweep of a group, before frequency lists are compared."""
    return rf_evidence(
        rows_of(group.keys.to_pandas(), needed_ports(setting.devices()[group.device])),
        setting.calibrations,
        setting.station,
        setting.rf_instrument,
        setting.states,
        setting.campaign.touchdowns.contact_resistance_max_ohm,
        file,
        group.corrected,
    )


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
        if not mine.any() or same_frequencies(group.frequency_hz, terms.frequency_hz):
            continue
        reasons[mine] |= DIFFERENT_STATE
        told = first_difference(terms.frequency_hz, group.frequency_hz)
        for row in np.flatnonzero(mine):
            phrase = f"different state: frequency list, calibrated and measured {told}"
            detail[row] = f"{detail[row]}; {phrase}" if detail[row] else phrase
    return replace(
        evidence,
        reasons=reasons,
        detail=detail,
        not_closed=evidence.not_closed & (reasons == 0),
        never_verified=evidence.never_verified & (reasons == 0),
    )


def joined_evidence(rows: pd.DataFrame, found: Evidence) -> pd.DataFrame:
    """Rows with what stands behind each."""
    behind = pd.DataFrame(evidence_columns(found), index=rows.index)
    return pd.concat([rows, behind], axis=1)


def evidence_columns(found: Evidence) -> dict[str, npt.NDArray[Any]]:
    """What stands behind each row, by column."""
    return {
        "ev_calibration": found.calibration,
        "ev_basis": found.basis,
        "ev_reasons": found.reasons,
        "ev_not_closed": found.not_closed,
        "ev_never_verified": found.never_verified,
        "ev_detail": found.detail,
    }


def reference_impedances_ohm(
    corrected: CorrectedGroup, setting: WaferSetting
) -> npt.NDArray[np.float64]:
    """Reference impedance of each sweep: of its calibration, or as a corrected table states it."""
    group = corrected.group
    impedances = np.full(len(group.s), group.z_ref_ohm)
    if not group.corrected:
        for one in setting.calibrations:
            mine = corrected.evidence.calibration == one.result.record.id
            impedances[mine] = one.result.record.reference_impedance_ohm
    return impedances


def trace_groups(
    corrected: CorrectedGroup, deembedded: ComplexArray | None, setting: WaferSetting
) -> tuple[TraceGroup, ...]:
    """One group of traces for each condition, with the standing of each sweep.

    deembedded: the shape of the corrected sweeps; None: the device declares no de-embedding.
    """
    z_ref_ohm = reference_impedances_ohm(corrected, setting)
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
            covariance=None
            if corrected.covariance is None
            else corrected.covariance[conditions == condition],
            z_ref_ohm=float(z_ref_ohm[conditions == condition][0]),
            deembedded=None if deembedded is None else deembedded[conditions == condition],
        )
        for condition in sorted(set(conditions))
    )


@dataclass(frozen=True)
class Suspects:
    """Sweeps of a group that look like bare probes, by row."""

    like_open: npt.NDArray[np.bool_]
    like_short: npt.NDArray[np.bool_]


def suspects(corrected: CorrectedGroup, setting: WaferSetting) -> Suspects:
    """Which corrected sweeps look like an open or a short at any port, where that is suspicious."""
    group = corrected.group
    device = setting.devices()[group.device]
    n_ports = group.s.shape[-1]
    s = group.s[..., 0, 0] if n_ports == 1 else group.s
    like_open = np.zeros(len(group.s), dtype=bool)
    like_short = np.zeros(len(group.s), dtype=bool)
    impedances = reference_impedances_ohm(corrected, setting)
    for z_ref_ohm in np.unique(impedances):
        mine = impedances == z_ref_ohm
        found = likeness(s[mine], group.frequency_hz, float(z_ref_ohm), n_ports=n_ports)
        like_open[mine] = found.open if n_ports == 1 else found.open.any(axis=-1)
        like_short[mine] = found.short if n_ports == 1 else found.short.any(axis=-1)
    return Suspects(
        like_open & (device.may_look_like != "open"), like_short & (device.may_look_like != "short")
    )
