"""Small linear systems, one at each frequency, with their condition."""

import numpy as np

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

LARGEST_CONDITION = 1e4
"""Above this condition number a frequency counts as not determined: two standards whose
reflections differ by about 0.0003 reach it. Our own choice, far beyond any usable set; up to it
noiseless sweeps give the truth to 1e-10."""


def least_squares(matrix: ComplexArray, right: ComplexArray) -> tuple[ComplexArray, FloatArray]:
    """Least-squares solution and condition number at each frequency.

    Columns are scaled to unit length first, so that the condition speaks of the standards
    and not of the losses in the path to them. Rows that hold NaN or infinity make their
    frequency's condition infinite.

    Args:
        matrix: (n_freq, n_equation, n_unknown).
        right: (n_freq, n_equation).

    Returns:
        Solution (n_freq, n_unknown), NaN where the condition is infinite, and condition
        (n_freq,).
    """
    together = np.concatenate([matrix, right[:, :, np.newaxis]], axis=-1)
    finite: BoolArray = np.all(np.isfinite(together), axis=(1, 2))
    matrix = np.where(finite[:, np.newaxis, np.newaxis], matrix, 0.0)
    right = np.where(finite[:, np.newaxis], right, 0.0)
    length = np.linalg.norm(matrix, axis=1)
    scale = np.where(length > 0, length, 1.0)
    u, singular, v_h = np.linalg.svd(matrix / scale[:, np.newaxis, :], full_matrices=False)
    with np.errstate(divide="ignore", invalid="ignore"):
        condition = np.where(singular[:, -1] > 0, singular[:, 0] / singular[:, -1], np.inf)
        projected = np.einsum("fij,fi->fj", u.conj(), right) / singular
        solution = np.einsum("fij,fi->fj", v_h.conj(), projected) / scale
    solution[~np.isfinite(condition)] = complex(np.nan, np.nan)
    return solution, condition
