"""Where a parameter's spread comes from, and how much of it the measurement makes."""

from dataclasses import dataclass

from sitegen.model.statistics import Estimate


@dataclass(frozen=True)
class Component:
    """One source of spread."""

    level: str
    """'wafer', 'die', 'site', 'touchdown'; of a study 'die', 'operator' or 'station',
    'interaction', 'repeat'. The outermost first."""
    groups: int
    """How many of it there are: wafers, dies, ..."""
    degrees_of_freedom: int
    mean_square: float | None
    """Of the analysis of variance; None for a level of unbalanced data that has no exact test."""
    f_ratio: float | None
    """Against the mean square of the level below it, the right denominator."""
    p_value: float | None
    """Of `f_ratio`; where data are unbalanced, of the restricted likelihood ratio, halved since
    no component is below zero (Self and Liang 1987)."""
    standard_deviation: Estimate
    """In the parameter's unit; an interval may include zero. The reason says why there is no
    interval, and of wafers whether the measurement explains their spread."""
    share: float | None
    """Of the sum of the variances."""


@dataclass(frozen=True)
class MeasuredPart:
    """How much of the spread of the dies on a wafer is the measurement, not the dies."""

    n: int
    spread: float | None
    """Standard deviation of the dies within wafers, as measured."""
    u_own: float | None
    """Root mean square of the parts of u that each value has on its own."""
    u_shared: float | None
    """Root mean square of the parts that values of a wafer share: no spread comes of them."""
    spread_of_dies: Estimate
    """What is left: sqrt(spread^2 - u_own^2); 0 where the measurement explains all of it."""
    share_measured: Estimate
    """u_own^2 / spread^2, at most 1."""
    reason: str = ""


@dataclass(frozen=True)
class Variation:
    """Variance components of one parameter under one condition."""

    method: str
    """'REML' or 'analysis of variance', in words with its standing assumptions; empty without
    components."""
    n: int
    components: tuple[Component, ...]
    measured: MeasuredPart
    wafer_spread_by_measurement: float | None
    """What errors that differ from wafer to wafer (calibrations, temperature) alone would put
    between wafers, as a standard deviation in the parameter's unit; None: not stated."""
    reason: str = ""


@dataclass(frozen=True)
class GaugeStudy:
    """Repeatability and reproducibility of one parameter and condition in one declared study."""

    study: str
    between: str
    """'operators' or 'stations'."""
    parameter: str
    condition: str
    parts: int
    appraisers: int
    repeats: int
    components: tuple[Component, ...]
    interaction_pooled: bool
    repeatability: Estimate
    reproducibility: Estimate
    combined: Estimate
    """Repeatability and reproducibility together."""
    part_to_part: Estimate
    total: float | None
    share_of_total: float | None
    """combined / total, of standard deviations."""
    share_of_tolerance: float | None
    """6 combined / (upper - lower); None without two limits."""
    distinct_categories: int | None
    """Whole part of 1.41 part_to_part / combined."""
    reason: str = ""
