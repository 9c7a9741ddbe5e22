"""Table of the values that must agree on a wafer: how many dies do, also where all do."""

from collections.abc import Sequence

from sitegen import addresses, units
from sitegen.model.agreement_results import AgreementCount
from sitegen.model.campaign import CampaignRecord
from sitegen.model.trust import ValueOf
from sitegen.render.cells import count_cell
from sitegen.render.marks import marked
from sitegen.render.phrases import die_name, figure_of, link, plain
from sitegen.render.pieces import Cell, Column, Row, Table


def agreement_table(
    counts: Sequence[AgreementCount], record: CampaignRecord, page: str
) -> Table | None:
    """One row an agreement of the wafer; None where none are declared.

    page: where the table stands.
    """
    if not counts:
        return None
    k = record.decision.coverage_factor
    return Table(
        id="agreements",
        caption="Declared agreements between two values of a die, in counts of dies. Within: the"
        f" two differ by no more than the allowance and ku of their difference, k = {figure_of(k)};"
        " a few dies may lie beyond by chance. The outcome is that of the whole wafer, and allows"
        " for chance. Not compared: one of the two values is lacking, does not stand or is no"
        " number, or has no stated uncertainty. The difference is first less second.",
        columns=(
            Column("Agreement"),
            Column("First"),
            Column("Second"),
            Column("Outcome"),
            Column("Dies within", True),
            Column("Dies beyond", True),
            Column("Dies not compared", True),
            Column("Mean difference ± U", True),
            Column("Allowance", True),
            Column("Largest difference", True),
            Column("On die"),
        ),
        rows=tuple(_row(one, k, page) for one in counts),
        wide=True,
    )


def _row(one: AgreementCount, k: float, page: str) -> Row:
    declared = one.declared
    expanded = None if one.u_mean is None else k * one.u_mean
    return Row(
        Cell(declared.id),
        (
            _value(declared.first, page),
            _value(declared.second, page),
            Cell(marked(one.outcome)),
            count_cell(one.agree),
            count_cell(one.beyond),
            count_cell(one.not_compared),
            Cell(units.quantity(one.mean, one.unit, expanded), plain(one.mean), True),
            Cell(
                units.quantity(declared.allowance, one.unit) if declared.allowance else "none",
                plain(declared.allowance),
                True,
            ),
            Cell(units.quantity(one.largest, one.unit), plain(one.largest), True),
            Cell(units.MISSING if one.largest_die is None else die_name(*one.largest_die)),
        ),
    )


def _value(which: ValueOf, page: str) -> Cell:
    target = addresses.relative(addresses.parameter(which.parameter), page)
    return Cell(link(f"{which.parameter} at {which.condition}", target), which.parameter)
