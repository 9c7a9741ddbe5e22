"""What a run of gathering has to say, as plain lines of 80 columns."""

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sitegen.gathering_campaign import NotGathered
from sitegen.gathering_contents import Tally
from sitegen.gathering_plan import Told
from sitegen.model.base import BLANK
from sitegen.model.mapping import FIELDS, GATHERED_LIST, MAPPING_FILE, Source
from sitegen.problems import Fault
from sitegen.read.files import printable_path
from sitegen.read.foreign.tree import OWN_FOLDER, Aside

WIDTH = 80
_EXAMPLES = 3
"""Paths that stand for many alike."""
_MOST_GONE = 20
"""Files that are not in the tree and are named one by one."""
_MOST_ALIKE = 5
"""Groups of files with the same bytes that are shown."""


@dataclass
class SourceReport:
    """What a run has to say of a source."""

    source: Source
    understood: int = 0
    new: int = 0
    """Listed by this run."""
    found: int = 0
    """Those of them that lay in their place already and were not copied."""
    unchanged: int = 0
    changed: int = 0
    gone: int = 0
    tally: Tally = field(default_factory=Tally)
    """Of the new files."""


@dataclass
class Report:
    """What a run has to say."""

    folder: Path
    tree: Path
    into: str
    dry_run: bool
    files: int
    """That the tree has, without those left aside."""
    sources: dict[str, SourceReport] = field(default_factory=dict)
    told: list[Told] = field(default_factory=list)
    """What was not copied, and why."""
    copied_with_faults: list[Told] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    """Files of the campaign that the tree has with other bytes now."""
    gone: list[str] = field(default_factory=list)
    """Files of the campaign that this tree does not have: they were removed from it, or came from
    another one."""
    alike: list[tuple[str, ...]] = field(default_factory=list)
    """Paths of the tree with the same bytes."""
    not_everywhere: list[str] = field(default_factory=list)
    """Paths that not every system can hold."""
    aside: list[Aside] = field(default_factory=list)
    """Hidden files and folders, and the campaign's own folder."""
    not_needed: tuple[str, ...] = ()
    """Paths that mapping.toml leaves aside."""
    in_place: list[str] = field(default_factory=list)
    """Ids of sources that are read where they lie."""
    elsewhere: list[str] = field(default_factory=list)
    """Values of --into that other sources belong to."""
    campaign_faults: list[Fault] = field(default_factory=list)
    """What is wrong in the campaign with files gathered before, and with the mapping's names."""
    started: list[str] = field(default_factory=list)
    """Records that were written to begin with."""
    to_start: list[str] = field(default_factory=list)
    """Wafers without a record, where none was written."""
    not_started: list[Told] = field(default_factory=list)
    """Records that cannot be started, and why."""
    events: list[tuple[str, str]] = field(default_factory=list)
    """Calibrations and verifications without a record, as (kind, id)."""

    @property
    def is_whole(self) -> bool:
        """Whether everything in the tree was understood and stands in the campaign as it is."""
        return not (
            self.told
            or self.copied_with_faults
            or self.changed
            or self.campaign_faults
            or self.not_started
        )


def report_lines(report: Report) -> list[str]:
    """The whole report."""
    return [
        *_wrapped(f"{_shown(report.tree)}: {_count(report.files, 'file')}.", "", "  "),
        *_sources(report),
        *_held(report),
        *_section("Not copied:", _told(report.told)),
        *_section(
            "Copied, but not all of it can be taken as it is; 'sitegen check' tells it again:",
            _told(report.copied_with_faults),
        ),
        *_section(
            "Changed in the tree since they were gathered, and not overwritten. Keep the"
            " campaign's file, or remove it there and gather again:",
            _paths(report.changed),
        ),
        *_section(
            "Not in this tree, gathered before from it or from another; the campaign keeps them:",
            _gone(report.gone),
        ),
        *_section("In the campaign:", _faults(report.campaign_faults)),
        *_section(
            "The same bytes under several names; remove all but one from the tree if they are"
            " one measurement:",
            _alike(report.alike),
        ),
        *_notes(report),
        *_section("Records that cannot be started:", _told(report.not_started)),
        *_records(report),
        "",
        *_wrapped(_end(report), "", "  "),
    ]


