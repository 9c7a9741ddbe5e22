"""Which calibration is in force for a row: the one named, or the station's last one by time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from sitegen.compute.clocks import Times, clock_margin, instant, margin_to, reference_times
from sitegen.model.campaign import Instrument, Station
from sitegen.model.device import Device
from sitegen.model.event_results import CalibrationResult
from sitegen.problems import Fault

Texts = npt.NDArray[np.object_]


@dataclass(frozen=True)
class CalibrationFacts:
    """What of a calibration decides whether it stands behind a value."""

    result: CalibrationResult
    lost_after: datetime | None
    """Values taken later than this have lost their standing to a failed verification."""
    last_passed: datetime | None
    """The last passed verification: values taken later are not closed."""
    failed: str
    """The verification that failed first; empty when none did."""
    verified_by: str
    """Instrument whose clock stamped those verifications; empty without any."""


@dataclass(frozen=True)
class Rows:
    """The rows of one wafer whose standing is asked, n of them, all RF or all DC."""

    measured_at: Times
    """As stamped by the instrument, shape (n,)."""
    named: Texts
    """Calibration that the row names, or None."""
    state: Texts
    """Id of the wafer record's state, or None."""
    ambient_c: npt.NDArray[np.float64]
    """NaN: not stated; the calibration cannot be shown to have held then."""
    substrate_c: npt.NDArray[np.float64]
    """NaN: not stated."""
    contact_resistance_ohm: npt.NDArray[np.float64]
    """NaN: not taken."""
    ports: npt.NDArray[np.int64]
    """Ports that the calibration must cover, as bits: 1 for port 1, 2 for port 2, 3 for both."""


def choose_by_time(
    at: Times,
    ports: npt.NDArray[np.int64],
    here: Sequence[CalibrationFacts],
    station: Station,
    instrument: Instrument | None,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Index of the station's last calibration before each row (-1: none), and where unsure.

    A choice is unsure where the clocks cannot tell whether a calibration came before the row, or
    which of two calibrations came last.
    """
    chosen = np.full(len(at), -1, dtype=np.int64)
    unsure = np.zeros(len(at), dtype=bool)
    clocks = {one.id: one for one in station.instruments}
    for index, one in enumerate(here):
        fits = (covered_ports(one.result) & ports) == ports
        made = instant(one.result.made_at)
        later = fits & (at >= made)
        own = clocks.get(one.result.record.instrument)
        for before, other in enumerate(here[:index]):
            apart = made - instant(other.result.made_at)
            if apart <= clock_margin(own, clocks.get(other.result.record.instrument)):
                unsure |= later & (chosen == before)
        chosen[later] = index
        unsure |= fits & (np.abs(at - made) < clock_margin(instrument, own))
    return chosen, unsure


def needed_ports(device: Device) -> int:
    """Ports that a calibration must cover for a device, as bits."""
    return 3 if device.ports == 2 else 1 << device.port - 1


def covered_ports(result: CalibrationResult) -> int:
    """Ports for which a calibration has error terms, as bits."""
    return sum(1 << port - 1 for port in result.record.ports)


@dataclass(frozen=True)
class Choice:
    """The station's calibrations, and which of them time alone would choose."""

    here: Sequence[CalibrationFacts]
    by_time: npt.NDArray[np.int64]
    unsure: npt.NDArray[np.bool_]
    margins: Sequence[np.timedelta64]
    """Between the clock of the rows and that of each calibration."""
    elsewhere: frozenset[str]
    """Calibrations of other stations."""


def apply_names(
    rows: Rows, at: Times, choice: Choice, file: str
) -> tuple[npt.NDArray[np.int64], Texts, tuple[Fault, ...]]:
    """Let named calibrations win; tell where they disagree with time and station."""
    index_of = {one.result.record.id: index for index, one in enumerate(choice.here)}
    is_named = np.array([name is not None for name in rows.named], dtype=bool)
    chosen = np.where(choice.unsure, -1, choice.by_time)
    basis = np.where(is_named, "named", np.where(chosen >= 0, "by time", "")).astype(object)
    faults = []
    for name in sorted({str(name) for name in rows.named[is_named]}):
        mine = rows.named == name
        index = index_of.get(name, -1)
        chosen[mine] = index
        if index < 0:
            if name in choice.elsewhere:
                faults.append(_disagreement(file, name, mine, at, "made at another station"))
            continue
        made = instant(choice.here[index].result.made_at)
        too_early = mine & (at < made - choice.margins[index])
        chosen[too_early] = -1
        superseded = mine & ~too_early & ~choice.unsure & (choice.by_time != index)
        if too_early.any():
            told = "made after the value was taken"
            faults.append(_disagreement(file, name, too_early, at, told))
        if superseded.any():
            later = choice.here[int(choice.by_time[superseded][0])].result.record.id
            told = f"but {later} was then in force by time"
            faults.append(_disagreement(file, name, superseded, at, told))
    return chosen, basis, tuple(faults)


def _disagreement(
    file: str, name: str, where: npt.NDArray[np.bool_], at: Times, found: str
) -> Fault:
    first = str(at[where].min())[:19].replace("T", " ")
    return Fault(
        file=file,
        place=f"column calibration, first at {first} UTC",
        found=f"calibration {name}, {found}",
        expected="the calibration in force at the station at that time",
        remedy="Correct the calibration named or the time; one made at another station or after"
        " the value is not followed, any other is.",
        count=int(where.sum()),
    )


@dataclass(frozen=True)
class InForce:
    """Which calibration of the station is in force for each row."""

    here: Sequence[CalibrationFacts]
    """The station's calibrations by time."""
    chosen: npt.NDArray[np.int64]
    """Index into `here`; -1: none."""
    unsure: npt.NDArray[np.bool_]
    """Where the clocks could change the choice by time."""
    margins: Sequence[np.timedelta64]
    """Between the clock of the rows and that of each calibration."""
    basis: Texts
    """'named', 'by time', or ''."""
    faults: tuple[Fault, ...]


def in_force(
    rows: Rows,
    known: Sequence[CalibrationFacts],
    station: Station,
    instrument: Instrument | None,
    file: str,
) -> InForce:
    """The one that a row names, else the station's last one by time; where they disagree is told.

    known: every calibration, by time; file: the wafer's record, which faults name.
    """
    at = reference_times(rows.measured_at, instrument)
    here = [one for one in known if one.result.record.station == station.id]
    by_time, unsure = choose_by_time(at, rows.ports, here, station, instrument)
    elsewhere = {one.result.record.id for one in known} - {one.result.record.id for one in here}
    margins = [margin_to(one.result.record.instrument, station, instrument) for one in here]
    choice = Choice(here, by_time, unsure, margins, frozenset(elsewhere))
    chosen, basis, faults = apply_names(rows, at, choice, file)
    return InForce(here, chosen, unsure, margins, basis, faults)
