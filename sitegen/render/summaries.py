"""Tables of summaries: the same columns on the pages of campaign, wafers and parameters."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import CampaignRecord, Condition, Parameter
from sitegen.model.results import OUTCOMES, ParameterResult, Summary
from sitegen.render.cells import count_cell
from sitegen.render.estimators import estimator
from sitegen.render.marks import heading
from sitegen.render.phrases import capital, figure_of, limits, number_of, plain, stated, unbroken
from sitegen.render.pieces import Cell, Column, Row, Table, Text

FIGURES = (
    ("mean", "Mean", 4),
    ("standard_deviation", "s", 3),
    ("median", "Median", 4),
    ("robust_spread", "Robust spread", 3),
    ("minimum", "Least", 4),
    ("q05", f"5{units.THIN}%", 4),
    ("q25", f"25{units.THIN}%", 4),
    ("q75", f"75{units.THIN}%", 4),
    ("q95", f"95{units.THIN}%", 4),
    ("maximum", "Greatest", 4),
)
"""Field of `Summary`, heading, significant digits."""

COUNTS = (
    ("n", "Values"),
    ("missing", "No number"),
    ("without_standing", "Without standing"),
    ("not_closed", "Not closed"),
    ("below_floor", "Below floor"),
    ("not_reached", "Not reached"),
)
"""Field of `Summary`, heading."""

NO_NUMBER = "No number: planned and not measured, or measured and not determined."
"""What the column of that heading counts; captions say it."""

SHORT = ("median", "robust_spread", "q05", "q95")
"""Figures of the pages that show many parameters."""


def parameters_of(record: CampaignRecord) -> Mapping[str, Parameter]:
    """The parameters by their ids."""
    return {parameter.id: parameter for parameter in record.parameters}


def conditions_of(record: CampaignRecord) -> Mapping[str, Condition]:
    """The conditions by their ids."""
    return {condition.id: condition for condition in record.conditions}


def scale(parameter: Parameter, summaries: Sequence[Summary] = ()) -> tuple[float, str]:
    """Factor and unit symbol that suit the parameter's medians; its limits share them.

    Where no median is known the greatest figures choose, then the limits.
    """
    for figures in (
        [summary.median for summary in summaries],
        [summary.maximum for summary in summaries],
        [summary.least_reached for summary in summaries],
        [parameter.lower, parameter.upper, parameter.target],
    ):
        if any(figures):
            return units.shown_unit(figures, parameter.unit)
    return units.shown_unit([], parameter.unit)


def counted(summaries: Sequence[Summary]) -> tuple[str, ...]:
    """Fields of the counts to show: of the values, and of what occurs in any of these."""
    return tuple(
        name
        for name, _ in COUNTS
        if name == "n" or any(getattr(summary, name) for summary in summaries)
    )


def count_columns(names: Sequence[str]) -> tuple[Column, ...]:
    """Columns of the named counts of values."""
    return tuple(Column(heading, True) for name, heading in COUNTS if name in names)


def count_cells(summary: Summary, names: Sequence[str]) -> tuple[Cell, ...]:
    """Cells under `count_columns`."""
    counts = [getattr(summary, name) for name, _ in COUNTS if name in names]
    return tuple(count_cell(count) for count in counts)


def figure_columns(names: Sequence[str] = SHORT) -> tuple[Column, ...]:
    """Columns of the named figures."""
    return tuple(Column(heading, True) for name, heading, _ in FIGURES if name in names)


def figure_cells(summary: Summary, factor: float, names: Sequence[str] = SHORT) -> tuple[Cell, ...]:
    """Cells under `figure_columns`, in the unit that `factor` leads to."""
    return tuple(
        _figure_cell(summary, name, digits, factor) for name, _, digits in FIGURES if name in names
    )


def _figure_cell(summary: Summary, name: str, digits: int, factor: float) -> Cell:
    value: float | None = getattr(summary, name)
    if value is None:
        if name in summary.beyond and summary.least_reached is not None:
            reached = summary.least_reached
            sign = "<" if reached < 0 else ">"
            return Cell(f"{sign} {units.number(reached * factor, 3)}", plain(reached), True)
        if name not in summary.below:
            return Cell(units.MISSING, "", True)
        if summary.highest_floor is None:
            return Cell("below floor", "", True)
        floor = summary.highest_floor
        return Cell(f"< {units.number(floor * factor, 3)}", plain(floor), True)
    return Cell(units.number(value * factor, digits), plain(value), True)


def outcome_columns(outcomes: Sequence[str] = OUTCOMES) -> tuple[Column, ...]:
    """A column for the count of each outcome."""
    return tuple(Column(heading(outcome), True) for outcome in outcomes)


def outcome_cells(
    counts: Mapping[str, int], outcomes: Sequence[str] = OUTCOMES
) -> tuple[Cell, ...]:
    """Cells under `outcome_columns`."""
    return tuple(
        Cell(number_of(counts.get(outcome, 0)), str(counts.get(outcome, 0)), True)
        for outcome in outcomes
    )


def seen(results: Sequence[Mapping[str, int]]) -> tuple[str, ...]:
    """The outcomes that occur in any of these counts, in their fixed order."""
    return tuple(
        outcome for outcome in OUTCOMES if any(counts.get(outcome, 0) for counts in results)
    )


def symbol(parameter: Parameter) -> Markup:
    """'V_T' with its index set low; a bar of '|S_21|' stands on the line."""
    stem, _, index = parameter.symbol.partition("_")
    low = [Markup("<sub>{}</sub>").format(part) if part else part for part in index.split("|")]
    return Markup('<span class="symbol">{}{}</span>').format(stem, Markup("|").join(low))


def parameter_cell(parameter: Parameter, page: str, record: CampaignRecord) -> Cell:
    """A parameter's symbol, linked to its page, with its name and how it is taken."""
    text = Markup('<a href="{}">{}</a> <span class="name">{}</span>').format(
        addresses.relative(addresses.parameter(parameter.id), page),
        symbol(parameter),
        unbroken(parameter.name),
    )
    taken = estimator(parameter, record).removeprefix(parameter.name).lstrip(", ")
    if taken:
        text += Markup(' <span class="why">{}</span>').format(taken)
    return Cell(text, parameter.symbol)


