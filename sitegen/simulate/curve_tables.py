"""The table of a wafer's curves: what the source-measure unit read, point by point.

What is set errs by the source's range, what is read by the reading's range, each by one draw for
the campaign; every reading has noise of its own. A touchdown shows a device that is off the truth
by the draws that its parameters declare.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.simulate import smu
from sitegen.simulate.curve_laws import THERMAL_V_PER_K, ZERO_C_K, figure_of
from sitegen.simulate.devices_declared import CHAIN_LINKS, CURVES
from sitegen.simulate.draws import measured
from sitegen.simulate.measured import Measured
from sitegen.simulate.parameters import BY_ID, PARAMETERS
from sitegen.simulate.process import Truth
from sitegen.simulate.set_points import BREAKDOWN_LIMIT_V
from sitegen.simulate.touched_wafer import (
    Places,
    TouchedWafer,
    Touches,
    as_table,
    key_columns,
    true_table,
)
from sitegen.simulate.transfer import transfer_law

GATE_V = np.round(
    np.concatenate(
        [np.arange(-3.2, -2.225, 0.05), np.arange(-2.2, -1.05, 0.1), np.arange(-1.0, 1.05, 0.2)]
    ),
    3,
)
DRAIN_V = np.array([0.1, 0.2, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 15.0])
CLOSED_V = np.concatenate([np.arange(0.0, 80.0, 20.0), np.arange(80.0, BREAKDOWN_LIMIT_V + 1, 2.0)])
FORWARD_V = np.round(np.arange(0.30, 0.701, 0.025), 3)
FORCED_A = np.array([-1e-3, -5e-4, 0.0, 5e-4, 1e-3])
_KNEE_V = 1.2
"""Voltage over which the breakdown current grows by e."""
_DIODE_A = 1e-13
_SHARE_NOISE = 1e-4
_SENSE_NOISE_V = 1e-6
_TAKEN_AT = {"transfer": 0.17, "breakdown": 0.21, "gate-diode": 0.25, "chain-line": 0.27,
             "output": 0.29, "spiral-line": 0.70}  # fmt: skip
"""When, as a share of a die's time."""
DRAWN = {"VTH": "threshold_v", "GM": "transconductance_s", "ION": "on_current_a",
         "BV": "breakdown_v", "RC": "contact_resistance_ohm",
         "RDC": "inductor_resistance_ohm"}  # fmt: skip
"""The quantity of the process that each of these parameters' declared sources move."""
_RANGES = ((1e-7, smu.NANO), (1e-4, smu.MICRO), (np.inf, smu.FULL))
_STEPS = {"transfer": (0.1, 10.0), "output": (-1.8, 0.0)}
CONDITIONS = {"transfer": "transfer", "output": "output", "breakdown": "bv",
              "gate-diode": "diode", "chain-line": "sheet", "spiral-line": "sheet"}  # fmt: skip
Law = Callable[[FloatArray, float], FloatArray]
"""From what is set, (p,), and the stepped value to the reading of each die, (n, p)."""


@dataclass(frozen=True)
class CurveKind:
    """How a declared curve is taken."""

    id: str
    device: str
    swept: str
    stepped: str | None
    measured: str
    source_range: str
    points: FloatArray
    steps: tuple[float, ...]


def _kind(declared: dict[str, object], points: FloatArray) -> CurveKind:
    stepped = declared.get("stepped")
    return CurveKind(
        str(declared["id"]),
        str(declared["device"]),
        str(declared["swept"]),
        None if stepped is None else str(stepped),
        str(declared["measured"]),
        str(declared["source_accuracy_range"]),
        points,
        _STEPS.get(str(declared["id"]), (0.0,)),
    )


KINDS = {
    str(one["id"]): _kind(one, points)
    for one, points in zip(
        CURVES, (GATE_V, DRAIN_V, CLOSED_V, FORWARD_V, FORCED_A, FORCED_A), strict=True
    )
}


