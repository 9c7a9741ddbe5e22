"""By which rule a parameter is judged, and the acceptance limits of a typical value."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.decision import RULE_TEXTS
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import capital, figure_of, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import number_cell

NO_ZONE = "the guard bands leave no acceptance zone"


def rule_table(found: Sequence[Case]) -> Table | None:
    """Rule, limits, and acceptance limits at the median uncertainty; None without a limit."""
    if not found or not found[0].limited:
        return None
    return Table(
        id="rule",
        caption="The rule, and its acceptance limits for a value with the median uncertainty; each"
        " value is judged by its own",
        columns=(
            Column("Condition"),
            Column("Rule"),
            Column("Lower limit", True),
            Column("Upper limit", True),
            Column("k", True),
            Column("Guard band w", True),
            Column("Lower acceptance limit", True),
            Column("Upper acceptance limit", True),
            Column("Unit"),
            Column("Clause"),
            Column("Not stated because"),
        ),
        rows=tuple(_row(case) for case in found),
        wide=True,
    )


def _row(case: Case) -> Row:
    parameter, decision = case.parameter, case.decision
    u = None if case.summary is None else case.summary.u
    w = decision.guard_band(u)
    stated = w is not None or decision.rule == "simple"
    limits = parameter.lower, parameter.upper
    accepted = decision.acceptance_limits(*limits, u) if stated else (None, None)
    text = RULE_TEXTS[decision.rule]
    reason = "" if stated else "no uncertainty is stated"
    if stated and accepted == (None, None):
        reason = NO_ZONE
    return Row(
        Cell(case.condition),
        (
            Cell(capital(text.title)),
            *(_limit(case, limit) for limit in limits),
            Cell(figure_of(decision.coverage_factor), plain(decision.coverage_factor), True),
            number_cell(w, case.factor, 2),
            *(_accepted(case, limit, w) for limit in accepted),
            Cell(case.unit),
            Cell(text.clauses),
            Cell(reason),
        ),
    )


def _limit(case: Case, limit: float | None) -> Cell:
    shown = units.MISSING if limit is None else figure_of(limit * case.factor)
    return Cell(shown, plain(limit), True)


def _accepted(case: Case, limit: float | None, w: float | None) -> Cell:
    """To the decimal place of the guard band."""
    if limit is None or not w:
        return _limit(case, limit)
    shown = units.to_place_of(limit * case.factor, w * case.factor)
    return Cell(shown, plain(limit), True)
