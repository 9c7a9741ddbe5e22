"""How far a figure scatters by its calibration and its sweep, over simulated calibrations."""

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from sitegen.simulate import curve_tables
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.layout import grid_of
from sitegen.simulate.parameters import BY_ID
from sitegen.simulate.scenario import Plants
from sitegen.simulate.touched_wafer import TouchedWafer
from tests.simulate.demo_expected import PROPAGATED_U
from tests.simulate.forward import from_curves, placed, without_pads
from tests.simulate.recalibrated import corrected, solved
from tests.simulate.seeds import CHAIN_HZ, Method, demo, draw

_FEW_DIES = 9


def spread_of(method: Method, seeds: int) -> dict[str, float]:
    """Root mean square of each figure's deviation from the truth, by parameter.

    scikit-rf solves the calibrations from their raw sweeps; pads are taken off with dummies that
    the same calibration corrected.
    """
    squares: dict[str, list[float]] = {}
    for seed in range(seeds):
        drawn = draw(method, seed)
        frequency_hz, coefficients = solved(drawn.calibration)
        kept = np.isin(CHAIN_HZ, frequency_hz)
        dummies = {
            name: corrected(coefficients, raw[0][kept]) for name, raw in drawn.dummies.items()
        }
        for one in drawn.swept:
            if one.device.device == "line":
                continue
            s = corrected(coefficients, one.raw[0][kept])
            inner = without_pads(s, dummies) if one.device.device == "hemt" else s
            for name, true in one.device.true.items():
                if name not in PROPAGATED_U[method]:
                    continue
                parameter = BY_ID[name]
                value = placed(parameter, inner if parameter.deembedded else s, frequency_hz)
                squares.setdefault(name, []).append((value - true[0]) ** 2)
    return {name: float(np.sqrt(np.mean(found))) for name, found in squares.items()}


def spread_of_curves(seeds: int, patch: pytest.MonkeyPatch) -> dict[str, float]:
    """The same of figures of curves, without the draws that their parameters declare."""
    patch.setattr(curve_tables, "contacted", lambda wafer, _: wafer.truth)
    differences: dict[str, list[float]] = defaultdict(list)
    for seed in range(seeds):
        scenario = replace(demo(), seed=seed, grid=grid_of(_FEW_DIES), plants=Plants(), controls=())
        wafer = TouchedWafer(scenario, 0, analyser_of(scenario))
        table, _ = curve_tables.curve_table(wafer)
        places = {die: place for place, die in enumerate(scenario.grid.dies)}
        true = {
            name: curve_tables.true_figure(one, wafer.truth)
            for name, one in BY_ID.items()
            if one.curve is not None
        }
        for one in from_curves(wafer, table):
            difference = one.value - true[one.parameter][places[one.die]]
            if np.isfinite(difference):
                differences[one.parameter].append(difference)
    return {name: float(np.sqrt(np.mean(np.square(found)))) for name, found in differences.items()}
