"""Wafers and splits against each other: difference, effect, equivalence, then significance."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.relation_results import Comparison
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import number_of, plain, stated
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, estimate_cell, number_cell, numbers, p_cell

MOST_PAIRS = 12
"""Comparisons of wafers shown for a condition; of more those of the largest effect."""
COMPARED = "compared"
OF_VALUES = " of the values as measured, without what their errors share"


def comparisons(found: Sequence[Case]) -> tuple[Table, ...]:
    """Splits first, then wafers, a table for each condition that has any."""
    return tuple(
        table
        for case in found
        if case.statistics is not None
        for table in (
            _table(case, "splits", _of(case, "splits")),
            _table(case, "wafers", _of(case, "wafers")),
        )
        if table is not None
    )


def _of(case: Case, kind: str) -> list[Comparison]:
    assert case.statistics is not None  # `comparisons` leaves out the others
    return [one for one in case.statistics.comparisons if one.kind == kind]


def _table(case: Case, kind: str, every: Sequence[Comparison]) -> Table | None:
    if not every:
        return None
    shown = sorted(every, key=_beyond)[:MOST_PAIRS] if len(every) > MOST_PAIRS else list(every)
    sizes = [one.difference.value for one in shown] + [one.u_measurement for one in shown]
    scale, unit = case.scale_of(sizes)
    margin = any(one.equivalence is not None for one in shown)
    reasons = any(_why(one) for one in shown)
    splits = kind == "splits"
    which = (
        f"The {MOST_PAIRS} of {number_of(len(every))} comparisons of {kind} with the largest effect"
        if len(every) > MOST_PAIRS
        else f"Comparisons of {kind}"
    )
    unit_of_it = (
        "; between means of wafers, a wafer being the unit"
        if splits
        else ", dies taken as drawn independently from one law, with what the measurement adds"
    )
    return Table(
        id=f"{COMPARED}-{kind}-{case.condition}",
        caption=f"{which} under {case.condition}, the first less the second{unit_of_it}. Intervals"
        f" at 95{units.THIN}%; the effect is Hedges' g{'' if splits else OF_VALUES}; p is of no"
        f" difference, adjusted over all such comparisons by Holm{_splits(case) if splits else ''}",
        columns=(
            Column("Compared"),
            Column("Wafers" if splits else "Values", True),
            Column(units.axis_title("Difference", unit), True),
            Column("Effect", True),
            Column(units.axis_title("u by shared errors", unit), True),
            *((Column("Equivalent"),) if margin else ()),
            Column("Adjusted p", True),
            *((Column("Not stated because"),) if reasons else ()),
        ),
        rows=tuple(_row(one, case, scale, margin, reasons) for one in shown),
        wide=True,
    )


def _row(one: Comparison, case: Case, scale: float, margin: bool, reasons: bool) -> Row:
    counts = (
        (one.wafers_first, one.wafers_second)
        if one.kind == "splits"
        else (one.n_first, one.n_second)
    )
    return Row(
        Cell(f"{one.first} {units.MINUS} {one.second}"),
        (
            Cell(f"{number_of(counts[0])} and {number_of(counts[1])}", str(sum(counts)), True),
            estimate_cell(one.difference, scale),
            _effect(one),
            number_cell(one.u_measurement, scale, 2),
            *((Cell(_equivalence(one, case)),) if margin else ()),
            p_cell(one.adjusted_p),
            *((Cell(_why(one)),) if reasons else ()),
        ),
    )


def _splits(case: Case) -> str:
    """'. plain: recess etched as usual (LK7-1, LK7-2); ...': what was done to which wafers."""
    told = [
        f"{one.id}: {one.name} ({', '.join(one.wafers)})"
        for one in case.results.context.record.splits
    ]
    return f". {'; '.join(told)}" if told else ""


def _effect(one: Comparison) -> Cell:
    value, lower, upper = numbers(one.effect_size, 1.0, 2)
    interval = between(lower, upper)
    text = f"{value} ({interval})" if interval else value or units.MISSING
    return Cell(text, plain(one.effect_size.value), True)


def _equivalence(one: Comparison, case: Case) -> str:
    """'equivalent within ±10 mV: −3.1 mV to 4.2 mV (90 %)', or why not stated."""
    found = one.equivalence
    if found is None:
        return units.MISSING
    margin = f"±{stated(found.margin, case.parameter.unit)}"
    if found.lower is None or found.upper is None:
        why = f": {found.reason}" if found.reason and found.reason != _why(one) else ""
        return f"{found.verdict} (margin {margin}){why}"
    scale, unit = case.scale_of([found.lower, found.upper])
    ends = between(units.number(found.lower * scale, 2), units.number(found.upper * scale, 2), unit)
    return f"{found.verdict}, margin {margin}: {ends} (90{units.THIN}%)"


def _why(one: Comparison) -> str:
    return one.reason or one.difference.reason or one.effect_size.reason


def _beyond(one: Comparison) -> float:
    """The largest effect first; those not stated last."""
    return -abs(one.effect_size.value) if one.effect_size.value is not None else 0.0
