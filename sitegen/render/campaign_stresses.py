"""Stresses on the page of the campaign, and what the pages of their wafers say first."""

from collections.abc import Iterator, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.declared_statistics import Stress
from sitegen.model.results import CampaignResults
from sitegen.model.shift_results import Shift
from sitegen.render import statistics_shifts, summaries
from sitegen.render.cells import count_cell
from sitegen.render.phrases import link, number_of, plain, several, unbroken, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, numbers, reasons
from sitegen.render.tables import compact
from sitegen.render.wafer_shared import Shared

STRESSES = "stresses"
"""Id of the table."""


def table(results: CampaignResults) -> Table | None:
    """A row for each stress and what was measured before and after it; None without a stress."""
    declared = results.context.record.stresses
    if not declared:
        return None
    made = Table(
        id=STRESSES,
        caption="Wafers measured before and after a stress, and what it did; a record after a"
        " stress takes part in this comparison alone. Mean shifts with 95"
        f"{units.THIN}% intervals; the page of each parameter has the rest",
        columns=(
            Column("Stress"),
            Column("What was done"),
            Column("Wafers"),
            Column("Control wafers"),
            Column("Parameter"),
            Column("Condition"),
            Column("Values before", True),
            Column("Lost", True),
            Column("Mean shift", True),
            Column("Resolved"),
            Column("Beyond the bound", True),
            Column("Not stated because"),
        ),
        rows=tuple(row for stress in declared for row in _rows(stress, results)),
        wide=True,
        ordered=True,
    )
    return compact(made)


def _rows(stress: Stress, results: CampaignResults) -> list[Row]:
    found = [one for one in results.shifts if one.stress == stress.id]
    if not found:
        none, missing = Cell(units.MISSING), Cell(units.MISSING, "", True)
        why = Cell("no parameter has values in it")
        cells = (none, none, missing, missing, missing, none, missing, why)
        return [Row(Cell(stress.id), (*_declared(stress, results), *cells))]
    return [Row(Cell(stress.id), _cells(stress, one, results)) for one in found]


def _declared(stress: Stress, results: CampaignResults) -> tuple[Cell, ...]:
    read = {one.id for one in results.wafer_records}

    def named(wafer: str) -> Markup:
        page = addresses.wafer(wafer)
        return link(wafer, page) if wafer in read else Markup("{}").format(wafer)

    sides = [
        several([Markup("{} → {}").format(named(one.before), named(one.after)) for one in pairs])
        for pairs in (stress.pairs, stress.controls)
    ]
    return Cell(unbroken(stress.name)), Cell(sides[0]), Cell(sides[1])


def _cells(stress: Stress, one: Shift, results: CampaignResults) -> tuple[Cell, ...]:
    record = results.context.record
    parameter = next(each for each in record.parameters if each.id == one.parameter)
    page = f"{addresses.parameter(one.parameter)}#{statistics_shifts.STRESS}"
    name = Markup('{} <span class="name">{}</span>').format(
        link(summaries.symbol(parameter), page), parameter.name
    )
    judged = sum(one.outcomes.values())
    return (
        *_declared(stress, results),
        Cell(name, parameter.symbol),
        Cell(one.condition),
        count_cell(one.had),
        count_cell(one.lost_total),
        _mean(one, parameter.unit),
        Cell(one.resolved),
        Cell(units.MISSING, "", True)
        if one.shift_max is None
        else Cell(f"{number_of(one.beyond)} of {number_of(judged)}", str(one.beyond), True),
        Cell(reasons([one.reason, one.mean.reason])),
    )


def _mean(one: Shift, unit: str) -> Cell:
    """'−3.1 mV (−3.4 mV to −2.8 mV)', in a prefix of its own."""
    if one.mean.value is None:
        return Cell(units.MISSING, "", True)
    factor, symbol = units.shown_unit([one.mean.value], unit)
    value, lower, upper = numbers(one.mean, factor)
    ends = between(lower, upper, symbol)
    told = with_unit(value, symbol)
    return Cell(f"{told} ({ends})" if ends else told, plain(one.mean.value), True)


def measured_around(shared: Shared) -> tuple[Markup, ...]:
    """What the page of a wafer says of its record before or after a stress; empty else."""
    return tuple(_sentences(shared.context.record.stresses, shared))


def _sentences(stresses: Sequence[Stress], shared: Shared) -> Iterator[Markup]:
    mine = shared.record.id
    for stress in stresses:
        name = link(stress.id, shared.to(f"{addresses.HOME}#{STRESSES}"))
        for control, pairs in ((False, stress.pairs), (True, stress.controls)):
            for one in pairs:
                if mine == one.after:
                    yield Markup(
                        "This is wafer {} measured again {}: it takes part in that comparison"
                        " alone, and in no yield and no statistics of the campaign."
                    ).format(
                        _page(one.before, shared),
                        _between(stress, name, control),
                    )
                if mine == one.before:
                    yield Markup("This wafer was measured again as {} {}.").format(
                        _page(one.after, shared), _between(stress, name, control)
                    )


def _between(stress: Stress, name: Markup, control: bool) -> Markup:
    """'after stress HTOL (168 h at 125 °C)', or 'without the stress, as a control wafer of ...'."""
    if control:
        return Markup("without the stress, as a control wafer of stress {} ({})").format(
            name, unbroken(stress.name)
        )
    return Markup("after stress {} ({})").format(name, unbroken(stress.name))


def _page(wafer: str, shared: Shared) -> Markup:
    """A wafer record that a stress names; it has a page where it was read."""
    if wafer not in shared.context.read:
        return Markup("{} (not in the record)").format(wafer)
    return link(wafer, shared.to(addresses.wafer(wafer)))
