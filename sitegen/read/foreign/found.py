"""Which files of a campaign each source of mapping.toml understands, and whose they are."""

import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sitegen.model.loaded import Gathered, MappedFile, MappedSource
from sitegen.model.mapping import MAPPING_FILE, Source
from sitegen.read.files import Asked, Intake
from sitegen.read.foreign.head_lines import said_by_lines
from sitegen.read.foreign.mapping import ReadMapping
from sitegen.read.foreign.patterns import (
    BadPattern,
    Pattern,
    compiled,
    is_ambiguous,
    near_miss,
    said,
)
from sitegen.read.foreign.readers import cell_text, foreign_table
from sitegen.read.words import choices, quoted

Says = tuple[tuple[str, str], ...]
"""What a file's path and lines say, as (field, text)."""
_JOINED = frozenset({"part", "port"})
"""Fields that tell the files apart that are read as one."""
_APART = _JOINED | {"time", "date", "clock"}
"""What such files may differ in; the time of the first is the sweep's."""


@dataclass(frozen=True)
class _One:
    """A file that one source understands."""

    file: str
    says: Says


def sources_by_wafer(
    intake: Intake, mapping: ReadMapping, gathered: Mapping[str, Gathered]
) -> Mapping[str, tuple[MappedSource, ...]]:
    """What each source holds of each wafer, by the wafer's id.

    Files below a source's folder that no source understands, or more than one, are told; those of
    calibrations and verifications are left to their records. `gathered` is the list of gathered
    files by their path in the campaign.
    """
    record = mapping.record
    understood = _understood(intake, mapping)
    found: dict[str, list[MappedSource]] = defaultdict(list)
    for number, source in enumerate(record.sources, 1):
        if source.is_of_events:
            continue
        by_wafer: dict[str, list[_One]] = defaultdict(list)
        asked = Asked(MAPPING_FILE, f'sources[{number}].files (id "{source.id}")')
        files = _without_copies(intake, understood.get(source.id, ()), gathered)
        for one in _with_lines(intake, source, files, asked):
            for wafer in _wafers_of(intake, source, one, asked):
                by_wafer[wafer].append(one)
        for wafer, files in by_wafer.items():
            found[wafer].append(MappedSource(source, _joined(source, files, gathered)))
    return {wafer: tuple(sources) for wafer, sources in sorted(found.items())}


def _understood(intake: Intake, mapping: ReadMapping) -> Mapping[str, Sequence[_One]]:
    """By a source's id: the files that it and no other understands.

    Files that a source which was left out may have meant are not told again.
    """
    here = [source for source in mapping.record.sources if not source.is_of_events]
    patterns = {one.id: compiled(one.files, one.minus, one.point) for one in here}
    folders = sorted({source.folder for source in (*here, *mapping.left_out)})
    aside = [compiled(text) for text in mapping.record.aside]
    several: dict[tuple[str, ...], list[str]] = defaultdict(list)
    found: dict[str, list[_One]] = defaultdict(list)
    nobody: dict[tuple[str, str], list[str]] = defaultdict(list)
    for file in sorted({file for folder in folders for file in files_below(intake.folder, folder)}):
        intake.claimed.add(file)
        fits = []
        for source in here:
            if not file.startswith(source.folder + "/"):
                continue
            says = said(patterns[source.id], file[len(source.folder) + 1 :])
            if says is not None:
                fits.append((source, says))
        if not fits:
            known = any(_may_mean(source, file) for source in mapping.left_out)
            if not known and not _is_aside(aside, folders, file):
                nobody[_kind_of(file, here)].append(file)
        elif len(fits) > 1:
            several[tuple(source.id for source, _ in fits)].append(file)
        elif is_ambiguous(patterns[fits[0][0].id], file[len(fits[0][0].folder) + 1 :]):
            _tell_ambiguous(intake, file, fits[0][0])
        else:
            found[fits[0][0].id].append(_One(file, fits[0][1]))
    for ids, files in several.items():
        _tell_many(intake, files, ids)
    for files in nobody.values():
        _tell_nobody(intake, files, here, patterns)
    return found


def files_below(root: Path, folder: str) -> Iterator[str]:
    """Paths of the files below a folder of the campaign, relative to it; hidden ones left alone."""
    try:
        with os.scandir(root / folder) as listed:
            entries = sorted(listed, key=lambda entry: entry.name)
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if entry.is_dir(follow_symlinks=False):
            yield from files_below(root, f"{folder}/{entry.name}")
        else:
            yield f"{folder}/{entry.name}"


def _kind_of(file: str, sources: Sequence[Source]) -> tuple[str, str]:
    """Files of one source's folder with one extension are told together."""
    folder = next((one.folder for one in sources if file.startswith(one.folder + "/")), "")
    return folder, _extension(file)


def _is_aside(aside: Sequence[Pattern], folders: Sequence[str], file: str) -> bool:
    """Whether the mapping says that a file is known and not needed."""
    below = [file[len(one) + 1 :] for one in folders if file.startswith(one + "/")]
    return any(said(pattern, path) is not None for pattern in aside for path in below)


def _extension(name: str) -> str:
    return name.rpartition(".")[2].lower()


