"""Arrays over frequency: values between two points."""

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray


def interpolate(values: ComplexArray, frequency_hz: FloatArray, at_hz: FloatArray) -> ComplexArray:
    """Complex values at other frequencies, by a straight line between neighbouring points.

    Args:
        values: (..., n_freq), real and imaginary part are interpolated.
        frequency_hz: (n_freq,), increasing.
        at_hz: (n_at,), wanted frequencies.

    Returns:
        (..., n_at). A wanted frequency that is a measured point gives that point's value,
        whatever its neighbours hold. Outside the measured band the result is NaN: nothing
        is extrapolated. A single point is a legal sweep.
    """
    above = np.searchsorted(frequency_hz, at_hz).clip(0, len(frequency_hz) - 1)
    below = np.maximum(above - 1, 0)
    span_hz = frequency_hz[above] - frequency_hz[below]
    weight = (at_hz - frequency_hz[below]) / np.where(span_hz > 0, span_hz, 1.0)
    with np.errstate(invalid="ignore"):
        between = values[..., below] * (1.0 - weight) + values[..., above] * weight
    exact = frequency_hz[above] == at_hz
    inside = (at_hz >= frequency_hz[0]) & (at_hz <= frequency_hz[-1])
    return np.where(inside, np.where(exact, values[..., above], between), complex(np.nan, np.nan))
