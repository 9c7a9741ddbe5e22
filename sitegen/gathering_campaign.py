"""The campaign's side of gathering: its mapping, its list, its records, and what forbids a run."""

import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import Gathered
from sitegen.model.mapping import GATHERED, MAPPING_FILE, MappingRecord, Source
from sitegen.problems import Fault, SitegenError
from sitegen.read.files import Intake
from sitegen.read.foreign.gathered_list import read_list
from sitegen.read.foreign.mapping import read_mapping
from sitegen.read.foreign.tree import Listing
from sitegen.read.references import CAMPAIGN_FILE
from sitegen.read.toml_file import read_record

_EXAMPLES = 5


class NotGathered(SitegenError):
    """Nothing could be gathered at all; its text says why and what to do."""

    def __init__(
        self, text: str, faults: Iterable[Fault] = (), examples: Iterable[str] = ()
    ) -> None:
        super().__init__(text)
        self.faults = tuple(faults)
        self.examples = tuple(examples)
        """Paths of the tree that a mapping would have to understand."""


@dataclass(frozen=True)
class Side:
    """What a campaign says of gathering."""

    campaign: CampaignRecord | None
    """None where campaign.toml cannot be read."""
    mapping: MappingRecord
    sources: tuple[Source, ...]
    """Those whose files belong to this run."""
    listed: Mapping[str, Gathered]
    """What was gathered before, by its file."""
    faults: tuple[Fault, ...]
    """Of the names that the mapping uses."""


def refuse_place(folder: Path, into: str) -> None:
    """Raise NotGathered unless files can be gathered into this part of this folder."""
    if not folder.is_dir():
        raise NotGathered(f"{folder}: there is no folder of this name. Correct the path.")
    parts = into.split("/")
    if parts[0] != GATHERED or {"", ".", ".."} & set(parts):
        raise NotGathered(
            f"--into {into}: files are gathered into '{GATHERED}' or a folder below it, such as"
            f" '{GATHERED}/station-a'."
        )


def campaign_side(folder: Path, into: str, listing: Listing) -> Side:
    """The campaign's records as far as gathering needs them.

    Raises NotGathered where there is no mapping, where it has faults, where none of its sources
    belongs to this run, and where the list of gathered files has faults.
    """
    if not os.path.lexists(folder / MAPPING_FILE):
        raise NotGathered(
            f"{folder / MAPPING_FILE}: there is no such file, and nothing else says what the files"
            " of a station mean.",
            examples=_examples(listing),
        )
    intake = Intake(folder)
    read = read_mapping(intake, None)
    if read is None or intake.faults:
        raise NotGathered(f"{MAPPING_FILE} cannot be used:", intake.faults)
    mapping = read.record
    if not mapping.sources:
        raise NotGathered(
            f"{folder / MAPPING_FILE}: it has no source, so no file is understood.",
            examples=_examples(listing),
        )
    sources = tuple(one for one in mapping.sources if one.is_copied and one.folder == into)
    if not sources:
        raise NotGathered(_no_source(mapping, into), examples=_examples(listing))
    listed = read_list(intake)
    if intake.faults:
        raise NotGathered("The list of gathered files has faults:", intake.faults)
    campaign = read_record(Intake(folder), CAMPAIGN_FILE, CampaignRecord, "the campaign's record")
    if campaign is not None:
        read_mapping(intake, campaign)
    return Side(campaign, mapping, sources, listed, tuple(sorted(set(intake.faults))))


def has_record(folder: Path, kind: str, name: str) -> bool:
    """Whether the campaign has the record of a wafer, calibration or verification."""
    record = "wafer.toml" if kind == "wafer" else "record.toml"
    return os.path.lexists(folder / f"{kind}s" / name / record)


def same_but_for_capitals(folder: Path, kind: str, name: str) -> str | None:
    """The folder of a record of this kind whose name differs from this one by capitals only."""
    names = Intake(folder).names_in(f"{kind}s", "a folder")
    alike = [other for other in names if other != name and other.casefold() == name.casefold()]
    return alike[0] if alike else None


def other_spelling(folder: Path, kind: str, name: str) -> str | None:
    """The same where the campaign has no folder that is spelled as this name is."""
    is_there = name in Intake(folder).names_in(f"{kind}s", "a folder")
    return None if is_there else same_but_for_capitals(folder, kind, name)


def _no_source(mapping: MappingRecord, into: str) -> str:
    others = sorted({one.folder for one in mapping.sources if one.is_copied})
    if others:
        listed = " and ".join(f"--into {other}" for other in others)
        return f'{MAPPING_FILE}: no source has folder = "{into}"; its sources belong to {listed}.'
    return (
        f"{MAPPING_FILE}: every source is read where its files lie, so nothing is to be gathered."
        f' Sources whose files are to be copied have folder = "{into}".'
    )


def _examples(listing: Listing) -> Sequence[str]:
    """A few paths, of different extensions and folders where there are."""
    chosen: dict[str, str] = {}
    for file in listing.files:
        chosen.setdefault(file.path.rpartition("/")[2].rpartition(".")[2].lower(), file.path)
    for file in listing.files:
        chosen.setdefault(file.path.rpartition("/")[0] + "/", file.path)
    paths = [file.path for file in listing.files]
    return _distinct([*chosen.values(), *paths])


def _distinct(paths: Collection[str]) -> Sequence[str]:
    return list(dict.fromkeys(paths))[:_EXAMPLES]
