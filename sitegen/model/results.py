"""What is computed: frozen records that pages and data tables are made from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import pyarrow as pa

from sitegen.model.agreement_results import AgreementCount
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.concerned_results import ConcernedDies, Die
from sitegen.model.decision_results import Risks
from sitegen.model.device_results import (
    SWEEP_QUALITY_SCHEMA,
    TOUCHDOWN_RESULT_SCHEMA,
    Band,
    ControlResult,
    CurveTraces,
    DummyUse,
    HandedOver,
    QualityCount,
)
from sitegen.model.event_results import AcceptanceResult, CalibrationResult, VerificationResult
from sitegen.model.followed_results import StationFollowed
from sitegen.model.loaded import VALUE_SCHEMA, Gathered, Note, SourceFile
from sitegen.model.shift_results import Shift
from sitegen.model.source_use import SourceUse
from sitegen.model.wafer import WaferRecord
from sitegen.model.wafer_means import WaferDifference, WaferMean
from sitegen.model.yield_results import VerdictWord
from sitegen.problems import Fault, Finding

Outcome = Literal[
    "within", "not proven", "not refuted", "outside", "not assessable", "not measured", "no limits"
]
OUTCOMES: tuple[Outcome, ...] = (
    "within",
    "not proven",
    "not refuted",
    "outside",
    "not assessable",
    "not measured",
    "no limits",
)
JUDGED: tuple[Outcome, ...] = OUTCOMES[:4]
"""Outcomes of values that could be judged."""

Standing = Literal["stands", "not closed", "without standing"]
STANDINGS: tuple[Standing, ...] = ("stands", "not closed", "without standing")

NOT_HELD = "calibration not in the record"
"""The one reason that is told of a campaign as a whole, and not of each wafer."""
REASONS: Mapping[str, str] = {
    "calibration missing": "No calibration of this record stands behind the value.",
    NOT_HELD: "The sweep was corrected before it came into the record, with"
    " a calibration that the record does not hold.",
    "expired by time": "The calibration's validity in hours had run out.",
    "expired by ambient temperature": "The ambient temperature had moved beyond the calibration's"
    " validity.",
    "expired by substrate temperature": "The contact substrate's temperature had moved beyond the"
    " calibration's validity.",
    "calibration's own checks failed": "The calibration did not meet the bounds of its own checks.",
    "verification failed": "A verification of this calibration failed after the last passed one.",
    "instrument past due": "The instrument's certificate had run out when the value was taken.",
    "different state": "The RF path was not in the state in which it was calibrated.",
    "contact check failed": "The touchdown did not meet its contact check.",
    "contact check missing": "The touchdown has no contact check, and one is mandatory.",
    "control die failed": "A control die was out of its bound after its last good measurement.",
    "floor missing": "No open-circuit floor is stored for this range and path.",
    "certificate not stated": "The record does not state until when the instrument's certificate"
    " holds.",
    "ambient temperature not stated": "Without the ambient temperature the calibration cannot be"
    " shown to have held.",
}
"""The closed list of reasons that take standing from a value, with the sentence for each."""


@dataclass(frozen=True)
class Span:
    """A stretch or a moment of a station's dated record."""

    kind: Literal["calibration", "verification", "wafer", "nothing stood"]
    name: str
    start: datetime
    end: datetime
    """Equal to start for a moment."""
    outcome: str
    """'usable', 'passed', 'failed', ...; for a wafer a phrase with counts."""
    address: str
    """Page it links to."""


@dataclass(frozen=True)
class StationRecord:
    """A station over time, in reference time."""

    station: str
    spans: tuple[Span, ...]


@dataclass(frozen=True)
class Summary:
    """A parameter's values in one group, from those with standing; the others counted beside."""

    n: int
    missing: int
    """Planned and not there: not measured, or no value could be determined."""
    without_standing: int
    not_closed: int
    """Of n."""
    below_floor: int
    """Of n; they rank around zero; `estimator` says how mean and spread were then found."""
    highest_floor: float | None
    """Highest floor of those values, for text such as '< 10 pA'."""
    mean: float | None
    standard_deviation: float | None
    median: float | None
    robust_spread: float | None
    """1.4826 times the median absolute deviation."""
    q05: float | None
    q25: float | None
    q75: float | None
    q95: float | None
    minimum: float | None
    maximum: float | None
    below: tuple[str, ...]
    """Names of the figures that fall below the floor (their field is None)."""
    u: float | None = None
    """Median of the standard uncertainties of the n values; None: not stated."""
    u_common: float | None = None
    """Median of their parts common to all values of a calibration; None: not propagated."""
    u_own: float | None = None
    """Median of their parts that come from each sweep's own noise and touchdown."""
    u_mean: float | None = None
    """Standard uncertainty of the mean of these n values as measured: the common parts stay whole,
    the own ones shrink with n. None: not stated. It is not the spread of the wafer."""
    not_reached: int = 0
    """Of n; values known only to lie beyond what the measurement reached."""
    least_reached: float | None = None
    """Of those, what was reached nearest to zero, for text such as '> 18 V'."""
    beyond: tuple[str, ...] = ()
    """Names of the figures that fall among the values not reached (their field is None)."""
    estimator: str = ""
    """How mean and standard deviation were found where some values are censored, or 'not stated: '
    and why; empty: the usual ones."""
    budget: Mapping[str, float] = field(default_factory=dict)
    """Median of each part of u by the column's name: {'u_calibration': ..., 'u_dummies': ...}."""