def refusal_lines(problem: NotGathered) -> list[str]:
    """Why nothing was gathered, and what to write where a mapping is missing."""
    lines = _wrapped(str(problem), "", "  ")
    lines += [line for text in _faults(problem.faults) for line in _wrapped(text, "  ", "    ")]
    if problem.examples:
        lines += ["", f"{MAPPING_FILE} says it with a pattern for each family of files, such as"]
        lines += ["", *(f"  {line}" for line in _EXAMPLE.strip().splitlines()), ""]
        lines += _wrapped(
            f"where {{field}} is what a name says ({', '.join(FIELDS)}), * is anything inside a"
            " name and **/ any folders. Files of this tree that it would have to understand:",
            "",
            "",
        )
        lines += [f"  {_shown(path)}" for path in problem.examples]
    return lines


_EXAMPLE = """
[[sources]]
id = "sweeps"
files = "{wafer}/**/X{die_x}_Y{die_y}_{device}_{bias}.s2p"
holds = "sweeps"
sweep = "raw"
time_from = "modification"
conditions = [{ condition = "sat", when = { bias = "VG1" } }]
"""


def grouped(told: Iterable[Told]) -> list[tuple[Told, int]]:
    """Those alike together, each group by its first with its count; large groups first."""
    groups: dict[tuple[str, str, str], list[Told]] = {}
    for one in told:
        key = (re.sub(r'"[^"]*"|[+-]?\d+([.,]\d+)?', "#", one.what), one.remedy, one.kind)
        groups.setdefault(key, []).append(one)
    counted = [(min(group, key=lambda one: one.path), len(group)) for group in groups.values()]
    return sorted(counted, key=lambda group: (-group[1], group[0].path))


def _sources(report: Report) -> list[str]:
    names = ("Source", "understood", "new", "unchanged", "changed", "not in this tree")
    rows = [
        (
            one.source.id,
            *map(_digits, (one.understood, one.new, one.unchanged, one.changed, one.gone)),
        )
        for one in report.sources.values()
    ]
    return ["", *_table(names, rows)]


def _held(report: Report) -> list[str]:
    """What the new files hold."""
    names = ("In new files", "wafers", "dies", "devices", "sweeps", "rows", "points")
    rows = []
    for one in report.sources.values():
        if one.new:
            tally = one.tally
            devices = "-" if tally.lacks_devices else _digits(len(tally.devices))
            counts = (_digits(len(tally.wafers)), _digits(len(tally.dies)), devices)
            amounts = (tally.sweeps, tally.rows, tally.points)
            rows.append((one.source.id, *counts, *map(_digits, amounts)))
    return ["", *_table(names, rows)] if rows else []


