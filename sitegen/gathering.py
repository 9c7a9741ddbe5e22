"""Bringing the files that a station left into a campaign: the stages of `sitegen gather`."""

import hashlib
import os
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np

from sitegen.gathering_campaign import (
    NotGathered,
    Side,
    campaign_side,
    other_spelling,
    refuse_place,
)
from sitegen.gathering_contents import is_read, sweeps_in, told_faults
from sitegen.gathering_plan import (
    Named,
    Placed,
    Told,
    events_apart,
    is_not_for_every_system,
    matched,
    placed,
    resolved,
    without_collisions,
)
from sitegen.gathering_records import StartWafer, start_records
from sitegen.gathering_report import Report, SourceReport
from sitegen.model.loaded import Gathered, SourceFile
from sitegen.model.mapping import GATHERED, Source
from sitegen.publish.gathered_files import Destination, NotCopied, remove_left_over
from sitegen.read.files import Intake, digest
from sitegen.read.foreign.fields import resolve
from sitegen.read.foreign.gathered_list import list_troubles, read_list
from sitegen.read.foreign.head_lines import said_by_lines
from sitegen.read.foreign.model import Resolved
from sitegen.read.foreign.tree import Listing, NotATree, NotReadable, list_tree, read_tree_file

Progress = Callable[[str, int, int], None]
"""Told of a stage, how much of it is done, and how much there is."""
_STEP = 50
"""Files between two tellings of progress."""
_NOTHING = Resolved({}, ())


@dataclass
class _Taken:
    """What one pass over the files of the tree brings about."""

    devices: Mapping[str, str] | None
    """By parameter, as the campaign declares them; None where its record cannot be read."""
    rows: dict[str, Gathered] = field(default_factory=dict)
    """The list as it is after the run, by file."""
    new: dict[str, Placed] = field(default_factory=dict)
    """Those that this run copies, by file."""
    whole: set[str] = field(default_factory=set)
    """Those of them that can be taken as they are."""
    digests: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Paths of the tree by their bytes' digest."""


def gather(
    folder: Path,
    tree: Path,
    now: datetime,
    progress: Progress,
    *,
    into: str = GATHERED,
    dry_run: bool = False,
    start_wafer: StartWafer | None = None,
) -> Report:
    """Copy what the sources of mapping.toml understand in a tree, and list it with its digests.

    A file of the campaign is never overwritten. `start_wafer` None: no record is started.
    Raises NotGathered where nothing can be done.
    """
    into = into.rstrip("/")
    refuse_place(folder, into)
    progress("looking through the tree", 0, 1)
    listing = _listing(folder, tree)
    side = campaign_side(folder, into, listing)
    if not dry_run:
        remove_left_over(folder)
    report = _begun(folder, tree, into, dry_run, side, listing)
    named, told, report.not_needed = matched(listing.files, side.sources, side.mapping.aside)
    report.told += told
    report.not_everywhere += [one.path for one in named if is_not_for_every_system(one.path)]
    places, found = _places(report, named, side)
    taken = _taken(report, places, side, now, progress)
    _count(report, places, found, taken)
    if not dry_run and taken.rows != side.listed:
        _write_list(folder, taken)
    _compare(report, listing, side, taken)
    start_records(report, side, places, found, start_wafer)
    return report


def _listing(folder: Path, tree: Path) -> Listing:
    try:
        return list_tree(tree, folder)
    except NotATree as reason:
        raise NotGathered(
            f"{tree}: found {reason}, expected the folder that a station's files lie in, outside"
            " the campaign. Correct the path."
        ) from None