@dataclass(frozen=True)
class ParameterResult:
    """One parameter under one condition, over the campaign or over one wafer."""

    parameter: str
    condition: str
    wafer: str
    """Empty for the campaign as a whole."""
    summary: Summary
    zones: Mapping[str, Summary]
    """By 'centre', 'middle', 'edge'."""
    outcomes: Mapping[str, int]
    """Count of each outcome over the values that count and stand (or are not closed)."""


@dataclass(frozen=True)
class WaferSummary:
    """A wafer in counts: what the campaign page needs to know of it."""

    wafer: str
    planned: int
    measured: int
    """Dies with at least one value."""
    outcomes: Mapping[str, int]
    """Verdicts of the planned dies and of the measured ones beyond the plan."""
    conforming: int
    assessable: int
    """Dies whose every planned value with limits is judged: the denominator of the yield."""
    outside_besides: int
    """Dies outside their limits that are no part of it, since another of their values is not
    judged: to count them alone would take the good ones of the same lot out of the yield."""
    yield_lower: float | None
    yield_upper: float | None
    """Wilson's interval at 95 %; None without an assessable die."""
    values: int
    values_without_standing: int
    values_not_closed: int
    values_never_verified: int
    """Of those not closed: no verification of their calibration has passed at all."""
    values_below_floor: int
    standing_reasons: Mapping[str, int]
    calibrations: Mapping[str, int]
    """Values that stand on each calibration."""
    outside_dies: Mapping[str, tuple[Die, ...]]
    """The die of each value with standing outside its limits, by parameter."""
    unassessable: Mapping[str, int]
    """Values with standing that cannot be assessed, by reason."""
    missing_dies: Mapping[str, tuple[Die, ...]]
    """The die of each planned value that was not measured where another one was, by parameter."""
    unmeasured_dies: tuple[Die, ...]
    """Planned dies without any value."""
    touchdown_changes: int
    """Outcomes of values that the rule of choice between touchdowns decides."""
    touchdowns_that_matter: tuple[str, ...]
    """Where they are: 'RON on die (1, 1)'."""
    typical_die: tuple[int, int] | None
    parameters: tuple[ParameterResult, ...]
    started: datetime | None
    """As the record states it, else the first of its values; None without either."""
    finished: datetime | None
    verdict: VerdictWord = "no limits"
    """Whether the wafer conforms by the declared logic."""
    verdict_reason: str = ""


@dataclass(frozen=True)
class TraceGroup:
    """Corrected sweeps of one device under one condition on one wafer, on one frequency list."""

    device: str
    condition: str
    frequency_hz: FloatArray
    """Shape (n_freq,)."""
    keys: pa.Table
    """`SWEEP_KEY_SCHEMA` plus 'standing', 'standing_reasons', 'standing_detail'; n_sweep rows.
    Its 'calibration' is the one in force."""
    s: ComplexArray
    """Shape (n_sweep, n_freq, n_port, n_port); NaN where the calibration is not determined."""
    covariance: FloatArray | None = None
    """(*s.shape, 3): variances of real and imaginary part, and their covariance; None: not
    stated."""
    z_ref_ohm: float = 50.0
    """Reference impedance of `s`."""
    deembedded: ComplexArray | None = None
    """The same shape as `s`, pads and leads taken off; None: the device declares no de-embedding.
    NaN where no dummies served."""


@dataclass(frozen=True)
class WaferResults:
    """All that one wafer's job computes; it stays in the worker, tables go to disk."""

    summary: WaferSummary
    results: pa.Table
    """`RESULT_COLUMNS`, sorted by die_y, die_x, site, parameter, condition, touchdown."""
    dies: pa.Table
    """`DIE_COLUMNS`, sorted by die_y, die_x: every planned, full or measured die."""
    traces: tuple[TraceGroup, ...]
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    sweep_quality: pa.Table = field(default_factory=SWEEP_QUALITY_SCHEMA.empty_table)
    """`SWEEP_QUALITY_COLUMNS`, one row a sweep."""
    dummies: tuple[DummyUse, ...] = ()
    curves: tuple[CurveTraces, ...] = ()
    touchdowns: pa.Table = field(default_factory=TOUCHDOWN_RESULT_SCHEMA.empty_table)
    """`TOUCHDOWN_RESULT_COLUMNS`, one row a touchdown."""
    budgets: Mapping[tuple[str, str], Mapping[str, float]] = field(default_factory=dict)
    """By parameter and condition: median u by source of the values from sweeps, in the parameter's
    unit."""
    fits: Mapping[tuple[str, str], Mapping[str, float]] = field(default_factory=dict)
    """By parameter and condition: median facts about the fits of the values from sweeps."""
    earlier: pa.Table = field(default_factory=VALUE_SCHEMA.empty_table)
    """Values of earlier maps of this wafer, `VALUE_SCHEMA`."""


