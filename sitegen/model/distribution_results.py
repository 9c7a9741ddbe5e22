"""What a parameter's values look like, and what share of such dies lies between which bounds."""

from dataclasses import dataclass
from typing import Literal

from sitegen.model.statistics import Estimate

Side = Literal["both", "lower", "upper", "none"]
"""Which specification limits there are."""


@dataclass(frozen=True)
class Normality:
    """A test of normal values (of their logarithms where the parameter is declared log-normal)."""

    test: str
    """Its name, for example 'Anderson-Darling'; empty where none was made."""
    n: int
    statistic: float | None
    """Modified A*² of one wafer; chi-squared of the wafers' p-values together."""
    p_value: float | None
    reason: str = ""
    """Why none was made; or, of a law that is refused, how large the departure is."""
    departure: float | None = None
    """Greatest distance between the share of values below a bound and the law's; 0 to 1."""


@dataclass(frozen=True)
class ToleranceInterval:
    """An interval that holds at least `coverage` of the law with `confidence`."""

    kind: Literal["normal", "log-normal", "distribution-free"]
    side: Literal["both", "lower", "upper"]
    coverage: float
    confidence: float
    n: int
    factor: float | None
    """k in mean -+ k s (of the logarithms for a log-normal law); None for a distribution-free
    interval, and over wafers of several dies, where mean's and spread's parts are found apart."""
    lower: float | None
    upper: float | None
    reason: str = ""
    """Why it is not stated, and how many values would be needed; of a stated one, that the test
    refuses its law."""


@dataclass(frozen=True)
class Distribution:
    """Numbers with standing of one parameter and condition, on one wafer or on all.

    Figures are of these values. Intervals of one wafer take its dies as a sample of that wafer's;
    over several wafers they are of the process that made the wafers, each weighing the same, and
    are stated from 5 wafers on. Values that are censored leave everything to the summary.
    """

    n: int
    mean: Estimate
    """Interval by Student's t: of the dies of one wafer, or of the wafers' means."""
    standard_deviation: Estimate
    """Interval by chi-squared; over wafers the modified large-sample interval of one die's."""
    median: Estimate
    """Interval by order statistics, free of any law; needs 6 values. Over wafers at the ranks that
    the spread of the wafers' shares below the median gives."""
    robust_spread: float | None
    """1.4826 times the median absolute deviation."""
    skewness: float | None
    """Adjusted Fisher-Pearson coefficient; None below 3 values or without spread."""
    excess_kurtosis: float | None
    """None below 4 values or without spread; 0 for a normal law."""
    tail: str
    """'' or what the tails look like in words, beside the test's p-value: of the logarithms where
    the parameter is declared log-normal. On normal values they stand there in 1 % of cases each
    at most."""
    normality: Normality
    tolerance: tuple[ToleranceInterval, ...]
    """Normal (or log-normal) and distribution-free, for the sides that the limits ask for."""


@dataclass(frozen=True)
class Capability:
    """Capability and performance of a parameter under a condition over all wafers (ISO 22514-2).

    Values are of these dies; intervals are of the process that made the wafers, from 5 wafers on.
    """

    side: Side
    """Under a log-normal law a lower limit that is not positive is none."""
    method: Literal["normal", "log-normal", "quantile", ""]
    """'log-normal': normal in logarithms. 'quantile': by the 0.135 %, 50 % and 99.865 % quantiles
    of the values, where the test refuses the declared law and there are 2,731 values."""
    n: int
    wafers: int
    """With at least one value."""
    pp: Estimate
    """By the total spread; not stated for one limit."""
    ppk: Estimate
    """By the total spread, to the nearer limit, or to the only one."""
    cp: Estimate
    """By the spread within wafers, pooled; from 5 wafers with two values each on."""
    cpk: Estimate
    nearer: Literal["lower", "upper", ""]
    """The limit that decides Ppk."""
    expected_outside: float | None = None
    """Share outside the limits that this law and the total spread would give; None: not stated,
    as by quantiles and under a law that the test refuses. A share far below 1/n is the law's
    alone: no value has tested it."""
    reason: str = ""
    """Why no index is stated; or, of stated ones, that the test refuses the law."""
    refused: str = ""
    """That the test refuses the law that stated indices are by, with its p-value; else ''."""
