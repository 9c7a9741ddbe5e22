"""What can be wrong: faults of the input, findings of the measurements. They never mix."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, order=True)
class Fault:
    """Something wrong with the input: unreadable, missing or contradictory."""

    file: str
    """Path relative to the campaign's folder, with forward slashes."""
    place: str
    """Where in the file: a key, a column and row, a line; empty for the whole file."""
    found: str
    """What stands there, as a phrase."""
    expected: str
    """What should stand there, as a phrase."""
    remedy: str
    """What to do, as a sentence in the imperative."""
    fatal: bool = False
    """True when nothing at all can be published because of it."""
    count: int = 1
    """How many places of the same file have the same fault; the first one is named."""

    def sentence(self) -> str:
        """The one sentence that a person reads."""
        where = f"{self.file}, {self.place}" if self.place else self.file
        more = f" (and {self.count - 1} more like it)" if self.count > 1 else ""
        return f"{where}: found {self.found}{more}, expected {self.expected}. {self.remedy}"


Weight = Literal["decision", "attention", "note"]
"""How much a finding asks of its reader: decide something, look at something, know something."""

WEIGHTS: tuple[Weight, ...] = ("decision", "attention", "note")


@dataclass(frozen=True, order=True)
class Finding:
    """Something that the measurements show: outside limits, expired, drifting."""

    kind: str
    """A short stable word for what was found, for example 'calibration expired'."""
    subject: str
    """What it is about: 'wafer W1', 'calibration CAL-3'."""
    text: str
    """The whole finding as one sentence."""
    weight: Weight
    address: str
    """Address of the page it belongs to."""


class SitegenError(Exception):
    """Base of the program's own exceptions."""


class NotACampaign(SitegenError):
    """The folder cannot be read as a campaign at all; nothing is published."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(fault.sentence() for fault in faults))
        self.faults = faults


class NotPublished(SitegenError):
    """Writing the publication failed; the old one still stands."""