def _begun(
    folder: Path, tree: Path, into: str, dry_run: bool, side: Side, listing: Listing
) -> Report:
    """A report with what is known before any file is looked at."""
    report = Report(folder, tree, into, dry_run, len(listing.files))
    report.sources = {one.id: SourceReport(one) for one in side.sources}
    report.aside = [one for one in listing.aside if one.is_expected]
    report.told = [
        Told(
            one.path,
            f"{one.reason}; it was not looked at",
            "Put the files themselves into the tree, or leave it."
            if "link" in one.reason
            else "Make it readable, or leave it.",
        )
        for one in listing.aside
        if not one.is_expected
    ]
    others = [one for one in side.mapping.sources if one.id not in report.sources]
    report.in_place = [one.id for one in others if not one.is_copied]
    report.elsewhere = sorted({one.folder for one in others if one.is_copied})
    report.campaign_faults = list(side.faults)
    return report


def _places(
    report: Report, named: Sequence[Named], side: Side
) -> tuple[Sequence[Placed], Mapping[str, Resolved]]:
    """Where each file belongs, and what the files of each source say by their names and lines."""
    by_source: dict[str, list[Named]] = {source.id: [] for source in side.sources}
    for one in named:
        by_source[one.source.id].append(one)
    places: list[Placed] = []
    found: dict[str, Resolved] = {}
    for source in side.sources:
        files = _with_lines(report, source, by_source[source.id])
        says_by_file = source.holds not in ("values", "curves", "touchdowns")
        said = resolved(source, files, resolve) if says_by_file and files else _NOTHING
        found[source.id] = said
        of_source, told = placed(source, files, said, report.into)
        places += of_source
        report.told += told
    apart, told = events_apart(places, partial(other_spelling, report.folder))
    report.told += told
    alone, told = without_collisions(apart, side.listed)
    report.told += told
    return sorted(alone, key=lambda one: one.path), found


def _with_lines(report: Report, source: Source, files: Sequence[Named]) -> list[Named]:
    """The files with what their lines say besides, and what is wrong with these."""
    if not source.lines:
        return list(files)
    kept = []
    for one in files:
        intake = Intake(report.tree)
        try:
            content = read_tree_file(report.tree, one.path)
        except NotReadable as reason:
            report.told.append(Told(one.path, str(reason), "Make it readable, or leave it."))
            continue
        says = said_by_lines(intake, one.path, content, source)
        told = told_faults(one.path, intake.faults)
        kept.append(replace(one, says=(*one.says, *(says or ())), told=told))
    return kept


def _taken(
    report: Report, places: Sequence[Placed], side: Side, now: datetime, progress: Progress
) -> _Taken:
    """Each file read, compared with what was gathered before, and copied where it is new."""
    campaign = side.campaign
    devices = None if campaign is None else {one.id: one.device for one in campaign.parameters}
    taken = _Taken(devices, dict(side.listed))
    destination = None if report.dry_run else Destination(report.folder)
    stage = "reading files" if report.dry_run else "gathering files"
    for number, one in enumerate(places):
        if number % _STEP == 0:
            progress(stage, number, len(places))
        try:
            content = read_tree_file(report.tree, one.path)
        except NotReadable as reason:
            report.told.append(Told(one.path, str(reason), "Make it readable, or leave it."))
            continue
        sha256 = hashlib.sha256(content).hexdigest()
        taken.digests[sha256].append(one.path)
        if not _is_known(report, taken, one, sha256):
            row = Gathered(
                file=one.file,
                taken_from=one.path,
                sha256=sha256,
                bytes=len(content),
                modified_at=one.named.modified_at,
                gathered_at=now,
                source=one.named.source.id,
            )
            _take(report, taken, one, row, content, destination)
    progress(stage, len(places), len(places))
    return taken


def _is_known(report: Report, taken: _Taken, one: Placed, sha256: str) -> bool:
    """Whether a file is in the campaign already, as it is or as it was."""
    row = taken.rows.get(one.file)
    if row is None or not (report.folder / one.file).is_file():
        return False
    count = report.sources[one.named.source.id]
    count.understood += 1
    if row.sha256 == sha256:
        count.unchanged += 1
        taken.rows[one.file] = replace(row, source=one.named.source.id)
    else:
        count.changed += 1
        report.changed.append(one.file)
    return True


