"""What a campaign's values come to, worked out from the simulation alone.

Nothing here comes from `sitegen.compute`: calibrations are solved by scikit-rf from the raw sweeps
(`recalibrated`), figures and decisions are worked out anew. What a calibration adds to the
uncertainty of a figure is taken from simulated calibrations (`demo_expected.PROPAGATED_U`).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import skrf

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.curve_laws import figure_of
from sitegen.simulate.curve_tables import KINDS, CurveKind
from sitegen.simulate.devices_declared import CHAIN_LINKS, DUMMIES, LINE_LENGTH_UM
from sitegen.simulate.draws import drawn_uncertainty
from sitegen.simulate.events import calibration_portion
from sitegen.simulate.measured import Measured
from sitegen.simulate.pads import scattering
from sitegen.simulate.parameters import BY_ID, FLOORS_A, PARAMETERS
from sitegen.simulate.scenario import FREQUENCY_HZ, Scenario
from sitegen.simulate.standards import LIGHT_M_PER_S
from sitegen.simulate.touched_wafer import TouchedWafer, in_frame
from sitegen.simulate.true_figures import over_window
from sitegen.simulate.wafers import wafer_portion
from tests.simulate.demo_expected import CURVE_U, PROPAGATED_U
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
    """Every value of a wafer: those of its table, and the figures of its sweeps and curves."""
    wafer = TouchedWafer(scenario, number, analyser_of(scenario))
    portion = wafer_portion(wafer)
    found = _from_table(wafer, portion.tables["values.parquet"])
    found += from_curves(wafer, portion.tables["curves.parquet"])
    calibrations = _calibrations(wafer)
    dummies: dict[str, ComplexArray] = {}
    for name, table in portion.tables.items():
        if name.startswith("sweeps"):
            swept = _swept(wafer, calibrations, table)
            dummies |= {one.device: one.s for one in swept if one.device in DUMMIES}
            found += [value for one in swept for value in _figures(wafer, one, dummies)]
    return found


def rule_of(scenario: Scenario, parameter: str) -> tuple[str, float]:
    """The decision rule of a parameter and its guard factor: its own, or the campaign's."""
    own = scenario.changes.get(parameter, {}).get("decision")
    if not isinstance(own, dict):
        return "guarded", 1.0
    return str(own["rule"]), float(own.get("guard_factor", 1.0))


def decided(
    parameter: Measured,
    value: float,
    propagated_u: float = 0.0,
    rule: str = "guarded",
    r: float = 1.0,
) -> tuple[str, bool, float]:
    """Outcome by the rule with k = 2, whether below the floor, and margin."""
    declared = float(drawn_uncertainty(parameter, np.array([value]))[0])
    u = float(np.hypot(declared, propagated_u))
    floor_a = FLOORS_A[parameter.range_path] if parameter.range_path else 0.0
    below = parameter.tabled and abs(value) < floor_a
    bound = floor_a if below else value
    lower = -np.inf if parameter.lower is None else parameter.lower
    upper = np.inf if parameter.upper is None else parameter.upper
    if np.isinf(lower) and np.isinf(upper):
        return "no limits", below, np.inf
    inner = r * COVERAGE_FACTOR * u * (rule in ("guarded", "non-binary"))
    outer = r * COVERAGE_FACTOR * u * (rule in ("guarded rejection", "non-binary"))
    limits = np.array([lower - outer, lower, lower + inner, upper - inner, upper, upper + outer])
    margin = float(np.min(np.abs(limits - bound)) / u) if u else np.inf
    if below or limits[1] <= value <= limits[4]:
        outcome = "within" if limits[2] <= bound <= limits[3] else "not proven"
    else:
        outcome = "not refuted" if limits[0] <= value <= limits[5] else "outside"
    return outcome, below, margin


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


