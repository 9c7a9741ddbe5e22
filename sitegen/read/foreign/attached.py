"""Foreign files that mapping.toml understands, attached to the wafers that they are of."""

import os
from collections.abc import Mapping
from dataclasses import replace

from sitegen.model.base import is_identifier
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import Gathered, LoadedWafer, MappedSource
from sitegen.model.mapping import GATHERED, MAPPING_FILE, MappingRecord
from sitegen.read.files import Asked, Intake
from sitegen.read.foreign.found import sources_by_wafer
from sitegen.read.foreign.gathered_list import list_troubles, read_list
from sitegen.read.foreign.mapping import read_mapping
from sitegen.read.likely_names import slip_of
from sitegen.read.words import counted, nearest, quoted


def with_mapped_files(
    intake: Intake, campaign: CampaignRecord | None, wafers: Mapping[str, LoadedWafer | None]
) -> tuple[Mapping[str, LoadedWafer | None], MappingRecord | None, Mapping[str, Gathered]]:
    """The wafers, by their folders' names, with what mapping.toml finds of them; the mapping; and
    the list of gathered files.

    Foreign files of a wafer that has no record are told; those of a wafer whose record could not be
    read are not, since that is told already.
    """
    gathered = read_list(intake)
    mapping = read_mapping(intake, campaign)
    if mapping is None:
        list_troubles(intake, gathered)
        if gathered and not os.path.lexists(intake.folder / MAPPING_FILE):
            _tell_no_mapping(intake, gathered)
            intake.claimed.update(gathered)
        return wafers, None, gathered
    found = sources_by_wafer(intake, mapping, gathered)
    list_troubles(intake, gathered)
    attached = dict(wafers)
    for wafer, sources in found.items():
        loaded = wafers.get(wafer)
        if loaded is not None:
            attached[wafer] = _with(intake, loaded, sources)
        elif wafer not in wafers:
            _tell_no_record(intake, wafer, sources, wafers)
    return attached, mapping.record, gathered


def _with(intake: Intake, wafer: LoadedWafer, sources: tuple[MappedSource, ...]) -> LoadedWafer:
    """The wafer with its foreign files, each of them one of its source files with its digest."""
    usable, files = [], dict[str, None]()
    for one in sources:
        if one.source.frame not in wafer.frames:
            _tell_frame(intake, wafer, one)
            continue
        usable.append(one)
        files |= dict.fromkeys(file for mapped in one.files for file in mapped.files)
    asked = Asked(MAPPING_FILE, "sources")
    told = {fault.file for fault in intake.faults}
    known = [
        file
        for file in files
        if file in intake.sources
        or (file not in told and intake.register(file, asked, "a file of a source"))
    ]
    return replace(
        wafer,
        mapped=tuple(usable),
        sources=(*wafer.sources, *(intake.sources[file] for file in known)),
    )


def _tell_no_mapping(intake: Intake, gathered: Mapping[str, Gathered]) -> None:
    """Gathered files that nothing says how to read; those of events are read by their records."""
    files = [file for file in gathered if file.startswith(f"{GATHERED}/")]
    if files:
        intake.tell(
            MAPPING_FILE,
            "",
            found=f"no file, though {counted(len(files), 'file')} in {GATHERED}/ were gathered",
            expected="the mapping that says how they are to be understood",
            remedy="Put it back; until then none of them is read.",
        )


def _tell_frame(intake: Intake, wafer: LoadedWafer, mapped: MappedSource) -> None:
    intake.tell(
        f"wafers/{wafer.record.id}/wafer.toml",
        "reference_dies",
        found=f"no frame {quoted(mapped.source.frame)}, in which mapping.toml says that source"
        f" {quoted(mapped.source.id)} counts its dies",
        expected="reference dies that fix this frame",
        remedy="Name at least three dies in this frame, or correct the frame of the source; until"
        " then its files are left out.",
        count=sum(len(one.files) for one in mapped.files),
    )


def _tell_no_record(
    intake: Intake,
    wafer: str,
    sources: tuple[MappedSource, ...],
    wafers: Mapping[str, LoadedWafer | None],
) -> None:
    files = [file for one in sources for mapped in one.files for file in mapped.files]
    meant = nearest(wafer.strip(), wafers)
    slip = slip_of(wafer, wafers)
    shown = quoted(wafer) + (f"{slip}," if slip else "")
    remedy = f"Start its record with 'sitegen new FOLDER --wafer {wafer.strip()}'"
    if meant is not None:
        remedy = (
            f"If {quoted(meant)} is meant, say so under 'rename' of the source in {MAPPING_FILE}:"
            f" wafer = {{ {quoted(wafer)} = {quoted(meant)} }}; else start its record"
        )
    if not is_identifier(wafer.strip()):
        remedy = (
            f"Give it an id under 'rename' of the source in {MAPPING_FILE}, with letters, digits,"
            " '.', '_', '+' and '-'"
        )
    intake.tell(
        files[0],
        "",
        found=f"the wafer {shown} in {counted(len(files), 'file')}, which has no record",
        expected=f"wafers/{wafer.strip()}/wafer.toml",
        remedy=f"{remedy}; until then they are left out.",
    )
