"""Measured values: the truth and a draw from each source of uncertainty."""

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.measured import Measured
from sitegen.simulate.parameters import PARAMETERS
from sitegen.simulate.set_points import HOT_C, TEMPERATURE_OF

SURFACE_U_C = {25.0: 0.1, HOT_C: 0.3}
"""Standard uncertainty of the surface's temperature at each set point."""


def measured(
    parameter: Measured, true: FloatArray, seed: int, wafer: int, stream: int
) -> FloatArray:
    """True values (n,) with a normal draw from each source that the parameter declares.

    A source drawn once for the campaign or for the wafer is the same draw for all values; one of
    the RF path is not drawn here, because the path's own drift and noise are its draw. `stream`
    tells touchdowns apart. A value with a temperature coefficient has the draw of the wafer's
    temperature.
    """
    place = PARAMETERS.index(parameter)
    value = true.copy()
    for number, source in enumerate(parameter.sources):
        if source.drawn == "path":
            continue
        key = {
            "campaign": [seed, 20, place, number],
            "wafer": [seed, 21, place, number, wafer],
            "value": [seed, 22, place, number, wafer, stream],
        }[source.drawn]
        rng = np.random.default_rng(key)
        draw = rng.standard_normal(len(true) if source.drawn == "value" else 1)
        value = value + draw * source.standard_uncertainty(true)
    return value + parameter.per_c * warmer_c(parameter, seed, wafer)


def warmer_c(parameter: Measured, seed: int, wafer: int) -> float:
    """By how much the wafer was warmer than its record says."""
    set_c = TEMPERATURE_OF[parameter.conditions[0]]
    rng = np.random.default_rng([seed, 24, wafer, round(set_c)])
    return float(SURFACE_U_C[set_c] * rng.standard_normal())


def drawn_uncertainty(parameter: Measured, value: FloatArray) -> FloatArray:
    """Standard uncertainty of values (n,): declared sources and temperature in quadrature."""
    squares = [source.standard_uncertainty(value) ** 2 for source in parameter.sources]
    set_c = TEMPERATURE_OF[parameter.conditions[0]]
    squares.append(np.full(value.shape, (parameter.per_c * SURFACE_U_C[set_c]) ** 2))
    return np.asarray(np.sqrt(np.sum(squares, axis=0)))
