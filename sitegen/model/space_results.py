"""Where on the wafer a parameter's values lie, and which dies stand out."""

from dataclasses import dataclass

from sitegen.model.statistics import Estimate

Die = tuple[int, int]


@dataclass(frozen=True)
class PatternTest:
    """One kind of pattern on one wafer, tested."""

    kind: str
    """'zones', 'plane', 'bowl', 'neighbours' (Moran's I), 'reticle', 'cluster of outside dies'."""
    n: int
    """Dies in the test; the sites of a die are averaged first."""
    statistic: float | None
    """F, z or a count, as `statistic_name` says."""
    statistic_name: str
    p_value: float | None
    adjusted_p: float | None
    """After correction for all tests of the parameter and condition, wafers times kinds (Holm)."""
    share: float | None
    """Of the variance within the wafer that the pattern describes; Moran's I for neighbours; for a
    cluster the share of the outside dies that have an outside neighbour."""
    text: str
    """What it looks like: 'rises to the right by 12 mV over the diameter', in the parameter's
    unit and plain words, with the share; where neighbouring dies still resemble each other beside
    it, that its p-value is too small. Empty where nothing is claimed."""
    reason: str = ""
    """Why it was not tested, and how many dies would be needed."""
    caveat: str = ""
    """The end of `text` that says that its p-value is too small; '' where it does not."""


@dataclass(frozen=True)
class Patterns:
    """Of one parameter and condition on one wafer."""

    wafer: str
    n: int
    """Dies with a value that counts and stands."""
    islands: int
    """Dies without a measured neighbour (one that shares an edge or a corner): they take no part in
    Moran's I and in clusters."""
    tests: tuple[PatternTest, ...]
    """Zones, plane, bowl, neighbours, cluster of outside dies; 'reticle' where it is declared."""
    clusters: tuple[tuple[Die, ...], ...]
    """Groups of neighbouring dies outside their limits, the largest first, of two and more."""
    logarithms: bool = False
    """True: of the values' logarithms, since the parameter is declared log-normal."""


@dataclass(frozen=True)
class AverageLimits:
    """Limits of a part average test (AEC-Q001): robust mean -+ 6 robust sigma."""

    scope: str
    """'static' of all lots, 'dynamic' of one wafer."""
    n: int
    """Parts (dies) that they come from."""
    lower: float | None
    upper: float | None
    reason: str = ""
    """Why they are not available: what is needed and what is there."""
    at_specification: tuple[str, ...] = ()
    """'lower', 'upper': the specification limit stands here, since that of the test is wider."""


@dataclass(frozen=True)
class NeighbourCheck:
    """Values of one wafer against the medians of their neighbours."""

    n: int
    """Values that could be compared."""
    alone: int
    """Values with too few measured neighbours."""
    robust_sigma: float | None
    """Of the remainders (values minus medians of their neighbours, beside plane and bowl); of
    logarithms where `Outliers.logarithms`."""
    reason: str = ""
    """Why nothing is flagged by it: what is needed and what is there."""


@dataclass(frozen=True)
class Outlier:
    """A die that stands out; never a verdict."""

    wafer: str
    die: Die
    site: str
    value: float
    kinds: tuple[str, ...]
    """'static limits', 'dynamic limits', 'neighbours': each beyond 6 robust sigmas of its own."""
    score: float
    """Greatest of these distances in robust sigmas."""
    outcome: str
    """Its verdict, which the flag does not change."""


@dataclass(frozen=True)
class Outliers:
    """Of one parameter under one condition over all wafers."""

    static: AverageLimits
    dynamic: tuple[tuple[str, AverageLimits], ...]
    """By wafer."""
    flagged: tuple[Outlier, ...]
    expected: float
    """How many flags clean normal data of this size would show, over all kinds."""
    robust_sigma: Estimate
    """Of all values; with 'static' limits it is what they are made of."""
    neighbours: tuple[tuple[str, NeighbourCheck], ...] = ()
    """By wafer."""
    logarithms: bool = False
    """True: of the values' logarithms, since the parameter is declared log-normal."""
