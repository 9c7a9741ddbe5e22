"""A parameter's conditions that differ in temperature alone, side by side at their set points."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.campaign import Condition
from sitegen.render import parameter_sentences, summaries
from sitegen.render.cells import count_cell
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import figure_of, number_of
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.tables import compact

ROOM_C = 25.0
"""The condition nearest to this one is what the others are held against."""


def table(found: Sequence[Case]) -> Table | None:
    """Medians over temperature; None where no two conditions differ in temperature alone.

    The change is of medians, so it is of different dies where the counts of values differ; no
    interval is stated for it.
    """
    known = summaries.conditions_of(found[0].results.context.record)
    groups: dict[tuple[tuple[str, float], ...], list[tuple[Condition, Case]]] = {}
    for case in found:
        condition = known.get(case.condition)
        if condition is not None and case.n:
            groups.setdefault(tuple(sorted(condition.bias.items())), []).append((condition, case))
    rows = [
        row
        for group in groups.values()
        if len({condition.temperature_c for condition, _ in group}) > 1
        for row in _rows(sorted(group, key=lambda each: each[0].temperature_c))
    ]
    if not rows:
        return None
    return compact(
        Table(
            id="temperatures",
            caption="Over temperature: medians of the values with standing at each set point, and"
            " by how much they differ from the median at the set point nearest"
            f" {figure_of(ROOM_C)}{units.THIN}°C; of different dies where the counts differ, and"
            " without an interval",
            columns=(
                Column("Condition"),
                Column("Set point / °C", True),
                Column("Values", True),
                Column(f"Median (5{units.THIN}% to 95{units.THIN}%)"),
                Column("Change", True),
                Column("Change per °C", True),
                Column("Unit"),
                Column("Within limits"),
            ),
            rows=tuple(rows),
            wide=True,
            ordered=True,
        )
    )


def _rows(group: Sequence[tuple[Condition, Case]]) -> list[Row]:
    """A row for each condition, the coldest first."""
    nearest, against = min(group, key=lambda each: abs(each[0].temperature_c - ROOM_C))
    return [
        Row(
            Cell(case.condition),
            (
                Cell(figure_of(condition.temperature_c), str(condition.temperature_c), True),
                count_cell(case.n),
                Cell(parameter_sentences.brief(case)),
                *_change(case, against, condition.temperature_c - nearest.temperature_c),
                Cell(case.unit),
                Cell(_within(case)),
            ),
        )
        for condition, case in group
    ]


def _change(case: Case, against: Case, by_c: float) -> tuple[Cell, Cell]:
    """How far the median lies from the other one, whole and per °C."""
    here = None if case.summary is None else case.summary.median
    there = None if against.summary is None else against.summary.median
    if by_c == 0 or here is None or there is None:
        nothing = Cell(units.MISSING, "", True)
        return nothing, nothing
    change = (here - there) * case.factor
    return (
        Cell(units.number(change, 3), str(change), True),
        Cell(units.number(change / by_c, 3), str(change / by_c), True),
    )


def _within(case: Case) -> str:
    if not case.limited or not case.judged:
        return ""
    return f"{number_of(case.outcome('within'))} of {number_of(case.judged)}"
