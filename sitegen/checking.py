"""From a campaign's folder to its faults: read and solved, nothing judged, drawn or written."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sitegen.compute.input_faults import made_calibrations, naming_faults
from sitegen.model.campaign import CampaignRecord
from sitegen.problems import Fault, Finding
from sitegen.read import read_campaign, read_wafer_tables

Progress = Callable[[str, int, int], None]
"""Told of a stage, how much of it is done, and how much there is."""


@dataclass(frozen=True)
class Report:
    """What a check or a build has to say."""

    campaign: CampaignRecord
    index: Path | None
    """The publication's first page; None where nothing was to be published."""
    pages: int
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    first: str
    """What the reader should know first, as plain text."""


def check(folder: Path, progress: Progress) -> Report:
    """Read everything and solve the calibrations; report every fault without writing anything.

    They are the faults that a build tells. Raises NotACampaign where the folder is none.
    """
    progress("reading records", 0, 1)
    campaign, faults = read_campaign(folder)
    progress("solving calibrations", 0, 1)
    calibrations, unsolved = made_calibrations(campaign)
    found = {*faults, *unsolved}
    known = frozenset(one.record.id for one in campaign.calibrations)
    n_wafers = len(campaign.wafers)
    progress("reading wafers", 0, n_wafers)
    for done, wafer in enumerate(campaign.wafers, 1):
        tables, told = read_wafer_tables(folder, wafer, campaign.record, known)
        found |= {*told, *naming_faults(wafer.record, tables, campaign.record, calibrations)}
        progress("reading wafers", done, n_wafers)
    return Report(campaign.record, None, 0, tuple(sorted(found)), (), "")
