"""Raw sweeps of one or two ports corrected with a calibration of one or two ports."""

import numpy as np

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.portions import portions
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray


def applicable(terms: ErrorTerms, n_ports: int, port: int = 1) -> ErrorTerms:
    """Terms for sweeps of `n_ports`: a two-port calibration's terms of one port serve that port.

    Raises ValueError where a two-port sweep is to be corrected by a one-port calibration.
    """
    if n_ports == 1 and isinstance(terms, TwoPortTerms):
        driven: DrivenTerms = terms.forward if port == 1 else terms.reverse
        return OnePortTerms(
            terms.frequency_hz,
            terms.z_ref_ohm,
            driven.directivity,
            driven.source_match,
            driven.reflection_tracking,
        )
    if n_ports == 2 and isinstance(terms, OnePortTerms):
        raise ValueError("a one-port calibration cannot correct a two-port sweep")
    return terms


def correct_sweeps(terms: ErrorTerms, raw: ComplexArray, port: int = 1) -> ComplexArray:
    """Corrected sweeps of shape (..., n_freq, n_port, n_port), two ports or the one named.

    They lie in memory entry by entry (`rf.entries`).
    """
    n_ports = raw.shape[-1]
    fitting = applicable(terms, n_ports, port)
    sweeps = raw.reshape(-1, *raw.shape[-3:])
    corrected = as_matrices(np.empty((n_ports**2, *sweeps.shape[:2]), np.complex128))
    for portion in portions(len(sweeps), sweeps.shape[1]):
        if n_ports == 1:
            correct(fitting, sweeps[portion, :, 0, 0], corrected[portion, :, 0, 0])
        else:
            correct(fitting, sweeps[portion], corrected[portion])
    return corrected.reshape(raw.shape)
