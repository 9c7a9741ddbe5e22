"""What a parameter's declared sources of uncertainty say of a value."""

import numpy as np
import numpy.typing as npt

from sitegen.model.campaign import Parameter


def standard_uncertainty(parameter: Parameter, value: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Sources added in quadrature, in the parameter's unit; NaN where none is declared.

    u² = Σ absolute² + Σ (relative·value)², sources taken as uncorrelated (JCGM 100:2008, eq. 10).
    """
    values = np.asarray(value, dtype=np.float64)
    if not parameter.uncertainty:
        return np.full(values.shape, np.nan)
    total = np.zeros(values.shape)
    for source in parameter.uncertainty:
        part = source.absolute if source.relative is None else source.relative * values
        total = np.hypot(total, 0.0 if part is None else part)
    return np.asarray(total)
