"""The first sentences of a calibration's page, made from its results."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.event_results import CalibrationResult, Check, VerificationResult
from sitegen.model.results import CalibrationUse
from sitegen.render.die_lists import number_of_dies
from sitegen.render.phrases import (
    capital,
    counted,
    duration,
    every,
    instant,
    joined,
    link,
    number_of,
    unbroken,
)
from sitegen.render.sentences import Sentences, be


def calibration(
    result: CalibrationResult,
    station: Markup,
    use: CalibrationUse,
    page: str,
    verified: Sequence[VerificationResult] = (),
) -> Sentences:
    """Whether a calibration is good, for how long, and what stands on it or was lost.

    verified: its verifications.
    """
    record = result.record
    made = Markup("{} calibration {} was made on {} on {} by {}.").format(
        capital(record.method), record.id, instant(result.made_at), station, record.by
    )
    if result.outcome == "not solved":
        own = Markup("could not be solved: {}").format(result.unsolved.rstrip("."))
    else:
        usable = "usable" if result.outcome == "usable" else "not usable"
        own = Markup("is {} by its own checks ({})").format(usable, checks(result.checks))
    verdict = Markup("It {}{}.").format(own, _failed(use, page, verified))
    held = Markup("Its validity is {}, until {}.").format(
        duration(result.expires_at - result.made_at), instant(result.expires_at)
    )
    return (made, verdict, held, *_substrate(record), *_uses(use))


def _substrate(record: CalibrationRecord) -> Sentences:
    """That the contact substrate's temperature bounds nothing, or cannot; empty where it does."""
    if record.validity.substrate_change_c is None:
        return (
            Markup(
                "Its record does not bound the change of the contact substrate's temperature, and"
                " no value expires by it."
            ),
        )
    if record.substrate_c is None:
        return (
            Markup(
                "The contact substrate's temperature at the calibration is not stated, so its"
                " change is not checked."
            ),
        )
    return ()


def _failed(use: CalibrationUse, page: str, verified: Sequence[VerificationResult]) -> Markup:
    """'; verification VER-5 failed, so values stand only until ...'; empty where none failed."""
    if not use.failed_by:
        return Markup("")
    target = addresses.relative(addresses.verification(use.failed_by), page)
    until = (
        "and none passed before it, so no value stands"
        if use.stands_until is None
        else f"so values stand only until {instant(use.stands_until)}"
    )
    outside = next((one.outside for one in verified if one.record.id == use.failed_by), "")
    made = f" (made {unbroken(outside)})" if outside else ""
    return Markup("; verification {} failed{}{} {}").format(
        link(use.failed_by, target), made, "" if use.stands_until is None else ",", until
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
    """'all 5 judged checks are met, 2 more are shown without a bound, one more has no figure'."""
    judged = [check for check in found if check.passed is not None]
    missed = [check.name for check in judged if not check.passed]
    bounded = [check for check in found if check.lower is not None or check.upper is not None]
    lacking = len([check for check in bounded if check.passed is None])
    shown = len(found) - len(judged) - lacking
    if not judged:
        text = (
            "no check that its record bounds could be judged"
            if lacking
            else "its record gives no check a bound"
        )
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
    if lacking and judged:
        verb = "has" if lacking == 1 else "have"
        text += f", {counted(lacking, 'more', 'more')} {verb} a bound and no figure"
    return text
