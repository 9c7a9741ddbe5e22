"""The first sentences of a parameter's page: its value, how sure, how it varies, what it meets."""

import math
from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.campaign import Decision, Parameter
from sitegen.model.results import ParameterResult, Summary
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.render import summaries
from sitegen.render.parameter_uncertainty import PARTS, SHARED
from sitegen.render.phrases import (
    capital,
    counted,
    figure_of,
    joined,
    number_of,
    spelled,
    with_unit,
)
from sitegen.render.pieces import Text
from sitegen.render.sentences import Sentences, be, judged_share

VALUES = ("value that could be judged", "values that could be judged")
LIE = ("is within its limits", "are within their limits", "is not within its limits")
BESIDE = {
    "not measured": ("was not measured", "were not measured"),
    "not assessable": ("could not be assessed", "could not be assessed"),
    "not determined": ("could not be determined", "could not be determined"),
    "without standing": ("is without standing", "are without standing"),
}
"""Values that are in no figure: word for their count, and how one or several are told."""
MOST_CONDITIONS = 3
"""How many conditions are told in sentences; the tables have all of them."""


def values(parameter: Parameter, found: Sequence[ParameterResult], decision: Decision) -> Sentences:
    """'Median −2.605 V over 263 values with standing, from ...': a sentence for each condition.

    found: over the campaign, one for each condition. Empty where no value has standing.
    """
    if not any(result.summary.n for result in found):
        return ()
    said = []
    for result in found[:MOST_CONDITIONS]:
        told = _value(parameter, result.summary, decision)
        said.append(
            Markup("At {}: {}.").format(result.condition, told)
            if len(found) > 1
            else Markup("{}.").format(capital(told))
        )
    more = len(found) - MOST_CONDITIONS
    if more > 0:
        said.append(
            Markup("{} follow{} below.").format(
                capital(counted(more, "more condition")), "s" if more == 1 else ""
            )
        )
    return tuple(said)


def _value(parameter: Parameter, summary: Summary, decision: Decision) -> str:
    """One condition: the middle of its values, their spread and how sure the middle is."""
    if summary.n == 0:
        return "no value has standing" if summary.without_standing else "no value was measured"
    factor, unit = summaries.scale(parameter, [summary])

    def shown(name: str) -> str:
        figure: float | None = getattr(summary, name)
        if figure is not None:
            return with_unit(units.number(figure * factor, 4), unit)
        reached = summary.least_reached
        if name in summary.beyond and reached is not None:
            sign = "<" if reached < 0 else ">"
            return f"not reached ({sign} {with_unit(units.number(reached * factor, 3), unit)})"
        floor = summary.highest_floor
        if name not in summary.below or floor is None:
            return "not stated"
        scale, symbol = units.shown_unit([floor], parameter.unit)
        return f"below the floor (< {with_unit(units.number(floor * scale, 3), symbol)})"

    if summary.n == 1:
        told = f"one value with standing, {shown('median')}"
    else:
        below = (
            f" {number_of(summary.below_floor)} of them below the floor,"
            if summary.below_floor
            else ""
        )
        beyond = (
            f" {number_of(summary.not_reached)} of them not reached," if summary.not_reached else ""
        )
        told = (
            f"median {shown('median')} over {number_of(summary.n)} values with standing,"
            f"{below}{beyond} from {shown('q05')} to {shown('q95')}"
            f" (5{units.THIN}% to 95{units.THIN}%)"
        )
    return told + _sure(parameter, summary, decision)


def _sure(parameter: Parameter, summary: Summary, decision: Decision) -> str:
    """How sure the median's value is; nothing where the median lies below the floor."""
    if summary.median is None:
        return ""
    computed = any(summary.budget.get(name) for name in PARTS) or summary.u_common is not None
    if computed and summary.u is not None:
        return _propagated(parameter, summary, decision.coverage_factor, summary.u)
    if not parameter.uncertainty:
        return "; no uncertainty is stated"
    expanded = decision.coverage_factor * float(standard_uncertainty(parameter, summary.median))
    factor, unit = summaries.scale_beside(expanded, parameter, [summary])
    whose = "expanded uncertainty" + ("" if summary.n == 1 else " of the median's value")
    return (
        f"; {whose} {with_unit(units.number(expanded * factor, 2), unit)}"
        f" (k = {figure_of(decision.coverage_factor)}), as declared"
    )


def _propagated(parameter: Parameter, summary: Summary, k: float, u: float) -> str:
    """A typical expanded uncertainty, and how much of it no number of dies would average out."""
    factor, unit = summaries.scale_beside(k * u, parameter, [summary])
    shared = math.hypot(*(summary.budget.get(name) or 0.0 for name in SHARED))
    common = units.number(k * min(shared or summary.u_common or 0.0, u) * factor, 2)
    whose = "expanded uncertainty" if summary.n == 1 else "median expanded uncertainty"
    return (
        f"; {whose} {with_unit(units.number(k * u * factor, 2), unit)} (k = {figure_of(k)}), of"
        f" which {with_unit(common, unit)} is shared by the values of a wafer"
    )


def outcomes(
    counts: Mapping[str, int], aside: Mapping[str, int], decided: Markup, limited: bool
) -> Sentences:
    """How a parameter came out over the campaign.

    counts: of each outcome among the values that count; aside: of values 'not measured', 'not
    determined', 'without standing' and 'not closed', the last of which are among the counted ones.
    """
    judged = sum(counts.get(word, 0) for word in ("within", "not proven", "outside"))
    unlimited = counts.get("no limits", 0)
    present = judged + unlimited + counts.get("not assessable", 0)
    if present == 0 and not aside.get("without standing", 0):
        return (Markup("No value was measured."),)
    if present == 0:
        lost = aside["without standing"]
        return (Markup("No value has standing; {} {} without.").format(spelled(lost), be(lost)),)
    if not limited:
        first = Markup("There are no specification limits; {} with standing {} summarised.").format(
            counted(unlimited, "value"), be(unlimited)
        )
    elif judged == 0:
        first = Markup("No value could be judged under {}.").format(decided)
    else:
        first = Markup("{} under {}{}.").format(
            capital(judged_share(counts.get("within", 0), judged, VALUES, LIE)),
            decided,
            _not_within(counts),
        )
    unjudged = counts.get("not assessable", 0) - aside.get("not determined", 0)
    return (first, *_aside({**aside, "not assessable": unjudged}, judged + unlimited > 0))


def _not_within(counts: Mapping[str, int]) -> Markup:
    """'; 1 is not proven and 1 is outside'; empty where all are within."""
    rest = [
        f"{number_of(counts[outcome])} {be(counts[outcome])} {outcome}"
        for outcome in ("not proven", "outside")
        if counts.get(outcome, 0)
    ]
    return Markup("; {}").format(joined(rest)) if rest else Markup("")


def _aside(aside: Mapping[str, int], besides: bool) -> Sentences:
    """What is in no figure or verdict; besides: other values have been told before."""
    told: list[Text] = [
        f"{number_of(count)} {verbs[count != 1]}"
        for word, verbs in BESIDE.items()
        if (count := aside.get(word, 0)) > 0
    ]
    lead = "Beside them" if besides else "Of its values"
    said = [Markup("{} {}.").format(lead, joined(told))] if told else []
    if unclosed := aside.get("not closed", 0):
        said.append(
            Markup("{} of the values with standing {} not closed.").format(
                capital(spelled(unclosed)), be(unclosed)
            )
        )
    return tuple(said)
