"""Which calibration stands behind which value, and whether it held when the value was taken.

All times are compared as reference time: the time stamped by an instrument less its clock's
offset (clock_offset_s = clock minus reference). Times are numpy datetime64[us] in UTC.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
import numpy.typing as npt

from sitegen.model.campaign import Instrument, Station
from sitegen.model.results import REASONS, CalibrationResult, VerificationResult
from sitegen.model.station_state import StationState, differences
from sitegen.problems import Fault

Times = npt.NDArray[np.datetime64]
Texts = npt.NDArray[np.object_]
REASON_CODES = tuple(REASONS)
"""Reason i is bit i of a row's `reasons`."""

CLOCK_COVERAGE = 2.0
"""Two moments are told apart when they differ by more than this many standard uncertainties."""


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
    substrate_c: npt.NDArray[np.float64]
    """NaN: not stated."""
    contact_resistance_ohm: npt.NDArray[np.float64]
    """NaN: not taken."""
    ports: npt.NDArray[np.int64]
    """Ports that the calibration must cover."""


@dataclass(frozen=True)
class Evidence:
    """What stands behind each row, n of them."""

    calibration: Texts
    """Id of the calibration in force, or None."""
    basis: Texts
    """'named', 'by time', or ''."""
    reasons: npt.NDArray[np.int64]
    """Bits in the order of `REASON_CODES`; 0: nothing takes its standing."""
    not_closed: npt.NDArray[np.bool_]
    """No verification passed after the row was taken."""
    detail: Texts
    """Particulars, one phrase a reason; '' where there are none."""
    faults: tuple[Fault, ...]


def reference_time(stamped: datetime, instrument: Instrument) -> datetime:
    """The stamped time less the offset of the instrument's clock, in UTC."""
    return (stamped - timedelta(seconds=instrument.clock_offset_s)).astimezone(UTC)


def facts(
    calibrations: Sequence[CalibrationResult], verifications: Sequence[VerificationResult]
) -> tuple[CalibrationFacts, ...]:
    """Join each calibration with what its verifications did to it, ordered by time.

    A failed verification takes standing from everything since the last passed one before it, and
    from everything after it: repairing afterwards restores nothing.
    """
    joined = []
    for calibration in sorted(calibrations, key=lambda one: (one.made_at, one.record.id)):
        own = sorted(
            (
                one
                for one in verifications
                if one.record.calibration == calibration.record.id
                and one.record.station == calibration.record.station
            ),
            key=lambda one: (one.made_at, one.record.id),
        )
        passed = [one.made_at for one in own if one.outcome == "passed"]
        first_failed = next((one for one in own if one.outcome == "failed"), None)
        lost_after = None
        if first_failed is not None:
            before = [moment for moment in passed if moment < first_failed.made_at]
            lost_after = max([calibration.made_at, *before])
        joined.append(
            CalibrationFacts(
                calibration,
                lost_after,
                max(passed) if passed else None,
                first_failed.record.id if first_failed else "",
            )
        )
    return tuple(joined)


def rf_evidence(
    rows: Rows,
    known: Sequence[CalibrationFacts],
    station: Station,
    instrument: Instrument | None,
    states: Mapping[str, StationState],
    contact_resistance_max_ohm: float | None,
    file: str,
) -> Evidence:
    """The calibration in force for each RF row, and every reason against it.

    A named calibration wins over time and station; where they disagree it is a fault. By time, the
    station's last calibration before the row that covers its ports is in force; where the
    uncertainty of two clocks could change that choice it is refused.
    """
    at = _reference_times(rows.measured_at, instrument)
    here = [one for one in known if one.result.record.station == station.id]
    by_time, unsure = _choose_by_time(at, rows.ports, here, station, instrument)
    chosen, basis, faults = _apply_names(rows, at, here, by_time, unsure, file)
    collector = _Collector(len(at))
    collector.add(
        "calibration missing",
        (chosen < 0) & unsure,
        "the clocks' offsets could change which calibration was in force",
    )
    collector.add("calibration missing", (chosen < 0) & ~unsure, "none found")
    not_closed = np.zeros(len(at), dtype=bool)
    for index, one in enumerate(here):
        mine = chosen == index
        if mine.any():
            not_closed[mine] = _judge_calibration(collector, rows, at, mine, one, states)
    _judge_instrument(collector, at, instrument)
    _judge_contact(collector, rows.contact_resistance_ohm, contact_resistance_max_ohm)
    ids = np.array([one.result.record.id for one in here] + [None], dtype=object)
    return Evidence(
        calibration=ids[chosen],
        basis=basis,
        reasons=collector.bits,
        not_closed=not_closed & (collector.bits == 0),
        detail=collector.details(),
        faults=faults,
    )


