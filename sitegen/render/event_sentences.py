"""The first sentences of the calibrations' and verifications' pages, made from their results."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import units
from sitegen.model.results import CalibrationResult, Check, VerificationResult
from sitegen.render.phrases import (
    capital,
    counted,
    duration,
    every,
    figure_of,
    frequency,
    instant,
    joined,
    number_of,
    spelled,
)
from sitegen.render.sentences import Sentences, be


def calibration(result: CalibrationResult, station: Markup, values: Mapping[str, int]) -> Sentences:
    """Whether a calibration is good, and what stands on it (values by wafer)."""
    record = result.record
    made = Markup("{} calibration {} was made on {} on {} by {}.").format(
        capital(record.method), record.id, instant(result.made_at), station, record.by
    )
    if result.outcome == "not solved":
        verdict = Markup("It could not be solved: {}.").format(result.unsolved.rstrip("."))
    else:
        verdict = Markup("It is {}: {}.").format(
            "usable" if result.outcome == "usable" else "not usable", checks(result.checks)
        )
    held = Markup("It holds for {}, until {}.").format(
        duration(result.expires_at - result.made_at), instant(result.expires_at)
    )
    total = sum(values.values())
    if total == 0:
        stands = Markup("No value refers to it.")
    else:
        concerned = sorted((name, n) for name, n in values.items() if n)
        verb = "refers" if total == 1 else "refer"
        on = joined([f"{number_of(n)} on {name}" for name, n in concerned])
        stands = Markup("{} {} to it: {}.").format(capital(counted(total, "value")), verb, on)
        if len(concerned) == 1:
            stands = Markup("{} on {} {} to it.").format(
                capital(counted(total, "value")), concerned[0][0], verb
            )
    return (made, verdict, held, stands)


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
    result: VerificationResult, calibration_link: Markup, station: Markup
) -> Sentences:
    """The verdict of a verification, its worst margin and where."""
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
    return (made, verdict, *worst_margin(result))


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
