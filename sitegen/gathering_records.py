"""Records that gathered files ask for: wafers' are started, calibrations' are pointed out."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

import numpy as np

from sitegen.gathering_campaign import Side, has_record, same_but_for_capitals
from sitegen.gathering_contents import TIME, moment
from sitegen.gathering_plan import Placed, Told
from sitegen.gathering_report import Report
from sitegen.model.base import is_identifier
from sitegen.model.campaign import CampaignRecord
from sitegen.publish.gathered_files import Destination, NotCopied
from sitegen.read.foreign.model import Resolved

StartWafer = Callable[[str, CampaignRecord, datetime | None, datetime | None], str]
"""The text of a wafer's record to begin with, from its id, the campaign, first and last time."""


def start_records(
    report: Report,
    side: Side,
    places: Sequence[Placed],
    found: Mapping[str, Resolved],
    start_wafer: StartWafer | None,
) -> None:
    """Start the records of wafers that have none, and name the events that have none."""
    times = _times_of_wafers(report, places, found)
    for wafer in sorted(times):
        if not is_identifier(wafer) or has_record(report.folder, "wafer", wafer):
            continue
        other = same_but_for_capitals(report.folder, "wafer", wafer)
        if other is not None:
            report.not_started.append(
                Told(
                    f"wafer {wafer}",
                    f"the campaign has wafers/{other}, which differs by capitals only",
                    f"Say under 'rename' of the source that {wafer} is {other}.",
                )
            )
        elif report.dry_run or start_wafer is None or side.campaign is None:
            report.to_start.append(wafer)
        else:
            text = start_wafer(wafer, side.campaign, *map(moment, times[wafer]))
            _write(report, wafer, text)
    events = {
        (kind, str(found[one.named.source.id].columns[kind][one.entry]))
        for one in places
        for kind in ("calibration", "verification")
        if one.named.source.holds == f"{kind} sweeps"
    }
    report.events += sorted(one for one in events if not has_record(report.folder, *one))


def _write(report: Report, wafer: str, text: str) -> None:
    file = f"wafers/{wafer}/wafer.toml"
    try:
        Destination(report.folder).add(file, text.encode("utf-8"))
    except NotCopied as reason:
        report.not_started.append(
            Told(file, f"it cannot be written ({reason})", "Start it by hand.")
        )
    else:
        report.started.append(file)


def _times_of_wafers(
    report: Report, places: Sequence[Placed], found: Mapping[str, Resolved]
) -> Mapping[str, tuple[int | None, int | None]]:
    """By wafer: the first and the last time of its data in microseconds since 1970 UTC, as far as
    files say any. Tables gathered before are not read again."""
    times: dict[str, list[int]] = {}
    for source in report.sources.values():
        for wafer in source.tally.wafers:
            times.setdefault(wafer, []).extend(source.tally.times.get(wafer, ()))
    by_source: dict[str, list[int]] = defaultdict(list)
    for one in places:
        by_source[one.named.source.id].append(one.entry)
    for name, entries in by_source.items():
        columns = found[name].columns
        if "wafer" not in columns or report.sources[name].source.is_of_events:
            continue
        at = np.array(entries, np.int64)
        wafers = columns["wafer"][at].tolist()
        stamps = columns[TIME][at].tolist() if TIME in columns else [None] * len(at)
        for wafer, stamp in zip(wafers, stamps, strict=True):
            if wafer is not None:
                times.setdefault(wafer, []).extend([] if stamp is None else [stamp])
    return {
        wafer: (min(stamps, default=None), max(stamps, default=None))
        for wafer, stamps in times.items()
    }
