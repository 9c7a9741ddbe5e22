"""Dies and laws of values for tests of what is found on maps."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Draw = Callable[[np.random.Generator, tuple[int, ...]], FloatArray]

LAWS: dict[str, Draw] = {
    "normal": lambda rng, shape: rng.normal(size=shape),
    "uniform": lambda rng, shape: rng.uniform(size=shape),
    "log-normal, sigma 0.3": lambda rng, shape: rng.lognormal(0.0, 0.3, shape),
    "Student's t, 5 degrees": lambda rng, shape: rng.standard_t(5, shape),
}


def disc(n: int) -> tuple[IntArray, IntArray]:
    """The n dies nearest to the centre, by die_y, then die_x."""
    side = np.arange(-20, 21)
    x, y = (axis.ravel() for axis in np.meshgrid(side, side))
    nearest = np.lexsort((x, y, x * x + y * y))[:n]
    order = np.lexsort((x[nearest], y[nearest]))
    return x[nearest][order].astype(np.int64), y[nearest][order].astype(np.int64)


def square(side: int) -> tuple[IntArray, IntArray]:
    """side x side dies, row by row."""
    y, x = np.divmod(np.arange(side * side), side)
    return x.astype(np.int64), y.astype(np.int64)
