"""Where does the spread come from: components, patterns on the wafer, trends."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.relation_results import Trend
from sitegen.model.space_results import Patterns, PatternTest
from sitegen.model.variation_results import Component
from sitegen.render.parameter_case import Case
from sitegen.render.parameter_sentences import nothing
from sitegen.render.phrases import (
    capital,
    counted,
    every,
    joined,
    link,
    number_of,
    percent,
    spelled,
    unbroken,
    with_unit,
)
from sitegen.render.pieces import Text
from sitegen.render.statistics_answers import NOT_COMPUTED, NOT_STATED, Answer, answer
from sitegen.render.statistics_text import (
    SIGNIFICANT,
    because,
    between,
    numbers,
    sentences_of,
    told_p,
)

LEVELS = {
    "wafer": ("between wafers", "wafers"),
    "die": ("between the dies of a wafer", "dies"),
    "site": ("between the sites of a die", "sites"),
    "touchdown": ("between the touchdowns of a die", "touchdowns"),
}
"""Level of a component -> where it lies, and in short what differs."""
TESTED = ("wafer that could be tested", "wafers that could be tested")
"""One or several of the wafers, where others could not be tested for patterns."""
MOST_TRENDS = 2
"""Trends told in the first screen; the table has all."""


def lies(level: str) -> str:
    """'between the dies of a wafer'."""
    return LEVELS[level][0] if level in LEVELS else level


def differing(level: str) -> str:
    """'dies'."""
    return LEVELS[level][1] if level in LEVELS else level


def spread(case: Case, drawing: Markup | None) -> Answer:
    """The largest component with its share, then the others, patterns and trends."""
    none = _nothing_to_part(case)
    if none is not None:
        return answer("spread", *none, drawing)
    number, first = _components(case)
    return answer("spread", number, sentences_of([first, _patterns(case), _trends(case)]), drawing)


def shares(case: Case) -> tuple[Component, ...]:
    """Components that have a share, the largest first."""
    if case.statistics is None:
        return ()
    known = [one for one in case.statistics.variation.components if one.share is not None]
    return tuple(sorted(known, key=lambda one: -(one.share or 0.0)))


def _components(case: Case) -> tuple[str, Text]:
    """'72.0 %', 'of the variance lies between the dies of a wafer (36 mV); ...'."""
    found = shares(case)
    if not found:
        return _undivided(case)
    first, *rest = found
    if not rest:
        return _one_level(case, first)
    told = f"of the variance lies {lies(first.level)} ({_size(case, first)})"
    others = [f"{percent(one.share)} {lies(one.level)} ({_size(case, one)})" for one in rest]
    parts = joined([told, *others])
    return percent(first.share), Markup("{}.{}").format(parts, _unstated(case))


def _one_level(case: Case, one: Component) -> tuple[str, str]:
    """'3.4 nA', 'is the standard deviation between the dies of a wafer (2.2 nA to 6.2 nA). ...'"""
    found = one.standard_deviation
    scale, unit = case.scale_of([found.value, found.upper])
    value, lower, upper = numbers(found, scale, 2)
    interval = between(lower, upper, unit)
    told = f" ({interval})" if interval else ""
    where = lies(one.level)
    first = f"is the standard deviation {where}{told}."
    return with_unit(value, unit) or NOT_STATED, f"{first}{_unstated(case)}"


def _nothing_to_part(case: Case) -> tuple[str, Markup] | None:
    """What is said of no value, of one, of values that do not differ; None: there is a spread."""
    summary = case.summary
    if summary is None or summary.n == 0:
        return "No value", Markup("{}.").format(nothing(case))
    if summary.n == 1:
        return "One value", Markup("has no spread.")
    if summary.below_floor + summary.not_reached == summary.n:
        return NOT_STATED, Markup("is any spread: no value is a number of its own.")
    if summary.standard_deviation == 0:
        told = Markup("of the values differs: all {} are equal.")
        return "None", told.format(number_of(summary.n))
    return None


def _undivided(case: Case) -> tuple[str, str]:
    """The spread as a whole where it is not parted."""
    s = None if case.summary is None else case.summary.standard_deviation
    variation = None if case.statistics is None else case.statistics.variation
    why = because([NOT_COMPUTED if variation is None else variation.reason])
    if s is None:
        return NOT_STATED, f"is where the spread comes from{why}."
    return (
        case.size(s),
        f"is the standard deviation of all values with standing; its sources are not stated{why}.",
    )


def _size(case: Case, one: Component) -> str:
    """'36 mV; 27 mV to 45 mV', '19 mV; interval: needs 5 wafers, there are 3'."""
    found = one.standard_deviation
    scale, unit = case.scale_of([found.value, found.upper])
    value, lower, upper = numbers(found, scale, 2)
    interval = between(lower, upper, unit)
    if not interval and found.reason:
        interval = f"interval: {found.reason}"
    told = with_unit(value, unit) if found.value else ""
    return "; ".join(part for part in (told, interval) if part) or "nothing"


def _unstated(case: Case) -> str:
    """' The spread between wafers is not stated: needs 2 wafers, there is 1.'"""
    if case.statistics is None:
        return ""
    told = [
        f" The spread {lies(one.level)} is not stated: {one.standard_deviation.reason}."
        for one in case.statistics.variation.components
        if one.share is None and one.standard_deviation.reason
    ]
    return "".join(told)


def significant(found: Patterns) -> tuple[PatternTest, ...]:
    """Patterns with an adjusted p below 0.05; the largest share first, neighbours last."""
    claimed = [
        one for one in found.tests if one.adjusted_p is not None and one.adjusted_p < SIGNIFICANT
    ]
    return tuple(sorted(claimed, key=_weight))


def _weight(one: PatternTest) -> tuple[bool, float]:
    """Moran's I is no share, so it stands behind those that describe a shape."""
    return (one.kind == "neighbours", -(one.share or 0.0))


