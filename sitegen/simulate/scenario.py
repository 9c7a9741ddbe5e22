"""What happens in a simulated campaign, and when: the plan that every file follows from.

Hours count from the scenario's start; times are local, with the start's offset from UTC.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.layout import Grid
from sitegen.simulate.station import PathChange

Die = tuple[int, int]

FREQUENCY_HZ: FloatArray = 10e6 + 549.95e6 * np.arange(201)
"""10 MHz to 110 GHz."""
FREQUENCY_HZ.setflags(write=False)


@dataclass(frozen=True)
class EdgeRing:
    """Sheet resistance raised on every die whose centre lies beyond a radius."""

    wafer: int
    beyond_mm: float
    shift_ohm: float


@dataclass(frozen=True)
class Retouched:
    """A die whose first touchdown gave a high on resistance, and which was touched again."""

    wafer: int
    die: Die
    shift_ohm: float
    contact_ohm: float = 1.31
    device: str = "hemt"


@dataclass(frozen=True)
class PoorTouch:
    """A device that one touchdown contacted badly, or whose contact was not checked."""

    wafer: int
    die: Die
    device: str
    ohm: float | None = None
    """Contact resistance; in series with the inductor it is seen in its sweep."""
    leakage_a: float = 0.0
    """Between the pads; it adds to the capacitor's leakage."""
    unchecked: bool = False


@dataclass(frozen=True)
class ControlPlan:
    """A device that is measured at the start, in its own turn, and at the end of its wafer."""

    id: str
    wafer: int
    die: Die
    device: Literal["hemt", "cap"]
    parameter: str
    condition: str
    start: float
    end: float
    bound: float


@dataclass(frozen=True)
class Plants:
    """Faults of the process and of the measurement that a campaign is given on purpose."""

    edge_ring: EdgeRing | None = None
    unmeasured: tuple[tuple[int, Die], ...] = ()
    """Number of the wafer and die."""
    retouched: Retouched | None = None
    cable_change: PathChange | None = None
    touches: tuple[PoorTouch, ...] = ()


@dataclass(frozen=True)
class Block:
    """Dies measured without a stop: from this one (counted from 0) on, beginning at this hour."""

    first_die: int
    start: float


@dataclass(frozen=True)
class HotSession:
    """DC values taken on a few dies on the hot chuck."""

    start: float
    dies: tuple[Die, ...]


@dataclass(frozen=True)
class OnePortSession:
    """Sweeps of the one-port device, taken after a calibration of one port."""

    start: float
    dies: tuple[Die, ...]


@dataclass(frozen=True)
class WaferPlan:
    """One wafer on the chuck."""

    id: str
    slot: int
    blocks: tuple[Block, ...]
    period_s: float
    """From one die to the next."""
    frame: Literal["layout", "prober"] = "layout"
    bias_dies: tuple[Die, ...] = ()
    """Dies whose transistor was swept at every RF bias, and whose output curves were taken."""
    dummy_die: Die | None = None
    """Where the pads' dummy structures were swept; none: on the first die."""
    names_calibration: bool = False
    """Whether its sweeps name the calibration in force."""
    hot: HotSession | None = None
    one_port: OnePortSession | None = None
    note: str = ""

    def die_hours(self, count: int) -> FloatArray:
        """Hour at which each of the wafer's dies is touched, (count,)."""
        hours = np.empty(count)
        for block in self.blocks:
            number = np.arange(count - block.first_die)
            hours[block.first_die :] = block.start + number * self.period_s / 3600
        return hours


@dataclass(frozen=True)
class PoorContact:
    """A standard that one probe touched badly: a resistance in series."""

    standard: str
    port: int
    ohm: float


@dataclass(frozen=True)
class CalibrationPlan:
    """One calibration."""

    id: str
    at: float
    method: Literal["one-port", "SOLT", "SOLR", "LRM", "LRRM", "TRL", "multiline TRL"]
    valid_hours: float = 8.0
    note: str = ""
    repeated: str = "thru"
    """The standard that is swept again without lifting."""
    repeats: int = 2
    noise_from_repeats: bool = False
    """Whether the record leaves the noise to be estimated."""
    monte_carlo_draws: int | None = None
    reported: bool = False
    """Whether the instrument reported its own error terms."""
    poor_contact: PoorContact | None = None


@dataclass(frozen=True)
class VerificationPlan:
    """One verification."""

    id: str
    at: float
    calibration: str
    note: str = ""


@dataclass(frozen=True)
class StudyPlan:
    """One wafer's dies measured again by several operators, each die touched several times."""

    id: str
    wafer: int
    """Number of the wafer that is measured again."""
    turns: tuple[tuple[str, str, float], ...]
    """Of each operator: the id of the record, who, and the hour of the first touchdown."""
    dies: tuple[Die, ...]
    parameters: tuple[str, ...]
    repeats: int
    shift: tuple[float, ...]
    """By which share of the parameter's median each operator reads differently."""


@dataclass(frozen=True)
class Scenario:
    """A whole campaign before anything is computed."""

    seed: int
    start: datetime
    identity: dict[str, object]
    grid: Grid
    wafers: tuple[WaferPlan, ...]
    calibrations: tuple[CalibrationPlan, ...]
    verifications: tuple[VerificationPlan, ...]
    plants: Plants = Plants()
    notes: dict[str, str] = field(default_factory=dict)
    controls: tuple[ControlPlan, ...] = ()
    cleaned: tuple[float, ...] = ()
    """Hours at which the probes' tips were cleaned."""
    studies: tuple[StudyPlan, ...] = ()
    declared: dict[str, object] = field(default_factory=dict)
    """What campaign.toml says of decisions and statistics beyond the plain campaign."""
    changes: dict[str, dict[str, object]] = field(default_factory=dict)
    """By parameter: what its entry says beyond the plain campaign."""

    def time(self, hours: float) -> datetime:
        """The local time of an hour, to the second."""
        return self.start + timedelta(seconds=round(hours * 3600))

    def calibration_at(self, hours: float, ports: int) -> CalibrationPlan:
        """The last calibration before this hour that covers these ports."""
        return max(
            (
                one
                for one in self.calibrations
                if one.at <= hours and (ports == 1 or one.method != "one-port")
            ),
            key=lambda one: one.at,
        )

    def ambient_c(self, hours: float) -> float:
        """Ambient temperature: within 0.3 °C of 22.0 °C over the day."""
        return round(22.0 + 0.3 * float(np.sin(2 * np.pi * (hours - 3.0) / 24.0)), 2)

    def substrate_c(self, hours: float) -> float:
        """The contact substrate follows the ambient, somewhat warmer."""
        return round(self.ambient_c(hours) + 0.8, 2)
