"""Measured values: the truth and a draw from each declared source of uncertainty."""

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.parameters import PARAMETERS, Measured


def measured(
    parameter: Measured, true: FloatArray, seed: int, wafer: int, stream: int
) -> FloatArray:
    """True values (n,) with a normal draw from each source that the parameter declares.

    A source drawn once for the campaign or for the wafer is the same draw for all values; one of
    the RF path is not drawn here, because the path's own drift and noise are its draw. `stream`
    tells touchdowns apart.
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
    return value


def drawn_uncertainty(parameter: Measured, value: FloatArray) -> FloatArray:
    """Declared standard uncertainty of values (n,), all sources in quadrature."""
    squares = [source.standard_uncertainty(value) ** 2 for source in parameter.sources]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)))
