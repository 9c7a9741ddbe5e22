"""Lots and splits on the campaign's page: what was done to which wafers, and what it changed."""

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Parameter
from sitegen.model.declared_statistics import Split
from sitegen.model.relation_results import Comparison
from sitegen.model.results import CampaignResults
from sitegen.render import statistics_comparison, summaries
from sitegen.render.phrases import joined, link, number_of, plain, several, unbroken, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, numbers, p_cell, reasons
from sitegen.render.tables import compact, filled, there

MOST_SHOWN = 12
"""Comparisons of splits on the campaign's page."""


def lots(results: CampaignResults) -> dict[str, str]:
    """Lot of each wafer; empty where all are of one lot."""
    found = {one.id: one.lot for one in results.wafer_records}
    return found if len(set(found.values())) > 1 else {}


def tables(results: CampaignResults) -> tuple[Table, ...]:
    """The splits, then what was compared between them; () where none is declared."""
    if not results.context.record.splits:
        return ()
    return there(_declared(results), filled(_compared(results)))


def _declared(results: CampaignResults) -> Table:
    read, lot_of = {one.id for one in results.wafer_records}, lots(results)

    def row(split: Split) -> Row:
        named = [
            link(name, addresses.wafer(name)) if name in read else Markup("{}").format(name)
            for name in split.wafers
        ]
        of = sorted({lot_of[name] for name in split.wafers if name in lot_of})
        return Row(
            Cell(split.id),
            (Cell(unbroken(split.name)), Cell(joined(of) if of else ""), Cell(several(named))),
        )

    return compact(
        Table(
            id="splits",
            caption="Wafers that were processed alike",
            columns=(Column("Split"), Column("What was done"), Column("Lots"), Column("Wafers")),
            rows=tuple(row(split) for split in results.context.record.splits),
            wide=True,
        )
    )


def _compared(results: CampaignResults) -> Table:
    """Those that have an interval, the least p first; without rows where none has."""
    record = results.context.record
    parameters = summaries.parameters_of(record)
    every = [
        (one, pair)
        for one in (results.statistics.parameters if results.statistics else ())
        for pair in one.comparisons
        if pair.kind == "splits"
    ]
    stated = [each for each in every if each[1].difference.lower is not None]
    stated.sort(key=lambda each: 1.0 if each[1].adjusted_p is None else each[1].adjusted_p)
    return compact(
        Table(
            id="splits-compared",
            caption="Splits compared, the first less the second, between means of wafers with"
            f" 95{units.THIN}% intervals; p is of no difference, adjusted within each parameter by"
            f" Holm. Those with the least p, {number_of(min(len(stated), MOST_SHOWN))} of"
            f" {number_of(len(every))}; the page of each parameter has the rest",
            columns=(
                Column("Parameter"),
                Column("Condition"),
                Column("Compared"),
                Column("Difference", True),
                Column("Adjusted p", True),
                Column("Remarks"),
            ),
            rows=tuple(
                _row(parameters[one.parameter], one.condition, pair)
                for one, pair in stated[:MOST_SHOWN]
            ),
            wide=True,
        )
    )


def _row(parameter: Parameter, condition: str, pair: Comparison) -> Row:
    anchor = f"#{statistics_comparison.COMPARED}-splits-{condition}"
    name = Markup('{} <span class="name">{}</span>').format(
        link(summaries.symbol(parameter), f"{addresses.parameter(parameter.id)}{anchor}"),
        parameter.name,
    )
    factor, symbol = units.shown_unit([pair.difference.value], parameter.unit)
    value, lower, upper = numbers(pair.difference, factor)
    ends = between(lower, upper, symbol)
    told = with_unit(value, symbol) if value else units.MISSING
    return Row(
        Cell(name, parameter.symbol),
        (
            Cell(condition),
            Cell(f"{pair.first} {units.MINUS} {pair.second}"),
            Cell(f"{told} ({ends})" if ends else told, plain(pair.difference.value), True),
            p_cell(pair.adjusted_p),
            Cell(reasons([pair.reason, pair.difference.reason])),
        ),
    )
