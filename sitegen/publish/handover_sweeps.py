"""Touchstone files of the chosen dies, corrected and with pads and leads taken off."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Device
from sitegen.model.device_results import HandedOver
from sitegen.model.results import TraceGroup
from sitegen.model.wafer import WaferRecord
from sitegen.publish.staging import write_bytes
from sitegen.publish.sweep_files import Sweep, sweep_file


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
) -> list[Sweep]:
    """The sweeps of a die, by device and condition in the campaign's order, one a site."""
    devices = [one.id for one in campaign.devices]
    conditions = [one.id for one in campaign.conditions]
    sign = -1 if campaign.touchdowns.counts == "first" else 1
    found: dict[tuple[int, int, str], Sweep] = {}
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
                found[place] = Sweep(group, row, key)
    return [found[place] for place in sorted(found)]


def _write(
    root: Path,
    sweep: Sweep,
    device: Device,
    roles: Sequence[str],
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> tuple[tuple[str, str, int], ...]:
    """Write a sweep in each form that it has: what it is, its address, its size in bytes."""
    group, key = sweep.group, sweep.key
    written = []
    for told, stem in (("at the probe tips", "corrected"), ("de-embedded", "deembedded")):
        chosen_as = f"{'; '.join(roles)}{_chosen_by(campaign)}"
        content = sweep_file(sweep, stem, chosen_as, device, campaign, wafer)
        if content is None:
            continue
        place = addresses.in_file_name(key["site"] or "")
        name = "~".join(part for part in (group.device, group.condition, place, stem) if part)
        address = addresses.handed_over(
            wafer.id, key["die_x"], key["die_y"], name, group.s.shape[-1]
        )
        write_bytes(root, address, content)
        site = f" at site {key['site']}" if key["site"] else ""
        what = f"{group.device} under {group.condition}{site}, {told}"
        written.append((what, address, len(content)))
    return tuple(written)


def _chosen_by(campaign: CampaignRecord) -> str:
    one = campaign.handover
    return f" of {one.parameter} under {one.condition}" if one is not None else ""
