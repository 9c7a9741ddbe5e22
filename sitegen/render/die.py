"""View of a die's page. What the dies of a wafer share is made once, in `Shared`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup, escape

from sitegen import addresses, units
from sitegen.model.campaign import CampaignRecord, Condition, Parameter
from sitegen.model.results import CampaignContext, WaferResults
from sitegen.model.wafer import WaferRecord
from sitegen.render import cautions, die_sentences, sentences
from sitegen.render.marks import marked, rank
from sitegen.render.page import FrameArt
from sitegen.render.phrases import (
    die_name,
    figure_of,
    limits,
    link,
    plain,
    stretch,
    why,
    with_unit,
)
from sitegen.render.pieces import Caution, Cell, Column, Fact, Link, Row, Table
from sitegen.render.summaries import conditions_of, parameter_cell, parameters_of, scale
from sitegen.render.traces import TraceFigure, TraceMaker


@dataclass(frozen=True, slots=True)
class DieView:
    """Contract of templates/die.html."""

    title: str
    lead: tuple[Markup, ...]
    """The verdict with its reason, then what must be known beside it."""
    cautions: tuple[Caution, ...]
    values: Table
    traces: tuple[TraceFigure, ...]
    facts: tuple[Fact, ...]
    neighbours: tuple[Link, ...]
    """The die before and the die after, in the order of the wafer's table."""
    elsewhere: tuple[Link, ...]
    """The same die on the other wafers."""
    data: Link
    sources: tuple[str, ...]
    """Files of the campaign that the values were read from."""


COLUMNS = (
    "die_x",
    "die_y",
    "site",
    "parameter",
    "condition",
    "touchdown",
    "touchdowns",
    "counts",
    "value",
    "expanded_uncertainty",
    "floor",
    "below_floor",
    "lower",
    "upper",
    "outcome",
    "outcome_reason",
    "standing",
    "standing_reasons",
    "standing_detail",
    "calibration",
    "measured_at",
    "absurd",
    "file",
)
"""Columns of the results that a die's page shows."""

Columns = Mapping[str, Sequence[object]]


@dataclass(frozen=True, slots=True)
class Kind:
    """What every value of one parameter under one condition shares."""

    parameter: Parameter
    condition: Condition | None
    factor: float
    unit: str
    head: Cell
    condition_cell: Cell
    unit_cell: Cell
    limits_cell: Cell


@dataclass(frozen=True, slots=True)
class DieRow:
    """A die of the wafer's table of dies."""

    die_x: int
    die_y: int
    x_mm: float
    y_mm: float
    zone: str
    full: bool
    planned: bool
    outcome: str
    reason: str
    missing: int


