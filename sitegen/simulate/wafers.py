"""One wafer's portion of a campaign: its record, its tables, and the truth behind them."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.simulated import Portion
from sitegen.simulate.draws import measured
from sitegen.simulate.parameters import BIAS_SWEEP, BY_ID, PARAMETERS, SET_POINTS, Measured, SetPoint
from sitegen.simulate.process import Truth, wafer_truth
from sitegen.simulate.scenario import FREQUENCY_HZ, Die, Scenario, WaferPlan
from sitegen.simulate.station import Analyser, noise
from sitegen.simulate.station_records import (
    ONE_PORT_STATE,
    SMU,
    STATION,
    TWO_PORT_STATE,
    VNA,
)
from sitegen.simulate.sweeps import (
    DeviceSweeps,
    capacitor_sweeps,
    drawer,
    grounded_inductor_sweeps,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)

DC_EVERY_DIE = tuple(p for p in PARAMETERS if p.kind == "dc" and not p.some_dies)
DC_HOT = tuple(p for p in PARAMETERS if p.kind == "dc" and p.some_dies)
_DC_AT = {one.id: 0.05 + 0.03 * place for place, one in enumerate(DC_EVERY_DIE)}
SWEPT_AT = {"hemt": 0.45, "cap": 0.60, "spiral": 0.72, "line": 0.84}
"""When, as a share of a die's time, each device was swept."""
_BIAS_STEP = 0.02
_HOT_PERIOD_H = 60 / 3600
_ONE_PORT_PERIOD_H = 40 / 3600
_QUANTUM = 2.0**-20
"""Sweeps are stored to this step, far below the noise, so that they compress."""


@dataclass(frozen=True, eq=False)
class WaferMaker:
    """Works out one wafer of a scenario; a pure function of the scenario and the wafer's number."""

    scenario: Scenario
    number: int
    analyser: Analyser

    @property
    def plan(self) -> WaferPlan:
        """The wafer's plan."""
        return self.scenario.wafers[self.number]

    @cached_property
    def truth(self) -> Truth:
        """What the process made, with the planted edge ring where this wafer has one."""
        truth = wafer_truth(self.scenario.grid, self.scenario.seed, self.number)
        ring = self.scenario.plants.edge_ring
        if ring is not None and ring.wafer == self.number:
            beyond = self.scenario.grid.radius_mm() > ring.beyond_mm
            truth["sheet_resistance_ohm"] = (
                truth["sheet_resistance_ohm"] + ring.shift_ohm * beyond
            )
        return truth

    @cached_property
    def hours(self) -> FloatArray:
        """When each die of the grid was touched."""
        return self.plan.die_hours(len(self.scenario.grid.dies))

    @cached_property
    def touched(self) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Places in the grid's order of the dies that were measured."""
        left_out = {die for wafer, die in self.scenario.plants.unmeasured if wafer == self.number}
        return np.array(
            [place for place, die in enumerate(self.scenario.grid.dies) if die not in left_out]
        )

    def places(self, dies: tuple[Die, ...]) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Places of these dies in the grid's order."""
        order = {die: place for place, die in enumerate(self.scenario.grid.dies)}
        return np.array([order[die] for die in dies], dtype=np.intp)

    def portion(self) -> Portion:
        """Everything of this wafer that is written."""
        values, true_values = _values(self)
        tables = {"values.parquet": values}
        true_tables = [true_values]
        for name, table, truth in _sweep_tables(self):
            tables[name] = table
            true_tables.append(truth)
        return Portion(
            folder=f"wafers/{self.plan.id}",
            record_file="wafer.toml",
            record=_record(self, tuple(tables)),
            tables=tables,
            notes={"note.md": self.plan.note} if self.plan.note else {},
            true_values=pa.concat_tables(true_tables),
        )

    def frame_numbers(self, places: np.ndarray[tuple[int], np.dtype[np.intp]]) -> FloatArray:
        """Die numbers (n, 2) in the frame of the wafer's tables."""
        numbers = np.array(self.scenario.grid.dies)[places]
        return np.array([in_frame(self.plan, tuple(die)) for die in numbers])


def in_frame(plan: WaferPlan, die: Die) -> Die:
    """The prober counts columns from 1 at the left and rows from 1 at the top."""
    return die if plan.frame == "layout" else (int(die[0]) + 7, 7 - int(die[1]))


