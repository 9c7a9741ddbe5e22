"""The table of a die's values: every touchdown, the one that counts marked."""

import re
from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.render.die_decisions import decision_of
from sitegen.render.marks import marked, rank
from sitegen.render.phrases import figure_of, plain, stated, why
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.wafer_shared import Columns, Kind, Shared, as_float

_SET_POINT = re.compile(r"\b(\w+)_(v|a)=([-+.eE\d]+)")


def table(shared: Shared, rows: Sequence[int]) -> Table:
    """The values of one die, in the order of `rows`."""
    heads = [Column("Parameter"), Column("Condition")]
    heads += [Column("Site")] if shared.sites else []
    heads += [Column("Touchdown", True)] if shared.repeated else []
    heads += [
        Column("Value ± U", True),
        Column("Unit"),
        Column("Limits", True),
        Column("Between limits"),
        Column("Outcome"),
        Column("Standing"),
        Column("Evidence"),
    ]
    record = shared.context.record
    factors = {(one.decision or record.decision).coverage_factor for one in record.parameters}
    k = f"k = {figure_of(next(iter(factors)))}" if len(factors) == 1 else "the k of its rule"
    from_one = _run_from_one(shared.columns, rows)
    caption = f"Every value of this die. U = ku with {k}. The full numbers are in the data."
    return Table(
        id="values",
        caption=caption,
        columns=tuple(heads),
        rows=tuple(_value_row(shared, row, from_one) for row in rows),
        empty="No value of this die is in the record.",
    )


def _run_from_one(columns: Columns, rows: Sequence[int]) -> bool:
    """Whether the touchdowns of each value are numbered 1, 2, ...: a station may number them all
    together, or from where it likes."""
    pairs = [(columns["touchdown"][row], columns["touchdowns"][row]) for row in rows]
    return all(not number or int(str(number)) <= int(str(of)) for number, of in pairs)


def _value_row(shared: Shared, row: int, from_one: bool) -> Row:
    columns = shared.columns
    kind = shared.kinds[columns["parameter"][row], columns["condition"][row]]
    counts = bool(columns["counts"][row])
    cells = [kind.condition_cell]
    if shared.sites:
        cells.append(Cell(str(columns["site"][row])))
    if shared.repeated:
        cells.append(_touchdown_cell(columns, row, counts, from_one))
    cells += [
        _value_cell(columns, row, kind),
        kind.unit_cell,
        kind.limits_cell,
        Cell(shared.bars.get(row, "")),
        _outcome_cell(shared, row, kind),
        _standing_cell(shared, row),
        shared.evidence_cell(row),
    ]
    return Row(kind.head, tuple(cells), "" if counts else "aside")


def _touchdown_cell(columns: Columns, row: int, counts: bool, from_one: bool) -> Cell:
    touchdown, of = columns["touchdown"][row], columns["touchdowns"][row]
    if not of:
        return Cell(units.MISSING, "", True)
    if of == 1:
        return Cell(str(touchdown or 1), str(touchdown or 1), True)
    numbered = f"{touchdown} of {of}" if from_one else f"of {of} touchdowns number {touchdown}"
    text = "mean" if touchdown == 0 else numbered
    said = Markup("{} <strong>counts</strong>") if counts else Markup("{} does not count")
    return Cell(said.format(text), str(touchdown), True)


def _value_cell(columns: Columns, row: int, kind: Kind) -> Cell:
    value, expanded, floor = (
        as_float(columns[name][row]) for name in ("value", "expanded_uncertainty", "floor")
    )
    if columns["below_floor"][row] and floor is not None:
        text = f"< {units.number(floor * kind.factor, 3)}"
        reading = value if value is not None else as_float(columns["raw_reading"][row])
        if reading is not None:
            text += f" (reads {units.number(reading * kind.factor, 3)})"
    elif columns["not_reached"][row] and value is not None:
        text = f"{'>' if value >= 0 else '<'} {units.number(value * kind.factor, 4)} (not reached)"
    elif value is None:
        text = units.MISSING if columns["outcome"][row] == "not measured" else "no number"
    else:
        text = units.with_uncertainty(
            value * kind.factor, None if expanded is None else expanded * kind.factor
        )
    shown = Markup("{} <em>absurd</em>").format(text) if columns["absurd"][row] else text
    told = "; ".join(str(columns[name][row]) for name in ("flags", "remarks") if columns[name][row])
    if told:
        shown = Markup('{} <span class="why">{}</span>').format(shown, told)
    return Cell(shown, plain(value), True)


def _outcome_cell(shared: Shared, row: int, kind: Kind) -> Cell:
    columns = shared.columns
    outcome, reason = str(columns["outcome"][row]), columns["outcome_reason"][row]
    text = marked(outcome)
    if reason:
        share = as_float(columns["uncertainty_share"][row])
        bound = decision_of(kind.parameter, shared.context.record).uncertainty_share_max
        exceeds = bound is not None and share is not None and share > bound
        here = f" (here {units.percent_over(share)})" if exceeds else ""
        text = text + Markup(' <span class="why">{}{}</span>').format(reason, here)
    return Cell(text, rank(outcome))


def _standing_cell(shared: Shared, row: int) -> Cell:
    columns = shared.columns
    if not columns["standing"][row] or columns["outcome"][row] == "not measured":
        return Cell(units.MISSING)
    key = tuple(columns[name][row] for name in ("standing", "standing_reasons", "standing_detail"))
    if key not in shared.standing_cells:
        standing, reasons, detail = key
        text = marked(str(standing))
        told = why(reasons, detail)
        if told:
            text = text + Markup(' <span class="why">{}</span>').format(told)
        shared.standing_cells[key] = Cell(text, str(standing))
    return shared.standing_cells[key]


def delivered(shared: Shared, rows: Sequence[int]) -> Table | None:
    """Bias as measured and as delivered, and power at the tip, once for each condition."""
    columns = shared.columns
    names = ("condition", "bias", "delivered_bias", "tip_power_dbm")
    found = dict.fromkeys(
        tuple(columns[name][row] for name in names)
        for row in rows
        if columns["delivered_bias"][row] or columns["tip_power_dbm"][row] is not None
    )
    if not found:
        return None
    return Table(
        id="delivered",
        caption="Bias at the device, after what lies between it and the source, and source power"
        " at the probe tip",
        columns=(
            Column("Condition"),
            Column("Measured at the source"),
            Column("Delivered"),
            Column("Power at the tip / dBm", True),
        ),
        rows=tuple(
            Row(
                Cell(str(condition)),
                (
                    Cell(_set_points(bias)),
                    Cell(_set_points(at_device)),
                    Cell(figure_of(as_float(power), 3), "", True),
                ),
            )
            for condition, bias, at_device, power in found
        ),
    )


def _set_points(told: object) -> str:
    """'vds_v=9.9752 (24.8 mV dropped)' as 'vds = 9.9752 V (24.8 mV dropped)'."""

    def shown(found: re.Match[str]) -> str:
        return f"{found[1]} = {stated(float(found[3]), found[2].upper())}"

    text = _SET_POINT.sub(shown, str(told or units.MISSING))
    return re.sub(r"(?<=\S) (?=\w+ = )", ", ", text)