def law_of(kind: str, truth: Truth, celsius: float) -> Law:
    """What each die would show at what is truly set."""
    match kind:
        case "transfer":
            law = transfer_law(truth)
            return lambda v, vds: law.current_a(v, vds)
        case "output":
            law = transfer_law(truth)
            return lambda v, vgs: law.current_a(np.full(v.shape, vgs), v)
        case "breakdown":
            breakdown, leak = truth["breakdown_v"][:, None], truth["gate_leakage_a"][:, None]
            return lambda v, _: 1e-4 * np.exp((v - breakdown) / _KNEE_V) + leak * v / 28.0
        case "gate-diode":
            each_v = truth["gate_ideality"][:, None] * THERMAL_V_PER_K * (ZERO_C_K + celsius)
            return lambda v, _: _DIODE_A * np.expm1(v / each_v)
        case "chain-line":
            return lambda i, _: CHAIN_LINKS * truth["contact_resistance_ohm"][:, None] * i
        case _:
            return lambda i, _: truth["inductor_resistance_ohm"][:, None] * i


def true_figure(parameter: Measured, truth: Truth, celsius: float = 25.0) -> FloatArray:
    """A parameter's value by its own law from curves without error, (n_die,)."""
    assert parameter.curve is not None
    kind = KINDS[str(parameter.curve["curve"])]
    law = law_of(kind.id, truth, celsius)
    families = {step: law(kind.points, step) for step in kind.steps}
    taken = dict(parameter.curve)
    scale = 1.0
    if taken["figure"] == "resistance of one contact":
        taken["figure"], scale = "four-terminal resistance", 1.0 / CHAIN_LINKS
    return np.array(
        [
            scale * figure_of(taken, kind.points, {k: y[n] for k, y in families.items()}, celsius)
            for n in range(len(truth["cgs_f"]))
        ]
    )


@dataclass(frozen=True, eq=False)
class _Taken:
    """Curves of one kind on n dies at one touchdown each."""

    kind: CurveKind
    places: Places
    hours: FloatArray
    touchdown: Touches
    stream: int
    """Tells the draws of touchdowns apart."""


def curve_table(wafer: TouchedWafer) -> tuple[pa.Table, pa.Table]:
    """The wafer's curves, one row a point, and the truth of every parameter taken from them."""
    taken = list(_taken(wafer))
    parts = [_columns(wafer, one) for one in taken]
    joined = {name: pa.concat_arrays([part[name] for part in parts]) for name in parts[0]}
    return as_table(joined), pa.concat_tables(
        truth for one in taken for truth in _truths(wafer, one)
    )


def _taken(wafer: TouchedWafer) -> Iterator[_Taken]:
    for kind in KINDS.values():
        places = wafer.places(wafer.plan.bias_dies) if kind.id == "output" else wafer.touched
        if not len(places):
            continue
        at = wafer.hours[places] + _TAKEN_AT[kind.id] * wafer.die_hours
        yield _Taken(kind, places, at, wafer.touchdown(kind.device, places), 1)
    for control in wafer.controls("hemt"):
        place = wafer.places((control.die,))
        for number, hours in ((1, control.start), (3, control.end)):
            yield _Taken(
                KINDS["transfer"], place, np.array([hours]), np.array([number]), 10 + number
            )


def contacted(wafer: TouchedWafer, stream: int) -> Truth:
    """The wafer's truth as one touchdown after another shows it, (n_die,) each."""
    truth = dict(wafer.truth)
    for name, quantity in DRAWN.items():
        truth[quantity] = measured(
            BY_ID[name], truth[quantity], wafer.scenario.seed, wafer.number, stream
        )
    return truth


def _columns(wafer: TouchedWafer, taken: _Taken) -> dict[str, pa.Array]:
    kind, seed = taken.kind, wafer.scenario.seed
    rng = np.random.default_rng([seed, 34, wafer.number, list(KINDS).index(kind.id), taken.stream])
    celsius = wafer.temperature_c(taken.places, 25.0)
    quantity = "current" if kind.swept == "i_a" else "voltage"
    law = law_of(kind.id, contacted(wafer, taken.stream), 25.0)
    set_true = smu.shown(seed, quantity, kind.source_range, kind.points)
    blocks = []
    for step in kind.steps:
        stepped = float(smu.shown(seed, "voltage", "10 V", np.array([step]))[0])
        true = law(set_true, stepped)[taken.places]
        ranges, shown = _read(seed, kind, true, rng)
        blocks.append((step, ranges, shown))
    return _rows(wafer, taken, blocks, celsius)


