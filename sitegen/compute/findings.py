"""What a campaign's measurements show, as findings: those that need a decision first."""

from collections.abc import Mapping, Sequence

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.event_results import (
    AcceptanceResult,
    CalibrationResult,
    Judged,
    VerificationResult,
)
from sitegen.model.followed_results import StationFollowed
from sitegen.model.results import ParameterResult, WaferSummary
from sitegen.problems import WEIGHTS, Finding, Weight
from sitegen.units import count, frequency


def findings_of(
    campaign: CampaignRecord,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult],
    acceptances: Sequence[AcceptanceResult],
    followed: Sequence[StationFollowed],
    wafers: Sequence[WaferSummary],
    parameters: Sequence[ParameterResult],
    from_wafers: Sequence[Finding],
) -> tuple[Finding, ...]:
    """All findings of the campaign, those that need a decision first."""
    found = [
        *_calibration_findings(calibrations),
        *_verification_findings(verifications),
        *_acceptance_findings(acceptances),
        *_trend_findings(followed),
        *(finding for one in wafers for finding in _wafer_findings(one)),
        *_plan_findings(campaign, wafers),
        *_uncertainty_findings(campaign, parameters),
        *from_wafers,
    ]
    return tuple(
        sorted(found, key=lambda one: (WEIGHTS.index(one.weight), one.kind, one.subject, one.text))
    )


def _calibration_findings(calibrations: Sequence[CalibrationResult]) -> list[Finding]:
    found = []
    for one in calibrations:
        page, name = addresses.calibration(one.record.id), one.record.id
        if any("look exchanged" in check.text for check in one.checks):
            found.append(
                Finding(
                    "standards look exchanged",
                    f"calibration {name}",
                    f"In the raw sweeps of calibration {name} open and short look exchanged.",
                    "attention",
                    page,
                )
            )
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
    words: Mapping[Judged, tuple[str, Weight]] = {
        "failed": ("failed", "decision"),
        "not proven": ("is not proven", "attention"),
        "not assessable": ("could not be assessed", "decision"),
    }
    found = []
    for one in verifications:
        if one.outcome not in words:
            continue
        told, weight = words[one.outcome]
        name = one.record.id
        found.append(
            Finding(
                f"verification {one.outcome}",
                f"verification {name}",
                f"Verification {name} of calibration {one.record.calibration} {told}:"
                f" {one.reason}{_worst(one)}.",
                weight,
                addresses.verification(name),
            )
        )
    return found


def _worst(one: VerificationResult) -> str:
    """', worst 1.18 times the mask in S21 at 92 GHz'; empty where no mask is reached."""
    judged = [mask for structure in one.structures for mask in structure.masks]
    worst = max(judged, key=lambda mask: mask.worst_ratio or 0.0, default=None)
    if worst is None or worst.worst_frequency_hz is None or (worst.worst_ratio or 0.0) <= 1.0:
        return ""
    guarded = "" if worst.guard is None else " with its guard band"
    return (
        f", worst {worst.worst_ratio:.2f} times the mask{guarded} in"
        f" {worst.mask.parameter.upper()} at {frequency(worst.worst_frequency_hz)}"
    )


def _acceptance_findings(acceptances: Sequence[AcceptanceResult]) -> list[Finding]:
    words: Mapping[Judged, str] = {
        "failed": "is not accepted",
        "not proven": "is not proven",
        "not assessable": "cannot be assessed",
    }
    return [
        Finding(
            f"acceptance {one.outcome}",
            f"acceptance {one.record.id}",
            f"Acceptance {one.record.id} of station {one.record.station} {words[one.outcome]}:"
            f" {one.reason}.",
            "decision",
            addresses.acceptance(one.record.id),
        )
        for one in acceptances
        if one.outcome in words
    ]


def _wafer_findings(one: WaferSummary) -> list[Finding]:
    page, subject = addresses.wafer(one.wafer), f"wafer {one.wafer}"
    told = [*_standing_told(one), *_outcomes_told(one)]
    return [Finding(kind, subject, text, weight, page) for n, kind, text, weight in told if n]


