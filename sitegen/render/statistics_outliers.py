"""Limits beyond which a die stands out; they never change a verdict."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.space_results import AverageLimits
from sitegen.model.statistics import Estimate
from sitegen.render.cells import count_cell
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import plain, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, numbers


def average_limits(found: Sequence[Case]) -> Table | None:
    """Limits of the part average tests, static and of each wafer; None: not computed."""
    rows = []
    for case in found:
        if case.statistics is None:
            continue
        outliers = case.statistics.outliers
        in_unit = case.scale_of([outliers.robust_sigma.value])
        scale, unit = (1.0, "") if outliers.logarithms else in_unit
        logarithms = " of the logarithms" if outliers.logarithms else ""
        for wafer, one in (("", outliers.static), *outliers.dynamic):
            rows.append(
                Row(
                    Cell(wafer or "All lots", wafer or " "),
                    (
                        Cell(case.named),
                        Cell(one.scope),
                        count_cell(one.n),
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
                        else Cell(_sigma(outliers.robust_sigma, scale, unit, logarithms), "", True),
                        Cell(_held(one)),
                    ),
                )
            )
    if not rows:
        return None
    return Table(
        id="average-limits",
        caption="Limits of the part average tests (AEC-Q001): robust mean ± 6 robust sigmas, held"
        " to the specification limits where they would be wider. A die beyond 6 robust sigmas"
        " stands out; its verdict stays",
        columns=(
            Column("Of"),
            Column("Condition"),
            Column("Kind"),
            Column("Values", True),
            Column("Lower", True),
            Column("Upper", True),
            Column("Unit"),
            Column("Robust sigma", True),
            Column("Remarks"),
        ),
        rows=tuple(rows),
        wide=True,
    )


def _held(limits: AverageLimits) -> str:
    """Why there are none, or which ends are the specification's."""
    if not limits.at_specification:
        return limits.reason
    return f"{' and '.join(limits.at_specification)} end held to the specification"


def _sigma(found: Estimate, scale: float, unit: str, of: str) -> str:
    """'36 mV (33 mV to 40 mV)'."""
    value, lower, upper = numbers(found, scale, 2)
    interval = between(lower, upper, unit)
    told = with_unit(value, unit) + of if value else units.MISSING
    return f"{told} ({interval})" if interval else told
