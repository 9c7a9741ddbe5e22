"""The table of what a parameter's uncertainty is made of."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.campaign import Parameter
from sitegen.model.results import ParameterResult
from sitegen.render import summaries
from sitegen.render.phrases import figure_of, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table

PARTS = {
    "u_calibration": "calibration, common to all its values",
    "u_dummies": "dummy structures",
    "u_own": "each sweep's own noise and touchdown, and its own dummies",
    "u_touchdowns": "spread of repeated touchdowns",
    "u_instrument": "instrument's accuracy, common to its readings",
    "u_temperature": "temperature",
    "u_extraction": "the fit itself",
}
"""Parts of a value's uncertainty that are computed, by their column of the results."""


def table(parameter: Parameter, found: Sequence[ParameterResult]) -> Table:
    """What is propagated for each value, here its median, and what the laboratory declares."""

    def size(absolute: float | None, relative: float | None) -> str:
        if absolute is not None:
            factor, unit = summaries.scale_beside(
                absolute, parameter, [result.summary for result in found]
            )
            return with_unit(figure_of(absolute * factor), unit)
        return f"{figure_of((relative or 0.0) * 100)}{units.THIN}% of the value"

    propagated = [
        (f"{source}, {result.condition}", u)
        for result in found
        if not result.wafer
        for name, source in PARTS.items()
        if (u := result.summary.budget.get(name))
    ]
    return Table(
        id="uncertainty",
        caption="Sources of standard uncertainty; they add in quadrature. What comes from the"
        " calibration and the sweep is propagated for each value (here its median), the rest is as"
        " the laboratory declares it"
        if propagated
        else "Sources of standard uncertainty, as the laboratory declares them; they add in"
        " quadrature",
        columns=(Column("Source"), Column("Standard uncertainty", True)),
        rows=tuple(
            Row(Cell(source), (Cell(text, "", True),))
            for source, text in (
                *((source, size(u, None)) for source, u in propagated),
                *((one.source, size(one.absolute, one.relative)) for one in parameter.uncertainty),
            )
        ),
        empty="No uncertainty is stated for this parameter; under a guarded rule its values cannot"
        " be judged.",
        wide=True,
    )
