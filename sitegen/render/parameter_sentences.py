"""First sentences of a parameter's page: its value, how it came out, how sure it is."""

import math
from collections.abc import Mapping

from markupsafe import Markup

from sitegen import units
from sitegen.model.results import Summary
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.render.parameter_case import Case
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
from sitegen.render.sentences import be

BESIDE = {
    "not measured": ("was not measured", "were not measured"),
    "not assessable": ("could not be assessed", "could not be assessed"),
    "not determined": ("could not be determined", "could not be determined"),
    "no number": ("has no number", "have no number"),
    "without standing": ("is without standing", "are without standing"),
}
"""Values that are in no figure: word for their count, and how one or several are told."""
MOST_REASONS = 3
"""How many reasons against standing are named in a sentence."""


def value(case: Case) -> Text:
    """'Median −2.605 V over 263 values with standing, from ... to ... (5 % to 95 %).'"""
    summary = case.summary
    if summary is None or summary.n == 0:
        return f"No value {nothing(case)}."
    if summary.n == 1:
        return f"One value with standing, {_figure(case, summary, 'median')}."
    hidden = _all_hidden(case, summary)
    if hidden:
        return hidden
    below = (
        f" {number_of(summary.below_floor)} of them below the floor," if summary.below_floor else ""
    )
    beyond = (
        f" {number_of(summary.not_reached)} of them not reached," if summary.not_reached else ""
    )
    return (
        f"Median {_figure(case, summary, 'median')} over {number_of(summary.n)} values with"
        f" standing,{below}{beyond} from {_figure(case, summary, 'q05')} to"
        f" {_figure(case, summary, 'q95')} (5{units.THIN}% to 95{units.THIN}%)."
    )


def nothing(case: Case) -> str:
    """Why there is no value: 'has standing', 'could be determined' or 'was measured'."""
    if case.summary is not None and case.summary.without_standing:
        return "has standing"
    counts = {} if case.concerned is None else case.concerned.counts
    if counts.get("not determined") or case.outcome("not assessable"):
        return "could be determined"
    return "was measured"


def _all_hidden(case: Case, summary: Summary) -> str:
    """'All 91 values with standing lie below the floor (< 6.00 mV).'; empty where some do not."""
    if summary.below_floor == summary.n and summary.highest_floor is not None:
        scale, unit = units.shown_unit([summary.highest_floor], case.parameter.unit)
        floor = with_unit(units.number(summary.highest_floor * scale, 3), unit)
        return f"All {number_of(summary.n)} values with standing lie below the floor (< {floor})."
    if summary.not_reached == summary.n:
        return f"None of the {number_of(summary.n)} values with standing was reached."
    return ""


def brief(case: Case) -> str:
    """'−2.605 V (−2.670 V to −2.540 V)': the median with 5 % and 95 % for a table."""
    summary = case.summary
    if summary is None or summary.n == 0:
        return units.MISSING
    middle = _figure(case, summary, "median")
    if summary.n == 1:
        return middle
    return f"{middle} ({_figure(case, summary, 'q05')} to {_figure(case, summary, 'q95')})"


def _figure(case: Case, summary: Summary, name: str) -> str:
    """A figure of the summary, or what it lies below or beyond."""
    figure: float | None = getattr(summary, name)
    if figure is not None:
        return with_unit(units.number(figure * case.factor, 4), case.unit)
    reached = summary.least_reached
    if name in summary.beyond and reached is not None:
        sign = "<" if reached < 0 else ">"
        return (
            f"not reached ({sign} {with_unit(units.number(reached * case.factor, 3), case.unit)})"
        )
    floor = summary.highest_floor
    if name not in summary.below or floor is None:
        return "not stated"
    scale, symbol = units.shown_unit([floor], case.parameter.unit)
    return f"below the floor (< {with_unit(units.number(floor * scale, 3), symbol)})"


def outcome(case: Case) -> tuple[str, Markup]:
    """'6 of 8', 'values that could be judged are within their limits under ...; 2 are outside.'"""
    judged, within = case.judged, case.outcome("within")
    if case.n == 0:
        lost = 0 if case.summary is None else case.summary.without_standing
        told = Markup("; {} {} without").format(spelled(lost), be(lost)) if lost else Markup("")
        return "No value", Markup("{}{}.").format(nothing(case), told)
    if not case.limited:
        return "No limits", Markup(
            "are specified, so nothing is judged; {} with standing {} summarised."
        ).format(counted(case.n, "value"), be(case.n))
    if judged == 0:
        return "No value", Markup("could be judged under {}.").format(case.decided)
    if judged == 1:
        lies = "is within its limits" if within else "is not within its limits"
        return "The one", Markup("value that could be judged {} under {}{}.").format(
            lies, case.decided, _not_within(case)
        )
    number = (
        f"None of {number_of(judged)}"
        if within == 0
        else f"All {number_of(judged)}"
        if within == judged
        else f"{number_of(within)} of {number_of(judged)}"
    )
    lie = "is within its limits" if within <= 1 else "are within their limits"
    return number, Markup("values that could be judged {} under {}{}.").format(
        lie, case.decided, _not_within(case)
    )


