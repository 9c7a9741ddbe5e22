"""How values go with other parameters, with time, and from wafer to wafer."""

from dataclasses import dataclass

from sitegen.model.statistics import Estimate

RUN_RULES = "Nelson 1984, tests 1 to 4"
"""The named set of run rules that a trend's signals belong to."""


@dataclass(frozen=True)
class Correlation:
    """Two parameters over the dies that have both, about each wafer's own mean."""

    first: tuple[str, str]
    second: tuple[str, str]
    """Parameter and condition."""
    n: int
    """Dies on wafers that have at least two with both."""
    wafers: int
    """Those wafers."""
    rank: Estimate
    """Spearman's, within wafers; interval by Bonett and Wright."""
    linear: Estimate
    """Pearson's, within wafers; interval by Fisher's z."""
    p_value: float | None
    """Two-sided, of a rank correlation so large where there is none."""
    adjusted_p: float | None
    """Over all pairs of the campaign (Benjamini and Hochberg)."""
    pairs: int
    """How many pairs were looked at."""
    declared: bool
    freedom: float | None = None
    """Independent deviations that the dies are worth: n less wafers, and fewer where neighbours
    resemble each other in both parameters. None without a correlation."""


@dataclass(frozen=True)
class Trend:
    """Values of one wafer in the order of measurement."""

    wafer: str
    against: str
    """'touchdown number' or 'time since calibration'."""
    n: int
    slope: Estimate
    """In the parameter's unit a touchdown, or an hour, beside a plane, a bowl and a step at each
    further calibration."""
    p_value: float | None
    adjusted_p: float | None
    """Over the wafers and both regressors of one parameter and condition (Holm), not over
    parameters."""
    runs: tuple[tuple[str, int], ...]
    """Run rules by name and how often each was met; rules of one named set."""
    expected_runs: float | None
    """How many signals data without any order would show."""
    reason: str = ""


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests: is the difference smaller than the margin?"""

    margin: float
    lower: float | None
    upper: float | None
    """The 90 % interval that must lie inside -+ margin."""
    verdict: str
    """'equivalent', 'different by more', 'not shown', or 'not stated'."""
    p_value: float | None
    reason: str = ""


@dataclass(frozen=True)
class Comparison:
    """One wafer or split against another, of one parameter under one condition."""

    kind: str
    """'wafers' or 'splits'."""
    first: str
    second: str
    n_first: int
    n_second: int
    wafers_first: int
    wafers_second: int
    difference: Estimate
    """First minus second. Of wafers: Welch's interval with what the measurement adds to it; of
    splits: between means of wafers, the wafer being the unit."""
    effect_size: Estimate
    """Hedges' g."""
    p_value: float | None
    adjusted_p: float | None
    """Over all comparisons of its kind of this parameter (Holm)."""
    u_measurement: float | None
    """Standard uncertainty of the difference by the measurement's shared errors, inside the
    interval. Of splits: what of them the spread of the wafers' means does not show. None: not
    stated."""
    equivalence: Equivalence | None
    reason: str = ""
    within_sd: float | None = None
    """Of splits: the standard deviation within wafers, pooled; for comparison only."""
