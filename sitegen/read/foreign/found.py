"""Which files of a campaign each source of mapping.toml understands, and whose they are."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sitegen.model.loaded import Gathered, MappedFile, MappedSource
from sitegen.model.mapping import GATHERED, MAPPING_FILE, Source
from sitegen.read.files import Asked, Intake
from sitegen.read.foreign.folders import files_below
from sitegen.read.foreign.found_faults import (
    extension,
    tell_ambiguous,
    tell_many,
    tell_nobody,
    tell_nothing,
)
from sitegen.read.foreign.mapping import ReadMapping
from sitegen.read.foreign.patterns import BadPattern, Pattern, compiled, is_ambiguous, said
from sitegen.read.foreign.whose import One, wafers_of, with_lines, without_copies

_JOINED = frozenset({"part", "port"})
"""Fields that tell the files apart that are read as one."""
_APART = _JOINED | {
    *("time", "date", "clock"),
    *("temperature_c", "ambient_c", "substrate_c", "contact_resistance_ohm"),
}
"""What such files may differ in; what the first says is the sweep's."""


@dataclass(frozen=True)
class _Seen:
    """What a pass over all files of all sources found."""

    understood: Mapping[str, Sequence[One]]
    """By a source's id: the files that it and no other understands."""
    met: frozenset[str]
    """Ids of sources whose pattern fits any file."""


def sources_by_wafer(
    intake: Intake, mapping: ReadMapping, gathered: Mapping[str, Gathered]
) -> Mapping[str, tuple[MappedSource, ...]]:
    """What each source holds of each wafer, by the wafer's id.

    Files below a source's folder that no source understands, or more than one, are told, and
    sources without any file; files of calibrations and verifications are left to their records.
    `gathered` is the list of gathered files by their path in the campaign.
    """
    seen = _seen(intake, mapping, gathered)
    found: dict[str, list[MappedSource]] = defaultdict(list)
    for source in mapping.record.sources:
        if source.is_of_events:
            continue
        if source.id not in seen.met:
            tell_nothing(intake, source, is_there=(intake.folder / source.folder).is_dir())
        by_wafer: dict[str, list[One]] = defaultdict(list)
        asked = Asked(MAPPING_FILE, f'sources (id "{source.id}")')
        files = without_copies(intake, seen.understood.get(source.id, ()), gathered)
        for one in with_lines(intake, source, files, asked):
            for wafer in wafers_of(intake, source, one, asked):
                by_wafer[wafer].append(one)
        for wafer, mine in by_wafer.items():
            found[wafer].append(MappedSource(source, _joined(source, mine, gathered)))
    return {wafer: tuple(sources) for wafer, sources in sorted(found.items())}


def _seen(intake: Intake, mapping: ReadMapping, gathered: Mapping[str, Gathered]) -> _Seen:
    """Each file below the sources' folders with the one source that understands it.

    Files that a source which was left out may have meant are not told again.
    """
    here = [source for source in mapping.record.sources if not source.is_of_events]
    patterns = {one.id: compiled(one.files, one.minus, one.point) for one in here}
    folders = _folders([*here, *mapping.left_out], gathered)
    aside = [compiled(text) for text in mapping.record.aside]
    found: dict[str, list[One]] = defaultdict(list)
    several: dict[tuple[str, ...], list[str]] = defaultdict(list)
    nobody: dict[tuple[str, str], list[str]] = defaultdict(list)
    for file in sorted({file for folder in folders for file in files_below(intake.folder, folder)}):
        intake.claimed.add(file)
        fits = [
            (source, says)
            for source in here
            if file.startswith(source.folder + "/")
            and (says := said(patterns[source.id], _below(source, file))) is not None
        ]
        if not fits:
            known = any(_may_mean(source, file) for source in mapping.left_out)
            if not known and not _is_aside(aside, folders, file):
                nobody[_kind_of(file, here)].append(file)
        elif len(fits) > 1:
            several[tuple(source.id for source, _ in fits)].append(file)
        elif is_ambiguous(patterns[fits[0][0].id], _below(fits[0][0], file)):
            several[(fits[0][0].id,)].append(file)
        else:
            found[fits[0][0].id].append(One(file, fits[0][1]))
    for ids, files in several.items():
        if len(ids) > 1:
            tell_many(intake, files, ids)
        else:
            tell_ambiguous(intake, files, next(one for one in here if one.id == ids[0]))
    for files in nobody.values():
        tell_nobody(intake, files, here, patterns)
    return _Seen(found, frozenset({*found, *(one for ids in several for one in ids)}))


def _below(source: Source, file: str) -> str:
    return file[len(source.folder) + 1 :]


def _folders(sources: Sequence[Source], gathered: Mapping[str, Gathered]) -> Sequence[str]:
    """Folders that hold foreign files; that of gathered files also where no source reads it."""
    listed = {GATHERED for file in gathered if file.startswith(f"{GATHERED}/")}
    return sorted(listed | {source.folder for source in sources})


def _kind_of(file: str, sources: Sequence[Source]) -> tuple[str, str]:
    """Files of one source's folder with one extension are told together."""
    folder = next((one.folder for one in sources if file.startswith(one.folder + "/")), "")
    return folder, extension(file)


def _is_aside(aside: Sequence[Pattern], folders: Sequence[str], file: str) -> bool:
    """Whether the mapping says that a file is known and not needed."""
    below = [file[len(one) + 1 :] for one in folders if file.startswith(one + "/")]
    return any(said(pattern, path) is not None for pattern in aside for path in below)


def _may_mean(source: Source, file: str) -> bool:
    """Whether a source that cannot be used could have understood a file: by its pattern or, where
    that is the fault, by the extension."""
    if not file.startswith(source.folder + "/"):
        return False
    try:
        pattern = compiled(source.files, source.minus, source.point)
    except BadPattern:
        return extension(file) == extension(source.files)
    return said(pattern, _below(source, file)) is not None


def _joined(
    source: Source, files: Sequence[One], gathered: Mapping[str, Gathered]
) -> tuple[MappedFile, ...]:
    """Files that are parts of one sweep together, each other file by itself."""
    groups: dict[object, list[One]] = defaultdict(list)
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
