"""Studies of repeatability and reproducibility, on the pages of the campaign and of records."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.declared_statistics import Study
from sitegen.model.results import CampaignResults
from sitegen.model.statistics import Estimate
from sitegen.model.variation_results import GaugeStudy
from sitegen.render import summaries
from sitegen.render.cells import percent_cell, percent_over_cell
from sitegen.render.phrases import joined, link, plain, several, with_unit
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_text import between, numbers, reasons
from sitegen.render.tables import compact
from sitegen.render.wafer_shared import Shared

STUDIES = "studies"
"""Id of the table."""


def table(results: CampaignResults) -> Table | None:
    """A row for each study and what was measured in it; None where no study is declared."""
    declared = results.context.record.studies
    if not declared:
        return None
    sure = f"95{units.THIN}%"
    made = Table(
        id=STUDIES,
        caption="Repeatability and reproducibility together, as a standard deviation with its"
        f" {sure} interval; its share of the total is of standard deviations, that of the tolerance"
        " of 6 of them. The page of each parameter parts them",
        columns=(
            Column("Study"),
            Column("Between"),
            Column("Records"),
            Column("Dies × appraisers × repeats"),
            Column("Parameter"),
            Column("Condition"),
            Column("Together", True),
            Column("Of the total", True),
            Column("Of the tolerance", True),
            Column("Not stated because"),
        ),
        rows=tuple(row for study in declared for row in _rows(study, results)),
        wide=True,
        ordered=True,
    )
    return compact(made)


def measured_for(shared: Shared) -> Markup:
    """First sentence of a record that was measured for a study only."""
    studies = [one.id for one in shared.context.record.studies if shared.record.id in one.wafers]
    href = shared.to(f"{addresses.HOME}#{STUDIES}")
    whose = (
        Markup("{} {}").format(
            "study" if len(studies) == 1 else "studies",
            joined([link(one, href) for one in studies]),
        )
        if studies
        else Markup("a study")
    )
    return Markup(
        "This record was measured for {} only: it takes no part in yields and in the statistics of"
        " the campaign."
    ).format(whose)


def _rows(study: Study, results: CampaignResults) -> Sequence[Row]:
    computed = () if results.statistics is None else results.statistics.parameters
    found = [one for each in computed for one in each.studies if one.study == study.id]
    if not found:
        none = Cell(units.MISSING)
        missing = Cell(units.MISSING, "", True)
        why = Cell("no parameter has values in it")
        return (
            Row(Cell(study.id), (*_declared(study, "", results), none, none, *(missing,) * 3, why)),
        )
    return [_row(study, one, results) for one in found]


def _declared(study: Study, size: str, results: CampaignResults) -> tuple[Cell, ...]:
    """Between what, and the pages of its records as far as there are any."""
    read = {one.id for one in results.wafer_records}
    records = several(
        [link(name, addresses.wafer(name)) if name in read else name for name in study.wafers]
    )
    return Cell(study.between), Cell(records, study.wafers[0]), Cell(size or units.MISSING)


def _row(study: Study, one: GaugeStudy, results: CampaignResults) -> Row:
    record = results.context.record
    parameter = next(each for each in record.parameters if each.id == one.parameter)
    name = Markup('{} <span class="name">{}</span>').format(
        link(summaries.symbol(parameter), f"{addresses.parameter(one.parameter)}#measurement"),
        parameter.name,
    )
    return Row(
        Cell(study.id),
        (
            *_declared(study, f"{one.parts} × {one.appraisers} × {one.repeats}", results),
            Cell(name, parameter.symbol),
            Cell(one.condition),
            _together(one.combined, parameter.unit),
            percent_cell(one.share_of_total),
            percent_over_cell(one.share_of_tolerance),
            Cell(reasons([one.reason, one.combined.reason])),
        ),
    )


def _together(found: Estimate, unit: str) -> Cell:
    """'1.2 Ω/sq (0.9 Ω/sq to 6.1 Ω/sq)', in a prefix of its own."""
    if found.value is None:
        return Cell(units.MISSING, "", True)
    factor, symbol = units.shown_unit([found.value], unit)
    value, lower, upper = numbers(found, factor, 2)
    interval = between(lower, upper, symbol)
    told = with_unit(value, symbol)
    return Cell(f"{told} ({interval})" if interval else told, plain(found.value), True)
