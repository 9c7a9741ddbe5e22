"""Tables of what a structure was judged by: masks, whole sweeps, line quantities, physics."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import (
    Agreement,
    LineQuantityResult,
    MaskResult,
    PhysicalCheck,
    StructureResult,
)
from sitegen.render.cells import count_cell
from sitegen.render.marks import marked
from sitegen.render.phrases import (
    figure_of,
    frequency,
    link,
    number_of,
    percent,
    plain,
    spelled,
    with_unit,
)
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.tables import split
from sitegen.render.verification_sentences import (
    LINE_QUANTITIES,
    QUANTITIES,
    SWEEP_RULES,
    place_of,
    ratio_text,
)

MOST_ROWS = 51
"""A table of deviations has about as many rows; every one is in the data."""


@dataclass(frozen=True, slots=True)
class Deviations:
    """Deviations under one mask, folded away until they are asked for."""

    title: str
    tables: tuple[Table, ...]


def verdict(outcome: str, reason: str = "") -> Markup:
    """The outcome with its mark, and why."""
    why = Markup(' <span class="why">{}</span>').format(reason) if reason else Markup("")
    return marked(outcome) + why


def mask_table(
    name: str, caption: str, masks: Sequence[tuple[str, MaskResult]], coverage_factor: float
) -> Table:
    """Verdicts under masks, each with its worst point. masks: each with what heads its row."""
    return Table(
        id=name,
        caption=caption,
        columns=(
            Column("Mask"),
            Column("Outcome"),
            Column("Worst at", True),
            Column("Deviation ± U there", True),
            Column("Allowed", True),
            Column("Share of the mask", True),
            Column("Margin", True),
            Column("Points judged", True),
            Column("Outside its range", True),
        ),
        rows=tuple(_mask_row(head, mask, coverage_factor) for head, mask in masks),
        empty="Nothing was judged under a mask.",
    )


def _mask_row(head: str, mask: MaskResult, coverage_factor: float) -> Row:
    unit = QUANTITIES[mask.mask.quantity][1]
    found = allowed = at = units.MISSING
    if mask.worst_frequency_hz is not None:
        place = place_of(mask, mask.worst_frequency_hz)
        expanded = None if mask.u is None else coverage_factor * float(mask.u[place])
        found = with_unit(units.with_uncertainty(abs(float(mask.deviation[place])), expanded), unit)
        allowed = with_unit(units.number(float(mask.limit[place]), 3), unit)
        at = frequency(mask.worst_frequency_hz)
    share = units.MISSING if mask.worst_ratio is None else ratio_text(mask.worst_ratio)
    margin = with_unit(units.number(mask.worst_margin, 3), unit)
    return Row(
        Cell(head),
        (
            Cell(verdict(mask.outcome, mask.reason)),
            Cell(at, plain(mask.worst_frequency_hz), True),
            Cell(found, "", True),
            Cell(allowed, "", True),
            Cell(share, plain(mask.worst_ratio), True),
            Cell(margin, plain(mask.worst_margin), True),
            count_cell(mask.points_judged),
            count_cell(mask.points_outside_mask),
        ),
    )


def mask_name(mask: MaskResult) -> str:
    """'S21, complex deviation'."""
    return f"{mask.mask.parameter.upper()}, {QUANTITIES[mask.mask.quantity][0]}"


def deviations(
    name: str,
    about: str,
    mask: MaskResult,
    coverage_factor: float,
    subject: str = "Deviation",
) -> Deviations:
    """Deviations under a mask with their uncertainty and guard band, at most about `MOST_ROWS`.

    Of a longer list every second, third, ... frequency, the worst one and those beyond the mask.
    """
    words, unit = QUANTITIES[mask.mask.quantity]
    port = mask.mask.parameter.upper()
    guarded = mask.guard is not None
    places, told = _shown_places(mask)
    return Deviations(
        f"{subject} of {port} over frequency ({words})",
        split(
            name,
            f"{about}, {port}: {words}" + (f" in {unit}" if unit else "") + told,
            (
                Column("Frequency", True),
                Column("Deviation", True),
                *((Column("U", True),) if mask.u is not None else ()),
                *((Column("Guard band", True),) if guarded else ()),
                Column("Mask", True),
                Column("Share of the mask", True),
            ),
            tuple(_deviation_rows(mask, places, coverage_factor)),
            "No frequency was judged.",
        ),
    )


def _shown_places(mask: MaskResult) -> tuple[Sequence[int], str]:
    """Which frequencies a table shows, and what it says of those left out."""
    total = len(mask.frequency_hz)
    step = -(-total // MOST_ROWS)
    if step <= 1:
        return range(total), ""
    worst = None
    if mask.worst_frequency_hz is not None:
        worst = place_of(mask, mask.worst_frequency_hz)
    beyond = (abs(mask.deviation) > mask.limit).tolist()
    chosen = [at for at in range(total) if at % step == 0 or at == worst or beyond[at]]
    told = (
        f". Shown are one frequency in {spelled(step)}, the worst and those beyond the mask; all"
        f" {number_of(total)} are in the data"
    )
    return chosen, told


def _deviation_rows(
    mask: MaskResult, places: Sequence[int], coverage_factor: float
) -> Iterator[Row]:
    def number(values: FloatArray | None, place: int, digits: int = 3) -> tuple[Cell, ...]:
        if values is None:
            return ()
        value = float(values[place])
        text = "∞" if math.isinf(value) else units.number(value, digits)
        return (Cell(text, plain(value), True),)

    measured = abs(mask.deviation)
    reach = measured if mask.guard is None else measured + mask.guard
    expanded = None if mask.u is None else coverage_factor * mask.u
    for place in places:
        at = float(mask.frequency_hz[place])
        share = float(reach[place] / mask.limit[place])
        judged = math.isfinite(share)
        yield Row(
            Cell(frequency(at), plain(at), True),
            (
                *number(measured, place),
                *number(expanded, place, 2),
                *number(mask.guard, place, 2),
                *number(mask.limit, place),
                Cell(
                    ratio_text(share) if judged else units.MISSING,
                    plain(share) if judged else "",
                    True,
                ),
            ),
            "beyond" if judged and measured[place] > mask.limit[place] else "",
        )


def agreement_table(
    name: str, what: str, agreements: Sequence[tuple[str, Agreement]], page: str
) -> Table | None:
    """Whether whole sweeps agree; None where there is none.

    what: 'Whether ... agrees with ...', the beginning of the caption; agreements: each with what
    heads its row.
    """
    if not agreements:
        return None
    return Table(
        id=name,
        caption=Markup(
            "{} over the whole sweep, within both uncertainties. A {} is at most 1 in 95 % of the"
            " points that agree."
        ).format(
            what,
            link(
                "normalised deviation",
                addresses.relative(f"{addresses.METHOD}#agreement", page),
            ),
        ),
        columns=(
            Column("Sweep"),
            Column("Outcome"),
            Column("Rule"),
            Column("Found", True),
            Column("Limit", True),
            Column("False-alarm rate", True),
            Column("In words"),
        ),
        rows=tuple(_agreement_row(head, one) for head, one in agreements),
        wide=True,
    )


def _agreement_row(head: str, one: Agreement) -> Row:
    def figure(value: float | None) -> str:
        if value is not None and one.rule == "share of points":
            return percent(value)
        return units.number(value, 3)

    judged = one.rule != "shown"
    return Row(
        Cell(head),
        (
            Cell(marked(one.outcome if judged else "shown, not judged")),
            Cell(SWEEP_RULES[one.rule] if judged else units.MISSING),
            Cell(figure(one.figure), plain(one.figure), True),
            Cell(figure(one.limit) if judged else units.MISSING, "", True),
            Cell(percent(one.false_alarm_rate) if judged else units.MISSING, "", True),
            Cell(Markup('<span class="words">{}</span>').format(one.text)),
        ),
    )


def line_table(result: StructureResult, coverage_factor: float) -> Table | None:
    """Quantities of a line against their references; None for a structure without any."""
    if not result.line_quantities:
        return None
    return Table(
        id=f"line-{result.structure.id}",
        caption=f"{result.structure.id} as a line: its quantities, each ± its expanded uncertainty"
        f" (k = {figure_of(coverage_factor)}). The normalised error is the difference divided by"
        " both expanded uncertainties in quadrature; beyond ±1 the two disagree.",
        columns=(
            Column("Quantity"),
            Column("At", True),
            Column("Outcome"),
            Column("Measured", True),
            Column("Reference", True),
            Column("Difference", True),
            Column("Tolerance", True),
            Column("Normalised error", True),
        ),
        rows=tuple(_line_row(one, coverage_factor) for one in result.line_quantities),
    )


def _line_row(one: LineQuantityResult, coverage_factor: float) -> Row:
    declared = one.declared
    words, unit = LINE_QUANTITIES[declared.quantity]

    def stated(value: float | None, u: float | None) -> str:
        expanded = None if u is None else coverage_factor * u
        return with_unit(units.with_uncertainty(value, expanded), unit)

    return Row(
        Cell(words),
        (
            Cell(frequency(declared.frequency_hz), plain(declared.frequency_hz), True),
            Cell(verdict(one.outcome, one.reason)),
            Cell(stated(one.value, one.u), plain(one.value), True),
            Cell(stated(declared.reference, declared.reference_u), "", True),
            Cell(with_unit(units.number(one.difference, 3), unit), plain(one.difference), True),
            Cell(with_unit(figure_of(declared.tolerance), unit), "", True),
            Cell(units.number(one.normalised, 3), plain(one.normalised), True),
        ),
    )


def physical_table(structure: str, checks: Sequence[PhysicalCheck]) -> Table | None:
    """Passivity and reciprocity of a structure; None where it declares neither."""
    if not checks:
        return None
    words = {
        "passivity": "passivity: greatest singular value less 1",
        "reciprocity": "reciprocity: greatest |S21 − S12|",
    }
    return Table(
        id=f"physics-{structure}",
        caption=f"Whether the corrected sweep of {structure} is what physics allows",
        columns=(
            Column("Property"),
            Column("Outcome"),
            Column("Found", True),
            Column("At", True),
            Column("Tolerance", True),
        ),
        rows=tuple(
            Row(
                Cell(words[one.property]),
                (
                    Cell(marked(one.outcome)),
                    Cell(units.number(one.figure, 3), plain(one.figure), True),
                    Cell(
                        units.MISSING if one.at_hz is None else frequency(one.at_hz),
                        plain(one.at_hz),
                        True,
                    ),
                    Cell(figure_of(one.tolerance), "", True),
                ),
            )
            for one in checks
        ),
    )
