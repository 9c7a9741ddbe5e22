"""How far a figure scatters by its calibration and its sweep, over simulated calibrations."""

import numpy as np

from sitegen.simulate.parameters import BY_ID
from tests.simulate.demo_expected import PROPAGATED_U
from tests.simulate.forward import placed, without_pads
from tests.simulate.recalibrated import corrected, solved
from tests.simulate.seeds import CHAIN_HZ, Method, draw


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
