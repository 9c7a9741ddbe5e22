"""Whether a wafer and the campaign conform, by the declared logic."""

from collections.abc import Sequence

from sitegen.compute.stats.intervals import wilson
from sitegen.model.decision import Verdict
from sitegen.model.yield_results import VerdictWord
from sitegen.units import THIN


def wafer_verdict(conforming: int, judged: int, verdict: Verdict) -> tuple[VerdictWord, str]:
    """The word for a wafer of which so many of the judged dies conform, and what decided it.

    The share of these dies is held against the least one, or the lower end of its interval where
    that is declared: a share that reaches it while the lower end does not is 'not proven'.
    """
    least = verdict.wafer_least_share
    if least is None:
        return "no limits", "no least share of conforming dies is declared"
    interval = wilson(conforming, judged)
    if interval is None:
        return "not assessable", "no die is judged in full"
    asked = needed(least, judged)
    if interval.share < least:
        return "outside", f"{conforming} of {judged} judged dies conform, {asked} would have to"
    if verdict.wafer_by == "lower end" and interval.lower < least:
        return (
            "not proven",
            f"the lower end of the yield's interval, {_below(interval.lower, least)}, lies below"
            f" {_percent(least, 12)}",
        )
    return "within", ""


def campaign_verdict(
    words: Sequence[VerdictWord], unmeasured: int, verdict: Verdict
) -> tuple[VerdictWord, str]:
    """The word for the campaign whose wafers have these, and what decided it.

    unmeasured: planned wafers without a measured value; like wafers that cannot be assessed they
    never make a campaign conform. What is undecided decides only where the campaign could still
    conform, or fail, by it.
    """
    if verdict.wafer_least_share is None:
        return "no limits", "no least share of conforming dies is declared"
    of = len(words) + unmeasured
    if of == 0:
        return "not assessable", "no wafer is planned or measured"
    asked = needed(verdict.campaign_least_share, of)
    within = words.count("within")
    unproven = words.count("not proven")
    unjudged = words.count("not assessable") + unmeasured
    told = f"{within} of {of} wafers conform, {asked} would have to"
    if within >= asked:
        return "within", ""
    if within + unproven + unjudged < asked:
        return "outside", told
    more = [
        f"{count} {one if count == 1 else many} {word}"
        for count, one, many, word in (
            (unproven, "is", "are", "not proven"),
            (words.count("not assessable"), "is", "are", "not assessable"),
            (unmeasured, "was", "were", "not measured"),
        )
        if count
    ]
    word: VerdictWord = "not proven" if within + unproven >= asked else "not assessable"
    return word, "; ".join((told, *more))


def needed(least_share: float, of: int) -> int:
    """The fewest that make up a share of a whole; shares of whole numbers are exact at the end."""
    return next(count for count in range(of + 1) if count == of or count / of >= least_share)


def _below(share: float, bound: float) -> str:
    """A share that is less than a bound, in at least three digits and so many that this shows."""
    digits = next((n for n in range(3, 17) if float(f"{share:.{n}g}") < bound), 17)
    return _percent(share, digits)


def _percent(share: float, digits: int) -> str:
    return f"{100 * share:.{digits}g}{THIN}%"
