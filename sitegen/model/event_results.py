"""What is computed of calibrations, verifications and acceptances: frozen records for pages."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sitegen.model.acceptance import AcceptanceRecord, DeclaredPerformance
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.verification import LineQuantity, Mask, Structure, VerificationRecord

Judged = Literal["passed", "failed", "not proven", "not assessable"]
"""'not proven': inside the guard band, or on both sides of a bound within the uncertainty."""

CheckGroup = Literal["before solving", "solution", "comparison", "wear"]

SourceGroup = Literal[
    "definitions",
    "fitted load",
    "line impedance",
    "noise",
    "contact repeatability",
    "linearity",
    "cable",
    "drift",
    "noise of the sweep",
    "contact of the touchdown",
    "linearity of the sweep",
    "cable during the sweep",
]
SOURCE_GROUPS: Mapping[SourceGroup, str] = {
    "definitions": "Standards' definitions and the reference lines' lengths.",
    "fitted load": "The load's inductance and capacitance, found from noisy sweeps.",
    "line impedance": "Capacitance per length, on the way to the declared impedance.",
    "noise": "Noise of the standards' raw sweeps.",
    "contact repeatability": "Each contact of each standard, once.",
    "linearity": "Receivers' linearity while the standards were measured.",
    "cable": "Paths that moved between the standards.",
    "drift": "Change of the error terms until the next calibration.",
    "noise of the sweep": "Noise of the device's own sweep.",
    "contact of the touchdown": "The device's own touchdown, once.",
    "linearity of the sweep": "Receivers' linearity while the device was measured.",
    "cable during the sweep": "Paths that moved since the standards.",
}
"""Named sources, with a sentence each. The first eight are common to every sweep of a
calibration and do not average out; the last four are each sweep's own."""

COMMON_GROUPS: tuple[SourceGroup, ...] = tuple(SOURCE_GROUPS)[:8]
OWN_GROUPS: tuple[SourceGroup, ...] = tuple(SOURCE_GROUPS)[8:]
SHARED_BY_DEFINITIONS: tuple[SourceGroup, ...] = ("definitions", "line impedance")
"""What two calibrations with the same standards' definitions have in common."""


@dataclass(frozen=True)
class Check:
    """One check of a calibration, judged where its record gives a bound."""

    name: str
    figure: float | None
    """None where it could not be determined; the text says why."""
    unit: str
    lower: float | None
    upper: float | None
    passed: bool | None
    """None: shown, not judged."""
    text: str
    """What was found, as one sentence."""
    group: CheckGroup = "solution"
    u: float | None = None
    """Standard uncertainty of the figure, in its unit."""


@dataclass(frozen=True, eq=False)
class Term:
    """One error term over frequency."""

    name: str
    """For example 'directivity, port 1'."""
    symbol: str
    """For example 'e00'."""
    values: ComplexArray
    """Shape (n_freq,); NaN where not determined."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A real quantity over frequency, with what it is held against; arrays (n_freq,)."""

    name: str
    unit: str
    values: FloatArray
    """NaN where not determined."""
    u: FloatArray | None
    """Standard uncertainty."""
    lower: FloatArray | None
    upper: FloatArray | None
    expected: FloatArray | None
    """What it should be: a definition, a reference, another calibration."""
    text: str
    """One sentence: what it is and what to read from it."""


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two sets of error terms by what a passive device could see of their difference."""

    kind: Literal["previous calibration", "reported terms"]
    other: str
    """Id of the other calibration; empty for reported terms."""
    refused: str
    """Why they cannot be compared; empty when they are."""
    bound: FloatArray | None
    """(n_freq,) greatest |S' - S| of any S-parameter of any passive device."""
    repeatable: FloatArray | None
    """(n_freq,) what two calibrations made back to back would show with 95 % probability."""
    drift: FloatArray | None
    """(n_freq,) what remains beyond that, 0 where nothing does."""
    limit: float | None
    passed: bool | None


@dataclass(frozen=True)
class SourceFigure:
    """A source of uncertainty of a calibration and its size as declared or found."""

    name: str
    group: SourceGroup
    size: str
    """For example '0.05 Ω'."""
    basis: str
    """'declared', 'estimated from repeats', 'from CAL-2', ..."""


@dataclass(frozen=True, eq=False)
class BudgetLine:
    """One source's share of a corrected S-parameter's uncertainty."""

    group: SourceGroup
    name: str
    """Empty for the whole group."""
    u: FloatArray
    """(n_freq,) sqrt of the mean of both parts' variances: of a part, if the region were round."""


@dataclass(frozen=True, eq=False)
class Budget:
    """Uncertainty of one S-parameter of a named device under one calibration."""

    device: str
    """For example 'short at the tips', 'thru'."""
    parameter: Literal["s11", "s21", "s12", "s22"]
    lines: tuple[BudgetLine, ...]
    """One for each group that is not zero, and under it one for each of its named sources."""
    covariance: FloatArray
    """(n_freq, 3): variances of real and imaginary part, and their covariance."""
    u: FloatArray
    """(n_freq,) sqrt of the mean of both variances."""


@dataclass(frozen=True, eq=False)
class MonteCarloCheck:
    """The linear propagation against simulated calibrations (JCGM 101, 102)."""

    draws: int
    device: str
    parameter: str
    ratio: FloatArray
    """(n_freq,) simulated over propagated u."""
    inside: float
    """Share of simulated values, over all frequencies, inside the propagated 95 % region."""
    text: str