def _may_mean(source: Source, file: str) -> bool:
    """Whether a source that cannot be used could have understood a file: by its pattern or, where
    that is the fault, by the extension."""
    if not file.startswith(source.folder + "/"):
        return False
    try:
        pattern = compiled(source.files, source.minus, source.point)
    except BadPattern:
        return _extension(file) == _extension(source.files)
    return said(pattern, file[len(source.folder) + 1 :]) is not None


def _without_copies(
    intake: Intake, files: Sequence[_One], gathered: Mapping[str, Gathered]
) -> Sequence[_One]:
    """The files without those that are copies by their bytes and by their names: the same bytes,
    and a name that holds the other's, as in 'Copy of X0_Y1.s2p' and 'X0_Y1 (1).s2p'."""
    by_bytes: dict[str, list[str]] = defaultdict(list)
    for one in files:
        if one.file in gathered:
            by_bytes[gathered[one.file].sha256].append(one.file)
    copies: set[str] = set()
    for alike in by_bytes.values():
        for file in alike:
            stem = _stem(file)
            first = next(
                (each for each in alike if _stem(each) != stem and _stem(each) in stem), None
            )
            if first is not None:
                copies.add(file)
                _tell_copy(intake, file, first)
    return [one for one in files if one.file not in copies]


def _stem(file: str) -> str:
    return file.rpartition("/")[2].rpartition(".")[0]


def _tell_copy(intake: Intake, file: str, first: str) -> None:
    intake.tell(
        file,
        "",
        found=f"the same bytes as in {first}, of which it is a copy by its name",
        expected="each measurement in one file",
        remedy="Remove the copy and its line in gathered.csv; it was left out.",
        cause="One measurement under two names",
    )


def _with_lines(
    intake: Intake, source: Source, files: Iterable[_One], asked: Asked
) -> Iterator[_One]:
    """Each file with what its lines say besides; those that lack a line are told and left out."""
    for one in files:
        if not source.lines:
            yield one
            continue
        content = intake.read(one.file, asked, "a file of this source")
        says = None if content is None else said_by_lines(intake, one.file, content, source)
        if says is not None:
            yield _One(one.file, (*one.says, *says))


def _wafers_of(intake: Intake, source: Source, one: _One, asked: Asked) -> Sequence[str]:
    """Whose file it is: its name or its lines say so, the source does, or its table's rows do."""
    rename = source.rename.get("wafer", {})
    texts = dict(one.says)
    if "wafer" in texts:
        return [rename.get(texts["wafer"], texts["wafer"])]
    if "wafer" in source.constants:
        return [str(source.constants["wafer"])]
    content = intake.read(one.file, asked, "a table of this source")
    if content is None:
        return []
    part = Intake(intake.folder)
    table = foreign_table(part, one.file, content, source)
    if table is None:
        intake.take_over(part)  # no wafer's job will read it, so it is told here
        return []
    column = next((each.theirs for each in source.columns if each.ours == "wafer"), None)
    if column is None or column not in table.names:
        return []
    cells = table.columns[table.names.index(column)]
    texts_there = sorted({cell_text(table, cell) for cell in cells if cell not in (None, "")})
    return list(dict.fromkeys(rename.get(text, text) for text in texts_there))


def _joined(
    source: Source, files: Sequence[_One], gathered: Mapping[str, Gathered]
) -> tuple[MappedFile, ...]:
    """Files that are parts of one sweep together, each other file by itself."""
    groups: dict[object, list[_One]] = defaultdict(list)
    for one in files:
        parted = source.holds == "sweeps" and any(field in _JOINED for field, _ in one.says)
        rest = tuple(pair for pair in one.says if pair[0] not in _APART)
        groups[rest if parted else one.file].append(one)
    return tuple(
        MappedFile(
            files=tuple(one.file for one in group),
            says=tuple(one.says for one in group),
            modified_at=tuple(
                gathered[one.file].modified_at if one.file in gathered else None for one in group
            ),
        )
        for group in groups.values()
    )


def _tell_many(intake: Intake, files: Sequence[str], ids: Sequence[str]) -> None:
    intake.tell(
        files[0],
        "",
        found=f"a file that the sources {' and '.join(map(quoted, ids))} both understand",
        expected="one source for each file",
        remedy=f"Make the patterns in {MAPPING_FILE} exclude each other; until then it is left"
        " out.",
        count=len(files),
    )


def _tell_ambiguous(intake: Intake, file: str, source: Source) -> None:
    intake.tell(
        file,
        "",
        found=f"a name that the pattern {quoted(source.files)} can read in two ways",
        expected="one way to read it",
        remedy=f"Add fixed text between the fields of source {quoted(source.id)}; until then the"
        " file is left out.",
    )


def _tell_nobody(
    intake: Intake, files: Sequence[str], sources: Sequence[Source], patterns: Mapping[str, Pattern]
) -> None:
    """Files of one kind that no source understands, in one sentence."""
    near = [one for one in sources if files[0].startswith(one.folder + "/")]
    misses = [
        near_miss(patterns[one.id], files[0][len(one.folder) + 1 :])
        for one in near
        if _extension(one.files) == _extension(files[0])
    ]
    intake.tell(
        files[0],
        "",
        found="a file that no source understands" + (f" ({misses[0]})" if misses else ""),
        expected=f"a pattern of {MAPPING_FILE} that fits its name, such as that of"
        f" {choices(one.id for one in near)}",
        remedy="Correct the pattern or the file's name, or take the file out of the campaign.",
        count=len(files),
    )