def _patterns(case: Case) -> Markup:
    """'Two of the three wafers show a pattern, most clearly LK7-1: rises to the right by ...'"""
    if case.statistics is None or case.n < 2:
        return Markup("")
    tested = [
        one
        for one in case.statistics.patterns
        if any(test.p_value is not None for test in one.tests)
    ]
    if not tested:
        return _not_tested(case, case.statistics.patterns)
    claimed = [(one, tests) for one in tested if (tests := significant(one))]
    every_one = len(tested) == max(len(case.by_wafer), len(case.statistics.patterns))
    if not claimed:
        return _none_shown(len(tested), every_one)
    clearest, tests = min(claimed, key=lambda each: _weight(each[1][0]))
    wafer = link(clearest.wafer, case.to(addresses.wafer(clearest.wafer)))
    told = _looks(tests[0])
    if len(tested) == 1:
        only = "" if every_one else ", the one wafer that could be tested,"
        return Markup("{}{} shows a pattern: {}.").format(wafer, only, told)
    who = capital(some(len(claimed), len(tested), *(() if every_one else TESTED)))
    most = "" if len(claimed) == 1 else ", most clearly"
    return Markup("{} a pattern{} {}: {}.").format(who, most or ",", wafer, told)


def _none_shown(tested: int, every_one: bool) -> Markup:
    """'No pattern over any of the five wafers that could be tested is shown.'"""
    if tested == 1:
        which = "the wafer" if every_one else f"the one {TESTED[0]}"
    else:
        which = f"any of the {spelled(tested)} {'wafers' if every_one else TESTED[1]}"
    return Markup("No pattern over {} is shown.").format(which)


def _not_tested(case: Case, found: Sequence[Patterns]) -> Markup:
    """Why no pattern was looked for, on the wafer with most dies.

    Values there below a floor or not reached are the reason for both, so that it is told once.
    """
    most = max(found, key=lambda one: one.n, default=None)
    reasons = [] if most is None else [test.reason for test in most.tests if test.reason]
    if not reasons:
        return Markup("")
    summaries = (one.summary for one in case.by_wafer if most and one.wafer == most.wafer)
    if any(one.below_floor or one.not_reached for one in summaries):
        return Markup("Nor was a pattern over a wafer looked for.")
    return Markup("No pattern over a wafer was looked for: {}.").format(reasons[0])


def _looks(test: PatternTest) -> str:
    """'rises to the right by 62 mV (adjusted p < 0.001)'; where p has a caveat it is left out."""
    told = unbroken(test.text.removesuffix(test.caveat) or test.kind)
    if test.caveat:
        return told
    return f"{told} (adjusted {told_p(test.adjusted_p)})"


def some(part: int, whole: int, noun: str = "wafer", plural: str | None = None) -> str:
    """'one of the two wafers shows', 'both wafers show', 'two of the three wafers show'."""
    verb = "shows" if part == 1 else "show"
    if part == whole:
        return f"{every(whole, noun, plural)} {verb}"
    return f"{spelled(part)} of the {counted(whole, noun, plural)} {verb}"


def drifting(found: Sequence[Trend]) -> tuple[Trend, ...]:
    """Trends that are claimed: adjusted p below 0.05."""
    return tuple(
        one for one in found if one.adjusted_p is not None and one.adjusted_p < SIGNIFICANT
    )


def _trends(case: Case) -> Markup:
    """'On LK7-2 they move by 1.2 mV an hour since calibration (adjusted p 0.003).'"""
    if case.statistics is None or case.n < 2:
        return Markup("")
    found = drifting(case.statistics.trends)
    if not found:
        return Markup("")
    told = [
        Markup("on {} by {} {} (adjusted {})").format(
            link(one.wafer, case.to(addresses.wafer(one.wafer))),
            slope(case, one),
            PER[one.against][1],
            told_p(one.adjusted_p),
        )
        for one in found[:MOST_TRENDS]
    ]
    more = len(found) - MOST_TRENDS
    return Markup("During the measurement values move {}{}.").format(
        joined(told), f", and {counted(more, 'more trend')}" if more > 0 else ""
    )


PER = {
    "touchdown number": ("touchdown", "from touchdown to touchdown"),
    "time since calibration": ("hour", "an hour since calibration"),
}
"""Regressor of a trend -> what its slope is taken over, and how a sentence says it."""


def slope(case: Case, one: Trend) -> str:
    """A slope as a number of the parameter's unit, its prefix of its own."""
    value = one.slope.value
    if value is None:
        return units.MISSING
    scale, unit = units.shown_unit([value], case.parameter.unit)
    behind = f"{units.THIN}{unit}" if unit else ""
    return f"{units.number(value * scale, 2)}{behind}"