def dc_evidence(
    measured_at: Times,
    contact_resistance_ohm: npt.NDArray[np.float64],
    floor_missing: npt.NDArray[np.bool_],
    instrument: Instrument | None,
    contact_resistance_max_ohm: float | None,
) -> Evidence:
    """DC rows ask for an instrument in date, a stored floor for currents, and contact."""
    n = len(measured_at)
    collector = _Collector(n)
    _judge_instrument(collector, _reference_times(measured_at, instrument), instrument)
    _judge_contact(collector, contact_resistance_ohm, contact_resistance_max_ohm)
    collector.add("floor missing", floor_missing, "")
    return Evidence(
        calibration=np.full(n, None, dtype=object),
        basis=np.full(n, "", dtype=object),
        reasons=collector.bits,
        not_closed=np.zeros(n, dtype=bool),
        detail=collector.details(),
        faults=(),
    )


def reason_text(bits: int) -> str:
    """The reasons of a row in words, separated by '; '."""
    return "; ".join(code for bit, code in enumerate(REASON_CODES) if bits >> bit & 1)


class _Collector:
    """Gathers reason bits and their particulars, row by row."""

    def __init__(self, n: int) -> None:
        self.bits: npt.NDArray[np.int64] = np.zeros(n, dtype=np.int64)
        self._phrases: dict[int, list[str]] = {}

    def add(self, reason: str, where: npt.NDArray[np.bool_], phrase: str | Sequence[str]) -> None:
        """Mark rows; a sequence of phrases has one for each marked row, in order."""
        self.bits[where] |= 1 << REASON_CODES.index(reason)
        for order, row in enumerate(np.flatnonzero(where)):
            text = phrase if isinstance(phrase, str) else phrase[order]
            if text:
                self._phrases.setdefault(int(row), []).append(f"{reason}: {text}")

    def details(self) -> Texts:
        """One text a row."""
        texts = np.full(len(self.bits), "", dtype=object)
        for row, phrases in self._phrases.items():
            texts[row] = "; ".join(phrases)
        return texts


def _reference_times(stamped: Times, instrument: Instrument | None) -> Times:
    offset_s = 0.0 if instrument is None else instrument.clock_offset_s
    return np.asarray(stamped - np.timedelta64(round(offset_s * 1e6), "us"))


def _instant(moment: datetime) -> np.datetime64:
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")


