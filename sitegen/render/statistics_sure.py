"""How sure is that: uncertainty against the tolerance, and what has no part in the figures."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.decision_results import Risks
from sitegen.render import parameter_sentences
from sitegen.render.cells import percent_over_cell, probability_cell
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import figure_of, number_of, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_answers import Answer, answer
from sitegen.render.statistics_text import number_cell, sentences_of


def sure(case: Case, drawing: Markup | None) -> Answer:
    """The median U, how much of the tolerance it takes, and which values are left out."""
    number, told, shared = parameter_sentences.sure(case)
    first = Markup("{}{}{}.").format(told, _of_tolerance(case), f"; {shared}" if shared else "")
    return answer(
        "sure",
        number,
        sentences_of([first, _least(case), parameter_sentences.left_out(case)]),
        drawing,
    )


def _of_tolerance(case: Case) -> Markup:
    """', 4.0 % of the tolerance (C_m = 12.5)'."""
    risks = _risks(case)
    if risks is None or risks.uncertainty_share is None:
        return Markup("")
    share = f", {units.percent_over(risks.uncertainty_share)} of the tolerance"
    if risks.capability_index is None:
        return Markup("{}").format(share)
    return Markup("{} (<i>C</i><sub>m</sub> = {})").format(
        share, units.number(risks.capability_index, 3)
    )


def _least(case: Case) -> str:
    """'Each value within its limits conforms with a probability of at least 97.7 %.'"""
    risks, within = _risks(case), case.outcome("within")
    if risks is None or risks.least_probability is None or within == 0:
        return ""
    hidden = case.summary.below_floor + case.summary.not_reached if case.summary else 0
    with_number = " and has a number" if hidden else ""
    sure = risks.least_probability > 1.0 - units.NEAREST
    least = units.probability(risks.least_probability).replace(">", "more than")
    if within == 1:
        return f"The value within its limits conforms with a probability of {least}."
    at_least = "" if sure else "at least "
    return (
        f"Each value that lies within its limits{with_number} conforms with a probability of"
        f" {at_least}{least}."
    )


def _risks(case: Case) -> Risks | None:
    """None where nothing has standing, so that nothing is repeated of it."""
    return case.statistics.risks if case.statistics is not None and case.n else None


def table(found: Sequence[Case]) -> Table:
    """The median uncertainty of each condition, and what stands beside the values."""
    limited = any(case.statistics is not None and case.limited for case in found)
    factor = figure_of(found[0].decision.coverage_factor) if found else "2"
    return Table(
        id="sureness",
        caption=f"Median expanded uncertainty of the values with standing (k = {factor}). What the"
        " values of a wafer share stays whole in every mean; the rest shrinks with their number",
        columns=(
            Column("Condition"),
            Column("U", True),
            Column("Shared by a wafer's values", True),
            Column("U of the mean", True),
            Column("Unit"),
            *(
                (
                    Column("U / tolerance", True),
                    Column(Markup("<i>C</i><sub>m</sub>"), True),
                    Column("Least probability of conformity", True),
                )
                if limited
                else ()
            ),
            Column("Values", True),
            Column("Without standing", True),
            Column("Not closed", True),
        ),
        rows=tuple(_row(case, limited) for case in found),
        empty="No value was measured.",
    )


def _row(case: Case, limited: bool) -> Row:
    k, summary = case.decision.coverage_factor, case.summary
    parts: tuple[float | None, ...] = (None,) * 3
    if summary is not None:
        parts = (summary.u, parameter_sentences.shared_u(case), summary.u_mean)
    sizes = [None if u is None else k * u for u in parts]
    counts = (0, 0, 0)
    if summary is not None:
        counts = (summary.n, summary.without_standing, summary.not_closed)
    scale, unit = case.scale_of(sizes)
    return Row(
        Cell(case.condition),
        (
            *(number_cell(size, scale, 2) for size in sizes),
            Cell(unit if sizes[0] is not None else units.MISSING),
            *(_risk_cells(_risks(case)) if limited else ()),
            *(Cell(number_of(count), plain(count), True) for count in counts),
        ),
    )


def _risk_cells(risks: Risks | None) -> tuple[Cell, ...]:
    if risks is None:
        return (percent_over_cell(None), number_cell(None), probability_cell(None))
    return (
        percent_over_cell(risks.uncertainty_share),
        number_cell(risks.capability_index),
        probability_cell(risks.least_probability),
    )
