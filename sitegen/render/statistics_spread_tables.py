"""Tables behind the spread: components, shape of the distribution, patterns, trends."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.distribution_results import Distribution
from sitegen.model.space_results import Patterns, PatternTest
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import counted, figure_of, link, number_of, percent, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_spread import LEVELS, PER, significant
from sitegen.render.statistics_text import (
    SIGNIFICANT,
    estimate_cell,
    number_cell,
    p_cell,
    percent_cell,
)

ALL = "All wafers"


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
                        Cell(LEVELS.get(one.level, one.level)),
                        Cell(number_of(one.groups), str(one.groups), True),
                        Cell(number_of(one.degrees_of_freedom), str(one.degrees_of_freedom), True),
                        estimate_cell(one.standard_deviation, scale),
                        Cell(unit),
                        percent_cell(one.share),
                        number_cell(one.f_ratio),
                        p_cell(one.p_value),
                        Cell(one.standard_deviation.reason or variation.reason),
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


def methods(found: Sequence[Case]) -> tuple[str, ...]:
    """'Components by REML, nested: ...', each method once."""
    told = [case.statistics.variation.method for case in found if case.statistics is not None]
    return tuple(f"Components by {method}." for method in dict.fromkeys(told) if method)


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
        " and the standard deviation as if each die came out on its own, of the median by order"
        f" statistics. p is of normal values{logs}",
        columns=(
            Column("Wafer"),
            Column("Values", True),
            Column(f"Mean{_in(case.unit)}", True),
            Column(f"Standard deviation{_in(unit)}", True),
            Column(f"Median{_in(case.unit)}", True),
            Column(f"Robust spread{_in(unit)}", True),
            Column("Skewness", True),
            Column("Excess kurtosis", True),
            Column("Test of normality"),
            Column("Statistic", True),
            Column("p", True),
            Column("Tails"),
            *((Column("Not stated because"),) if reasons else ()),
        ),
        rows=tuple(
            Row(
                Cell(
                    link(name, case.to(f"wafers/{name}/index.html")) if name else ALL,
                    name or " ",
                ),
                (
                    Cell(number_of(one.n), str(one.n), True),
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
    """What is not stated of a distribution, by reason."""
    named = {
        "mean": one.mean.reason,
        "standard deviation": one.standard_deviation.reason,
        "median": one.median.reason,
        "normality": one.normality.reason,
    }
    by_reason: dict[str, list[str]] = {}
    for name, reason in named.items():
        if reason:
            by_reason.setdefault(reason, []).append(name)
    return "; ".join(f"{', '.join(names)}: {reason}" for reason, names in by_reason.items())


def _in(unit: str) -> str:
    return f" / {unit}" if unit else ""


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
                    _wafer(case, one),
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
            empty=f"No pattern over a wafer is shown: of {counted(_made(tests), 'test')} none has"
            f" an adjusted p below {level}.",
            wide=True,
        ),
        _every_pattern(tests),
    )


def _made(tests: Sequence[tuple[Case, Patterns, PatternTest]]) -> int:
    return sum(test.p_value is not None for _, _, test in tests)


def _every_pattern(tests: Sequence[tuple[Case, Patterns, PatternTest]]) -> Table:
    return Table(
        id="pattern-tests",
        caption="Every pattern that was looked for. p is of a wafer without that pattern; adjusted"
        " for the number of wafers by Holm. Islands have no measured neighbour and take no part in"
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
                _wafer(case, one),
                (
                    Cell(case.named),
                    Cell(test.kind),
                    Cell(number_of(test.n), str(test.n), True),
                    Cell(number_of(one.islands), str(one.islands), True),
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


def _wafer(case: Case, one: Patterns) -> Cell:
    return Cell(link(one.wafer, case.to(f"wafers/{one.wafer}/index.html")), one.wafer)


def _share(test: PatternTest) -> Cell:
    """Of neighbours the share is Moran's I, which is none."""
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
            else f" (expected without order: {units.number(one.expected_runs, 2)})"
        )
        rows.append(
            Row(
                Cell(link(one.wafer, case.to(f"wafers/{one.wafer}/index.html")), one.wafer),
                (
                    Cell(case.named),
                    Cell(one.against),
                    Cell(number_of(one.n), str(one.n), True),
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
        " of no trend; adjusted over wafers and both regressors by Holm",
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
