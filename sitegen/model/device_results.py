"""What is computed of devices beyond values: sweeps' quality, dummies, curves, touchdowns."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.model.loaded import CURVE_KEY_SCHEMA, TOUCHDOWN_SCHEMA
from sitegen.model.schemas import schema_of
from sitegen.model.trust import Control

QUALITIES = ("sound", "suspect", "not assessable", "not declared")
"""Words of one quality of a sweep; 'not declared' where the device is not declared passive."""

_SWEEP = (
    ("wafer", pa.string(), "identity of the wafer"),
    ("die_x", pa.int32(), "column of the die in the campaign's layout"),
    ("die_y", pa.int32(), "row of the die in the campaign's layout"),
    ("site", pa.string(), "place inside the die"),
    ("device", pa.string(), "device measured"),
    ("condition", pa.string(), "declared set point of bias and temperature"),
    ("touchdown", pa.int32(), "number of the touchdown"),
)
SWEEP_QUALITY_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    *_SWEEP,
    ("noise_rms", pa.float64(), "rms distance of S from a smooth course, the worst S-parameter"),
    ("largest_step", pa.float64(), "largest step between neighbouring points, in units of noise"),
    ("step_hz", pa.float64(), "frequency of that step, Hz"),
    ("greatest_singular_value", pa.float64(), "greatest singular value of S; above 1 it is active"),
    ("greatest_nonreciprocity", pa.float64(), "greatest |S21 - S12|"),
    ("causality_percent", pa.float64(), "causality quality by the frequency-domain test, %"),
    ("noise", pa.string(), "sound, suspect, not assessable"),
    ("steps", pa.string(), "sound, suspect, not assessable"),
    ("contact", pa.string(), "sound, suspect: looks like an open or a short"),
    ("passivity", pa.string(), "sound, suspect, not assessable, not declared"),
    ("reciprocity", pa.string(), "sound, suspect, not assessable, not declared"),
    ("causality", pa.string(), "sound, suspect, not assessable, not declared"),
    ("remarks", pa.string(), "why a quality is not assessable, or what is suspect"),
)
"""Columns of data/sweep-quality: one row a sweep."""
SWEEP_QUALITY_SCHEMA = schema_of(SWEEP_QUALITY_COLUMNS)

TOUCHDOWN_RESULT_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("wafer", pa.string(), "identity of the wafer"),
    *(
        (one.name, one.type, f"as in the table of touchdowns: {one.name}")
        for one in TOUCHDOWN_SCHEMA
    ),
    ("outcome", pa.string(), "passed, failed, missing (a mandatory check was not made)"),
    ("outcome_reason", pa.string(), "which check failed or is missing, with its value and bound"),
)
"""Columns of data/touchdowns: one row a touchdown."""
TOUCHDOWN_RESULT_SCHEMA = schema_of(TOUCHDOWN_RESULT_COLUMNS)


@dataclass(frozen=True)
class DummyUse:
    """Which dummies served a device under de-embedding on one wafer, and what they look like."""

    device: str
    method: str
    taken_from: str
    wafer: str
    """The wafer the dummies stand on."""
    die: tuple[int, int] | None
    """None: each die has its own."""
    served: int
    """Sweeps of the device that were de-embedded."""
    unserved: int
    """Sweeps for which no dummies were there."""
    upper_hz: float | None
    parasitics: Mapping[str, tuple[float, str]]
    """Median over dies and the lower half of the frequencies: 'C1' -> (2.5e-14, 'F')."""
    doubts: tuple[str, ...]
    """What is wrong with them, a sentence each: negative parasitics, an open that is a short."""
    distributed_difference: Mapping[str, float]
    """Greatest |S| distance to the distributed method 'below the upper frequency' and 'above it',
    median over dies; empty without one."""


@dataclass(frozen=True, eq=False)
class CurveTraces:
    """The curves of one declared kind under one condition on one wafer, with their flags."""

    curve: str
    condition: str
    keys: pa.Table
    """`CURVE_KEY_SCHEMA` plus 'flags'."""
    swept: FloatArray
    measured: FloatArray
    floor_a: FloatArray
    """Floor of each point, the shape of `measured`; NaN where none applies."""


CURVE_TRACE_SCHEMA = CURVE_KEY_SCHEMA.append(pa.field("flags", pa.string()))


@dataclass(frozen=True)
class ControlReading:
    """One measurement of a control die."""

    at: datetime
    """Reference time."""
    touchdown: int
    value: float
    u: float | None
    difference: float
    """From the reference."""
    outcome: Literal["good", "out of bound"]


@dataclass(frozen=True)
class ControlResult:
    """A control die over time."""

    record: Control
    station: str
    unit: str
    reference: float | None
    readings: tuple[ControlReading, ...]
    lower: float | None
    upper: float | None
    """Control limits of individuals; None with fewer than five readings."""
    reproducibility: float | None
    """Standard deviation from moving ranges, in the parameter's unit: the whole chain's."""
    drift_per_hour: float | None
    drift_p: float | None
    """Probability of a slope at least so large without drift."""
    drifting: bool
    lost_after: datetime | None
    """Values of the station taken later lost their standing; None: no reading was out of bound.
    `datetime.min` in UTC: no reading before was good, so all values lost it."""
    failed_at: datetime | None
    instrument: str = ""
    """Instrument whose clock stamped the readings; empty: none is named."""


@dataclass(frozen=True)
class HandedOver:
    """The sweeps of one die that go to the design team."""

    wafer: str
    """Of the die; the campaign's own choice has `scope` 'campaign'."""
    scope: Literal["wafer", "campaign"]
    role: Literal["most typical", "5th percentile", "95th percentile"]
    die: tuple[int, int]
    value: float
    """Of the declared parameter."""
    files: tuple[tuple[str, str, int], ...]
    """What it is ('HEMT under rf, de-embedded'), address, size in bytes."""


@dataclass(frozen=True)
class TypicalSweep:
    """The corrected sweep that stands for a device on a wafer."""

    device: str
    condition: str
    site: str
    die: tuple[int, int]
    by: Literal["values", "sweeps"]
    """'values': the die nearest the medians of all that was measured; 'sweeps': without any value
    with standing, the one whose sweep is nearest the median of all."""
    group: int
    """Place of its group among the wafer's traces."""
    row: int
    """Its row in that group."""


@dataclass(frozen=True)
class TypicalFile:
    """A Touchstone file of a wafer's most typical die."""

    wafer: str
    sweep: TypicalSweep
    address: str
    size: int
    """In bytes."""


@dataclass(frozen=True, eq=False)
class Band:
    """What a wafer's dies show of a device, as median and 5 % to 95 % over the dies.

    Only sweeps or curves that count and have standing; one set a device, condition and quantity.
    """

    wafer: str
    device: str
    condition: str
    quantity: str
    """'|h21|', 'inductance', or the id of a curve."""
    unit: str
    """Of median, lower and upper."""
    x: FloatArray
    """Frequency in Hz, or the swept axis in V or A."""
    x_unit: str
    median: FloatArray
    lower: FloatArray
    upper: FloatArray
    n: int
    """Dies."""
    stepped: float | None = None
    """Value of the stepped axis of a curve."""
    deembedded: bool = False


@dataclass(frozen=True)
class QualityCount:
    """How the sweeps of one device of a wafer stand, in counts."""

    wafer: str
    device: str
    sweeps: int
    words: Mapping[str, Mapping[str, int]]
    """By quality ('noise', 'steps', ...): how many sweeps bear each word."""
