"""Tables and drawings of a parameter under one condition: summaries, zones, outcomes, maps."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.results import Drawing, ParameterResult, Summary
from sitegen.render import summaries
from sitegen.render.cells import count_cell
from sitegen.render.figures import figure
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import joined, link
from sitegen.render.pieces import Cell, Column, Figure, Link, Row, Table, Text

BELOW_IN_DISTRIBUTION = "Readings below the floor are left out, and counted in the table."
BELOW_BY_WAFER = "Readings below the floor are drawn at the floor."
BEYOND = "Values not reached are drawn at what was reached."
ALL_FIGURES = tuple(name for name, _, _ in summaries.FIGURES)


def distribution(case: Case, drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """The histograms of each wafer between the limits."""
    return _chart(case, drawings, "distribution", "Distribution", BELOW_IN_DISTRIBUTION)


def by_wafer(case: Case, drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """The wafers side by side."""
    return _chart(case, drawings, "by-wafer", "Wafer by wafer", BELOW_BY_WAFER)


def _chart(
    case: Case, drawings: Mapping[str, Drawing], kind: str, name: str, below: str
) -> tuple[Figure, ...]:
    drawing = drawings.get(f"{kind}-{case.condition}")
    if drawing is None:
        return ()
    said = [below] if any(result.summary.below_floor for result in case.all) else []
    said += [BEYOND] if any(result.summary.not_reached for result in case.all) else []
    caption = f"{name}{'' if kind == 'by-wafer' else ' on each wafer'}{_under(case)}"
    told = " ".join([f"{caption}.", *said]) if said else caption
    behind = Link("Table", f"#summary-{case.condition}")
    return (figure(drawing, case.page, told, behind),)


def _under(case: Case) -> str:
    return f" under {case.condition}" if case.several else ""


def maps(case: Case, drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """A map of each wafer's values."""
    return tuple(
        figure(
            drawings[f"map/{wafer}/{case.condition}"],
            case.page,
            Markup("{}{}").format(
                link(f"Wafer {wafer}", case.to(addresses.wafer(wafer))),
                f", {case.condition}" if case.several else "",
            ),
            Link("Table", f"#summary-{case.condition}"),
        )
        for wafer in case.results.context.wafers
        if f"map/{wafer}/{case.condition}" in drawings
    )


def contact_maps(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """The contact checks of each wafer that has values under any condition."""
    wafers = sorted({one.wafer for case in found for one in case.by_wafer})
    return tuple(
        figure(
            drawings[f"touchdowns/{wafer}"],
            found[0].page,
            link(
                f"Contact checks, wafer {wafer}",
                found[0].to(f"{addresses.wafer(wafer)}#contact"),
            ),
        )
        for wafer in wafers
        if f"touchdowns/{wafer}" in drawings
    )


def estimated(case: Case) -> tuple[Text, ...]:
    """'Mean and s of LK7-1 and LK7-2: Kaplan-Meier on flipped values.'"""
    found: dict[str, list[str]] = {}
    for one in case.all:
        if one.summary.estimator:
            found.setdefault(one.summary.estimator, []).append(one.wafer or "all wafers")
    return tuple(
        Markup("Mean and s of {}{}: {}.").format(joined(whose), _under(case), told)
        for told, whose in found.items()
    )


def summary_table(case: Case) -> Table:
    """The campaign as a whole, then each wafer."""
    counts = summaries.counted([result.summary for result in case.all])
    caption = _in_unit(f"Summary of the values with standing under {case.condition}", case) + "."
    return Table(
        id=f"summary-{case.condition}",
        caption=f"{caption} {summaries.NO_NUMBER}" if "missing" in counts else caption,
        columns=(
            Column("Wafer"),
            *summaries.count_columns(counts),
            *summaries.figure_columns(ALL_FIGURES),
        ),
        rows=tuple(
            Row(
                _whose(result, case),
                (
                    *summaries.count_cells(result.summary, counts),
                    *summaries.figure_cells(result.summary, case.factor, ALL_FIGURES),
                ),
            )
            for result in case.all
        ),
        empty="No value was measured under this condition.",
    )


def zone_table(case: Case) -> Table:
    """Each wafer's zones."""
    names = ("mean", "standard_deviation", "median", "robust_spread")

    def row(result: ParameterResult, zone: str, summary: Summary) -> Row:
        return Row(
            Cell(result.wafer or "All wafers"),
            (
                Cell(zone),
                count_cell(summary.n),
                count_cell(summary.without_standing),
                *summaries.figure_cells(summary, case.factor, names),
            ),
        )

    caption = f"Zones of equal area under {case.condition}, by the centre of the die"
    return Table(
        id=f"zones-{case.condition}",
        caption=_in_unit(caption, case),
        columns=(
            Column("Wafer"),
            Column("Zone"),
            Column("Values", True),
            Column("Without standing", True),
            *summaries.figure_columns(names),
        ),
        rows=tuple(
            row(result, zone, result.zones[zone])
            for result in case.all
            for zone in ("centre", "middle", "edge")
            if zone in result.zones
        ),
        empty="No zone has values under this condition.",
    )


def outcome_table(case: Case) -> Table:
    """How many values of each wafer came out how."""
    outcomes = summaries.seen([result.outcomes for result in case.all])
    return Table(
        id=f"outcomes-{case.condition}",
        caption=f"Outcomes of the values with standing or not closed under {case.condition}",
        columns=(Column("Wafer"), *summaries.outcome_columns(outcomes)),
        rows=tuple(
            Row(_whose(result, case), summaries.outcome_cells(result.outcomes, outcomes))
            for result in case.all
            if set(outcomes) - {"no limits"}
        ),
        empty=f"No outcome was decided under {case.condition}."
        if case.limited
        else f"There are no specification limits, so nothing was decided under {case.condition}.",
    )


def _whose(result: ParameterResult, case: Case) -> Cell:
    if not result.wafer:
        return Cell("All wafers", " ")
    return Cell(link(result.wafer, case.to(addresses.wafer(result.wafer))))


def _in_unit(text: str, case: Case) -> str:
    return f"{text}, in {case.unit}" if case.unit else text
