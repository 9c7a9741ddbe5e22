"""What a campaign's values come to, worked out from the simulation alone.

Nothing here comes from `sitegen.compute`: calibrations are solved by scikit-rf from the raw sweeps
(`recalibrated`), figures and decisions are worked out anew. What a calibration adds to the
uncertainty of a figure is taken from simulated calibrations (`demo_expected.PROPAGATED_U`).
"""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.draws import drawn_uncertainty
from sitegen.simulate.events import calibration_portion
from sitegen.simulate.parameters import BY_ID, FLOORS_A, PARAMETERS, Measured
from sitegen.simulate.scenario import FREQUENCY_HZ, Scenario
from sitegen.simulate.touched_wafer import TouchedWafer, in_frame
from sitegen.simulate.wafers import wafer_portion
from tests.simulate.demo_expected import PROPAGATED_U
from tests.simulate.recalibrated import Coefficients, corrected, solved

COVERAGE_FACTOR = 2.0
Z_REF_OHM = 50.0


@dataclass(frozen=True)
class Value:
    """One value as the forward side knows it."""

    wafer: str
    die: tuple[int, int]
    parameter: str
    condition: str
    touchdown: int
    hours: float
    value: float
    outcome: str
    below_floor: bool
    margin: float
    """Distance to the nearest limit or acceptance limit, in standard uncertainties."""


def values_of(scenario: Scenario, number: int) -> list[Value]:
    """Every value of a wafer: those of its table, and the figures of its sweeps."""
    wafer = TouchedWafer(scenario, number, analyser_of(scenario))
    portion = wafer_portion(wafer)
    found = _from_table(wafer, portion.tables["values.parquet"])
    for name, table in portion.tables.items():
        if name.startswith("sweeps"):
            found += _from_sweeps(wafer, table)
    return found


def decided(
    parameter: Measured, value: float, propagated_u: float = 0.0
) -> tuple[str, bool, float]:
    """Outcome under the guarded rule with k = 2 and r = 1, whether below the floor, and margin."""
    declared = float(drawn_uncertainty(parameter, np.array([value]))[0]) if parameter.sources else 0
    u = float(np.hypot(declared, propagated_u))
    floor_a = FLOORS_A[parameter.range_path] if parameter.range_path else 0.0
    below = abs(value) < floor_a
    bound = floor_a if below else value
    lower = -np.inf if parameter.lower is None else parameter.lower
    upper = np.inf if parameter.upper is None else parameter.upper
    if np.isinf(lower) and np.isinf(upper):
        return "no limits", below, np.inf
    guard = COVERAGE_FACTOR * u
    limits = np.array([lower, lower + guard, upper - guard, upper])
    margin = float(np.min(np.abs(limits - bound)) / u)
    if not below and not lower <= value <= upper:
        return "outside", below, margin
    return ("within" if limits[1] <= bound <= limits[2] else "not proven"), below, margin


def _from_table(wafer: TouchedWafer, table: pa.Table) -> list[Value]:
    back = {in_frame(wafer.plan, die): die for die in wafer.scenario.grid.dies}
    return [
        _value(
            wafer,
            back[row["die_x"], row["die_y"]],
            BY_ID[row["parameter"]],
            row["condition"],
            row["touchdown"],
            _hours(wafer, row["measured_at"]),
            row["value"],
        )
        for row in table.to_pylist()
    ]


def _from_sweeps(wafer: TouchedWafer, table: pa.Table) -> list[Value]:
    n_freq = len(FREQUENCY_HZ)
    keys = table.take(np.arange(0, len(table), n_freq)).to_pylist()
    ports = 2 if "s21_re" in table.column_names else 1
    back = {in_frame(wafer.plan, die): die for die in wafer.scenario.grid.dies}
    s = _matrix(table, ports).reshape(len(keys), n_freq, ports, ports)
    calibrations = _calibrations(wafer)
    found = []
    for row, sweep in zip(keys, s, strict=True):
        hours = _hours(wafer, row["measured_at"])
        plan = wafer.scenario.calibration_at(hours, ports)
        raw = row["device"] != "line"
        frequency_hz, coefficients = calibrations[plan.id]
        kept = np.isin(FREQUENCY_HZ, frequency_hz)
        s_true = corrected(coefficients, sweep[kept]) if raw else sweep[kept]
        for parameter in PARAMETERS:
            if (
                parameter.figure is not None
                and parameter.device == row["device"]
                and row["condition"] in parameter.conditions
            ):
                place = int(np.flatnonzero(parameter.frequency_hz == frequency_hz)[0])
                value = figure(parameter.figure, s_true[place], parameter.frequency_hz)
                die = back[row["die_x"], row["die_y"]]
                u = PROPAGATED_U[plan.method].get(parameter.id, 0.0) if raw else 0.0
                found.append(_value(wafer, die, parameter, row["condition"], 1, hours, value, u))
    return found