def _read(
    seed: int, kind: CurveKind, true: FloatArray, rng: np.random.Generator
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.object_]], FloatArray]:
    """Range and reading of each point (n, p)."""
    chance = rng.standard_normal(true.shape)
    if kind.measured == "v_v":
        read = smu.shown(seed, "voltage", "1 V", true + _SENSE_NOISE_V * chance)
        return np.full(true.shape, "1 V", dtype=object), read
    ranges = np.empty(true.shape, dtype=object)
    read = np.empty(true.shape)
    left = np.ones(true.shape, dtype=bool)
    for bound, place in _RANGES:
        here = left & (np.abs(true) < bound)
        noise = np.hypot(smu.OPEN_SPREAD_A[place], _SHARE_NOISE * true)
        read[here] = smu.shown(seed, "current", place[0], true + noise * chance)[here]
        ranges[here] = place[0]
        left &= ~here
    return ranges, read


def _rows(
    wafer: TouchedWafer,
    taken: _Taken,
    blocks: list[tuple[float, np.ndarray[tuple[int, ...], np.dtype[np.object_]], FloatArray]],
    celsius: FloatArray,
) -> dict[str, pa.Array]:
    """One row a point: die by die, step by step; a breakdown sweep ends once it has crossed."""
    kind = taken.kind
    n, p = len(taken.places), len(kind.points)
    shown = np.stack([one[2] for one in blocks], axis=1).reshape(-1)
    ranges = np.stack([one[1] for one in blocks], axis=1).reshape(-1)
    steps = np.tile(np.repeat(kind.steps, p), n)
    swept = np.tile(kind.points, n * len(blocks))
    die = np.repeat(np.arange(n), p * len(blocks))
    kept = np.ones(len(die), dtype=bool)
    if kind.id == "breakdown":
        over = (shown.reshape(n, p) > 1e-4).astype(int)
        kept = (np.cumsum(over, axis=1) - over == 0).reshape(-1)
    rows = die[kept]
    stamps = wafer.stamps(taken.hours)
    readings = {kind.measured: shown, kind.swept: swept}
    if kind.stepped is not None:
        readings[kind.stepped] = steps
    axes = {
        name: pa.array(readings[name][kept], pa.float32() if name == kind.measured else None)
        if name in readings
        else pa.nulls(len(rows), pa.float64() if name.startswith("v") else pa.float32())
        for name in ("vgs_v", "vds_v", "i_a", "id_a", "ig_a", "v_v")
    }
    condition = CONDITIONS[kind.id]
    path = None if kind.measured == "v_v" else "triaxial"
    keys = key_columns(
        wafer.frame_numbers(taken.places)[rows],
        [kind.device] * len(rows),
        [condition] * len(rows),
        taken.touchdown[rows],
    )
    return {
        **keys,
        "curve": pa.array([kind.id] * len(rows), pa.string()),
        "measured_at": stamps.take(rows),
        "temperature_c": pa.array(celsius[rows]),
        "range": pa.array(ranges[kept], pa.string()),
        "path": pa.array([path] * len(rows), pa.string()),
        **{name: _float(name, column) for name, column in axes.items()},
    }


def _float(name: str, column: pa.Array) -> pa.Array:
    """Readings in single precision, what was set in double."""
    return column.cast(pa.float32() if name in ("id_a", "ig_a", "v_v") else pa.float64())


def _truths(wafer: TouchedWafer, taken: _Taken) -> Iterator[pa.Table]:
    for parameter in PARAMETERS:
        if parameter.curve is None or parameter.curve["curve"] != taken.kind.id:
            continue
        true = true_figure(parameter, wafer.truth)[taken.places]
        if parameter.curve["figure"] == "breakdown voltage":
            true = np.where(np.isfinite(true), true, wafer.truth["breakdown_v"][taken.places])
        n = len(taken.places)
        keys = key_columns(
            wafer.numbers(taken.places),
            [parameter.device] * n,
            [parameter.conditions[0]] * n,
            taken.touchdown,
        )
        yield true_table(wafer.plan.id, keys, [parameter.id] * n, true)