def _standing_told(one: WaferSummary) -> list[tuple[int, str, str, Weight]]:
    """What is to be said of standing: a count, the kind, the sentence, the weight."""
    where = f"on wafer {one.wafer}"
    never, open_ = one.values_never_verified, one.values_not_closed - one.values_never_verified
    told: list[tuple[int, str, str, Weight]] = [
        (
            values,
            "without standing",
            f"{count(values, 'value')} {where} {_verb(values, 'has', 'have')} no standing:"
            f" {reason}.",
            "decision",
        )
        for reason, values in one.standing_reasons.items()
    ]
    told.append(
        (
            never,
            "never verified",
            f"{count(never, 'value')} {where} {_verb(never, 'stands', 'stand')} on a calibration"
            " that no verification has passed.",
            "decision",
        )
    )
    told.append(
        (
            open_,
            "not closed",
            f"{count(open_, 'value')} {where} {_verb(open_, 'is', 'are')} not closed: no"
            f" verification passed after {_verb(open_, 'it was', 'they were')} taken.",
            "attention",
        )
    )
    return told


def _outcomes_told(one: WaferSummary) -> list[tuple[int, str, str, Weight]]:
    """What is to be said of values and verdicts."""
    where = f"on wafer {one.wafer}"
    outside, unmeasured = one.outcomes["outside"], one.outcomes["not measured"]
    changed, below = one.touchdown_changes, one.values_below_floor
    told: list[tuple[int, str, str, Weight]] = [
        (
            outside,
            "outside limits",
            f"{count(outside, 'die')} of {one.measured} measured {where}"
            f" {_verb(outside, 'lies', 'lie')} outside the limits:"
            f" {_listed(one.outside_parameters)}.",
            "decision",
        ),
        (
            unmeasured,
            "dies not measured",
            f"{count(unmeasured, 'planned die')} {where} {_verb(unmeasured, 'was', 'were')} not"
            " measured.",
            "attention",
        ),
        (
            changed,
            "touchdown changes a verdict",
            f"On wafer {one.wafer} the choice between touchdowns decides"
            f" {count(changed, 'verdict')}: {_first(one.touchdowns_that_matter)}.",
            "attention",
        ),
        (
            below,
            "below the floor",
            f"{count(below, 'value')} {where} {_verb(below, 'lies', 'lie')} below the stored floor"
            f" and {_verb(below, 'is', 'are')} shown as such.",
            "note",
        ),
    ]
    told += [
        (
            values,
            "not assessable",
            f"{count(values, 'value')} {where} cannot be assessed: {reason}.",
            "decision",
        )
        for reason, values in one.unassessable.items()
    ]
    beyond = {name: n - unmeasured for name, n in one.missing.items() if n > unmeasured}
    told.append(
        (
            sum(beyond.values()),
            "values missing",
            f"{count(sum(beyond.values()), 'planned value')} {where}"
            f" {_verb(sum(beyond.values()), 'is', 'are')} missing on dies that were measured:"
            f" {_listed(beyond)}.",
            "attention",
        )
    )
    return told


def _listed(counts: Mapping[str, int]) -> str:
    """'RSH on 20, VTH on 1': the most frequent first."""
    return _first([f"{name} on {number}" for name, number in counts.items()])


def _first(names: Sequence[str], most: int = 5) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _verb(number: int, one: str, many: str) -> str:
    return one if number == 1 else many


def _trend_findings(followed: Sequence[StationFollowed]) -> list[Finding]:
    """One finding a station: trends whose way to a bound has an end that can be named."""
    found = []
    for station in followed:
        told = [
            f"{metric.name} {metric.trend}. {metric.forecast.text}"
            for metric in station.metrics
            if metric.forecast is not None and metric.forecast.latest is not None
        ]
        if told:
            found.append(
                Finding(
                    "trend towards a bound",
                    f"station {station.station}",
                    f"On station {station.station}: {' Likewise '.join(told)}",
                    "attention",
                    addresses.station(station.station),
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


def _uncertainty_findings(
    campaign: CampaignRecord, parameters: Sequence[ParameterResult]
) -> list[Finding]:
    def has_limits(parameter: Parameter) -> bool:
        return parameter.lower is not None or parameter.upper is not None

    guarded = campaign.decision.rule == "guarded"
    stated = {one.parameter for one in parameters if one.summary.u is not None}
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
        if not parameter.uncertainty and parameter.id not in stated
    ]
