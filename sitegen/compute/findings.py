"""What a campaign's measurements show, as findings: those that need a decision first."""

from collections.abc import Mapping, Sequence

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.decision import RULE_TEXTS, Decision
from sitegen.model.event_results import (
    AcceptanceResult,
    CalibrationResult,
    Judged,
    VerificationResult,
)
from sitegen.model.followed_results import StationFollowed
from sitegen.model.results import NOT_HELD, ParameterResult, WaferSummary
from sitegen.problems import WEIGHTS, Finding, Weight
from sitegen.units import count, frequency

MOST_NAMED = 3
"""How many dies that a finding concerns are named; more are counted."""


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
        *_calibration_not_held(campaign, wafers),
        *(finding for one in wafers for finding in _wafer_findings(one)),
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
                f" {one.reason}{_worst(one)}"
                + (f"; it was made {one.outside}." if one.outside else "."),
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


def _calibration_not_held(
    campaign: CampaignRecord, wafers: Sequence[WaferSummary]
) -> list[Finding]:
    """One finding for the campaign: what was corrected with a calibration it does not hold."""
    counts = {one.wafer: one.standing_reasons.get(NOT_HELD, 0) for one in wafers}
    values, concerned = sum(counts.values()), [name for name, n in counts.items() if n]
    if not values:
        return []
    return [
        Finding(
            NOT_HELD,
            f"campaign {campaign.campaign.id}",
            f"{count(values, 'value')} on {count(len(concerned), 'wafer')}"
            f" {_verb(values, 'has', 'have')} no standing: {_verb(values, 'its', 'their')} sweeps"
            " were corrected before they came into the record, with a calibration that the record"
            " does not hold.",
            "decision",
            addresses.HOME,
        )
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
        if reason != NOT_HELD
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
    changed, below = one.touchdown_changes, one.values_below_floor
    told: list[tuple[int, str, str, Weight]] = [
        *_dies_told(one, where),
        (
            changed,
            "touchdown changes a verdict",
            f"On wafer {one.wafer} the choice between touchdowns decides the outcome of"
            f" {count(changed, 'value')}: {_first(one.touchdowns_that_matter)}.",
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
    missing = one.missing_dies
    values = sum(len(dies) for dies in missing.values())
    told.append(
        (
            values,
            "values missing",
            f"{count(values, 'planned value')} {where} {_verb(values, 'is', 'are')} missing on dies"
            f" that were measured: {_listed(missing)}.",
            "attention",
        )
    )
    return told


def _dies_told(one: WaferSummary, where: str) -> list[tuple[int, str, str, Weight]]:
    """What is to be said of dies outside, beyond a limit inside a guard band, not measured."""
    outside, unmeasured = one.outcomes["outside"], one.outcomes["not measured"]
    beyond = one.outcomes.get("not refuted", 0)
    return [
        (
            outside,
            "outside limits",
            f"{count(outside, 'die')} of {one.measured} measured {where}"
            f" {_verb(outside, 'lies', 'lie')} outside the limits:"
            f" {_listed(one.outside_dies)}.",
            "decision",
        ),
        (
            beyond,
            "not refuted",
            f"{count(beyond, 'die')} of {one.measured} measured {where}"
            f" {_verb(beyond, 'has', 'have')} a value beyond a limit by no more than its"
            " guard band.",
            "attention",
        ),
        (
            unmeasured,
            "dies not measured",
            f"{count(unmeasured, 'planned die')} {where} {_verb(unmeasured, 'was', 'were')} not"
            f" measured{_named(one.unmeasured_dies)}.",
            "attention",
        ),
    ]


def _listed(dies: Mapping[str, Sequence[tuple[int, int]]]) -> str:
    """'RSH on 20 dies, VTH on die (1, 0)': the most frequent first, the dies named where few.

    dies: by parameter, the die of each value.
    """
    return _first([f"{name} on {_dies(sorted(set(each)))}" for name, each in dies.items()])


def _named(dies: Sequence[tuple[int, int]]) -> str:
    """': dies (1, 0) and (2, 0)'; empty where there are many, or none."""
    return f": {_dies(sorted(dies))}" if 0 < len(dies) <= MOST_NAMED else ""


def _dies(dies: Sequence[tuple[int, int]]) -> str:
    """'die (1, 0)', 'dies (1, 0) and (2, 0)', '20 dies'."""
    if len(dies) > MOST_NAMED:
        return count(len(dies), "die")
    names = [f"({x}, {y})" for x, y in dies]
    named = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return f"{'die' if len(names) == 1 else 'dies'} {named}"


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


def not_in_the_record(campaign: CampaignRecord, wafers: Sequence[str]) -> list[Finding]:
    """Wafers that are planned and not among these."""
    return [
        Finding(
            "wafer not measured",
            f"wafer {planned.id}",
            f"Wafer {planned.id} is planned and is not in the record.",
            "attention",
            addresses.HOME,
        )
        for planned in campaign.plan.wafers
        if planned.id not in wafers
    ]


def _uncertainty_findings(
    campaign: CampaignRecord, parameters: Sequence[ParameterResult]
) -> list[Finding]:
    stated = {one.parameter for one in parameters if one.summary.u is not None}
    bare = [one for one in campaign.parameters if not one.uncertainty and one.id not in stated]
    needs = {one.id: _uncertainty_needed_by(one, one.decision or campaign.decision) for one in bare}
    return [
        Finding(
            "no uncertainty stated",
            f"parameter {parameter.id}",
            f"No uncertainty is stated for {parameter.id}"
            + (f": {why} its values cannot be assessed." if (why := needs[parameter.id]) else "."),
            "decision" if needs[parameter.id] else "note",
            addresses.parameter(parameter.id),
        )
        for parameter in bare
    ]


def _uncertainty_needed_by(parameter: Parameter, decision: Decision) -> str:
    """What asks for the uncertainty of a parameter's values; empty where nothing does."""
    if parameter.lower is None and parameter.upper is None:
        return ""
    if decision.rule != "simple":
        return f"under the {RULE_TEXTS[decision.rule].name}"
    both = parameter.lower is not None and parameter.upper is not None
    bounded = both and decision.uncertainty_share_max is not None
    return "with a bound on its share of the tolerance" if bounded else ""