def _chosen(truth: Truth, places: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Truth:
    return {name: values[places] for name, values in truth.items()}


@dataclass(frozen=True, eq=False)
class _Group:
    """Values of one parameter under one condition on n dies."""

    parameter: Measured
    condition: str
    touchdown: int
    places: np.ndarray[tuple[int], np.dtype[np.intp]]
    hours: FloatArray
    value: FloatArray
    true: FloatArray
    contact_ohm: FloatArray


def _values(maker: WaferMaker) -> tuple[pa.Table, pa.Table]:
    """The wafer's table of values and the truth of each of its rows."""
    groups = _groups(maker)
    by_time = np.argsort(np.concatenate([group.hours for group in groups]), kind="stable")
    scenario, plan = maker.scenario, maker.plan
    set_points = {one.id: one for one in SET_POINTS}

    def column(of_group: list[list[object]], kind: pa.DataType) -> pa.Array:
        flat = [entry for entries in of_group for entry in entries]
        return pa.array([flat[place] for place in by_time], kind)

    def repeated(entry_of: list[object], kind: pa.DataType) -> pa.Array:
        pairs = zip(entry_of, groups, strict=True)
        return column([[entry] * len(group.value) for entry, group in pairs], kind)

    def named(group: _Group) -> list[object]:
        if group.parameter.kind == "dc" or not plan.names_calibration:
            return [None] * len(group.value)
        return [scenario.calibration_at(hour, 2).id for hour in group.hours]

    text = pa.string()
    die = [maker.frame_numbers(group.places) for group in groups]
    key = {
        "die_x": column([list(map(int, numbers[:, 0])) for numbers in die], pa.int32()),
        "die_y": column([list(map(int, numbers[:, 1])) for numbers in die], pa.int32()),
        "site": repeated(["" for _ in groups], text),
        "device": repeated([group.parameter.device for group in groups], text),
        "parameter": repeated([group.parameter.id for group in groups], text),
        "condition": repeated([group.condition for group in groups], text),
        "touchdown": repeated([group.touchdown for group in groups], pa.int32()),
    }
    rf = [group.parameter.kind == "rf" for group in groups]
    ranges = [group.parameter.range_path or (None, None) for group in groups]
    hot = [set_points[group.condition].temperature_c > 25.0 for group in groups]
    stamps = column([[scenario.time(h) for h in group.hours] for group in groups], _stamp(scenario))
    table = {
        **key,
        "value": column([list(group.value) for group in groups], pa.float64()),
        "measured_at": stamps,
        "calibration": column([named(group) for group in groups], text),
        "state": repeated(["two-port" if one else None for one in rf], text),
        "temperature_c": column(
            [
                list(_temperature_c(maker, group.places, 85.0 if warm else 25.0))
                for group, warm in zip(groups, hot, strict=True)
            ],
            pa.float64(),
        ),
        "ambient_c": column(
            [[scenario.ambient_c(h) for h in group.hours] for group in groups], pa.float64()
        ),
        "contact_resistance_ohm": column(
            [list(group.contact_ohm) for group in groups], pa.float64()
        ),
        "range": repeated([one[0] for one in ranges], text),
        "path": repeated([one[1] for one in ranges], text),
        **_bias_columns([set_points[group.condition] for group in groups], repeated),
    }
    in_layout = [np.array(scenario.grid.dies)[group.places] for group in groups]
    true = {
        **key,
        "die_x": column([list(map(int, numbers[:, 0])) for numbers in in_layout], pa.int32()),
        "die_y": column([list(map(int, numbers[:, 1])) for numbers in in_layout], pa.int32()),
        "true_value": column([list(group.true) for group in groups], pa.float64()),
    }
    return _as_table(table), _as_truth(plan.id, true)


def _bias_columns(
    set_points: list[SetPoint], repeated: Callable[[list[object], pa.DataType], pa.Array]
) -> dict[str, pa.Array]:
    """Measured bias, one column a name, empty where a condition has none of that name."""
    names = sorted({name for one in set_points for name in one.bias if "limit" not in name})
    return {
        f"bias_{name}": repeated([one.bias.get(name) for one in set_points], pa.float64())
        for name in names
    }


def _groups(maker: WaferMaker) -> list[_Group]:
    """Every value that was not taken from a sweep: DC, hot, and the station program's own."""
    plan, seed = maker.plan, maker.scenario.seed
    groups = []

    def add(
        parameter: Measured,
        places: np.ndarray[tuple[int], np.dtype[np.intp]],
        hours: FloatArray,
        touchdown: int,
    ) -> None:
        assert parameter.truth is not None
        every_true = parameter.truth(maker.truth)
        every_value = measured(parameter, every_true, seed, maker.number, touchdown)
        contact = np.random.default_rng([seed, 23, maker.number, touchdown])
        ohm = np.round(contact.uniform(0.3, 0.7, len(every_true)), 3)
        groups.append(
            _Group(
                parameter,
                parameter.conditions[0],
                touchdown,
                places,
                hours,
                every_value[places],
                every_true[places],
                ohm[places],
            )
        )

    die_h = plan.period_s / 3600
    for parameter in DC_EVERY_DIE:
        at = maker.hours[maker.touched] + _DC_AT[parameter.id] * die_h
        add(parameter, maker.touched, at, 1)
    add(BY_ID["FT"], maker.touched, _swept_at(maker, "hemt"), 1)
    again = maker.scenario.plants.retouched
    if again is not None and again.wafer == maker.number:
        place = maker.places((again.die,))
        for order, parameter in enumerate(p for p in DC_EVERY_DIE if p.device == "hemt"):
            add(parameter, place, maker.hours[place] + (0.32 + 0.015 * order) * die_h, 2)
        for group in groups:
            if group.parameter.id == "RON" and group.touchdown == 1:
                group.value[group.places == place[0]] += again.shift_ohm
                group.contact_ohm[group.places == place[0]] = 1.31
    if plan.hot is not None:
        places = maker.places(plan.hot.dies)
        at = plan.hot.start + _HOT_PERIOD_H * np.arange(len(places))
        for order, parameter in enumerate(DC_HOT):
            add(parameter, places, at + 0.2 * order * _HOT_PERIOD_H, 1)
    return groups


def _swept_at(maker: WaferMaker, device: str) -> FloatArray:
    return np.asarray(
        maker.hours[maker.touched] + SWEPT_AT[device] * maker.plan.period_s / 3600
    )


def _sweep_tables(maker: WaferMaker) -> list[tuple[str, pa.Table, pa.Table]]:
    """File name, sweeps, and true figures, for each table of sweeps of the wafer."""
    draw = drawer(maker.scenario.seed, maker.number, 1)
    truth, touched = maker.truth, maker.touched

    def rows(sweeps: DeviceSweeps, places: np.ndarray[tuple[int], np.dtype[np.intp]],
             hours: FloatArray, from_all: bool = True) -> "_SweepRows":
        return _SweepRows(sweeps, places, hours, sweeps.s[places] if from_all else sweeps.s)

    raw = [
        rows(transistor_sweeps(truth, "rf", draw), touched, _swept_at(maker, "hemt")),
        rows(capacitor_sweeps(truth, draw), touched, _swept_at(maker, "cap")),
        rows(inductor_sweeps(truth, draw), touched, _swept_at(maker, "spiral")),
    ]
    biased = maker.places(tuple(die for die in maker.plan.bias_dies))
    if len(biased):
        for order, condition in enumerate(BIAS_SWEEP):
            at = SWEPT_AT["hemt"] + _BIAS_STEP * (order + 1)
            raw.append(
                rows(
                    transistor_sweeps(truth, condition, draw),
                    biased,
                    maker.hours[biased] + at * maker.plan.period_s / 3600,
                )
            )
    corrected = [rows(line_sweeps(truth, draw), touched, _swept_at(maker, "line"))]
    made = [
        ("sweeps-raw.parquet", *_two_port_table(maker, raw, False)),
        ("sweeps-corrected.parquet", *_two_port_table(maker, corrected, True)),
    ]
    if maker.plan.one_port is not None:
        session = maker.plan.one_port
        places = maker.places(session.dies)
        at = session.start + _ONE_PORT_PERIOD_H * np.arange(len(places))
        one = [rows(grounded_inductor_sweeps(truth, draw), places, at)]
        made.append(("sweeps-one-port.parquet", *_one_port_table(maker, one)))
    return made


@dataclass(frozen=True, eq=False)
class _SweepRows:
    """Sweeps of one device under one condition on the measured dies, as presented to the tips."""

    sweeps: DeviceSweeps
    places: np.ndarray[tuple[int], np.dtype[np.intp]]
    hours: FloatArray
    s: ComplexArray


def _two_port_table(
    maker: WaferMaker, groups: list[_SweepRows], corrected: bool
) -> tuple[pa.Table, pa.Table]:
    shown = []
    for number, group in enumerate(groups):
        s = maker.analyser.raw(group.s, FREQUENCY_HZ, group.hours)
        rng = np.random.default_rng([maker.scenario.seed, 30, maker.number, corrected, number])
        s = s + noise(rng, FREQUENCY_HZ, s.shape)
        if corrected:
            s = _corrected(maker, s, group.hours)
        shown.append(s.reshape(-1, 4))
    ports = ("s11", "s12", "s21", "s22")
    return _table_of(maker, groups, np.concatenate(shown), ports, "two-port")


def _one_port_table(maker: WaferMaker, groups: list[_SweepRows]) -> tuple[pa.Table, pa.Table]:
    (group,) = groups
    s = maker.analyser.raw_one_port(group.s, FREQUENCY_HZ, group.hours)
    rng = np.random.default_rng([maker.scenario.seed, 31, maker.number])
    s = s + noise(rng, FREQUENCY_HZ, s.shape)
    return _table_of(maker, groups, s.reshape(-1, 1), ("s11",), "one-port")


def _corrected(maker: WaferMaker, raw: ComplexArray, hours: FloatArray) -> ComplexArray:
    """What the analyser showed with its correction switched on: each by its own calibration."""
    at = np.array([maker.scenario.calibration_at(hour, 2).at for hour in hours])
    s = np.empty_like(raw)
    for moment in np.unique(at):
        s[at == moment] = maker.analyser.corrected(raw[at == moment], FREQUENCY_HZ, moment)
    return s


def _table_of(
    maker: WaferMaker,
    groups: list[_SweepRows],
    s: ComplexArray,
    ports: tuple[str, ...],
    state: str,
) -> tuple[pa.Table, pa.Table]:
    scenario, n_freq = maker.scenario, len(FREQUENCY_HZ)
    counts = [len(group.places) for group in groups]
    places = np.concatenate([group.places for group in groups])
    hours = np.concatenate([group.hours for group in groups])
    numbers = maker.frame_numbers(places)

    def long(entries: list[object], kind: pa.DataType) -> pa.Array:
        return pa.array(entries, kind).take(np.repeat(np.arange(len(entries)), n_freq))

    def by_group(names: list[str]) -> pa.Array:
        return long(list(np.repeat(names, counts)), pa.string())

    columns = {
        "die_x": long(list(map(int, numbers[:, 0])), pa.int32()),
        "die_y": long(list(map(int, numbers[:, 1])), pa.int32()),
        "site": long([""] * len(places), pa.string()),
        "device": by_group([group.sweeps.device for group in groups]),
        "condition": by_group([group.sweeps.condition for group in groups]),
        "touchdown": long([1] * len(places), pa.int32()),
        "measured_at": long([scenario.time(hour) for hour in hours], _stamp(scenario)),
        "state": long([state] * len(places), pa.string()),
        "temperature_c": long(list(_temperature_c(maker, places, 25.0)), pa.float64()),
        "ambient_c": long([scenario.ambient_c(hour) for hour in hours], pa.float64()),
        "substrate_c": long([scenario.substrate_c(hour) for hour in hours], pa.float64()),
        "frequency_hz": pa.array(np.tile(FREQUENCY_HZ, len(places))),
    }
    for number, port in enumerate(ports):
        columns[f"{port}_re"] = _stored(s[:, number].real)
        columns[f"{port}_im"] = _stored(s[:, number].imag)
    return _as_table(columns), _true_figures(maker, groups)


def _true_figures(maker: WaferMaker, groups: list[_SweepRows]) -> pa.Table:
    """The true value of each figure that a parameter takes from these sweeps."""
    parts = []
    for group in groups:
        dies = np.array(maker.scenario.grid.dies)[group.places]
        n = len(dies)
        for name, figure in group.sweeps.true.items():
            parts.append(
                _as_truth(
                    maker.plan.id,
                    {
                        "die_x": pa.array(dies[:, 0], pa.int32()),
                        "die_y": pa.array(dies[:, 1], pa.int32()),
                        "site": pa.array([""] * n),
                        "device": pa.array([group.sweeps.device] * n),
                        "parameter": pa.array([name] * n),
                        "condition": pa.array([group.sweeps.condition] * n),
                        "touchdown": pa.array([1] * n, pa.int32()),
                        "true_value": pa.array(figure[group.places]),
                    },
                )
            )
    return pa.concat_tables(parts)


def _temperature_c(
    maker: WaferMaker, places: np.ndarray[tuple[int], np.dtype[np.intp]], set_c: float
) -> FloatArray:
    rng = np.random.default_rng([maker.scenario.seed, 40, maker.number, round(set_c)])
    every = set_c + 0.08 * rng.uniform(-1, 1, len(maker.scenario.grid.dies))
    return np.round(every[places], 2)


def _stored(part: FloatArray) -> pa.Array:
    return pa.array((np.round(part / _QUANTUM) * _QUANTUM).astype(np.float32))


def _stamp(scenario: Scenario) -> pa.DataType:
    return pa.timestamp("us", tz=scenario.start.strftime("%z")[:3] + ":00")


_UNITS = {
    "temperature_c": "degC",
    "ambient_c": "degC",
    "substrate_c": "degC",
    "frequency_hz": "Hz",
    "contact_resistance_ohm": "ohm",
}


def _as_table(columns: dict[str, pa.Array]) -> pa.Table:
    fields = [
        pa.field(name, array.type, metadata={"unit": _UNITS[name]} if name in _UNITS else None)
        for name, array in columns.items()
    ]
    return pa.Table.from_arrays(list(columns.values()), schema=pa.schema(fields))


def _as_truth(wafer: str, columns: dict[str, pa.Array]) -> pa.Table:
    n = len(columns["die_x"])
    return pa.table({"wafer": pa.array([wafer] * n), **columns})


def _record(maker: WaferMaker, tables: tuple[str, ...]) -> dict[str, object]:
    scenario, plan = maker.scenario, maker.plan
    ends = [maker.hours[-1] + plan.period_s / 3600]
    thermal: list[dict[str, object]] = [_thermal(25.0, 25.0, 0.0, 0.1, 300.0)]
    states = [{"id": "two-port", **TWO_PORT_STATE}]
    if plan.hot is not None:
        thermal.append(_thermal(85.0, 86.1, -1.1, 0.3, 900.0))
        ends.append(plan.hot.start + len(plan.hot.dies) * _HOT_PERIOD_H)
    if plan.one_port is not None:
        states.append({"id": "one-port", **ONE_PORT_STATE})
        ends.append(plan.one_port.start + len(plan.one_port.dies) * _ONE_PORT_PERIOD_H)
    record: dict[str, object] = {
        "id": plan.id,
        "identity_read": f"{plan.id} (scribed beside the notch)",
        "lot": str(scenario.identity["id"]),
        "slot": plan.slot,
        "station": STATION,
        "by": "measurement engineer on duty",
        "started": scenario.time(plan.blocks[0].start),
        "finished": scenario.time(max(ends)),
        "ambient_c": scenario.ambient_c(plan.blocks[0].start),
        "substrate_c": scenario.substrate_c(plan.blocks[0].start),
        "rf_instrument": VNA,
        "dc_instrument": SMU,
        "thermal": thermal,
        "states": states,
        "values": [
            {
                "file": "values.parquet",
                "frame": plan.frame,
                "units": {p.id: p.unit for p in PARAMETERS if p.figure is None},
            }
        ],
        "sweeps": [
            {
                "file": name,
                "sweep": "corrected" if "corrected" in name else "raw",
                "frame": plan.frame,
            }
            for name in tables
            if name.startswith("sweeps")
        ],
    }
    if plan.frame != "layout":
        record["reference_dies"] = [
            {"die": list(die), "frames": {plan.frame: list(in_frame(plan, die))}}
            for die in ((0, 0), (3, 1), (-1, 4))
        ]
    return record


def _thermal(
    set_c: float, reading_c: float, correction_c: float, u_c: float, soak_s: float
) -> dict[str, object]:
    return {
        "set_point_c": set_c,
        "chuck_reading_c": reading_c,
        "surface_correction_c": correction_c,
        "surface_correction_u_c": u_c,
        "soak_s": soak_s,
    }