@dataclass(frozen=True)
class AxisRange:
    """Range of an axis that every page of the campaign shares; snapped to steps of 1, 2 or 5."""

    lower: float
    upper: float
    step: float


@dataclass(frozen=True)
class CampaignContext:
    """The little of the whole campaign that a wafer's pages need; small, frozen, digestible."""

    record: CampaignRecord
    version: str
    """Version of the program."""
    wafers: tuple[str, ...]
    parameters: tuple[ParameterResult, ...]
    """Over the whole campaign only (wafer is empty)."""
    ranges: Mapping[str, AxisRange]
    """By 'parameter/condition' for values (in the parameter's unit) and by 'device/trace' for
    curves (in the trace's unit)."""
    calibrations: Mapping[str, str]
    """Outcome of each calibration by its id."""
    downloads: Mapping[str, int]
    """Size in bytes of each table of results, dies and sweeps by its address."""
    risks: Mapping[tuple[str, str], Risks] = field(default_factory=dict)
    """Of each parameter and condition whose process has a declared prior."""
    read: tuple[str, ...] = ()
    """Every wafer record that has a page; `wafers` are those that take part in the statistics."""


@dataclass(frozen=True)
class CalibrationUse:
    """What refers to a calibration, and what its verifications did to it."""

    values_standing: int
    """Values that count and stand on it, those not closed included."""
    values_not_closed: int
    values_lost: int
    """Values that count, refer to it and have no standing."""
    lost_reasons: Mapping[str, int]
    """Of those, by reason from the closed list."""
    dies_standing: Mapping[str, tuple[tuple[int, int], ...]]
    """By wafer: dies with a value that stands on it."""
    dies_lost: Mapping[str, tuple[tuple[int, int], ...]]
    """By wafer: dies with a value that refers to it without standing."""
    failed_by: str
    """Verification that failed first; empty when none did."""
    stands_until: datetime | None
    """Values taken later have lost their standing to that verification."""
    lost_to_it: int
    """Values that lost their standing to it."""


@dataclass(frozen=True)
class CampaignResults:
    """Everything that the pages beyond the wafers are made from."""

    context: CampaignContext
    calibrations: tuple[CalibrationResult, ...]
    verifications: tuple[VerificationResult, ...]
    stations: tuple[StationRecord, ...]
    uses: Mapping[str, CalibrationUse]
    """What refers to each calibration, by its id."""
    wafer_records: tuple[WaferRecord, ...]
    wafers: tuple[WaferSummary, ...]
    parameters: tuple[ParameterResult, ...]
    """Of the campaign and of each wafer."""
    notes: tuple[Note, ...]
    """All notes, by subject."""
    sources: tuple[SourceFile, ...]
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    tables: tuple["TableFile", ...]
    """Those that are published."""
    acceptances: tuple[AcceptanceResult, ...] = ()
    controls: tuple[ControlResult, ...] = ()
    handed_over: tuple[HandedOver, ...] = ()
    bands: tuple[Band, ...] = ()
    dummies: tuple[DummyUse, ...] = ()
    sweep_quality: tuple[QualityCount, ...] = ()
    budgets: Mapping[tuple[str, str, str], Mapping[str, float]] = field(default_factory=dict)
    """By wafer, parameter and condition: median u by source of the values from sweeps."""
    fits: Mapping[tuple[str, str, str], Mapping[str, float]] = field(default_factory=dict)
    """By wafer, parameter and condition: median facts about the fits of those values."""
    means: tuple[WaferMean, ...] = ()
    differences: tuple[WaferDifference, ...] = ()
    followed: tuple[StationFollowed, ...] = ()
    """What each station's events say over time, by station in the campaign's order."""
    statistics: CampaignStatistics | None = None
    """None: not computed."""
    without_rows: tuple["TableFile", ...] = ()
    """Tables of this build that have no row: they are removed before it is published."""
    concerned: tuple[ConcernedDies, ...] = ()
    """Values that ask for a look, by parameter and condition."""
    shifts: tuple[Shift, ...] = ()
    """What stresses did, by parameter, condition and stress in the campaign's order."""
    source_uses: tuple[SourceUse, ...] = ()
    """What the campaign has of each source of mapping.toml."""
    gathered: tuple[Gathered, ...] = ()
    """The list of gathered files, by file."""
    agreements: tuple[AgreementCount, ...] = ()
    """Every declared agreement on every wafer, by wafer."""


@dataclass(frozen=True)
class TableFile:
    """A download in data/."""

    name: str
    """For example 'results'."""
    description: str
    rows: int
    columns: tuple[tuple[str, str, str], ...]
    """Name, type, meaning with unit."""
    files: tuple[tuple[str, int], ...]
    """Address and size in bytes of each form."""


@dataclass(frozen=True)
class Drawing:
    """A drawing: an SVG with a title and a description, at an address of its own."""

    address: str
    title: str
    description: str
    svg: str
    """The whole SVG; it stands alone as a file, and inline where a page needs its links."""
    width: int
    height: int
