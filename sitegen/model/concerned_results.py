"""Which values of a parameter ask for a look, each with the reason: what its page lists."""

from collections.abc import Mapping
from dataclasses import dataclass

Die = tuple[int, int]


@dataclass(frozen=True)
class ConcernedValue:
    """A value that counts and is outside its limits, inside a guard band, or without standing."""

    wafer: str
    die: Die
    site: str
    value: float | None
    """In the parameter's unit; None: no number could be determined."""
    u: float | None
    """Standard uncertainty; None: not stated."""
    kind: str
    """Its outcome, or 'without standing', which goes before any outcome."""
    beyond: float | None
    """Distance to the nearer specification limit, in the parameter's unit: positive outside,
    negative inside. None: without standing, or no limit."""
    why: str
    """Reasons from the closed list that took its standing; empty where it stands."""
    censored: str = ""
    """'below the floor' or 'not reached': the value is then only a bound."""


@dataclass(frozen=True)
class ConcernedDies:
    """Of one parameter under one condition, over all wafers."""

    parameter: str
    condition: str
    counts: Mapping[str, int]
    """How many values of each kind there are, listed or not; besides them those 'not assessable'
    with a number, 'not determined' and 'not measured'."""
    dies: int
    """How many dies those of the listed kinds lie on."""
    reasons: Mapping[str, int]
    """Of the values without standing: how often each reason took it."""
    listed: tuple[ConcernedValue, ...]
    """The worst first: outside, then inside a guard band, then without standing."""
