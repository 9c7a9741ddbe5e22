"""Touchstone files of the chosen dies, corrected and with pads and leads taken off.

A file says in its comments what stands behind it, and nothing of the day on which it was written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen import addresses
from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Device
from sitegen.model.device_results import HandedOver
from sitegen.model.results import TraceGroup
from sitegen.model.wafer import WaferRecord
from sitegen.publish.staging import write_bytes
from sitegen.publish.touchstone import touchstone_text

NOT_ACCREDITED = "This file is no certificate of an accredited laboratory."


PLAIN = str.maketrans({"µ": "u", "μ": "u", "°": "deg ", "Ω": "ohm", "−": "-", "\u202f": " "})
"""Touchstone files are ASCII; what else has no plain form becomes a question mark."""


@dataclass(frozen=True)
class _Sweep:
    """One sweep of a chosen die, at the probe tips and without pads and leads."""

    group: TraceGroup
    row: int
    key: Mapping[str, Any]
    """What is known of it besides its S-parameters."""


def write_sweeps(
    root: Path,
    chosen: Sequence[HandedOver],
    traces: Sequence[TraceGroup],
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> tuple[HandedOver, ...]:
    """Write the files of those chosen dies that lie on this wafer, and say which they are.

    chosen: of any wafer, those of others are returned as they are. traces: of this wafer. Of
    several touchdowns the one that counts is written, under the rule 'mean' the last.
    """
    handover = campaign.handover
    if handover is None:
        return tuple(chosen)
    devices = {one.id: one for one in campaign.devices}
    wanted = handover.devices or tuple(one.id for one in campaign.devices if one.ports == 2)
    roles: dict[tuple[int, int], list[str]] = {}
    for one in chosen:
        if one.wafer == wafer.id:
            of = f"wafer {wafer.id}" if one.scope == "wafer" else "all wafers"
            roles.setdefault(one.die, []).append(f"{one.role} of {of}")
    files = {
        die: tuple(
            _write(root, sweep, devices[sweep.group.device], told, campaign, wafer)
            for sweep in _sweeps_of(die, wanted, traces, campaign)
        )
        for die, told in roles.items()
    }
    return tuple(
        replace(one, files=tuple(entry for group in files[one.die] for entry in group))
        if one.wafer == wafer.id
        else one
        for one in chosen
    )


def _sweeps_of(
    die: tuple[int, int],
    wanted: Sequence[str],
    traces: Sequence[TraceGroup],
    campaign: CampaignRecord,
) -> list[_Sweep]:
    """The sweeps of a die, by device and condition in the campaign's order, one a site."""
    devices = [one.id for one in campaign.devices]
    conditions = [one.id for one in campaign.conditions]
    sign = -1 if campaign.touchdowns.counts == "first" else 1
    found: dict[tuple[int, int, str], _Sweep] = {}
    for group in traces:
        if group.device not in wanted:
            continue
        x, y = (group.keys.column(name).to_numpy() for name in ("die_x", "die_y"))
        rows = np.flatnonzero((x == die[0]) & (y == die[1])).tolist()
        for row, key in zip(
            rows, group.keys.take(pa.array(rows, pa.int64())).to_pylist(), strict=True
        ):
            place = devices.index(group.device), conditions.index(group.condition), key["site"]
            before = found.get(place)
            if before is None or sign * (key["touchdown"] - before.key["touchdown"]) > 0:
                found[place] = _Sweep(group, row, key)
    return [found[place] for place in sorted(found)]


def _write(
    root: Path,
    sweep: _Sweep,
    device: Device,
    roles: Sequence[str],
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> tuple[tuple[str, str, int], ...]:
    """Write a sweep in each form that it has: what it is, its address, its size in bytes."""
    group, key = sweep.group, sweep.key
    written = []
    forms = [("at the probe tips", "corrected", group.s)]
    if group.deembedded is not None:
        forms.append(("de-embedded", "deembedded", group.deembedded))
    for told, stem, values in forms:
        s = values[sweep.row]
        known = np.isfinite(s).all(axis=(1, 2))
        if not known.any():
            continue
        name = "~".join(part for part in (group.device, group.condition, key["site"], stem) if part)
        address = addresses.handed_over(wafer.id, key["die_x"], key["die_y"], name, s.shape[-1])
        says = [
            *_provenance(sweep, device, roles, campaign, wafer),
            _plane(device, stem),
            *_gaps(known),
            NOT_ACCREDITED,
        ]
        text = touchstone_text(
            group.frequency_hz[known], s[known], "\n".join(says), group.z_ref_ohm
        )
        content = text.translate(PLAIN).encode("ascii", "replace")
        write_bytes(root, address, content)
        site = f" at site {key['site']}" if key["site"] else ""
        what = f"{group.device} under {group.condition}{site}, {told}"
        written.append((what, address, len(content)))
    return tuple(written)


def _provenance(
    sweep: _Sweep,
    device: Device,
    roles: Sequence[str],
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> list[str]:
    """What the file is of and what stands behind it, a line each."""
    key = sweep.key
    condition = next(one for one in campaign.conditions if one.id == sweep.group.condition)
    site = f", site {key['site']}" if key["site"] else ""
    reasons = f" ({key['standing_reasons']})" if key["standing_reasons"] else ""
    taken = key["measured_at"].strftime("%Y-%m-%dT%H:%M:%SZ")
    simulated = ["The data are simulated."] if campaign.campaign.simulated else []
    return [
        f"Campaign {campaign.campaign.id}, edition {campaign.campaign.edition}:"
        f" {campaign.campaign.title}",
        *simulated,
        f"Wafer {wafer.id}, die ({key['die_x']}, {key['die_y']}){site}, chosen as:"
        f" {'; '.join(roles)}{_chosen_by(campaign)}",
        f"Device {device.id}: {device.name}",
        f"Condition {condition.id}: {condition.description}; set point"
        f" {condition.temperature_c:g} degrees Celsius",
        f"Touchdown {key['touchdown']}, measured {taken} by the instrument's clock",
        f"Calibration: {key['calibration'] or 'none in force'}; standing:"
        f" {key['standing']}{reasons}",
    ]


def _chosen_by(campaign: CampaignRecord) -> str:
    one = campaign.handover
    return f" of {one.parameter} under {one.condition}" if one is not None else ""


def _plane(device: Device, stem: str) -> str:
    """What lies between the file's reference planes, as a line."""
    if stem == "corrected":
        return "Reference planes: as the calibration set them; pads and leads are in the data"
    one = device.deembedding
    method, taken_from = (one.method, one.taken_from) if one else ("", "")
    upper = f", declared to hold up to {one.upper_hz / 1e9:g} GHz" if one and one.upper_hz else ""
    return f"Pads and leads taken off: {method}, dummies of {taken_from}{upper}"


def _gaps(known: BoolArray) -> list[str]:
    missing = int((~known).sum())
    return [f"{missing} frequencies are left out: not determined there"] if missing else []
