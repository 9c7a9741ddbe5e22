"""Quality of each corrected sweep of a wafer. A sweep that fails is flagged, never deleted."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen import addresses
from sitegen.compute.dummies import Stripped
from sitegen.compute.rf import sweep_quality as rf
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting, suspects
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Device
from sitegen.model.device_results import SWEEP_QUALITY_SCHEMA
from sitegen.model.loaded import SweepGroup
from sitegen.problems import Finding
from sitegen.units import count, frequency

Texts = npt.NDArray[np.object_]
FLAGS: Mapping[str, str] = {
    "noise": "noisy",
    "steps": "step in the sweep",
    "contact": "looks like a bare probe",
    "passivity": "not passive",
    "reciprocity": "not reciprocal",
    "causality": "not causal",
}
"""What a value's flags say of its sweep, by the quality that is suspect."""
KEY = ["die_x", "die_y", "site", "device", "condition", "touchdown"]


def sweep_qualities(stripped: Stripped, setting: WaferSetting, wafer_id: str) -> pa.Table:
    """`SWEEP_QUALITY_COLUMNS`, a row for each sweep, of the corrected sweeps at the probe tips.

    Dummies on purpose look like an open or a short.
    """
    roles = _dummy_roles(setting)
    frames = [
        _of_group(one.corrected, setting, roles).assign(wafer=wafer_id)
        for one in stripped.groups
        if len(one.corrected.group.s)
    ]
    if not frames:
        return SWEEP_QUALITY_SCHEMA.empty_table()
    table = pd.concat(frames, ignore_index=True)[SWEEP_QUALITY_SCHEMA.names]
    return pa.Table.from_pandas(
        table, schema=SWEEP_QUALITY_SCHEMA, preserve_index=False
    ).replace_schema_metadata(None)


def _dummy_roles(setting: WaferSetting) -> Mapping[str, frozenset[str]]:
    """What each dummy may look like, 'open' or 'short'."""
    found: dict[str, frozenset[str]] = {}
    looks = {"open": "open", "pad": "open", "short": "short"}
    for device in setting.campaign.devices:
        parts = device.deembedding.dummies() if device.deembedding is not None else {}
        for part, dummy in parts.items():
            if part in looks:
                found[dummy] = found.get(dummy, frozenset()) | {looks[part]}
    return found


def _of_group(
    corrected: CorrectedGroup, setting: WaferSetting, roles: Mapping[str, frozenset[str]]
) -> pd.DataFrame:
    group = corrected.group
    device = setting.devices()[group.device]
    known = np.asarray(np.isfinite(group.s).all(axis=(1, 2, 3)))
    remarks = [_said(~known, "not corrected")]
    columns = {
        **_course(group, known, remarks),
        **_contact(corrected, setting, roles.get(device.id, frozenset()), known, remarks),
        **_of_passive(corrected, device, known, remarks),
        **_causality(corrected, known, remarks),
    }
    frame: pd.DataFrame = group.keys.select(KEY).to_pandas().assign(**columns)
    return frame.assign(remarks=_joined(remarks))


def _course(group: SweepGroup, known: BoolArray, remarks: list[Texts]) -> dict[str, object]:
    """Noise and steps."""
    s, frequency_hz = group.s, group.frequency_hz
    noise = rf.noise_rms(s)
    loud = known & ((noise / rf.sizes(s)).max(axis=(1, 2)) > rf.MOST_NOISE)
    steps = rf.steps(s, noise, frequency_hz)
    stepped = known & steps.suspect
    enough = len(frequency_hz) >= rf.LEAST_POINTS
    if not enough:
        remarks.append(_said(known, f"noise, steps: fewer than {rf.LEAST_POINTS} points"))
    remarks.append(_said(loud, f"noise above {rf.MOST_NOISE:g}"))
    remarks.append(_said_at(stepped, "step at {}", steps.at_hz))
    return {
        "noise_rms": np.where(known, noise.max(axis=(1, 2)), np.nan),
        "largest_step": steps.over_noise,
        "step_hz": steps.at_hz,
        "noise": _words(loud, known & enough),
        "steps": _words(stepped, known & enough),
    }


def _contact(
    corrected: CorrectedGroup,
    setting: WaferSetting,
    allowed: frozenset[str],
    known: BoolArray,
    remarks: list[Texts],
) -> dict[str, object]:
    like = suspects(corrected, setting)
    like_open = known & like.like_open & ("open" not in allowed)
    like_short = known & like.like_short & ("short" not in allowed)
    remarks.append(_said(like_open, "looks like an open"))
    remarks.append(_said(like_short, "looks like a short"))
    return {"contact": _words(like_open | like_short, known)}


