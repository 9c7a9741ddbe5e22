"""What only the whole campaign shows: each station over time, and the findings of all events."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.results import (
    CalibrationResult,
    Span,
    StationRecord,
    VerificationResult,
    WaferSummary,
)
from sitegen.model.wafer import WaferRecord
from sitegen.problems import WEIGHTS, Finding
from sitegen.units import count, frequency


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
        (record.started.astimezone(UTC), record.finished.astimezone(UTC), record, summary)
        for record, summary in wafers
        if record.station == station
    ]
    spans += [
        Span("wafer", record.id, start, end, f"{summary.measured} dies", addresses.wafer(record.id))
        for start, end, record, summary in here
    ]
    usable = [
        (one.made_at, one.expires_at)
        for one in calibrations
        if one.record.station == station and one.outcome == "usable"
    ]
    has_rf = {record.id for *_, record, _ in here if record.rf_instrument is not None}
    for start, end, record, _ in here:
        if record.id in has_rf:
            spans += [
                Span(
                    "nothing stood",
                    record.id,
                    gap_start,
                    gap_end,
                    "no calibration in force",
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


def findings_of(
    campaign: CampaignRecord,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult],
    wafers: Sequence[WaferSummary],
    from_wafers: Sequence[Finding],
) -> tuple[Finding, ...]:
    """All findings of the campaign, those that need a decision first."""
    found = [
        *_calibration_findings(calibrations),
        *_verification_findings(verifications),
        *(finding for one in wafers for finding in _wafer_findings(one)),
        *_plan_findings(campaign, wafers),
        *_uncertainty_findings(campaign),
        *from_wafers,
    ]
    return tuple(
        sorted(found, key=lambda one: (WEIGHTS.index(one.weight), one.kind, one.subject, one.text))
    )


def _calibration_findings(calibrations: Sequence[CalibrationResult]) -> list[Finding]:
    found = []
    for one in calibrations:
        page, name = addresses.calibration(one.record.id), one.record.id
        if one.outcome == "checks failed":
            failed = ", ".join(check.name for check in one.checks if check.passed is False)
            found.append(
                Finding(
                    "calibration checks failed",
                    f"calibration {name}",
                    f"Calibration {name} did not meet the bounds of its own checks: {failed}.",
                    "decision",
                    page,
                )
            )
        if one.outcome == "not solved":
            found.append(
                Finding(
                    "calibration not solved",
                    f"calibration {name}",
                    f"Calibration {name} could not be solved: {one.unsolved}.",
                    "decision",
                    page,
                )
            )
    return found


def _verification_findings(verifications: Sequence[VerificationResult]) -> list[Finding]:
    found = []
    for one in verifications:
        page, name = addresses.verification(one.record.id), one.record.id
        if one.outcome == "failed":
            worst = max(
                (mask for structure in one.structures for mask in structure.masks),
                key=lambda mask: mask.worst_ratio or 0.0,
            )
            at = "" if worst.worst_frequency_hz is None else frequency(worst.worst_frequency_hz)
            found.append(
                Finding(
                    "verification failed",
                    f"verification {name}",
                    f"Verification {name} of calibration {one.record.calibration} failed:"
                    f" {one.reason}, worst {worst.worst_ratio or 0.0:.2f} times the mask in"
                    f" {worst.mask.parameter.upper()} at {at}.",
                    "decision",
                    page,
                )
            )
        if one.outcome == "not assessable":
            found.append(
                Finding(
                    "verification not assessable",
                    f"verification {name}",
                    f"Verification {name} could not be assessed: {one.reason}.",
                    "decision",
                    page,
                )
            )
    return found


def _wafer_findings(one: WaferSummary) -> list[Finding]:
    page, subject = addresses.wafer(one.wafer), f"wafer {one.wafer}"
    found = [
        Finding(
            "without standing",
            subject,
            f"{count(values, 'value').capitalize()} on wafer {one.wafer}"
            f" {'has' if values == 1 else 'have'} no standing: {reason}.",
            "decision",
            page,
        )
        for reason, values in one.standing_reasons.items()
    ]
    if one.outcomes["outside"]:
        dies = one.outcomes["outside"]
        found.append(
            Finding(
                "outside limits",
                subject,
                f"{count(dies, 'die').capitalize()} of {one.measured} measured on wafer"
                f" {one.wafer} {'lies' if dies == 1 else 'lie'} outside the limits.",
                "decision",
                page,
            )
        )
    unmeasured = one.outcomes["not measured"]
    if unmeasured:
        found.append(
            Finding(
                "dies not measured",
                subject,
                f"{count(unmeasured, 'planned die').capitalize()} on wafer {one.wafer}"
                f" {'was' if unmeasured == 1 else 'were'} not measured.",
                "attention",
                page,
            )
        )
    if one.values_not_closed:
        values = one.values_not_closed
        found.append(
            Finding(
                "not closed",
                subject,
                f"{count(values, 'value').capitalize()} on wafer {one.wafer}"
                f" {'is' if values == 1 else 'are'} not closed: no verification passed after"
                f" {'it was' if values == 1 else 'they were'} taken.",
                "attention",
                page,
            )
        )
    if one.touchdown_changes:
        changed = one.touchdown_changes
        found.append(
            Finding(
                "touchdown changes a verdict",
                subject,
                f"On wafer {one.wafer} the rule of choice between touchdowns decides"
                f" {count(changed, 'verdict')}.",
                "attention",
                page,
            )
        )
    if one.values_below_floor:
        values = one.values_below_floor
        found.append(
            Finding(
                "below the floor",
                subject,
                f"{count(values, 'value').capitalize()} on wafer {one.wafer}"
                f" {'lies' if values == 1 else 'lie'} below the stored floor and"
                f" {'is' if values == 1 else 'are'} shown as such.",
                "note",
                page,
            )
        )
    return found


def _plan_findings(campaign: CampaignRecord, wafers: Sequence[WaferSummary]) -> list[Finding]:
    present = {one.wafer for one in wafers}
    return [
        Finding(
            "wafer not measured",
            f"wafer {planned.id}",
            f"Wafer {planned.id} is planned and is not in the record.",
            "attention",
            addresses.HOME,
        )
        for planned in campaign.plan.wafers
        if planned.id not in present
    ]


def _uncertainty_findings(campaign: CampaignRecord) -> list[Finding]:
    def has_limits(parameter: Parameter) -> bool:
        return parameter.lower is not None or parameter.upper is not None

    guarded = campaign.decision.rule == "guarded"
    return [
        Finding(
            "no uncertainty stated",
            f"parameter {parameter.id}",
            f"No uncertainty is stated for {parameter.id}"
            + (
                ": under the guarded rule its values cannot be assessed."
                if guarded and has_limits(parameter)
                else "."
            ),
            "decision" if guarded and has_limits(parameter) else "note",
            addresses.parameter(parameter.id),
        )
        for parameter in campaign.parameters
        if not parameter.uncertainty
    ]