def _table(names: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Aligned columns, the first flush left; long names of sources are cut."""
    cells = [names, *((_cut(row[0]), *row[1:]) for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(names))]
    return [
        "  ".join(
            cell.rjust(width) if column else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]


def _section(title: str, lines: Iterable[str]) -> list[str]:
    listed = [line for text in lines for line in _wrapped(text, "  ", "    ")]
    return ["", *_wrapped(title, "", "  "), *listed] if listed else []


def _told(told: Sequence[Told]) -> list[str]:
    return [
        f"{_shown(one.path)}: {one.what}. {one.remedy}"
        if number == 1
        else f"{_digits(number)} files such as {_shown(one.path)}: {one.what}. {one.remedy}"
        for one, number in grouped(told)
    ]


def _faults(faults: Sequence[Fault]) -> list[str]:
    """Faults of the campaign; those alike but for the file together."""
    alike = [
        Told(
            fault.file,
            f"{fault.place + ': ' if fault.place else ''}found {fault.found}"
            f"{f' (and {_digits(fault.count - 1)} more like it)' if fault.count > 1 else ''},"
            f" expected {fault.expected}",
            fault.remedy,
        )
        for fault in faults
    ]
    return _told(alike)


def _paths(paths: Iterable[str]) -> list[str]:
    return [_shown(path) for path in sorted(paths)]


def _gone(files: Sequence[str]) -> list[str]:
    """Each of a few files; of many, as a tree of every week leaves behind, examples."""
    if len(files) <= _MOST_GONE:
        return _paths(files)
    return [f"{_count(len(files), 'file')}: {_examples(sorted(files))}."]


def _alike(groups: Sequence[tuple[str, ...]]) -> list[str]:
    """The first groups of paths with the same bytes, and how many more there are."""
    lines = [_equal(paths) for paths in sorted(groups)[:_MOST_ALIKE]]
    rest = sorted(groups)[_MOST_ALIKE:]
    if rest:
        groups_, files = _count(len(rest), "group"), _digits(sum(map(len, rest)))
        lines.append(f"and {groups_} more, of {files} files")
    return lines


def _equal(paths: Sequence[str]) -> str:
    more = len(paths) - _EXAMPLES
    text = " = ".join(map(_shown, paths[:_EXAMPLES]))
    return f"{text} and {_digits(more)} more" if more > 0 else text


def _notes(report: Report) -> list[str]:
    """What needs no action."""
    notes = []
    hidden = [one.path for one in report.aside if one.reason != OWN_FOLDER]
    if hidden:
        notes.append(
            f"{_count(len(hidden), 'hidden file or folder', 'hidden files and folders')}"
            f" left aside: {_examples(hidden)}."
        )
    notes += [
        f"{_shown(one.path)} is {one.reason} and was left aside."
        for one in report.aside
        if one.reason == OWN_FOLDER
    ]
    if report.not_needed:
        number = _count(len(report.not_needed), "file")
        notes.append(
            f"{number} left aside, as {MAPPING_FILE} says: {_examples(report.not_needed)}."
        )
    if report.not_everywhere:
        number = _count(len(report.not_everywhere), "file has a name", "files have names")
        notes.append(f"{number} that Windows cannot hold: {_examples(report.not_everywhere)}.")
    if report.in_place:
        notes.append(f"Read where they lie, so not gathered: {', '.join(report.in_place)}.")
    if report.elsewhere:
        others = " or ".join(f"--into {folder}" for folder in report.elsewhere)
        notes.append(f"Other sources belong to a tree of their own, gathered with {others}.")
    return _section("To know:", notes)


def _records(report: Report) -> list[str]:
    lines = [f'{file} was started; fill in what says "{BLANK}".' for file in report.started]
    if report.to_start and report.dry_run:
        wafers = ", ".join(report.to_start)
        lines.append(f"Records of the wafers without one will be started: {wafers}.")
    else:
        lines += [
            f"Wafer {wafer} has no record: 'sitegen new {report.folder} --wafer {wafer}'"
            " starts one."
            for wafer in report.to_start
        ]
    lines += [
        f"{kind.capitalize()} {name} has no record: 'sitegen new {report.folder} --{kind} {name}'"
        " starts one."
        for kind, name in report.events
    ]
    return _section("Records:", lines)


def _end(report: Report) -> str:
    found = sum(one.found for one in report.sources.values())
    copied = sum(one.new for one in report.sources.values()) - found
    if report.dry_run:
        there = "lies" if found == 1 else "lie"
        more = f", and {_digits(found)} that {there} there already listed" if found else ""
        return f"Dry run: nothing was written; {_count(copied, 'file')} would be copied{more}."
    lay = "lay there already and is" if found == 1 else "lay there already and are"
    more = f" {_count(found, 'file')} {lay} listed now." if found else ""
    if not copied:
        return f"No file was copied.{more}"
    return f"{_count(copied, 'file')} copied and listed in {GATHERED_LIST}.{more}"


def _examples(paths: Sequence[str]) -> str:
    listed = ", ".join(map(_shown, paths[:_EXAMPLES]))
    return listed + (
        f" and {_digits(len(paths) - _EXAMPLES)} more" if len(paths) > _EXAMPLES else ""
    )


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _shown(path: object) -> str:
    """A path that can be printed, shortened in its middle where it is very long."""
    text = printable_path(str(path))
    return text if len(text) <= 200 else f"{text[:120]}…{text[-60:]}"


def _cut(name: str) -> str:
    return name if len(name) <= 20 else f"{name[:19]}…"


def _digits(number: int) -> str:
    return f"{number:,}"


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{_digits(number)} {one if number == 1 else many or one + 's'}"