class Shared:
    """What the die pages of one wafer share: links, limits, units, column lists."""

    def __init__(
        self,
        context: CampaignContext,
        record: WaferRecord,
        results: WaferResults,
        frames: Mapping[str, FrameArt],
        bars: Mapping[int, str],
    ) -> None:
        self.context = context
        self.record = record
        self.wafer = record.id
        self.home = addresses.wafer(record.id)
        self.bars = {row: Markup(markup) for row, markup in bars.items()}
        self.columns: Columns = results.results.select(list(COLUMNS)).to_pydict()
        self.dies = die_rows(results)
        self.rows_of = _rows_by_die(self.columns, _order(context.record, self.columns))
        self.traces = TraceMaker(self.wafer, results.traces, frames, context, self.home)
        self.decided = sentences.rule(
            context.record.decision, self.to(f"{addresses.METHOD}#decision")
        )
        self.kinds = self._kinds()
        self.sites = any(self.columns["site"])
        self.repeated = any(number != 1 for number in self.columns["touchdowns"])
        self.calibration_cells = {
            name: Cell(link(str(name), self.to(addresses.calibration(str(name)))))
            if name in context.calibrations
            else Cell(str(name) if name else units.MISSING)
            for name in set(self.columns["calibration"])
        }
        self.cautions_of: dict[frozenset[str], tuple[Caution, ...]] = {}
        self.standing_cells: dict[tuple[object, ...], Cell] = {}

    def to(self, target: str) -> str:
        """A link from a die's page; all of the wafer's pages stand in one folder."""
        return addresses.relative(target, self.home)

    def _kinds(self) -> Mapping[tuple[object, object], Kind]:
        parameters = parameters_of(self.context.record)
        conditions = conditions_of(self.context.record)
        values: dict[tuple[object, object], list[float]] = {}
        names, set_points = self.columns["parameter"], self.columns["condition"]
        for row, value in enumerate(self.columns["value"]):
            found = values.setdefault((names[row], set_points[row]), [])
            if isinstance(value, float):
                found.append(value)
        return {
            key: self._kind(parameters[str(key[0])], conditions.get(str(key[1])), key, found)
            for key, found in values.items()
        }

    def _kind(
        self,
        parameter: Parameter,
        condition: Condition | None,
        key: tuple[object, object],
        values: Sequence[float],
    ) -> Kind:
        factor, unit = units.shown_unit(values, parameter.unit) if values else scale(parameter)
        return Kind(
            parameter=parameter,
            condition=condition,
            factor=factor,
            unit=unit,
            head=parameter_cell(parameter, self.home),
            condition_cell=Cell(Markup(escape(str(key[1])))),
            unit_cell=Cell(unit),
            limits_cell=Cell(limits(parameter.lower, parameter.upper, factor), "", True),
        )

    def cautions(self, conditions: frozenset[str]) -> tuple[Caution, ...]:
        """Cautions for a die on which these conditions were measured."""
        if conditions not in self.cautions_of:
            record = self.context.record
            self.cautions_of[conditions] = cautions.cautions(
                [station for station in record.stations if station.id == self.record.station],
                [condition for condition in record.conditions if condition.id in conditions],
            )
        return self.cautions_of[conditions]


def die_rows(results: WaferResults) -> tuple[DieRow, ...]:
    """The wafer's dies in the order of its table."""
    names = DieRow.__slots__
    columns = results.dies.select(list(names)).to_pydict()
    return tuple(DieRow(*values) for values in zip(*(columns[name] for name in names), strict=True))


def _order(record: CampaignRecord, columns: Columns) -> list[int]:
    """Rows by site, then parameter and condition as the campaign declares them, then touchdown."""
    parameters = {each.id: place for place, each in enumerate(record.parameters)}
    conditions = {each.id: place for place, each in enumerate(record.conditions)}
    keys = [
        (site or "", parameters.get(str(parameter), 0), conditions.get(str(condition), 0), number)
        for site, parameter, condition, number in zip(
            *(columns[name] for name in ("site", "parameter", "condition", "touchdown")),
            strict=True,
        )
    ]
    return sorted(range(len(keys)), key=keys.__getitem__)


def _rows_by_die(
    columns: Columns, order: Sequence[int]
) -> Mapping[tuple[object, object], list[int]]:
    xs, ys = columns["die_x"], columns["die_y"]
    rows: dict[tuple[object, object], list[int]] = {}
    for row in order:
        rows.setdefault((xs[row], ys[row]), []).append(row)
    return rows


def view(shared: Shared, place: int) -> DieView:
    """The page of the die at `place` in the wafer's table of dies."""
    die = shared.dies[place]
    rows = shared.rows_of.get((die.die_x, die.die_y), [])
    name = die_name(die.die_x, die.die_y)
    conditions = frozenset(str(shared.columns["condition"][row]) for row in rows)
    return DieView(
        title=f"Die {name} of wafer {shared.wafer}",
        lead=die_sentences.die(
            _facts_of_verdict(shared, die, rows),
            shared.decided,
            shared.context.record.touchdowns.counts,
        ),
        cautions=shared.cautions(conditions),
        values=_values(shared, rows),
        traces=shared.traces.of(die.die_x, die.die_y, name),
        facts=_facts(shared, die, rows),
        neighbours=_neighbours(shared, place),
        elsewhere=_elsewhere(shared, die),
        data=Link("Download the values", shared.to(addresses.DATA)),
        sources=tuple(dict.fromkeys(str(shared.columns["file"][row]) for row in rows)),
    )


