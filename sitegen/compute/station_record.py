"""Each station over time: what stood behind the measurements, and where nothing did."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sitegen import addresses
from sitegen.compute.evidence import facts
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.results import NOT_HELD, Span, StationRecord, WaferSummary
from sitegen.model.wafer import WaferRecord


def station_record(
    station: str,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult],
    wafers: Sequence[tuple[WaferRecord, WaferSummary]],
) -> StationRecord:
    """The dated record of one station, in reference time, ordered by start."""
    spans = [
        Span(
            "calibration",
            one.record.id,
            one.made_at,
            one.expires_at,
            one.outcome,
            addresses.calibration(one.record.id),
        )
        for one in calibrations
        if one.record.station == station
    ]
    spans += [
        Span(
            "verification",
            one.record.id,
            one.made_at,
            one.made_at,
            one.outcome,
            addresses.verification(one.record.id),
        )
        for one in verifications
        if one.record.station == station
    ]
    here = [
        (summary.started.astimezone(UTC), summary.finished.astimezone(UTC), record, summary)
        for record, summary in wafers
        if record.station == station
        if summary.started is not None and summary.finished is not None
    ]
    spans += [
        Span("wafer", record.id, start, end, f"{summary.measured} dies", addresses.wafer(record.id))
        for start, end, record, summary in here
    ]
    usable = [
        (one.result.made_at, min(one.result.expires_at, one.lost_after or one.result.expires_at))
        for one in facts(calibrations, verifications)
        if one.result.record.station == station and one.result.outcome == "usable"
    ]
    has_rf = {
        record.id
        for *_, record, summary in here
        if record.rf_instrument is not None and NOT_HELD not in summary.standing_reasons
    }
    for start, end, record, _ in here:
        if record.id in has_rf:
            spans += [
                Span(
                    "nothing stood",
                    record.id,
                    gap_start,
                    gap_end,
                    "no calibration that still held",
                    addresses.wafer(record.id),
                )
                for gap_start, gap_end in uncovered(start, end, usable)
            ]
    return StationRecord(station, tuple(sorted(spans, key=lambda span: (span.start, span.name))))


def uncovered(
    start: datetime, end: datetime, covers: Sequence[tuple[datetime, datetime]]
) -> tuple[tuple[datetime, datetime], ...]:
    """The parts of a stretch of time that none of the covers covers."""
    gaps = []
    reached = start
    for cover_start, cover_end in sorted(covers):
        if cover_start > reached and reached < end:
            gaps.append((reached, min(cover_start, end)))
        reached = max(reached, cover_end)
    if reached < end:
        gaps.append((reached, end))
    return tuple(gaps)