def _not_within(case: Case) -> Markup:
    """'; 1 is not proven and 1 is outside'; empty where all are within."""
    rest = [
        f"{number_of(count)} {be(count)} {word}"
        for word in ("not proven", "not refuted", "outside")
        if (count := case.outcome(word))
    ]
    return Markup("; {}").format(joined(rest)) if rest else Markup("")


def sure(case: Case) -> tuple[str, str, str]:
    """'4.2 mV', 'is the median expanded uncertainty U (k = 2)', '2.4 mV of it is shared by ...'."""
    summary = case.summary
    if summary is None or summary.n == 0:
        return "No value", nothing(case), ""
    computed = any(summary.budget.get(name) for name in PARTS) or summary.u_common is not None
    k = case.decision.coverage_factor
    if computed and summary.u is not None:
        return _propagated(case, summary, k, summary.u)
    if not case.parameter.uncertainty:
        return "No U", "is stated: neither propagated from the measurement nor declared", ""
    if summary.median is None:
        return "No U", "is stated of a median that is not a number", ""
    expanded = k * float(standard_uncertainty(case.parameter, summary.median))
    whose = "" if summary.n == 1 else " of the median's value"
    return (
        case.size(expanded),
        f"is the expanded uncertainty U{whose} (k = {figure_of(k)}), as declared",
        "",
    )


def _propagated(case: Case, summary: Summary, k: float, u: float) -> tuple[str, str, str]:
    """A typical expanded uncertainty, and how much of it no number of dies would average out."""
    common = k * (shared_u(case) or 0.0)
    whole, part = case.sizes([k * u, common])
    whose = "expanded uncertainty U" if summary.n == 1 else "median expanded uncertainty U"
    told = f"is the {whose} (k = {figure_of(k)})"
    if not common:
        return whole, told, "nothing of it is shared by the values of a wafer"
    if summary.n == 1:
        return whole, told, f"{part} of it would be shared with other values of the wafer"
    return (
        whole,
        told,
        f"{part} of it is shared by the values of a wafer and does not average out over its dies",
    )


def shared_u(case: Case) -> float | None:
    """Standard uncertainty that the values of a wafer share; None: nothing is stated."""
    summary = case.summary
    if summary is None or summary.u is None:
        return None
    parts = [summary.budget.get(name) or 0.0 for name in SHARED]
    parts.append(_declared_shared(case, summary))
    found = math.hypot(*parts) or summary.u_common
    return None if found is None else min(found, summary.u)


def _declared_shared(case: Case, summary: Summary) -> float:
    """What the laboratory declares as shared by a wafer's values, at the median."""
    common = tuple(source for source in case.parameter.uncertainty if source.common)
    if not common or summary.median is None:
        return 0.0
    part = case.parameter.model_copy(update={"uncertainty": common})
    return float(standard_uncertainty(part, summary.median))


def left_out(case: Case) -> Markup:
    """What is in no figure or verdict: not measured, not assessed, without standing."""
    if case.n == 0 and nothing(case) != "could be determined":
        return Markup("")
    counts = _aside(case)
    told: list[Text] = [
        f"{number_of(count)} {verbs[count != 1]}"
        for word, verbs in BESIDE.items()
        if (count := counts.get(word, 0)) > 0
    ]
    lead = "Beside them" if case.judged or (case.n and not case.limited) else "Of its values"
    said = [Markup("{} {}.").format(lead, joined(told))] if told else []
    if unclosed := counts.get("not closed", 0):
        said.append(
            Markup("{} of the values with standing {} not closed.").format(
                capital(spelled(unclosed)), be(unclosed)
            )
        )
    return Markup(" ").join(said)


def _aside(case: Case) -> Mapping[str, int]:
    """Count of values by why they are in no verdict, and of those 'not closed'."""
    if case.summary is None:
        return {}
    kept = {
        "without standing": case.summary.without_standing,
        "not closed": case.summary.not_closed,
    }
    if case.concerned is not None:
        return {**case.concerned.counts, **kept}
    return {**kept, "no number": case.summary.missing}


def reasons_told(case: Case) -> str:
    """' (verification failed 2, expired by time)'."""
    found = () if case.concerned is None else tuple(case.concerned.reasons.items())
    if not found:
        return ""
    if len(found) == 1:
        return f" ({found[0][0]})"
    named = [f"{reason} {number_of(count)}" for reason, count in found[:MOST_REASONS]]
    more = len(found) - MOST_REASONS
    return f" ({', '.join(named)}{f' and {more} more' if more > 0 else ''})"
