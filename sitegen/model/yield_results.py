"""How many dies conform, on each wafer and of the process, and which parameters take them."""

from dataclasses import dataclass
from typing import Literal

from sitegen.model.arrays import FloatArray
from sitegen.model.statistics import Estimate

VerdictWord = Literal["within", "outside", "not proven", "not assessable", "no limits"]


@dataclass(frozen=True)
class WaferYield:
    """Conforming dies of one wafer, of those judged in full."""

    wafer: str
    conforming: int
    judged: int
    share: Estimate
    """Wilson's interval: it describes these dies, as if each came out on its own."""
    verdict: VerdictWord
    """By the declared logic; 'not proven': the share reaches what is asked and the lower end of its
    interval does not; 'no limits': no least share is declared."""
    verdict_reason: str = ""
    """What decided it, as a phrase."""


@dataclass(frozen=True)
class ProcessYield:
    """The yield of the process that made the wafers: the wafer is the cluster."""

    wafers: int
    conforming: int
    judged: int
    share: Estimate
    """Pooled over the judged dies; interval from 5 wafers on."""
    intraclass_correlation: Estimate
    """Of two dies of a wafer."""
    design_effect: float | None
    """By how much the wafers' differences widen the variance of the pooled share."""
    method: str
    """Of the interval; empty without one."""


@dataclass(frozen=True)
class LimitingParameter:
    """A parameter that takes dies."""

    parameter: str
    condition: str
    outside: int
    """Judged dies that it takes: its outcome there is none that a conforming die may have."""
    alone: int
    """Of them those that no other parameter takes: they would conform without it."""


@dataclass(frozen=True)
class LimitingTogether:
    """Parameters that take dies together: just these and no other; of one, it takes them alone."""

    parameters: tuple[tuple[str, str], ...]
    """Parameter and condition, in the campaign's order."""
    dies: int


@dataclass(frozen=True)
class Yields:
    """Of the campaign."""

    wafers: tuple[WaferYield, ...]
    process: ProcessYield
    limiting: tuple[LimitingParameter, ...]
    """The most limiting first."""
    together: tuple[LimitingTogether, ...]
    """Sets that take dies, the most frequent first."""
    verdict: VerdictWord
    """Of the campaign, by its share of wafers that are within."""
    verdict_reason: str
    changed_by_touchdowns: int
    """Verdicts of dies that another choice between touchdowns would change."""


@dataclass(frozen=True, eq=False)
class IntervalCoverage:
    """How often an interval of a share holds the true one, by exact enumeration."""

    method: Literal["Wilson", "Clopper-Pearson"]
    n: int
    share: FloatArray
    """True shares, ascending; each end of an interval stands with both of its sides."""
    coverage: FloatArray
    """Probability that the interval at 95 % holds the true share."""