def _neighbours(shared: Shared, place: int) -> tuple[Link, ...]:
    found = []
    for words, other in (("Die before", place - 1), ("Die after", place + 1)):
        if 0 <= other < len(shared.dies):
            die = shared.dies[other]
            target = f"{addresses.die_stem(die.die_x, die.die_y)}.html"
            found.append(Link(f"{words}: {die_name(die.die_x, die.die_y)}", target))
    return tuple(found)


def _elsewhere(shared: Shared, die: DieRow) -> tuple[Link, ...]:
    """Full dies have a page on every wafer; of others nothing is known here."""
    if not die.full:
        return ()
    return tuple(
        Link(wafer, shared.to(addresses.die(wafer, die.die_x, die.die_y)))
        for wafer in shared.context.wafers
        if wafer != shared.wafer
    )


def _facts(shared: Shared, die: DieRow, rows: Sequence[int]) -> tuple[Fact, ...]:
    times = [
        time for row in rows if isinstance(time := shared.columns["measured_at"][row], datetime)
    ]
    where = f"{figure_of(die.x_mm)}, {figure_of(die.y_mm)}{units.THIN}mm from the wafer's centre"
    facts = [
        Fact("Zone", die.zone),
        Fact("Centre", where),
        Fact("Whole inside the edge exclusion", "yes" if die.full else "no"),
        Fact("Planned", "yes" if die.planned else "no"),
    ]
    if times:
        facts.append(Fact("Measured", stretch(min(times), max(times))))
    return tuple(facts)


def _facts_of_verdict(shared: Shared, die: DieRow, rows: Sequence[int]) -> die_sentences.DieFacts:
    columns = shared.columns
    counting = [row for row in rows if columns["counts"][row]]
    measured = [row for row in counting if columns["value"][row] is not None]
    lost = [row for row in measured if columns["standing"][row] == "without standing"]
    stands = [row for row in measured if columns["standing"][row] != "without standing"]
    outcomes = {
        outcome: tuple(_told(shared, row) for row in stands if columns["outcome"][row] == outcome)
        for outcome in ("outside", "not proven", "not assessable")
    }
    reasons = sorted(
        {
            reason
            for row in lost
            for reason in str(columns["standing_reasons"][row] or "").split("; ")
            if reason
        }
    )
    return die_sentences.DieFacts(
        name=die_name(die.die_x, die.die_y),
        outcome=die.outcome,
        reason=die.reason or "",
        planned=die.planned,
        limited=sum(columns["outcome"][row] != "no limits" for row in stands),
        outside=outcomes["outside"],
        not_proven=outcomes["not proven"],
        not_assessable=outcomes["not assessable"],
        missing=die.missing,
        without_standing=len(lost),
        standing_reasons=tuple(reasons),
        not_closed=sum(columns["standing"][row] == "not closed" for row in stands),
        repeated=sum(_number(columns["touchdowns"][row]) > 1 for row in counting),
    )


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


def _float(value: object) -> float | None:
    return value if isinstance(value, float) else None


def _told(shared: Shared, row: int) -> str:
    """'threshold voltage (room) 712 mV, above 650 mV'."""
    columns = shared.columns
    kind = shared.kinds[columns["parameter"][row], columns["condition"][row]]
    value, lower, upper = (_float(columns[name][row]) for name in ("value", "lower", "upper"))
    shown = "below its floor" if columns["below_floor"][row] else _shown(value, kind)
    name = f"{kind.parameter.name} ({columns['condition'][row]}) {shown}"
    if columns["outcome"][row] == "not assessable":
        return f"{name}: {columns['outcome_reason'][row]}"
    if value is None:
        return name
    for limit, beyond, near in ((upper, "above", "below"), (lower, "below", "above")):
        if limit is None:
            continue
        if (value > limit) if limit == upper else (value < limit):
            return f"{name}, {beyond} {_shown(limit, kind)}"
        if columns["outcome"][row] == "not proven" and _nearer(value, limit, lower, upper):
            return f"{name}, just {near} {_shown(limit, kind)}"
    return name


