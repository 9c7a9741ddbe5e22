"""What the pages of one wafer share: its columns, links, limits and units, made once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from sitegen import addresses, units
from sitegen.model.campaign import CampaignRecord, Condition, Parameter
from sitegen.model.results import CampaignContext, WaferResults
from sitegen.model.wafer import WaferRecord
from sitegen.render import cautions, rule_sentences, touchdowns
from sitegen.render.page import FrameArt
from sitegen.render.phrases import limits, link
from sitegen.render.pieces import Caution, Cell
from sitegen.render.summaries import (
    condition_cell,
    conditions_of,
    parameter_cell,
    parameters_of,
    scale,
)
from sitegen.render.traces import TraceMaker

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
    "raw_reading",
    "not_reached",
    "lower",
    "upper",
    "acceptance_lower",
    "acceptance_upper",
    "guard_band",
    "uncertainty_share",
    "probability_of_conformity",
    "probability_with_prior",
    "outcome",
    "outcome_reason",
    "standing",
    "standing_reasons",
    "standing_detail",
    "calibration",
    "calibration_basis",
    "measured_at",
    "bias",
    "delivered_bias",
    "tip_power_dbm",
    "remarks",
    "flags",
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
    conforming: bool
    other_verdicts: str
    """'first: outside; mean: not proven' under other rules of choice between touchdowns."""


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
        self.dies = _die_rows(results)
        self.rows_of = _rows_by_die(self.columns, _order(context.record, self.columns))
        self.traces = TraceMaker(self.wafer, results.traces, frames, context, self.home)
        self.decided = rule_sentences.rules(context.record, self.to(f"{addresses.METHOD}#decision"))
        self.kinds = self._kinds()
        self.sites = any(self.columns["site"])
        self.repeated = any(number > 1 for number in self.columns["touchdowns"])
        self.calibration_cells = {
            key: self._calibration_cell(*key)
            for key in set(
                zip(self.columns["calibration"], self.columns["calibration_basis"], strict=True)
            )
        }
        self.dc_instrument_cell = Cell(
            self.instrument(record.dc_instrument) if record.dc_instrument else units.MISSING
        )
        self.planned_conditions = frozenset(
            condition
            for parameter in context.record.parameters
            if parameter.coverage == "every die"
            for condition in parameter.conditions
        )
        """Conditions under which the plan asks for a value on every die."""
        self.touchdowns = touchdowns.of_die(results)
        self.cautions_of: dict[frozenset[str], tuple[Caution, ...]] = {}
        self.standing_cells: dict[tuple[object, ...], Cell] = {}

    def _calibration_cell(self, name: object, basis: object) -> Cell:
        """A calibration with its link, and how it was chosen."""
        if not name:
            return Cell(units.MISSING)
        text = self.calibration(str(name))
        return Cell(text + Markup(' <span class="why">{}</span>').format(basis) if basis else text)

    def evidence_cell(self, row: int) -> Cell:
        """The calibration behind a value of `columns`; the instrument where it needs none."""
        kind = self.kinds[self.columns["parameter"][row], self.columns["condition"][row]]
        if kind.parameter.kind == "dc" and self.columns["value"][row] is not None:
            return self.dc_instrument_cell
        key = self.columns["calibration"][row], self.columns["calibration_basis"][row]
        return self.calibration_cells[key]

    def instrument(self, name: str) -> Markup:
        """An instrument, linked to its station's page."""
        target = f"{addresses.station(self.record.station)}#instruments"
        return link(name, self.to(target))

    def calibration(self, name: str) -> Markup:
        """A calibration, linked where it has a page."""
        if name not in self.context.calibrations:
            return escape(name)
        return link(name, self.to(addresses.calibration(name)))

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
            head=parameter_cell(parameter, self.home, self.context.record),
            condition_cell=condition_cell(condition, str(key[1])),
            unit_cell=Cell(unit),
            limits_cell=Cell(limits(parameter.lower, parameter.upper, factor), "", True),
        )

    def cautions(self, conditions: frozenset[str]) -> tuple[Caution, ...]:
        """Cautions that these conditions and the wafer's own temperatures call for."""
        if conditions not in self.cautions_of:
            record = self.context.record
            self.cautions_of[conditions] = cautions.cautions(
                [station for station in record.stations if station.id == self.record.station],
                [condition for condition in record.conditions if condition.id in conditions],
                self.record.thermal,
            )
        return self.cautions_of[conditions]


def _die_rows(results: WaferResults) -> tuple[DieRow, ...]:
    """The wafer's dies in the order of its table."""
    names = DieRow.__slots__
    columns = results.dies.select(list(names)).to_pydict()
    return tuple(DieRow(*values) for values in zip(*(columns[name] for name in names), strict=True))


def _order(record: CampaignRecord, columns: Columns) -> list[int]:
    """Rows by site, then parameter and condition as the campaign declares them, then touchdown."""
    parameters = {each.id: place for place, each in enumerate(record.parameters)}
    conditions = {each.id: place for place, each in enumerate(record.conditions)}
    keys = [
        (
            site or "",
            parameters.get(str(parameter), 0),
            conditions.get(str(condition), 0),
            number or 0,
        )
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


def as_float(value: object) -> float | None:
    """A number of a column; None where the column has none."""
    return value if isinstance(value, float) else None
