"""What is followed of a station over time: frozen records for its page."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

SIGNAL_RULES: Mapping[str, str] = {
    "beyond a limit": "one point more than three sigma from the centre (Nelson 1984, test 1; the"
    " Western Electric handbook has it too)",
    "nine on one side": "nine points in a row on one side of the centre (Nelson 1984, test 2)",
    "EWMA": "the exponentially weighted moving average, weight 0.2, more than 2.7 of its own"
    " standard deviations from the centre (NIST/SEMATECH e-Handbook, 6.3.2.4)",
}
"""Rules that make a signal, each in words with its source."""
POINTS_A_FALSE_SIGNAL = 130
"""How many points of a process in control there are, on average, until these rules together give
a false signal: normal values without memory, limits known exactly, by simulation."""


@dataclass(frozen=True)
class Point:
    """One value of a metric that is followed over time."""

    at: datetime
    value: float
    u: float | None
    source: str
    """Id of the calibration or verification."""
    signals: tuple[str, ...]
    """Names of the rules that this point breaks."""


@dataclass(frozen=True)
class ControlLimits:
    """Limits for one chart of a metric."""

    centre: float
    lower: float
    upper: float
    sigma: float
    """From the average moving range, d2 = 1.128."""
    basis: int
    """Number of points that the limits come from."""
    provisional: bool
    """Fewer than 20 points."""


@dataclass(frozen=True)
class Forecast:
    """When a metric would meet its bound if its trend went on; only for a significant slope."""

    slope_per_day: float
    p_value: float
    bound: float
    at: datetime | None
    earliest: datetime | None
    """None: open, the interval has no beginning in the future that can be named."""
    latest: datetime | None
    """None: open, it may never meet the bound."""
    text: str


@dataclass(frozen=True)
class Segment:
    """Points of a metric between two exchanges of parts; limits begin anew with each."""

    first: int
    """Place of its first point."""
    last: int
    """Place of its last point."""
    exchanged: str
    """'Part: what was done' just before it; empty: nothing was."""
    limits: ControlLimits | None


FEWEST_CHARTED = 3
TrendWord = Literal["rises", "falls", "not significant", "not judged"]


@dataclass(frozen=True)
class Metric:
    """Something of a station that is followed over time, in reference time."""

    name: str
    unit: str
    address: str
    """Stem of its drawing's address."""
    points: tuple[Point, ...]
    limits: ControlLimits | None
    """Of its last segment; None: fewer than 2 points there, or points that do not vary."""
    ewma: tuple[float, ...]
    ewma_lower: tuple[float, ...]
    ewma_upper: tuple[float, ...]
    ewma_signals: tuple[int, ...]
    """Places of the points at which the EWMA leaves its limits."""
    bound_lower: float | None
    bound_upper: float | None
    forecast: Forecast | None
    forecast_text: str
    """Why there is none, or what it says."""
    trend_text: str
    subject: str = ""
    """Whose wear it shows: 'set CS-1, row 3', 'probe RF-1'; empty: nobody's."""
    segments: tuple[Segment, ...] = ()
    left_out: int = 0
    """Events at which it was not determined."""
    trend: TrendWord = "not judged"
    """Of its last segment."""

    @property
    def charted(self) -> bool:
        """Whether it has points enough for a chart: three."""
        return len(self.points) >= FEWEST_CHARTED


@dataclass(frozen=True)
class Spread:
    """What lies between measurements of one structure on a station, each an rms |ΔS|."""

    structure: str
    parameter: str
    repeatability: float | None
    """Between contacts of one verification."""
    drift: float | None
    """Between verifications of one calibration, beyond repeatability."""
    reproducibility: float | None
    """Between first verifications of several calibrations, beyond repeatability."""
    difference: float | None
    """Mean deviation from the reference."""
    counts: Mapping[str, int]
    """How much each of the four rests on, in degrees of freedom or differences; 'left out':
    verifications that cannot be compared with these."""


@dataclass(frozen=True)
class Wear:
    """Contacts of a set of standards or of a probe as the latest calibration states them."""

    subject: str
    """'set CS-1, row 3', 'probe RF-1'; as metrics name it."""
    at: datetime
    source: str
    """Id of the calibration."""
    contacts: int | None
    """None: not stated."""
    contacts_max: int | None
    contact_resistance_ohm: float | None = None
    contact_resistance_max_ohm: float | None = None


@dataclass(frozen=True)
class StationFollowed:
    """What a station's events say over time."""

    station: str
    metrics: tuple[Metric, ...]
    spreads: tuple[Spread, ...]
    wear: tuple[Wear, ...] = ()
