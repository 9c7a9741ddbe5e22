"""Limits beyond which a die stands out; they never change a verdict."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.statistics import Estimate
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import number_of, plain, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, numbers


def average_limits(found: Sequence[Case]) -> Table | None:
    """Limits of the part average tests, static and of each wafer; None: not computed."""
    rows = []
    for case in found:
        if case.statistics is None:
            continue
        outliers = case.statistics.outliers
        scale, unit = case.scale_of([outliers.robust_sigma.value])
        for wafer, one in (("", outliers.static), *outliers.dynamic):
            rows.append(
                Row(
                    Cell(wafer or "All lots", wafer or " "),
                    (
                        Cell(case.named),
                        Cell(one.scope),
                        Cell(number_of(one.n), str(one.n), True),
                        *(
                            Cell(
                                units.MISSING
                                if end is None
                                else units.number(end * case.factor, 4),
                                plain(end),
                                True,
                            )
                            for end in (one.lower, one.upper)
                        ),
                        Cell(case.unit),
                        Cell("")
                        if wafer
                        else Cell(_sigma(outliers.robust_sigma, scale, unit), "", True),
                        Cell(one.reason),
                    ),
                )
            )
    if not rows:
        return None
    return Table(
        id="average-limits",
        caption="Limits of the part average tests (AEC-Q001): robust mean ± 6 robust sigmas. A die"
        " beyond them stands out; its verdict stays",
        columns=(
            Column("Of"),
            Column("Condition"),
            Column("Kind"),
            Column("Values", True),
            Column("Lower", True),
            Column("Upper", True),
            Column("Unit"),
            Column("Robust sigma", True),
            Column("Not available because"),
        ),
        rows=tuple(rows),
        wide=True,
    )


def _sigma(found: Estimate, scale: float, unit: str) -> str:
    """'36 mV (33 mV to 40 mV)'."""
    value, lower, upper = numbers(found, scale, 2)
    interval = between(lower, upper, unit)
    told = with_unit(value, unit) if value else units.MISSING
    return f"{told} ({interval})" if interval else told
