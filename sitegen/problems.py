"""What can be wrong: faults of the input, findings of the measurements. They never mix."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
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
    cause: str = field(default="", compare=False)
    """Its likely cause as the heading of a group; empty: found from its words, see `grouped`."""

    def sentence(self) -> str:
        """The one sentence that a person reads."""
        where = f"{self.file}, {self.place}" if self.place else self.file
        more = f" (and {self.count - 1} more like it)" if self.count > 1 else ""
        return f"{where}: found {self.found}{more}, expected {self.expected}. {self.remedy}"


@dataclass(frozen=True)
class FaultGroup:
    """Faults of one cause."""

    cause: str
    """A heading, for example 'Names that are not declared'."""
    faults: tuple[Fault, ...]
    """In the order of faults."""

    @property
    def count(self) -> int:
        """How many faults it has; each may stand for several places of its file."""
        return len(self.faults)


_CAUSES: tuple[tuple[str, str], ...] = (
    ("Entries that do not go together", r"this rule to hold"),
    ("Files without an owner", r"no record refers to|which is no file of"),
    (
        "Files that are missing or cannot be opened",
        r"\bno file\b|no folder|cannot be read|leads nowhere|leaves the campaign"
        r"|in place of the f|not a regular|not a folder|a path with",
    ),
    (
        "Files that are cut off or of another kind",
        r"cut off|whole Parquet|in the last record|\[End\]|not UTF-8|not TOML|end is missing"
        r"|no Touchstone|no rows|no frequency points",
    ),
    ("Decimal commas", r"decimal comma|\"[+-]?\d+,\d+\""),
    ("Keys that are missing, unknown or misspelt", r"the unknown key|\bno key\b|no entry near"),
    (
        "Columns that are missing, unknown or of another type",
        r"^no column|a column that is not known|the column twice|^the type |^text$|^times",
    ),
    ("Names that are not declared", r"^the unknown (?!unit)"),
    ("Units", r"\bunit\b"),
    (
        "Ids that differ from the rest of the record",
        r"name of its folder|which entry \d+ has|has already|the same letters|own record has it",
    ),
    ("Entries that come twice", r"the same key|twice|names already|each .* once|as entry"),
    (
        "Numbers that are empty, infinite or impossible",
        r"a finite number|finite|a measured number|an empty entry|a count from|a number from 1"
        r"|0 and 1|negative|a decimal point|^numbers$",
    ),
    (
        "Standards that a method needs",
        r"for the method|[Ll]oad's resistance of the day|^no line_medium",
    ),
    ("Times", r"a time|zone|started"),
    ("Dies and frames", r"\bdies?\b|\bframe\b"),
    ("Frequencies", r"frequenc|\bHz\b|GHz|MHz|points from"),
    ("Ports and reference impedances", r"\bports?\b|Ω|impedance|port_"),
)
"""Headings and the words of `found` and `expected` that tell them, the first that fits counts."""


def cause_of(fault: Fault) -> str:
    """The heading of the group that a fault belongs to."""
    if fault.cause:
        return fault.cause
    for heading, words in _CAUSES:
        if re.search(words, fault.found) or re.search(words, fault.expected):
            return heading
    return "Entries that do not go together"


def grouped(faults: Iterable[Fault]) -> tuple[FaultGroup, ...]:
    """Faults by cause, each once: what nothing can be published with first, then large groups."""
    by_cause: dict[str, list[Fault]] = {}
    for fault in sorted(set(faults)):
        by_cause.setdefault(cause_of(fault), []).append(fault)
    groups = [FaultGroup(cause, tuple(found)) for cause, found in by_cause.items()]

    def rank(group: FaultGroup) -> tuple[bool, int, str]:
        return not any(fault.fatal for fault in group.faults), -group.count, group.cause

    return tuple(sorted(groups, key=rank))


Weight = Literal["decision", "attention", "note"]
"""How much a finding asks of its reader: decide something, look at something, know something."""

WEIGHTS: tuple[Weight, ...] = ("decision", "attention", "note")


TO_FILL_IN = "entries to fill in"
"""Kind of the finding that lists what is left blank in a record."""


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