def from_curves(wafer: TouchedWafer, table: pa.Table) -> list[Value]:
    """Figures of curves by their own laws, from readings above the floor."""
    back = {in_frame(wafer.plan, die): die for die in wafer.scenario.grid.dies}
    rows = table.to_pandas()
    rows["range"] = rows["range"].astype(object)
    found = []
    for keys, curve in rows.groupby(["curve", "die_x", "die_y", "touchdown"], sort=False):
        kind = KINDS[str(keys[0])]
        x, families = _families(kind, curve)
        celsius = float(curve["temperature_c"].iloc[0])
        for parameter in PARAMETERS:
            if parameter.curve is None or parameter.curve["curve"] != kind.id:
                continue
            taken, scale = dict(parameter.curve), 1.0
            if taken["figure"] == "resistance of one contact":
                taken["figure"], scale = "four-terminal resistance", 1.0 / CHAIN_LINKS
            value = scale * figure_of(taken, x, families, celsius)
            if np.isinf(value):  # not reached
                value = float(curve[kind.swept].max())
            made = _value(
                wafer,
                back[int(keys[1]), int(keys[2])],
                parameter,
                parameter.conditions[0],
                int(keys[3]),
                _hours(wafer, curve["measured_at"].iloc[0]),
                value,
                CURVE_U.get(parameter.id, 0.0),
            )
            found.append(made)
    return found


def _families(kind: CurveKind, curve: pd.DataFrame) -> tuple[FloatArray, dict[float, FloatArray]]:
    """What was set, and readings by the stepped value; below the floor an exceeding small one."""
    steps = curve[kind.stepped] if kind.stepped else pd.Series(0.0, index=curve.index)
    families, x = {}, np.empty(0)
    for step, rows in curve.groupby(steps):
        x = rows[kind.swept].to_numpy(dtype=np.float64)
        y = rows[kind.measured].to_numpy(dtype=np.float64)
        if kind.measured != "v_v":
            floor = np.array([FLOORS_A[name, "triaxial"] for name in rows["range"]])
            y = np.where(y < floor, 1e-30, y)
        families[float(step)] = y
    return x, families


@dataclass(frozen=True, eq=False)
class _Swept:
    """One sweep of a wafer, corrected."""

    device: str
    condition: str
    die: tuple[int, int]
    touchdown: int
    hours: float
    method: str
    frequency_hz: FloatArray
    s: ComplexArray


def _swept(
    wafer: TouchedWafer,
    calibrations: dict[str, tuple[FloatArray, Coefficients]],
    table: pa.Table,
) -> list[_Swept]:
    n_freq = len(FREQUENCY_HZ)
    keys = table.take(np.arange(0, len(table), n_freq)).to_pylist()
    ports = 2 if "s21_re" in table.column_names else 1
    back = {in_frame(wafer.plan, die): die for die in wafer.scenario.grid.dies}
    s = _matrix(table, ports).reshape(len(keys), n_freq, ports, ports)
    found = []
    for row, sweep in zip(keys, s, strict=True):
        hours = _hours(wafer, row["measured_at"])
        plan = wafer.scenario.calibration_at(hours, ports)
        frequency_hz, coefficients = calibrations[plan.id]
        kept = sweep[np.isin(FREQUENCY_HZ, frequency_hz)]
        raw = row["device"] != "line"
        found.append(
            _Swept(
                row["device"],
                row["condition"],
                back[row["die_x"], row["die_y"]],
                row["touchdown"],
                hours,
                plan.method if raw else "",
                frequency_hz,
                corrected(coefficients, kept) if raw else kept,
            )
        )
    return found


def _figures(wafer: TouchedWafer, one: _Swept, dummies: dict[str, ComplexArray]) -> list[Value]:
    """Every figure that a parameter takes from a sweep."""
    found = []
    inner = without_pads(one.s, dummies) if one.device == "hemt" else one.s
    for parameter in PARAMETERS:
        if (
            parameter.figure is None
            or parameter.device != one.device
            or one.condition not in parameter.conditions
        ):
            continue
        s = inner if parameter.deembedded else one.s
        value = placed(parameter, s, one.frequency_hz)
        u = PROPAGATED_U[one.method].get(parameter.id, 0.0) if one.method else 0.0
        found.append(
            _value(wafer, one.die, parameter, one.condition, one.touchdown, one.hours, value, u)
        )
    return found


def without_pads(s: ComplexArray, dummies: dict[str, ComplexArray]) -> ComplexArray:
    """Open-short: Z = (Y - Y_open)^-1 - (Y_short - Y_open)^-1 (Koolen 1991, from memory)."""
    y, y_open, y_short = (
        admittance(one) for one in (s, dummies["dummy-open"], dummies["dummy-short"])
    )
    z = np.linalg.inv(y - y_open) - np.linalg.inv(y_short - y_open)
    inner: ComplexArray = np.linalg.inv(z).astype(np.complex128)
    return scattering(inner)


