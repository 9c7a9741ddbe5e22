"""Is it good enough: outcomes, capability, tolerance intervals and risks of a parameter."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.distribution_results import Capability, Distribution, ToleranceInterval
from sitegen.render import parameter_sentences
from sitegen.render.cells import count_cell, percent_cell, probability_cell
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import declared_percent, limits, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_answers import Answer, answer
from sitegen.render.statistics_text import (
    because,
    between,
    ratio,
    ratio_cell,
    reasons,
    sentences_of,
)

KINDS = {
    "normal": "normal values",
    "log-normal": "log-normal values",
    "distribution-free": "any distribution",
}
"""Kind of a tolerance interval -> what it takes the values to be."""
METHODS = {
    "normal": "mean and standard deviation",
    "log-normal": "mean and standard deviation of the logarithms",
    "quantile": "quantiles",
    "": units.MISSING,
}


def good(case: Case, drawing: Markup | None) -> Answer:
    """Values within their limits, then what the process is capable of."""
    number, first = parameter_sentences.outcome(case)
    return answer(
        "good", number, sentences_of([first, _capability(case), _tolerance(case)]), drawing
    )


def _capability(case: Case) -> str:
    """'Ppk is 0.87 (0.74 to 1.00), by the upper limit.'"""
    if case.statistics is None or not case.limited or case.n == 0:
        return ""
    found = case.statistics.capability
    if found.ppk.value is None:
        return f"Ppk is not stated{because([found.ppk.reason or found.reason])}."
    ends = ["" if one is None else ratio(one) for one in (found.ppk.lower, found.ppk.upper)]
    interval = between(*ends)
    nearer = found.nearer if found.side == "both" else ""
    told = f"Ppk is {ratio(found.ppk.value)}"
    if interval:
        return f"{told} ({interval}){_by(nearer)}{_although(found)}."
    if _by_quantiles(found):
        return f"{told}{_by(nearer)}{_although(found)}; such an index has no interval."
    return (
        f"{told}{_by(nearer)}{_although(found)}; its interval is not stated"
        f"{because([found.ppk.reason])}."
    )


def _although(found: Capability) -> str:
    """', although the test refuses the normal law (p < 0.001)': what is said of stated indices."""
    if not found.refused or found.reason == found.ppk.reason:
        return ""
    how = "from quantiles, since" if _by_quantiles(found) else "although"
    return f", {how} {found.refused}"


def _by_quantiles(found: Capability) -> bool:
    return found.method == "quantile"


def _by(nearer: str) -> str:
    return f", by the {nearer} limit" if nearer else ""


def told_interval(found: Distribution) -> ToleranceInterval | None:
    """The interval that the first screen tells: for any distribution where normality is refuted.

    None where none is stated.
    """
    stated = [one for one in found.tolerance if one.lower is not None or one.upper is not None]
    p = found.normality.p_value
    refuted = p is not None and p < 0.05
    ordered = sorted(stated, key=lambda one: (one.kind == "distribution-free") != refuted)
    return ordered[0] if ordered else None


def _tolerance(case: Case) -> str:
    """'At least 95 % of such dies lie between ... with 95 % confidence, inside the limits.'"""
    if case.statistics is None or case.n == 0:
        return ""
    asked = case.statistics.distribution.tolerance
    interval = told_interval(case.statistics.distribution)
    if interval is None:
        reason = next((one.reason for one in asked if one.reason), "")
        capability = case.statistics.capability
        if not reason:
            return ""
        if reason in (capability.ppk.reason, capability.reason) and case.limited:
            return "Nor is a tolerance interval."
        return f"A tolerance interval is not stated: {reason}."
    lower, upper = (
        "" if end is None else units.number(end * case.factor, 4)
        for end in (interval.lower, interval.upper)
    )
    unit = f"{units.THIN}{case.unit}" if case.unit else ""
    where = (
        f"between {lower}{unit} and {upper}{unit}"
        if lower and upper
        else f"above {lower}{unit}"
        if lower
        else f"below {upper}{unit}"
    )
    return (
        f"At least {declared_percent(interval.coverage)} of such dies lie {where} with"
        f" {declared_percent(interval.confidence)} confidence{_against(case, interval)}."
    )


def _against(case: Case, interval: ToleranceInterval) -> str:
    """', inside the limits' where the interval keeps to every limit that its side is about."""
    inside = _inside(case, interval)
    if inside is None:
        return ""
    noun = "limits" if interval.side == "both" else "limit"
    return f", {'inside' if inside else 'which reaches beyond'} the {noun}"


def _inside(case: Case, interval: ToleranceInterval) -> bool | None:
    """Whether it lies inside the limits that its side is about; None: no limit, or not stated."""
    lower, upper = case.parameter.lower, case.parameter.upper
    if not case.limited or (interval.lower is None and interval.upper is None):
        return None
    low = lower is None or interval.side == "upper" or _at_least(interval.lower, lower)
    high = upper is None or interval.side == "lower" or _at_least(upper, interval.upper)
    return low and high


def _at_least(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and one >= other


def tables(found: Sequence[Case]) -> tuple[Table, ...]:
    """Capability, tolerance intervals and risks, a row or more for each condition."""
    stated = [case for case in found if case.statistics is not None]
    if not stated:
        return ()
    made = []
    if any(case.limited for case in stated):
        made.append(_capability_table(stated))
    made.append(_tolerance_table(stated))
    if any(case.limited for case in stated):
        made.append(_risk_table(stated))
    return tuple(made)


def _capability_table(found: Sequence[Case]) -> Table:
    rows = []
    for case in found:
        assert case.statistics is not None  # `tables` leaves out the others
        one = case.statistics.capability
        rows.append(
            Row(
                Cell(case.condition),
                (
                    count_cell(one.n),
                    count_cell(one.wafers),
                    percent_cell(case.outcome("within") / case.judged if case.judged else None),
                    ratio_cell(one.pp),
                    ratio_cell(one.ppk),
                    Cell(one.nearer or units.MISSING),
                    ratio_cell(one.cp),
                    ratio_cell(one.cpk),
                    probability_cell(one.expected_outside),
                    Cell(METHODS[one.method]),
                    Cell(_why(one)),
                ),
            )
        )
    return Table(
        id="capability",
        caption=f"Capability, with 95{units.THIN}% intervals: Pp and Ppk by the total spread, Cp"
        " and Cpk by the spread within wafers. The share expected outside is what this distribution"
        " would give, not a count",
        columns=(
            Column("Condition"),
            Column("Values", True),
            Column("Wafers", True),
            Column("Within, of those judged", True),
            Column("Pp", True),
            Column("Ppk", True),
            Column("Nearer limit"),
            Column("Cp", True),
            Column("Cpk", True),
            Column("Expected outside", True),
            Column("By"),
            Column("Remarks"),
        ),
        rows=tuple(rows),
        wide=True,
    )


def _why(one: Capability) -> str:
    """Each index with its reason; one reason for all is told once."""
    named = {"Pp": one.pp, "Ppk": one.ppk, "Cp": one.cp, "Cpk": one.cpk}
    by_reason: dict[str, list[str]] = {}
    for name, index in named.items():
        if index.reason and index.reason != one.reason:
            by_reason.setdefault(index.reason, []).append(name)
    told = [f"{', '.join(names)}: {reason}" for reason, names in by_reason.items()]
    return reasons([one.reason, *told])


def _tolerance_table(found: Sequence[Case]) -> Table:
    rows = []
    for case in found:
        assert case.statistics is not None  # `tables` leaves out the others
        for one in case.statistics.distribution.tolerance:
            inside = _inside(case, one)
            rows.append(
                Row(
                    Cell(case.condition),
                    (
                        Cell(KINDS[one.kind]),
                        Cell({"both": "two-sided"}.get(one.side, f"one-sided, {one.side}")),
                        Cell(declared_percent(one.coverage), plain(one.coverage), True),
                        Cell(declared_percent(one.confidence), plain(one.confidence), True),
                        count_cell(one.n),
                        Cell(units.number(one.factor, 4), plain(one.factor), True),
                        *(
                            Cell(_scaled(end, case.factor), plain(end), True)
                            for end in (one.lower, one.upper)
                        ),
                        Cell(limits(case.parameter.lower, case.parameter.upper, case.factor)),
                        Cell(case.unit),
                        Cell("" if inside is None else "yes" if inside else "no"),
                        Cell(one.reason),
                    ),
                )
            )
    return Table(
        id="tolerance",
        caption="Tolerance intervals: between their ends at least the stated share of such dies"
        " lies, with the stated confidence",
        columns=(
            Column("Condition"),
            Column("Taken to be"),
            Column("Sides"),
            Column("Share", True),
            Column("Confidence", True),
            Column("Values", True),
            Column("Factor", True),
            Column("Lower end", True),
            Column("Upper end", True),
            Column("Limits"),
            Column("Unit"),
            Column("Inside the limits"),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        empty="No tolerance interval was asked for.",
        wide=True,
    )


def _scaled(value: float | None, factor: float) -> str:
    return units.MISSING if value is None else units.number(value * factor, 4)


def _risk_table(found: Sequence[Case]) -> Table:
    rows = []
    for case in found:
        assert case.statistics is not None  # `tables` leaves out the others
        one = case.statistics.risks
        rows.append(
            Row(
                Cell(case.condition),
                (
                    count_cell(one.n),
                    probability_cell(one.least_probability),
                    Cell(units.number(one.expected_outside, 2), plain(one.expected_outside), True),
                    probability_cell(one.specific_consumer),
                    probability_cell(one.specific_producer),
                    probability_cell(one.global_consumer),
                    probability_cell(one.global_producer),
                    probability_cell(one.worst_false_acceptance),
                    Cell(one.reason),
                ),
            )
        )
    return Table(
        id="risks",
        caption="Risks of these decisions. Of the values within: the least probability of"
        " conformity, and how many of them are expected to be outside in truth. With the declared"
        " prior: the greatest specific risks, and the global ones",
        columns=(
            Column("Condition"),
            Column("Values judged", True),
            Column("Least probability of conformity", True),
            Column("Expected to be outside", True),
            Column("Specific consumer's risk", True),
            Column("Specific producer's risk", True),
            Column("Global consumer's risk", True),
            Column("Global producer's risk", True),
            Column("False acceptance at the acceptance limit", True),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        wide=True,
    )