def _take(
    report: Report,
    taken: _Taken,
    one: Placed,
    row: Gathered,
    content: bytes,
    destination: Destination | None,
) -> None:
    """Read a new file as a build will, and copy it with its faults, which are told: what the
    station left is evidence, and the publication says what is wrong with it."""
    is_there = _is_there(report, one.file)
    if is_there and not _has_digest(report.folder / one.file, row.sha256):
        what = f"in its place in the campaign, {one.file}, is something else that was not gathered"
        report.told.append(Told(one.path, what, "Move that out of the campaign."))
        return
    count = report.sources[one.named.source.id]
    is_whole, told = is_read(count.tally, one.named, content, resolve, taken.devices)
    if destination is not None and not is_there:
        try:
            destination.add(one.file, content)
        except NotCopied as reason:
            is_there = _has_digest(report.folder / one.file, row.sha256)  # by another run
            if not is_there:
                what = f"it cannot be written to {one.file} ({reason})"
                report.told.append(Told(one.path, what, "Make room for it, then gather again."))
                return
    report.copied_with_faults += one.told or told
    count.understood += 1
    count.new += 1
    count.found += is_there
    taken.rows[one.file] = row
    taken.new[one.file] = one
    if is_whole and not one.told:
        taken.whole.add(one.file)


def _is_there(report: Report, file: str) -> bool:
    return os.path.lexists(os.path.join(report.folder, file))  # noqa: PTH118 (3,000 times)


def _has_digest(path: Path, sha256: str) -> bool:
    try:
        return path.is_file() and digest(path) == sha256
    except OSError:
        return False


def _count(
    report: Report, places: Sequence[Placed], found: Mapping[str, Resolved], taken: _Taken
) -> None:
    """What the new files of each source hold, as far as their names and lines say it."""
    for name, said in found.items():
        of_source = [
            one
            for one in taken.new.values()
            if one.named.source.id == name and one.file in taken.whole
        ]
        if said.columns and of_source:
            at = np.array([one.entry for one in of_source], np.int64)
            report.sources[name].tally.add_entries(said.columns, at)
            report.sources[name].tally.sweeps += sweeps_in(said.columns, at)
    report.alike += [tuple(paths) for paths in taken.digests.values() if len(paths) > 1]


def _compare(report: Report, listing: Listing, side: Side, taken: _Taken) -> None:
    """What was gathered before against the tree and against the campaign's files as they are."""
    there = {file.path for file in listing.files}
    closed = tuple(f"{one.path}/" for one in listing.aside if one.is_folder and one.path)
    known = {source.id for source in side.mapping.sources}
    for row in side.listed.values():
        is_ours = row.source in report.sources or (
            row.source not in known and row.file.startswith(report.into + "/")
        )
        if is_ours and row.taken_from not in there and not row.taken_from.startswith(closed):
            report.gone.append(row.file)
            if row.source in report.sources:
                report.sources[row.source].gone += 1
    intake = Intake(report.folder)
    rows = taken.rows
    if report.dry_run:
        absent = {file for file in taken.new if not _is_there(report, file)}
        rows = {file: row for file, row in rows.items() if file not in absent}
    else:
        for file in taken.new:
            intake.sources[file] = SourceFile(file, rows[file].sha256, rows[file].bytes)
    list_troubles(intake, rows)
    report.campaign_faults += intake.faults


def _write_list(folder: Path, taken: _Taken) -> None:
    """Write the list with what another run may have listed meanwhile."""
    intake = Intake(folder)
    meanwhile = read_list(intake)
    if not intake.faults:
        taken.rows = {**meanwhile, **taken.rows}
    try:
        Destination(folder).write_list(taken.rows.values())
    except OSError as problem:
        raise NotGathered(
            f"{folder}: the list of gathered files cannot be written ({problem.strerror}). Make"
            " the folder writable and gather again: files that are there already are then listed."
        ) from problem