def admittance(s: ComplexArray) -> ComplexArray:
    """(1 + S)^-1 (1 - S) / Z."""
    unit = np.eye(s.shape[-1])
    return np.asarray(np.linalg.solve(unit + s, unit - s) / Z_REF_OHM)


def placed(parameter: Measured, s: ComplexArray, frequency_hz: FloatArray) -> float:
    """A parameter's figure from a sweep (n_freq, n, n), at its place."""
    name = str(parameter.figure)
    if name == "self-resonance":
        return _resonance(s, frequency_hz)
    if parameter.window_hz is None:
        place = int(np.flatnonzero(parameter.frequency_hz == frequency_hz)[0])
        return figure(name, s[place], parameter.frequency_hz)
    low, high = parameter.window_hz
    inside = (frequency_hz >= low) & (frequency_hz <= high)
    return float(over_window(name, admittance(s[inside]), frequency_hz[inside]))


def _resonance(s: ComplexArray, frequency_hz: FloatArray) -> float:
    """Where Im(Y11) w rises through 0, straight in the square of frequency between two points."""
    rising = admittance(s)[:, 0, 0].imag * frequency_hz
    i = int(np.flatnonzero((rising[:-1] < 0) & (rising[1:] >= 0))[0])
    square = np.interp(0.0, rising[i : i + 2], frequency_hz[i : i + 2] ** 2)
    return float(np.sqrt(square))


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
    """A figure of one S-matrix."""
    if name == "s21 magnitude":
        return float(20 * np.log10(abs(s[1, 0])))
    if name == "s21 phase":
        return float(np.degrees(np.angle(s[1, 0])))
    if name in ("attenuation per length", "effective permittivity", "characteristic impedance"):
        return _line_figure(name, s, frequency_hz)
    at = np.array([frequency_hz])
    return float(over_window(name, admittance(s)[None], at))


def _line_figure(name: str, s: ComplexArray, frequency_hz: float) -> float:
    """From the chain matrix: cosh of gamma l is (A + D)/2, the impedance sqrt(B/C)."""
    chain = skrf.network.s2a(s[None], np.full(2, Z_REF_OHM))[0]
    if name == "characteristic impedance":
        return float(np.sqrt(chain[0, 1] / chain[1, 0]).real)
    gamma_l = complex(np.arccosh((chain[0, 0] + chain[1, 1]) / 2))
    length_m = LINE_LENGTH_UM * 1e-6
    if name == "attenuation per length":
        return float(abs(gamma_l.real) * 20 / np.log(10) / length_m)
    turn = 2 * np.pi * frequency_hz * length_m / LIGHT_M_PER_S
    return float(-((gamma_l / turn) ** 2).real)


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
    outcome, below, margin = decided(
        parameter, value, propagated_u, *rule_of(wafer.scenario, parameter.id)
    )
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
    """Why a value has no standing, from the scenario's times and touches; empty where it has."""
    device = BY_ID[value.parameter].device
    for one in scenario.plants.touches:
        if (scenario.wafers[one.wafer].id, one.die, one.device) == (value.wafer, value.die, device):
            return "contact check missing" if one.unchecked else "contact check failed"
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
    not refuted, not proven, within; a die without any value is not measured.
    """
    asked = {one.id for one in PARAMETERS if not one.some_dies and _limited(one)}
    limited = {one.id for one in PARAMETERS if _limited(one)}
    found: dict[tuple[int, int], dict[str, str]] = {die: {} for die in scenario.grid.dies}
    for value in standing_values(scenario, number):
        if value.parameter in limited:
            found[value.die][value.parameter] = value.outcome
    words = ("within", "not proven", "not refuted", "outside", "not assessable", "not measured")
    counts = dict.fromkeys(words, 0)
    for outcomes in found.values():
        seen = set(outcomes.values())
        if not outcomes:
            counts["not measured"] += 1
        elif "outside" in seen:
            counts["outside"] += 1
        elif not asked <= outcomes.keys():
            counts["not assessable"] += 1
        else:
            counts[next(one for one in ("not refuted", "not proven", "within") if one in seen)] += 1
    return counts


def _limited(parameter: Measured) -> bool:
    return parameter.lower is not None or parameter.upper is not None
