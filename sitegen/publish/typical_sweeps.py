"""Touchstone files of a wafer's most typical die: the corrected sweep of each device."""

from collections.abc import Sequence
from pathlib import Path

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import TypicalFile, TypicalSweep
from sitegen.model.results import TraceGroup
from sitegen.model.wafer import WaferRecord
from sitegen.publish.staging import write_bytes
from sitegen.publish.sweep_files import Sweep, sweep_file

CHOSEN_BY = {
    "values": "the die nearest the medians of all parameters with standing, by the least mean of"
    " squared robust z, among the dies with a sweep of this device",
    "sweeps": "the die whose sweep is nearest the pointwise median of all dies' sweeps of this"
    " device, since no value with standing is on them",
}
"""What a file says of the choice of its die."""


def write_typical(
    root: Path,
    chosen: Sequence[TypicalSweep],
    traces: Sequence[TraceGroup],
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> tuple[TypicalFile, ...]:
    """Write a file for each chosen sweep, as it is at the probe tips."""
    devices = {one.id: one for one in campaign.devices}
    written = []
    for one in chosen:
        group = traces[one.group]
        sweep = Sweep(group, one.row, group.keys.slice(one.row, 1).to_pylist()[0])
        told = f"most typical of wafer {wafer.id}: {CHOSEN_BY[one.by]}"
        content = sweep_file(sweep, "corrected", told, devices[one.device], campaign, wafer)
        if content is None:
            continue
        place = addresses.in_file_name(one.site)
        name = "~".join(part for part in (one.device, one.condition, place) if part)
        address = addresses.typical_sweep(wafer.id, *one.die, name, group.s.shape[-1])
        write_bytes(root, address, content)
        written.append(TypicalFile(wafer.id, one, address, len(content)))
    return tuple(written)
