"""What a calibration's verdict rests on, in the sentences that follow it."""

from collections.abc import Iterator, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import CalibrationResult, Comparison, VerificationResult
from sitegen.model.results import CalibrationUse
from sitegen.render import calibration_budget
from sitegen.render.frequencies import greatest, stretches
from sitegen.render.phrases import (
    capital,
    counted,
    every,
    figure_of,
    frequency,
    joined,
    link,
    percent,
)
from sitegen.render.sentences import Sentences, be

WORDS = {
    "passed": "passed",
    "failed": "failed",
    "not proven": "proved nothing",
    "not assessable": "could not be assessed",
}
"""Outcome of a verification -> the end of a sentence about it."""


def evidence(
    result: CalibrationResult,
    verifications: Sequence[VerificationResult],
    use: CalibrationUse,
    page: str,
) -> Sentences:
    """Where there is no solution, what it differs from, how sure it is, what verified it.

    verifications: those of this calibration; the one that `use` says has failed it is not told
    again.
    """
    if result.outcome == "not solved":
        return ()
    return (
        *_undetermined(result),
        *_compared(result, page),
        *_uncertainty(result),
        *_verified(verifications, use.failed_by, page),
    )


def _undetermined(result: CalibrationResult) -> Iterator[Markup]:
    if result.determined is None or result.determined.all():
        return
    missing = [not there for there in result.determined.tolist()]
    yield Markup('It is <a href="#determined">not determined</a> {}.').format(
        stretches(result.frequency_hz, missing)
    )


def _compared(result: CalibrationResult, page: str) -> Iterator[Markup]:
    for one in result.comparisons:
        worst = greatest(one.bound)
        if one.refused or worst is None:
            continue
        other = (
            link(one.other, addresses.relative(addresses.calibration(one.other), page))
            + Markup(", the calibration before it,")
            if one.other
            else Markup("the terms that the instrument reported")
        )
        allowed = "" if one.limit is None else f", where {figure_of(one.limit)} is allowed"
        yield Markup(
            "From {} it differs by no more than {} (at {}) for any passive device{}{}."
        ).format(
            other,
            units.number(worst[0], 3),
            frequency(float(result.frequency_hz[worst[1]])),
            allowed,
            _drift(one),
        )


def _drift(one: Comparison) -> str:
    """What of a difference two calibrations made back to back would not show."""
    drift = greatest(one.drift)
    if drift is None:
        return ""
    if drift[0] <= 0:
        return "; two made back to back would differ as much"
    return f"; up to {units.number(drift[0], 3)} of it remains as drift"


def _uncertainty(result: CalibrationResult) -> Iterator[Markup]:
    if not result.sources:
        yield Markup("The uncertainty of what it corrects is not stated.")
        return
    found = [
        each
        for each in (calibration_budget.worst(one, result.frequency_hz) for one in result.budgets)
        if each is not None and each.shares
    ]
    text = Markup('{} of <a href="#uncertainty">uncertainty</a> {} carried through it').format(
        capital(counted(len(result.sources), "source")), be(len(result.sources))
    )
    if not found:
        yield text + Markup(".")
        return
    most = max(found, key=lambda each: each.u)
    group, share = most.shares[0]
    yield text + Markup(
        "; in its budgets u is at most {}, of {} at {}; {} there is from {}."
    ).format(
        units.number(most.u, 2),
        most.name,
        frequency(most.frequency_hz),
        f"{percent(share)} of the variance",
        group,
    )


def _verified(
    verifications: Sequence[VerificationResult], told: str, page: str
) -> Iterator[Markup]:
    others = [each for each in verifications if each.record.id != told]
    noun = "other verification of it" if told else "verification of it"
    if not others:
        if not told:
            yield Markup("No verification has held it against structures that took no part in it.")
        return
    bad = [
        Markup("{} {}").format(
            link(each.record.id, addresses.relative(addresses.verification(each.record.id), page)),
            WORDS[each.outcome],
        )
        for each in others
        if each.outcome != "passed"
    ]
    good = len(others) - len(bad)
    if not bad:
        yield Markup("{} passed.").format(
            capital(every(good, noun, noun.replace("verification", "verifications")))
        )
    elif good:
        yield Markup("{} passed; {}.").format(
            capital(counted(good, noun, noun.replace("verification", "verifications"))), joined(bad)
        )
    else:
        yield Markup("{}.").format(joined(bad))
