"""How far a figure scatters by its calibration and its sweep, over simulated calibrations."""

import numpy as np

from sitegen.simulate.parameters import BY_ID
from tests.simulate.forward import figure
from tests.simulate.recalibrated import corrected, solved
from tests.simulate.seeds import CHAIN_HZ, Method, draw


def spread_of(method: Method, seeds: int) -> dict[str, float]:
    """Root mean square of each figure's deviation from what its touchdown presented, by parameter.

    scikit-rf solves the calibrations from their raw sweeps.
    """
    squares: dict[str, list[float]] = {}
    for seed in range(seeds):
        drawn = draw(method, seed)
        frequency_hz, coefficients = solved(drawn.calibration)
        kept = np.isin(CHAIN_HZ, frequency_hz)
        for one in drawn.swept:
            if one.device.device == "line":
                continue
            s = corrected(coefficients, one.raw[0][kept])
            for name, contacted in one.device.contacted.items():
                parameter = BY_ID[name]
                assert parameter.figure is not None
                place = int(np.flatnonzero(frequency_hz == parameter.frequency_hz)[0])
                value = figure(parameter.figure, s[place], parameter.frequency_hz)
                squares.setdefault(name, []).append((value - contacted[0]) ** 2)
    return {name: float(np.sqrt(np.mean(found))) for name, found in squares.items()}
