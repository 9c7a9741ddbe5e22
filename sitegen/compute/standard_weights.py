"""How much each of a port's known standards counts where there are more than are needed."""

from collections.abc import Sequence

import numpy as np

from sitegen.compute.contacts import Contact
from sitegen.compute.error_sources import record_errors
from sitegen.compute.rf.definitions import reflection
from sitegen.compute.rf.one_port import STANDARDS_NEEDED
from sitegen.compute.standards import standard_at
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.loaded import LoadedCalibration

LEAST_U = 1e-3
"""No reflection is taken to be known better than this, so that one standard that states a small
uncertainty does not make the others count for nothing. Our own choice."""


def weights_of(loaded: LoadedCalibration, contacts: Sequence[Contact]) -> FloatArray | None:
    """1/u^2 of each standard's reflection, relative to the best, (n_standard, n_freq).

    u holds what the record states of its definition (one standard uncertainty of each number, in
    quadrature) and of a contact. None where all count alike: where nothing is redundant, or
    nothing is stated.
    """
    record = loaded.record
    if len(contacts) <= STANDARDS_NEEDED:
        return None
    defined = _reflections(loaded, record, contacts)
    variance = np.full(defined.shape, LEAST_U**2)
    if record.uncertainty is not None:
        variance += 2.0 * record.uncertainty.contact_repeatability**2
    for one in record_errors(record):
        moved = _reflections(loaded, one.moved(record, 1.0), contacts)
        variance += np.abs(moved - defined) ** 2
    weights: FloatArray = variance.min(axis=0) / variance
    return None if (weights == 1.0).all() else weights


def _reflections(
    loaded: LoadedCalibration, record: CalibrationRecord, contacts: Sequence[Contact]
) -> ComplexArray:
    return np.array(
        [
            reflection(
                standard_at(record, one.name, one.port),
                loaded.frequency_hz,
                record.reference_impedance_ohm,
            )
            for one in contacts
        ]
    )