def condition_cell(condition: Condition | None, name: str) -> Cell:
    """A condition's name with its description."""
    if condition is None or not condition.description:
        return Cell(name)
    text = Markup('{} <span class="name">{}</span>').format(name, unbroken(condition.description))
    return Cell(text, name)


def condition_text(condition: Condition | None, name: str) -> Text:
    """A condition's description with its set point."""
    if condition is None:
        return name
    parts = [f"{figure_of(condition.temperature_c)}{units.THIN}°C"]
    for key, value in condition.bias.items():
        stem, _, unit = key.rpartition("_")
        parts.append(f"{stem} = {stated(value, unit.upper())}")
    return f"{capital(condition.description)} ({', '.join(parts)})"


def limits_cell(parameter: Parameter, factor: float) -> Cell:
    """The specification limits in the unit that `factor` leads to."""
    nearest = parameter.lower if parameter.lower is not None else parameter.upper
    return Cell(limits(parameter.lower, parameter.upper, factor), plain(nearest), True)


def parameter_table(
    record: CampaignRecord, results: Sequence[ParameterResult], page: str, caption: str
) -> Table:
    """Each parameter and condition with its limits, figures, outcomes and counts."""
    parameters = parameters_of(record)
    conditions = conditions_of(record)
    found = [result for result in results if result.parameter in parameters]
    outcomes = seen([result.outcomes for result in found])
    counts = counted([result.summary for result in found])
    rows = []
    for result in found:
        parameter = parameters[result.parameter]
        factor, unit = scale(parameter, [result.summary])
        rows.append(
            Row(
                parameter_cell(parameter, page, record),
                (
                    condition_cell(conditions.get(result.condition), result.condition),
                    Cell(unit),
                    limits_cell(parameter, factor),
                    *figure_cells(result.summary, factor),
                    *outcome_cells(result.outcomes, outcomes),
                    *count_cells(result.summary, counts),
                ),
            )
        )
    return Table(
        id="parameters",
        caption=f"{caption}. {NO_NUMBER}" if "missing" in counts else f"{caption}.",
        columns=(
            Column("Parameter"),
            Column("Condition"),
            Column("Unit"),
            Column("Limits", True),
            *figure_columns(),
            *outcome_columns(outcomes),
            *count_columns(counts),
        ),
        rows=tuple(rows),
        empty="No parameter was measured.",
    )
