"""The first sentences of the calibrations' and verifications' pages, made from their results."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import CalibrationResult, Check, VerificationResult
from sitegen.model.results import CalibrationUse
from sitegen.render.die_lists import number_of_dies
from sitegen.render.phrases import (
    capital,
    counted,
    duration,
    every,
    figure_of,
    frequency,
    instant,
    joined,
    link,
    number_of,
    spelled,
)
from sitegen.render.sentences import Sentences, be


def calibration(
    result: CalibrationResult, station: Markup, use: CalibrationUse, page: str
) -> Sentences:
    """Whether a calibration is good, for how long, and what stands on it or was lost."""
    record = result.record
    made = Markup("{} calibration {} was made on {} on {} by {}.").format(
        capital(record.method), record.id, instant(result.made_at), station, record.by
    )
    if result.outcome == "not solved":
        own = Markup("could not be solved: {}").format(result.unsolved.rstrip("."))
    else:
        usable = "usable" if result.outcome == "usable" else "not usable"
        own = Markup("is {} by its own checks ({})").format(usable, checks(result.checks))
    verdict = Markup("It {}{}.").format(own, _failed(use, page))
    held = Markup("Its validity is {}, until {}.").format(
        duration(result.expires_at - result.made_at), instant(result.expires_at)
    )
    return (made, verdict, held, *_uses(use))


def _failed(use: CalibrationUse, page: str) -> Markup:
    """'; verification VER-5 failed, so values stand only until ...'; empty where none failed."""
    if not use.failed_by:
        return Markup("")
    target = addresses.relative(addresses.verification(use.failed_by), page)
    until = (
        "and none passed before it, so no value stands"
        if use.stands_until is None
        else f"so values stand only until {instant(use.stands_until)}"
    )
    return Markup("; verification {} failed{} {}").format(
        link(use.failed_by, target), "" if use.stands_until is None else ",", until
    )


def _uses(use: CalibrationUse) -> Sentences:
    """How many values stand on a calibration, and how many were lost and why."""
    if use.values_standing + use.values_lost == 0:
        return (Markup("No value refers to it."),)
    unclosed = (
        f", {number_of(use.values_not_closed)} of them not closed" if use.values_not_closed else ""
    )
    said = [
        Markup("{} on {} {} on it{}.").format(
            capital(counted(use.values_standing, "value")),
            counted(number_of_dies(use.dies_standing), "die"),
            "stands" if use.values_standing == 1 else "stand",
            unclosed,
        )
        if use.values_standing
        else Markup("No value stands on it.")
    ]
    if use.values_lost:
        reasons = ", ".join(f"{reason} {number_of(count)}" for reason, count in by_count(use))
        said.append(
            Markup("{} on {} {} to it without standing{}.").format(
                capital(counted(use.values_lost, "value")),
                counted(number_of_dies(use.dies_lost), "die"),
                "refers" if use.values_lost == 1 else "refer",
                f" ({reasons})" if reasons else "",
            )
        )
    return tuple(said)


def by_count(use: CalibrationUse) -> list[tuple[str, int]]:
    """The reasons that took standing from values, the most frequent first."""
    return sorted(use.lost_reasons.items(), key=lambda each: (-each[1], each[0]))


def checks(found: Sequence[Check]) -> str:
    """'all 5 judged checks are met, 2 more are shown without a bound'."""
    judged = [check for check in found if check.passed is not None]
    missed = [check.name for check in judged if not check.passed]
    shown = len(found) - len(judged)
    if not judged:
        text = "its record gives no check a bound"
    elif not missed:
        text = (
            "its one judged check is met"
            if len(judged) == 1
            else f"{every(len(judged), 'judged check')} are met"
        )
    else:
        text = (
            f"{len(missed)} of {counted(len(judged), 'judged check')}"
            f" {be(len(missed))} missed ({joined(missed)})"
        )
    if shown and judged:
        text += f", {counted(shown, 'more', 'more')} {be(shown)} shown without a bound"
    return text


def verification(
    result: VerificationResult,
    calibration_link: Markup,
    station: Markup,
    use: CalibrationUse | None,
) -> Sentences:
    """The verdict of a verification, its worst margin and where, and its consequence.

    use: of the verified calibration; None where that is not in the record.
    """
    record = result.record
    made = Markup("Verification {} of calibration {} was made on {} on {} by {}.").format(
        record.id, calibration_link, instant(result.made_at), station, record.by
    )
    total = len(result.structures)
    failed = [s.structure.id for s in result.structures if s.outcome == "failed"]
    if result.outcome == "passed":
        verdict = Markup("It passed: {} within every mask.").format(
            "its one structure lies" if total == 1 else f"all {counted(total, 'structure')} lie"
        )
    elif result.outcome == "failed":
        verdict = Markup("It failed: {} outside a mask ({}).").format(
            _share_that_lies(len(failed), total), joined(failed)
        )
    else:
        verdict = Markup("It cannot be assessed: {}.").format(
            (result.reason or "no structure could be judged").rstrip(".")
        )
    after = () if use is None else _consequence(result, calibration_link, use)
    return (made, verdict, *worst_margin(result), *after)


def _consequence(
    result: VerificationResult, calibration_link: Markup, use: CalibrationUse
) -> Sentences:
    """What a failed verification took from the values of its calibration."""
    if result.outcome != "failed" or not use.failed_by:
        return ()
    if use.failed_by != result.record.id:
        return (
            Markup("Verification {} of the same calibration had failed before.").format(
                use.failed_by
            ),
        )
    since = (
        "no verification had passed before it"
        if use.stands_until is None
        else f"those taken after {instant(use.stands_until)}, when the last one had passed"
    )
    if use.lost_to_it == 0:
        return (Markup("No value lost its standing to it."),)
    return (
        Markup("{} of calibration {} lost {} standing to it: {}.").format(
            capital(counted(use.lost_to_it, "value")),
            calibration_link,
            "its" if use.lost_to_it == 1 else "their",
            since,
        ),
    )


def _share_that_lies(part: int, whole: int) -> str:
    """'its one structure lies', 'all three structures lie', 'one of three structures lies'."""
    if whole == 1:
        return "its one structure lies"
    if part == whole:
        return f"{every(whole, 'structure')} lie"
    verb = "lies" if part == 1 else "lie"
    return f"{spelled(part)} of {counted(whole, 'structure')} {verb}"


@dataclass(frozen=True, slots=True)
class WorstPoint:
    """Where a verification came nearest to a mask, or went farthest beyond one."""

    ratio: float
    """Deviation divided by the mask."""
    frequency_hz: float
    parameter: str
    """'S22'."""
    structure: str


def worst_point(result: VerificationResult) -> WorstPoint | None:
    """The worst point over all structures and masks; None where nothing was judged."""
    judged = [
        WorstPoint(
            mask.worst_ratio,
            mask.worst_frequency_hz,
            mask.mask.parameter.upper(),
            structure.structure.id,
        )
        for structure in result.structures
        for mask in structure.masks
        if mask.worst_ratio is not None and mask.worst_frequency_hz is not None
    ]
    return max(judged, key=lambda point: point.ratio, default=None)


def worst_margin(result: VerificationResult) -> Sentences:
    """'Its worst point is S21 of THRU at 92 GHz: 118 % of what its mask allows.'"""
    worst = worst_point(result)
    if worst is None:
        return ()
    return (
        Markup("Its worst point is {} of {} at {}: {} of what its mask allows.").format(
            worst.parameter,
            worst.structure,
            frequency(worst.frequency_hz),
            ratio_text(worst.ratio),
        ),
    )


def ratio_text(ratio: float) -> str:
    """'63 %'."""
    return f"{figure_of(ratio * 100, 3)}{units.THIN}%"
