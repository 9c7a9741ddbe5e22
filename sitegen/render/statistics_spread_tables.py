"""Tables behind the spread: components, shape of the distribution, patterns, trends."""

from collections.abc import Sequence

from sitegen import addresses, units
from sitegen.model.distribution_results import Distribution
from sitegen.model.relation_results import RUN_RULES
from sitegen.model.space_results import Patterns, PatternTest
from sitegen.model.variation_results import Component, Variation
from sitegen.render.cells import count_cell, percent_cell
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import counted, figure_of, link, percent, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_spread import PER, lies, significant
from sitegen.render.statistics_text import SIGNIFICANT, estimate_cell, number_cell, p_cell

ALL = "All wafers"
SINCE = "time since calibration"
"""What values without a calibration have no trend against."""
CLUSTER = "cluster of outside dies"


def components(found: Sequence[Case]) -> Table | None:
    """Variance components of every condition; None where none are computed."""
    stated = [case for case in found if case.statistics is not None]
    if not stated:
        return None
    rows = []
    for case in stated:
        assert case.statistics is not None
        variation = case.statistics.variation
        sizes = [one.standard_deviation.value for one in variation.components]
        scale, unit = case.scale_of(sizes)
        for one in variation.components:
            rows.append(
                Row(
                    Cell(case.condition),
                    (
                        Cell(lies(one.level)),
                        count_cell(one.groups),
                        count_cell(one.degrees_of_freedom),
                        estimate_cell(one.standard_deviation, scale),
                        Cell(unit),
                        percent_cell(one.share),
                        number_cell(one.f_ratio),
                        p_cell(one.p_value),
                        Cell(_told(variation, one)),
                    ),
                )
            )
        if not variation.components:
            rows.append(_nothing(case, variation.reason))
    return Table(
        id="components",
        caption=f"Components of the variance, with 95{units.THIN}% intervals of the standard"
        " deviation; an interval may begin at zero. F is taken against the level below",
        columns=(
            Column("Condition"),
            Column("Where it lies"),
            Column("Groups", True),
            Column("Degrees of freedom", True),
            Column("Standard deviation", True),
            Column("Unit"),
            Column("Share of the variance", True),
            Column("F", True),
            Column("p of no such component", True),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        wide=True,
        ordered=True,
    )


def _told(variation: Variation, one: Component) -> str:
    """What is said of a component; what is said of all of them stands at the innermost one."""
    common = variation.reason if one is variation.components[-1] else ""
    return "; ".join(reason for reason in (one.standard_deviation.reason, common) if reason)


def methods(found: Sequence[Case]) -> tuple[str, ...]:
    """'Components by REML, nested: ...', each method once."""
    stated = [case.statistics.variation for case in found if case.statistics is not None]
    told = dict.fromkeys(one.method for one in stated if one.components)
    return tuple(f"Components by {method}." for method in told if method)


def _nothing(case: Case, reason: str) -> Row:
    missing = Cell(units.MISSING, "", True)
    return Row(
        Cell(case.condition),
        (
            Cell(units.MISSING),
            *(missing,) * 3,
            Cell(""),
            *(missing,) * 3,
            Cell(reason),
        ),
    )


def shape(case: Case) -> Table | None:
    """Mean, spread and median with intervals, and how far from normal; None: not computed."""
    if case.statistics is None:
        return None
    found = [("", case.statistics.distribution), *case.statistics.by_wafer]
    if len(found) == 2 and found[0][1].n == found[1][1].n:
        found = found[1:]
    scale, unit = case.scale_of([one.standard_deviation.value for _, one in found])
    logs = " of the logarithms" if case.parameter.distribution == "log-normal" else ""
    reasons = any(_why(one) for _, one in found)
    return Table(
        id=f"shape-{case.condition}",
        caption=f"Distribution under {case.condition}, with 95{units.THIN}% intervals: of the mean"
        " and the standard deviation as if each die came out on its own, without the errors of the"
        " measurement that dies share; of the median by order statistics. p is of normal"
        f" values{logs}",
        columns=(
            Column("Wafer"),
            Column("Values", True),
            Column(units.axis_title("Mean", case.unit), True),
            Column(units.axis_title("Standard deviation", unit), True),
            Column(units.axis_title("Median", case.unit), True),
            Column(units.axis_title("Robust spread", unit), True),
            Column("Skewness", True),
            Column("Excess kurtosis", True),
            Column("Test of normality"),
            Column("Statistic", True),
            Column("p", True),
            Column("Tails"),
            *((Column("Remarks"),) if reasons else ()),
        ),
        rows=tuple(
            Row(
                _wafer(case, name) if name else Cell(ALL, " "),
                (
                    count_cell(one.n),
                    estimate_cell(one.mean, case.factor, 4),
                    estimate_cell(one.standard_deviation, scale),
                    estimate_cell(one.median, case.factor, 4),
                    number_cell(one.robust_spread, scale),
                    number_cell(one.skewness, digits=2),
                    number_cell(one.excess_kurtosis, digits=2),
                    Cell(one.normality.test or units.MISSING),
                    number_cell(one.normality.statistic),
                    p_cell(one.normality.p_value),
                    Cell(one.tail),
                    *((Cell(_why(one)),) if reasons else ()),
                ),
            )
            for name, one in found
        ),
        empty="No value has standing under this condition.",
        wide=True,
    )


def _why(one: Distribution) -> str:
    """What is not stated of a distribution, by reason, and how far it is from a refused law."""
    refused = one.normality.p_value is not None and one.normality.reason
    named = {
        "mean": one.mean.reason,
        "standard deviation": one.standard_deviation.reason,
        "median": one.median.reason,
        "normality": "" if refused else one.normality.reason,
    }
    by_reason: dict[str, list[str]] = {}
    for name, reason in named.items():
        if reason:
            by_reason.setdefault(reason, []).append(name)
    told = [f"{', '.join(names)}: {reason}" for reason, names in by_reason.items()]
    return "; ".join([*told, f"normality {refused}"] if refused else told)


def patterns(found: Sequence[Case]) -> tuple[Table | None, Table | None]:
    """The patterns that are claimed, and every test; None where nothing was tested."""
    tests = [
        (case, one, test)
        for case in found
        if case.statistics is not None
        for one in case.statistics.patterns
        for test in one.tests
    ]
    if not tests:
        return None, None
    claimed = [
        (case, one, test)
        for case in found
        if case.statistics is not None
        for one in case.statistics.patterns
        for test in significant(one)
    ]
    level = figure_of(SIGNIFICANT)
    return (
        Table(
            id="patterns",
            caption=f"Patterns over the wafers: those with an adjusted p below {level}",
            columns=(
                Column("Wafer"),
                Column("Condition"),
                Column("Pattern"),
                Column("What it looks like"),
                Column("Share of the wafer's variance", True),
                Column("Adjusted p", True),
            ),
            rows=tuple(
                Row(
                    _wafer(case, one.wafer),
                    (
                        Cell(case.named),
                        Cell(test.kind),
                        Cell(test.text),
                        _share(test),
                        p_cell(test.adjusted_p),
                    ),
                )
                for case, one, test in claimed
            ),
            empty=_none_claimed(sum(test.p_value is not None for _, _, test in tests), level),
            wide=True,
        ),
        _every_pattern(tests),
    )


def _none_claimed(made: int, level: str) -> str:
    """What is said of tests of which none claims a pattern."""
    if not made:
        return "No pattern over a wafer is shown: none could be tested."
    which = "the one test has no" if made == 1 else f"of {counted(made, 'test')} none has an"
    return f"No pattern over a wafer is shown: {which} adjusted p below {level}."


def _every_pattern(tests: Sequence[tuple[Case, Patterns, PatternTest]]) -> Table:
    return Table(
        id="pattern-tests",
        caption="Every pattern that was looked for. p is of a wafer without that pattern; adjusted"
        " over wafers and patterns by Holm. Islands have no measured neighbour and take no part in"
        " Moran's I",
        columns=(
            Column("Wafer"),
            Column("Condition"),
            Column("Pattern"),
            Column("Dies", True),
            Column("Islands", True),
            Column("Statistic"),
            Column("Value", True),
            Column("Share of the wafer's variance", True),
            Column("p", True),
            Column("Adjusted p", True),
            Column("Not tested because"),
        ),
        rows=tuple(
            Row(
                _wafer(case, one.wafer),
                (
                    Cell(case.named),
                    Cell(test.kind),
                    count_cell(test.n),
                    count_cell(one.islands),
                    Cell(test.statistic_name),
                    number_cell(test.statistic),
                    _share(test),
                    p_cell(test.p_value),
                    p_cell(test.adjusted_p),
                    Cell(test.reason),
                ),
            )
            for case, one, test in tests
        ),
        wide=True,
    )


def _wafer(case: Case, name: str) -> Cell:
    return Cell(link(name, case.to(addresses.wafer(name))), name)


def _share(test: PatternTest) -> Cell:
    """Of neighbours the share is Moran's I, which is none; of a cluster it is one of dies."""
    if test.kind == CLUSTER:
        return Cell(units.MISSING, "", True)
    if test.kind == "neighbours" and test.share is not None:
        return Cell(f"I = {units.number(test.share, 2)}", plain(test.share), True)
    return Cell(percent(test.share), plain(test.share), True)


def trends(found: Sequence[Case]) -> Table | None:
    """Slopes over the order of measurement, with run rules; None where none were looked for."""
    every = [
        (case, one)
        for case in found
        if case.statistics is not None
        for one in case.statistics.trends
        if case.parameter.kind == "rf" or one.slope.value is not None or one.against != SINCE
    ]
    if not every:
        return None
    rows = []
    for case, one in every:
        scale, unit = units.shown_unit([one.slope.value], case.parameter.unit)
        over = PER.get(one.against, ("step", ""))[0]
        met = [f"{name} ({number})" for name, number in one.runs if number]
        runs = ", ".join(met) or ("none" if one.runs else "")
        expected = (
            ""
            if one.expected_runs is None or not one.runs
            else f"; {units.number(one.expected_runs, 2)} expected without order"
        )
        rows.append(
            Row(
                _wafer(case, one.wafer),
                (
                    Cell(case.named),
                    Cell(one.against),
                    count_cell(one.n),
                    estimate_cell(one.slope, scale),
                    Cell("" if one.slope.value is None else f"{unit or '1'} per {over}"),
                    p_cell(one.p_value),
                    p_cell(one.adjusted_p),
                    Cell(f"{runs}{expected}" if runs else ""),
                    Cell(one.reason or one.slope.reason),
                ),
            )
        )
    return Table(
        id="trends",
        caption=f"Values in the order of measurement: slope with its 95{units.THIN}% interval. p is"
        " of no trend; adjusted over wafers and both regressors by Holm. Run rules are"
        f" {RUN_RULES}",
        columns=(
            Column("Wafer"),
            Column("Condition"),
            Column("Against"),
            Column("Values", True),
            Column("Slope", True),
            Column("Unit"),
            Column("p", True),
            Column("Adjusted p", True),
            Column("Run rules met"),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        wide=True,
    )