def _of_passive(
    corrected: CorrectedGroup, device: Device, known: BoolArray, remarks: list[Texts]
) -> dict[str, object]:
    """Passivity and reciprocity; figures of every sweep, words of devices declared passive."""
    s, covariance, at_hz = corrected.group.s, corrected.covariance, corrected.group.frequency_hz
    active = rf.passivity(s, covariance, at_hz)
    found: dict[str, object] = {
        "greatest_singular_value": active.greatest,
        "greatest_nonreciprocity": np.nan,
        "passivity": "not declared",
        "reciprocity": "not declared",
    }
    if device.passive:
        remarks.append(_said_at(known & active.suspect, "active at {}", active.at_hz))
        found["passivity"] = _words(active.suspect, known)
    if s.shape[-1] == 1:
        return found | ({"reciprocity": "not assessable"} if device.passive else {})
    apart = rf.reciprocity(s, covariance, at_hz)
    found["greatest_nonreciprocity"] = apart.greatest
    if device.passive:
        remarks.append(_said_at(known & apart.suspect, "not reciprocal at {}", apart.at_hz))
        found["reciprocity"] = _words(apart.suspect, known)
    return found


def _causality(
    corrected: CorrectedGroup, known: BoolArray, remarks: list[Texts]
) -> dict[str, object]:
    """'suspect' where the grade is poor; an inconclusive one is not assessable."""
    s, frequency_hz = corrected.group.s, corrected.group.frequency_hz
    why_not = rf.not_causal_because(frequency_hz)
    if why_not:
        remarks.append(_said(known, why_not))
        return {"causality_percent": np.nan, "causality": "not assessable"}
    percent = np.where(known, rf.causality_percent(s, frequency_hz, rf.noise_rms(s)), np.nan)
    drowned = np.isnan(percent)
    grades = np.array([rf.causality_grade(one) for one in percent.tolist()], dtype=object)
    poor, unsure = (grades == "poor") & ~drowned, grades == "inconclusive"
    remarks.append(_said(known & poor, "causality: poor"))
    remarks.append(_said(known & unsure, "causality: inconclusive"))
    remarks.append(_said(known & drowned, "causality: no turning beyond noise"))
    if frequency_hz[-1] > rf.CAUSALITY_SCOPE_HZ:
        remarks.append(_said(known, "causality: of the points up to 50 GHz"))
    return {"causality_percent": percent, "causality": _words(poor, known & ~unsure & ~drowned)}


def _words(suspect: BoolArray, assessable: BoolArray) -> Texts:
    words = np.full(len(suspect), "not assessable", dtype=object)
    words[assessable] = "sound"
    words[assessable & suspect] = "suspect"
    return words


def _said(where: BoolArray, text: str) -> Texts:
    told = np.full(len(where), "", dtype=object)
    told[where] = text
    return told


def _said_at(where: BoolArray, text: str, at_hz: FloatArray) -> Texts:
    """A text with a frequency in it."""
    told = np.full(len(where), "", dtype=object)
    for row in np.flatnonzero(where).tolist():
        told[row] = text.format(frequency(float(at_hz[row])))
    return told


def _joined(remarks: list[Texts]) -> list[str]:
    return ["; ".join(part for part in row if part) for row in zip(*remarks, strict=True)]


def quality_findings(quality: pa.Table, wafer_id: str) -> tuple[Finding, ...]:
    """Sweeps with a suspect quality, one finding for each device and quality.

    Sweeps like bare probes have a finding of their own elsewhere.
    """
    table = quality.to_pandas()
    found = []
    for name, flag in FLAGS.items():
        if name == "contact":
            continue
        for device, rows in table[table[name] == "suspect"].groupby("device"):
            total = int((table["device"] == device).sum())
            first = rows.iloc[0]
            found.append(
                Finding(
                    kind="suspect sweep",
                    subject=f"wafer {wafer_id}",
                    text=f"On wafer {wafer_id}, {len(rows)} of {count(total, 'sweep')} of {device}"
                    f" {'is' if len(rows) == 1 else 'are'} flagged '{flag}', the first on die"
                    f" ({first['die_x']}, {first['die_y']}): {first['remarks']}.",
                    weight="attention",
                    address=addresses.wafer(wafer_id),
                )
            )
    return tuple(sorted(found))


def with_flags(values: pd.DataFrame, quality: pa.Table, campaign: CampaignRecord) -> pd.DataFrame:
    """RF values with what is wrong with the sweep of their die, device, condition and touchdown.

    Added to `flags`, which stay as they are of DC values and of values without a sweep.
    """
    table = quality.to_pandas()
    said = [
        "; ".join(flag for name, flag in FLAGS.items() if row[name] == "suspect")
        for row in table[list(FLAGS)].to_dict("records")
    ]
    by_sweep = {key: flags for key, flags in zip(_keys(table), said, strict=True) if flags}
    said_before = (
        values["flags"].astype(object) if "flags" in values else pd.Series("", values.index)
    )
    before = said_before.where(said_before.notna(), "")
    if not by_sweep:
        return values.assign(flags=before)
    kinds = {one.id: one.kind for one in campaign.parameters}
    flags = [
        "; ".join(part for part in (old, by_sweep.get(key, "") if kind == "rf" else "") if part)
        for old, key, kind in zip(
            before, _keys(values), values["parameter"].map(kinds), strict=True
        )
    ]
    return values.assign(flags=flags)


def _keys(table: pd.DataFrame) -> list[tuple[object, ...]]:
    columns = [table[name].astype(object).where(table[name].notna(), None) for name in KEY]
    return list(zip(*(column.tolist() for column in columns), strict=True))