def _nearer(value: float, limit: float, lower: float | None, upper: float | None) -> bool:
    """True where `limit` is the one that the value lies nearer to."""
    return all(
        abs(value - limit) <= abs(value - other) for other in (lower, upper) if other is not None
    )


def _shown(value: float | None, kind: Kind) -> str:
    if value is None:
        return units.MISSING
    return with_unit(units.number(value * kind.factor, 4), kind.unit)


def _values(shared: Shared, rows: Sequence[int]) -> Table:
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
        Column("Calibration"),
    ]
    decision = shared.context.record.decision
    caption = (
        f"Every value of this die. U = ku with k = {figure_of(decision.coverage_factor)}."
        " The full numbers are in the data."
    )
    return Table(
        id="values",
        caption=caption,
        columns=tuple(heads),
        rows=tuple(_value_row(shared, row) for row in rows),
        empty="No value of this die is in the record.",
    )


def _value_row(shared: Shared, row: int) -> Row:
    columns = shared.columns
    kind = shared.kinds[columns["parameter"][row], columns["condition"][row]]
    counts = bool(columns["counts"][row])
    cells = [kind.condition_cell]
    if shared.sites:
        cells.append(Cell(str(columns["site"][row])))
    if shared.repeated:
        cells.append(_touchdown_cell(columns, row, counts))
    cells += [
        _value_cell(columns, row, kind),
        kind.unit_cell,
        kind.limits_cell,
        Cell(shared.bars.get(row, "")),
        _outcome_cell(columns, row, counts),
        _standing_cell(shared, row),
        shared.calibration_cells[columns["calibration"][row]],
    ]
    return Row(kind.head, tuple(cells), "" if counts else "aside")


def _touchdown_cell(columns: Columns, row: int, counts: bool) -> Cell:
    touchdown, of = columns["touchdown"][row], columns["touchdowns"][row]
    if touchdown is None:
        return Cell(units.MISSING, "", True)
    text = "mean" if touchdown == 0 else f"{touchdown} of {of}"
    if of == 1:
        return Cell("1", "1", True)
    said = Markup("{} <strong>counts</strong>") if counts else Markup("{} does not count")
    return Cell(said.format(text), str(touchdown), True)


def _value_cell(columns: Columns, row: int, kind: Kind) -> Cell:
    value, expanded, floor = (
        _float(columns[name][row]) for name in ("value", "expanded_uncertainty", "floor")
    )
    if columns["below_floor"][row] and floor is not None:
        text = f"< {units.number(floor * kind.factor, 3)}"
        if value is not None:
            text += f" (reads {units.number(value * kind.factor, 3)})"
    elif value is None:
        text = units.MISSING
    else:
        text = units.with_uncertainty(
            value * kind.factor, None if expanded is None else expanded * kind.factor
        )
    if columns["absurd"][row]:
        return Cell(Markup("{} <em>absurd</em>").format(text), plain(value), True)
    return Cell(text, plain(value), True)


def _outcome_cell(columns: Columns, row: int, counts: bool) -> Cell:
    outcome, reason = str(columns["outcome"][row]), columns["outcome_reason"][row]
    text = marked(outcome)
    if reason:
        text = text + Markup(' <span class="why">{}</span>').format(reason)
    return Cell(text, rank(outcome))


def _standing_cell(shared: Shared, row: int) -> Cell:
    columns = shared.columns
    if columns["value"][row] is None:
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