@dataclass(frozen=True, eq=False)
class CalibrationResult:
    """A calibration solved again from its raw sweeps."""

    record: CalibrationRecord
    frequency_hz: FloatArray
    terms: tuple[Term, ...]
    """Empty when it could not be solved."""
    reported: tuple[Term, ...]
    """The instrument's own terms of the same names, where in the record."""
    checks: tuple[Check, ...]
    notes: tuple[str, ...]
    """What the solution said of itself: warnings, ranges not determined."""
    unsolved: str
    """Why there is no solution; empty when there is one."""
    outcome: Literal["usable", "checks failed", "not solved"]
    made_at: datetime
    """Reference time: stamped time less the clock's offset."""
    expires_at: datetime
    determined: BoolArray | None = None
    """(n_freq,); None when it could not be solved."""
    condition: FloatArray | None = None
    """(n_freq,) of the equations, seen at the probe tips."""
    redundancy: int | None = None
    redundancy_of: str = ""
    curves: tuple[Curve, ...] = ()
    """Solved quantities over frequency."""
    comparisons: tuple[Comparison, ...] = ()
    sources: tuple[SourceFigure, ...] = ()
    """Empty: no uncertainty is stated."""
    budgets: tuple[Budget, ...] = ()
    monte_carlo: MonteCarloCheck | None = None
    candidates: tuple[str, ...] = ()
    """Likely causes of what failed, most likely first; never one name alone as a fact."""


@dataclass(frozen=True, eq=False)
class MaskResult:
    """A structure's deviation under one mask."""

    mask: Mask
    frequency_hz: FloatArray
    deviation: FloatArray
    """Absolute deviation in the mask's quantity, shape (n_freq,)."""
    limit: FloatArray
    """The mask at each frequency; NaN outside it."""
    outcome: Judged
    reason: str
    worst_ratio: float | None
    """Greatest deviation, with its guard band, divided by the limit."""
    worst_margin: float | None
    """Limit less deviation where the ratio is greatest, in the mask's quantity."""
    worst_frequency_hz: float | None
    points_judged: int
    points_outside_mask: int
    u: FloatArray | None = None
    """(n_freq,) standard uncertainty of the deviation in the mask's quantity; None: not stated."""
    guard: FloatArray | None = None
    """(n_freq,) guard band w = r k u that the rule adds to the deviation; None: simple rule."""


@dataclass(frozen=True, eq=False)
class Agreement:
    """Whether a sweep agrees with its reference within both uncertainties."""

    parameter: Literal["s11", "s21", "s12", "s22"]
    frequency_hz: FloatArray
    normalised: FloatArray
    """(n_freq,) sqrt(d' V^-1 d / 5.991); at most 1 in 95 % of points that agree."""
    rule: Literal["shown", "share of points", "greatest value"]
    figure: float | None
    """Share of points above 1, or the greatest value, as the rule asks."""
    limit: float | None
    """What a sweep that agrees exceeds with the false-alarm rate, by Monte Carlo."""
    false_alarm_rate: float
    outcome: Judged
    text: str


@dataclass(frozen=True)
class LineQuantityResult:
    """A quantity of a line against its reference."""

    declared: LineQuantity
    value: float | None
    u: float | None
    difference: float | None
    normalised: float | None
    """Signed (value - reference)/(k sqrt(u^2 + u_ref^2)); judged on its magnitude, at most 1."""
    outcome: Judged
    reason: str


@dataclass(frozen=True)
class PhysicalCheck:
    """Passivity or reciprocity of a structure that declares it."""

    property: Literal["passivity", "reciprocity"]
    figure: float | None
    """Greatest singular value less 1, or greatest |S21 - S12|."""
    at_hz: float | None
    tolerance: float
    outcome: Judged


@dataclass(frozen=True, eq=False)
class StructureResult:
    """A structure of a verification, judged under each of its masks."""

    structure: Structure
    masks: tuple[MaskResult, ...]
    outcome: Judged
    reason: str
    agreements: tuple[Agreement, ...] = ()
    line_quantities: tuple[LineQuantityResult, ...] = ()
    physical: tuple[PhysicalCheck, ...] = ()
    repeatability: float | None = None
    """Pooled standard deviation of a complex S-parameter over its repeated contacts."""
    frequency_hz: FloatArray | None = None
    corrected: ComplexArray | None = None
    """(n_freq, n_port, n_port) as corrected; None where it could not be."""
    covariance: FloatArray | None = None
    """(n_freq, n_port, n_port, 3) of its parts; None: not stated."""
    reference: ComplexArray | None = None
    """(n_freq, n_port, n_port) what it is held against, on the same frequencies."""


@dataclass(frozen=True)
class VerificationResult:
    """A verification with its verdict: the worst of its structures."""

    record: VerificationRecord
    structures: tuple[StructureResult, ...]
    outcome: Judged
    reason: str
    made_at: datetime
    """Reference time."""
    rule: str = ""
    """The decision rule in one sentence."""
    candidates: tuple[str, ...] = ()
    """Likely causes of a failure, most likely first."""
    outside: str = ""
    """When and how warm it was made, where that lies outside its calibration's own validity:
    '8 h 21 min after the calibration, outside its validity of 8 h'; empty where it lies inside."""


@dataclass(frozen=True)
class PerformanceResult:
    """A declared figure at both places."""

    declared: DeclaredPerformance
    factory: float | None
    """Greatest |deviation| where the system was built."""
    factory_u: float | None
    site: float | None
    site_u: float | None
    factory_outcome: Judged
    site_outcome: Judged


@dataclass(frozen=True, eq=False)
class DifferenceResult:
    """Site against factory for one structure."""

    mask: MaskResult
    structure: str
    agreement: Agreement | None


@dataclass(frozen=True)
class AcceptanceResult:
    """An acceptance: accepted only where everything declared is met at both places."""

    record: AcceptanceRecord
    performance: tuple[PerformanceResult, ...]
    differences: tuple[DifferenceResult, ...]
    outcome: Judged
    reason: str