def _choose_by_time(
    at: Times,
    ports: npt.NDArray[np.int64],
    here: Sequence[CalibrationFacts],
    station: Station,
    instrument: Instrument | None,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Index of the station's last calibration before each row (-1: none), and where unsure."""
    chosen = np.full(len(at), -1, dtype=np.int64)
    unsure = np.zeros(len(at), dtype=bool)
    clocks = {one.id: one for one in station.instruments}
    for index, one in enumerate(here):
        fits = len(one.result.record.ports) >= ports
        made = _instant(one.result.made_at)
        chosen[fits & (at >= made)] = index
        margin = _clock_margin(instrument, clocks.get(one.result.record.instrument))
        unsure |= fits & (np.abs(at - made) < margin)
    return chosen, unsure


def _clock_margin(mine: Instrument | None, other: Instrument | None) -> np.timedelta64:
    """Within this distance the order of two moments is not known; the same clock is always sure."""
    if mine is None or other is None or mine.id == other.id:
        return np.timedelta64(0, "us")
    u_s = float(np.hypot(mine.clock_offset_u_s, other.clock_offset_u_s))
    return np.timedelta64(round(CLOCK_COVERAGE * u_s * 1e6), "us")


def _apply_names(
    rows: Rows,
    at: Times,
    here: Sequence[CalibrationFacts],
    by_time: npt.NDArray[np.int64],
    unsure: npt.NDArray[np.bool_],
    file: str,
) -> tuple[npt.NDArray[np.int64], Texts, tuple[Fault, ...]]:
    """Let named calibrations win; tell where they disagree with time and station."""
    index_of = {one.result.record.id: index for index, one in enumerate(here)}
    is_named = np.array([name is not None for name in rows.named], dtype=bool)
    chosen = np.where(unsure, -1, by_time)
    basis = np.where(is_named, "named", np.where(chosen >= 0, "by time", "")).astype(object)
    faults = []
    for name in sorted({str(name) for name in rows.named[is_named]}):
        mine = rows.named == name
        index = index_of.get(name, -1)
        chosen[mine] = index
        if index < 0:
            continue
        made = _instant(here[index].result.made_at)
        too_early = mine & (at < made)
        chosen[too_early] = -1
        superseded = mine & ~too_early & ~unsure & (by_time != index)
        if too_early.any():
            faults.append(
                _disagreement(file, name, too_early, at, "made after the value was taken")
            )
        if superseded.any():
            later = here[int(by_time[superseded][0])].result.record.id
            faults.append(
                _disagreement(file, name, superseded, at, f"but {later} was then in force by time")
            )
    return chosen, basis, tuple(faults)


def _disagreement(
    file: str, name: str, where: npt.NDArray[np.bool_], at: Times, found: str
) -> Fault:
    first = str(at[where].min())[:16].replace("T", " ")
    return Fault(
        file=file,
        place=f"column calibration, first at {first} UTC",
        found=f"calibration {name}, {found}",
        expected="the calibration in force at the station at that time",
        remedy="Correct the calibration named or the time; until then the name is followed.",
        count=int(where.sum()),
    )


def _judge_calibration(
    collector: _Collector,
    rows: Rows,
    at: Times,
    mine: npt.NDArray[np.bool_],
    one: CalibrationFacts,
    states: Mapping[str, StationState],
) -> npt.NDArray[np.bool_]:
    """Add every reason against one calibration; return which of its rows are not closed."""
    record = one.result.record
    expired = mine & (at > _instant(one.result.expires_at))
    hours = (at[expired] - _instant(one.result.made_at)) / np.timedelta64(1, "h")
    collector.add(
        "expired by time",
        expired,
        [
            f"{hour:.1f} h after {record.id}, valid for {record.validity.hours:g} h"
            for hour in hours
        ],
    )
    for reason, taken, calibrated, bound in (
        (
            "expired by ambient temperature",
            rows.ambient_c,
            record.ambient_c,
            record.validity.ambient_change_c,
        ),
        (
            "expired by substrate temperature",
            rows.substrate_c,
            record.substrate_c,
            record.validity.substrate_change_c,
        ),
    ):
        moved = mine & (np.abs(taken - calibrated) > bound)
        collector.add(
            reason,
            moved,
            [
                f"{value:.1f} °C, calibrated at {calibrated:.1f} °C, valid within {bound:g} °C"
                for value in taken[moved]
            ],
        )
    if one.result.outcome != "usable":
        collector.add("calibration's own checks failed", mine, f"{record.id}: {one.result.outcome}")
    if one.lost_after is not None:
        lost = mine & (at > _instant(one.lost_after))
        collector.add("verification failed", lost, one.failed)
    for name in sorted({str(name) for name in rows.state[mine]}):
        state = states.get(name)
        told = (
            differences(record.state, state)
            if state is not None
            else ("the state of the RF path is not in the record",)
        )
        if told:
            collector.add(
                "different state", mine & (rows.state.astype(str) == name), "; ".join(told)
            )
    if one.last_passed is None:
        return np.ones(int(mine.sum()), dtype=bool)
    return np.asarray(at[mine] > _instant(one.last_passed))


def _judge_instrument(collector: _Collector, at: Times, instrument: Instrument | None) -> None:
    if instrument is None:
        collector.add(
            "instrument past due", np.ones(len(at), dtype=bool), "the record names no instrument"
        )
        return
    last_day = np.datetime64(instrument.due, "D")
    collector.add(
        "instrument past due",
        np.asarray(at.astype("datetime64[D]") > last_day),
        f"{instrument.id}, certificate {instrument.certificate} due {_day(instrument.due)}",
    )


def _judge_contact(
    collector: _Collector, resistance_ohm: npt.NDArray[np.float64], bound: float | None
) -> None:
    if bound is None:
        return
    bad = resistance_ohm > bound
    collector.add(
        "contact check failed",
        bad,
        [f"{value:.3g} Ω, at most {bound:g} Ω" for value in resistance_ohm[bad]],
    )


def _day(day: date) -> str:
    return day.isoformat()