def _calibrations(wafer: TouchedWafer) -> dict[str, tuple[FloatArray, Coefficients]]:
    """Every calibration of the scenario, solved from its raw sweeps."""
    return {
        plan.id: solved(calibration_portion(wafer.scenario, number, wafer.analyser))
        for number, plan in enumerate(wafer.scenario.calibrations)
    }


def _matrix(table: pa.Table, ports: int) -> ComplexArray:
    names = ["s11"] if ports == 1 else ["s11", "s12", "s21", "s22"]
    parts = [
        table[f"{name}_re"].to_numpy().astype(np.float64) + 1j * table[f"{name}_im"].to_numpy()
        for name in names
    ]
    return np.stack(parts, axis=-1)


def figure(name: str, s: ComplexArray, frequency_hz: float) -> float:
    """A figure of one S-matrix, by the admittance matrix (I + S)^-1 (I - S) / Z."""
    if name == "s21 magnitude":
        return float(20 * np.log10(abs(s[1, 0])))
    if name == "s21 phase":
        return float(np.degrees(np.angle(s[1, 0])))
    unit = np.eye(len(s))
    y = np.linalg.solve(unit + s, unit - s) / Z_REF_OHM
    omega = 2 * np.pi * frequency_hz
    return float(
        {
            "inductance": lambda: (1 / y[0, 0]).imag / omega,
            "inductor quality": lambda: -y[0, 0].imag / y[0, 0].real,
            "capacitance": lambda: 1 / ((1 / y[0, 1]).imag * omega),
            "h21 magnitude": lambda: 20 * np.log10(abs(y[1, 0] / y[0, 0])),
        }[name]()
    )


def _hours(wafer: TouchedWafer, stamped: object) -> float:
    return float((stamped - wafer.scenario.start).total_seconds() / 3600)  # type: ignore[operator]


def _value(
    wafer: TouchedWafer,
    die: tuple[int, int],
    parameter: Measured,
    condition: str,
    touchdown: int,
    hours: float,
    value: float,
    propagated_u: float = 0.0,
) -> Value:
    outcome, below, margin = decided(parameter, value, propagated_u)
    if outcome != "no limits" and not parameter.sources and not propagated_u:
        outcome = "not assessable"
    return Value(
        wafer.plan.id, die, parameter.id, condition, touchdown, hours, value, outcome, below, margin
    )


def magnitudes(values: list[Value], parameter: str) -> FloatArray:
    """The values of one parameter, in the order in which they stand."""
    return np.array([one.value for one in values if one.parameter == parameter])


def standing_values(scenario: Scenario, number: int) -> list[Value]:
    """The values of a wafer that count (the last touchdown) and have not lost their standing."""
    values = values_of(scenario, number)
    last = {
        (one.die, one.parameter, one.condition): one
        for one in sorted(values, key=lambda one: one.touchdown)
    }
    return [one for one in last.values() if reason_against(scenario, one) == ""]


def reason_against(scenario: Scenario, value: Value) -> str:
    """Why an RF value has no standing, from the scenario's own times; empty where it has."""
    if BY_ID[value.parameter].kind == "dc":
        return ""
    ports = 1 if value.parameter == "LGND" else 2
    calibration = scenario.calibration_at(value.hours, ports)
    if value.hours > calibration.at + calibration.valid_hours:
        return "expired by time"
    change = scenario.plants.cable_change
    own = [one.at for one in scenario.verifications if one.calibration == calibration.id]
    if change is None or not any(calibration.at < change.start < at < change.until for at in own):
        return ""
    last_good = max(at for at in own if at < change.start)
    return "verification failed" if value.hours > last_good else ""


def die_outcomes(scenario: Scenario, number: int) -> dict[str, int]:
    """Verdicts of the planned dies over all values with limits, by the rule of the worst.

    Outside, then not assessable (a value asked of every die is missing or has no standing), then
    not proven, then within; a die without any value is not measured.
    """
    asked = {one.id for one in PARAMETERS if not one.some_dies and _limited(one)}
    limited = {one.id for one in PARAMETERS if _limited(one)}
    found: dict[tuple[int, int], dict[str, str]] = {die: {} for die in scenario.grid.dies}
    for value in standing_values(scenario, number):
        if value.parameter in limited:
            found[value.die][value.parameter] = value.outcome
    counts = dict.fromkeys(("within", "not proven", "outside", "not assessable", "not measured"), 0)
    for outcomes in found.values():
        words = set(outcomes.values())
        if not outcomes:
            counts["not measured"] += 1
        elif "outside" in words:
            counts["outside"] += 1
        elif not asked <= outcomes.keys():
            counts["not assessable"] += 1
        else:
            counts["not proven" if "not proven" in words else "within"] += 1
    return counts


def _limited(parameter: Measured) -> bool:
    return parameter.lower is not None or parameter.upper is not None
