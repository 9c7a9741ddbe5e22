"""Which calibration stands behind which value, and whether it held when the value was taken.

Times are compared as reference time, see `sitegen.compute.clocks`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from sitegen.compute.clocks import Times, instant, margin_to, reference_times
from sitegen.compute.in_force import CalibrationFacts, Rows, Texts, in_force
from sitegen.model.campaign import Instrument, Station
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.results import NOT_HELD, REASONS
from sitegen.model.station_state import StationState, differences
from sitegen.problems import Fault

REASON_CODES = tuple(REASONS)
"""Reason i is bit i of a row's `reasons`."""

INSTANT = timedelta(microseconds=1)


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
    never_verified: npt.NDArray[np.bool_]
    """Of those not closed: no verification of the calibration has passed at all."""
    detail: Texts
    """Particulars, one phrase a reason; '' where there are none."""
    faults: tuple[Fault, ...]


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
            lost_after = max(before) if before else calibration.made_at - INSTANT
        joined.append(
            CalibrationFacts(
                calibration,
                lost_after,
                max(passed) if passed else None,
                first_failed.record.id if first_failed else "",
                own[0].record.instrument if own else "",
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
    corrected: bool = False,
) -> Evidence:
    """The calibration in force for each RF row, and every reason against it.

    A named calibration wins over time and station; where they disagree it is a fault. By time, the
    station's last calibration before the row that covers its ports is in force; where the
    uncertainty of two clocks could change that choice it is refused. corrected: the rows are
    sweeps that were corrected before they came into the record; where it holds no calibration of
    the station and a row names none, that is the reason, and not that a calibration is missing.
    """
    at = reference_times(rows.measured_at, instrument)
    found = in_force(rows, known, station, instrument, file)
    here, chosen, unsure = found.here, found.chosen, found.unsure
    collector = _Collector(len(at))
    collector.add(
        "calibration missing",
        (chosen < 0) & unsure,
        "the clocks' offsets could change which calibration was in force",
    )
    outside = _without_a_record(rows) & corrected & (not here)
    collector.add(NOT_HELD, outside, "")
    collector.add("calibration missing", (chosen < 0) & ~unsure & ~outside, "none found")
    not_closed = np.zeros(len(at), dtype=bool)
    never_verified = np.zeros(len(at), dtype=bool)
    for index, one in enumerate(here):
        mine = chosen == index
        if mine.any():
            margin = margin_to(one.verified_by, station, instrument)
            not_closed[mine] = _judge_verifications(collector, at, mine, one, margin)
            never_verified[mine] = one.last_passed is None
            _judge_calibration(collector, rows, at, mine, one, found.margins[index])
            _judge_state(collector, rows, mine, one, states, instrument)
    _judge_instrument(collector, at, instrument)
    _judge_contact(collector, rows.contact_resistance_ohm, contact_resistance_max_ohm)
    ids = np.array([one.result.record.id for one in here] + [None], dtype=object)
    open_ = not_closed & (collector.bits == 0)
    return Evidence(
        calibration=ids[chosen],
        basis=found.basis,
        reasons=collector.bits,
        not_closed=open_,
        never_verified=open_ & never_verified,
        detail=collector.details(),
        faults=found.faults,
    )


def dc_evidence(
    measured_at: Times,
    contact_resistance_ohm: npt.NDArray[np.float64],
    floor_missing: Texts,
    instrument: Instrument | None,
    contact_resistance_max_ohm: float | None,
) -> Evidence:
    """DC rows ask for an instrument in date, a stored floor for currents, and contact.

    floor_missing: for each row why no floor is stored, '' where one is or none is needed.
    """
    n = len(measured_at)
    collector = _Collector(n)
    _judge_instrument(collector, reference_times(measured_at, instrument), instrument)
    _judge_contact(collector, contact_resistance_ohm, contact_resistance_max_ohm)
    lacking = floor_missing != ""
    collector.add("floor missing", lacking, [str(text) for text in floor_missing[lacking]])
    return Evidence(
        calibration=np.full(n, None, dtype=object),
        basis=np.full(n, "", dtype=object),
        reasons=collector.bits,
        not_closed=np.zeros(n, dtype=bool),
        never_verified=np.zeros(n, dtype=bool),
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


def _without_a_record(rows: Rows) -> npt.NDArray[np.bool_]:
    """Rows that name no calibration."""
    return np.array([name is None for name in rows.named], dtype=bool)


def _judge_verifications(
    collector: _Collector,
    at: Times,
    mine: npt.NDArray[np.bool_],
    one: CalibrationFacts,
    margin: np.timedelta64,
) -> npt.NDArray[np.bool_]:
    """Add what failed verifications took; return which of the rows are not closed.

    A row that the clocks cannot tell from a verification counts as taken after it.
    """
    if one.lost_after is not None:
        lost = mine & (at > instant(one.lost_after) - margin)
        collector.add("verification failed", lost, one.failed)
    if one.last_passed is None:
        return np.ones(int(mine.sum()), dtype=bool)
    return np.asarray(at[mine] > instant(one.last_passed) - margin)


def _judge_calibration(
    collector: _Collector,
    rows: Rows,
    at: Times,
    mine: npt.NDArray[np.bool_],
    one: CalibrationFacts,
    margin: np.timedelta64,
) -> None:
    """Add what the calibration itself gives against its rows: validity and its own checks."""
    record = one.result.record
    end = instant(one.result.expires_at)
    expired = mine & (at > end - margin)
    past = [_duration(float(gap / np.timedelta64(1, "s"))) for gap in at[expired] - end]
    collector.add(
        "expired by time",
        expired,
        [f"{told} past the end of {record.id}'s {record.validity.hours:g} h" for told in past],
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
        if calibrated is None or bound is None:
            continue
        moved = mine & (np.abs(taken - calibrated) > bound)
        told = f"calibrated at {calibrated:.1f} °C, valid within {bound:g} °C"
        collector.add(reason, moved, [f"{value:.1f} °C, {told}" for value in taken[moved]])
    unknown = mine & np.isnan(rows.ambient_c)
    collector.add(
        "ambient temperature not stated",
        unknown,
        f"calibrated at {record.ambient_c:.1f} °C, valid within"
        f" {record.validity.ambient_change_c:g} °C",
    )
    if one.result.outcome != "usable":
        collector.add("calibration's own checks failed", mine, f"{record.id}: {one.result.outcome}")


def _judge_state(
    collector: _Collector,
    rows: Rows,
    mine: npt.NDArray[np.bool_],
    one: CalibrationFacts,
    states: Mapping[str, StationState],
    instrument: Instrument | None,
) -> None:
    """Name each difference between the RF path as calibrated and as it was for the rows."""
    record = one.result.record
    analyser: tuple[str, ...] = ()
    if instrument is not None and instrument.id != record.instrument:
        analyser = (f"instrument: calibrated {record.instrument}, measured {instrument.id}",)
    for name in sorted({str(name) for name in rows.state[mine]}):
        state = states.get(name)
        told = analyser + (
            differences(record.state, state)
            if state is not None
            else ("the state of the RF path is not in the record",)
        )
        if told:
            here = mine & (rows.state.astype(str) == name)
            collector.add("different state", here, "; ".join(told))


def _duration(seconds: float) -> str:
    """'2 min 45 s', '3 h 05 min'."""
    whole = max(round(seconds), 0)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def _judge_instrument(collector: _Collector, at: Times, instrument: Instrument | None) -> None:
    if instrument is None:
        collector.add(
            "instrument past due", np.ones(len(at), dtype=bool), "the record names no instrument"
        )
        return
    due = instrument.holds_until
    if due is None:
        collector.add("certificate not stated", np.ones(len(at), dtype=bool), instrument.id)
        return
    collector.add(
        "instrument past due",
        np.asarray(at.astype("datetime64[D]") > np.datetime64(due, "D")),
        f"{instrument.id}, certificate {instrument.certificate} due {_day(due)}",
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
