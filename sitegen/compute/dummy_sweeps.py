"""Sweeps of the dummy structures that serve a group of devices."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class DummySweeps:
    """Corrected sweeps of the dummies that play one part; n_set of them."""

    device: str
    """Id of the dummy."""
    frequency_hz: FloatArray
    s: ComplexArray
    """(n_set, n_freq, n_port, n_port)."""
    set_of: npt.NDArray[np.intp]
    """(n_sweep,) which of them serves each sweep of the devices; -1: none."""
    calibration: npt.NDArray[np.object_]
    """(n_set,) id of the calibration behind each, or None."""
    z_ref_ohm: float
    dies: tuple[tuple[int, int], ...]
    """(n_set) die of each."""
