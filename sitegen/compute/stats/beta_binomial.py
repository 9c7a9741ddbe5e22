"""The beta-binomial law: counts of groups whose own shares differ about a common one."""

import numpy as np
import numpy.typing as npt
from scipy.special import betaln

from sitegen.model.arrays import FloatArray

Counts = npt.NDArray[np.int64]


def log_likelihood(
    successes: npt.ArrayLike, sizes: npt.ArrayLike, share: FloatArray, correlation: FloatArray
) -> FloatArray:
    """Log-likelihood of whole sets of groups on a grid, shape (n_sets, n_share, n_correlation).

    successes: (n_sets, n_groups); sizes: (n_groups,), the same for every set; share: (n_share,)
    inside (0, 1); correlation: (n_correlation,) of two members of a group, inside (0, 1).

        sum over groups of log B(x + a, n - x + b) - log B(a, b),
        a = share (1 - correlation) / correlation, b = (1 - share) (1 - correlation) / correlation

    without the binomial coefficients, which are the same everywhere on the grid. Source: Skellam
    1948, Journal of the Royal Statistical Society B 10:257 (quoted from memory).

    Raises ValueError where a count lies outside 0 to the size of its group.
    """
    counts = np.atleast_2d(np.asarray(successes, dtype=np.int64))
    of = np.asarray(sizes, dtype=np.int64)
    if np.any(counts < 0) or np.any(counts > of):
        raise ValueError("a count lies outside its group's size")
    total = (1 - correlation) / correlation
    a = np.multiply.outer(share, total)
    b = np.multiply.outer(1 - share, total)
    alone = betaln(a, b)
    found = np.zeros((len(counts), a.size))
    for size in np.unique(of):
        found += _of_size(counts[:, of == size], int(size), a, b, alone)
    return found.reshape(len(counts), *a.shape)


def _of_size(
    counts: Counts, size: int, a: FloatArray, b: FloatArray, alone: FloatArray
) -> FloatArray:
    """What the groups of one size add, (n_sets, grid); each count that occurs worked out once."""
    seen, place = np.unique(counts, return_inverse=True)
    terms = np.array([(betaln(x + a, size - x + b) - alone).ravel() for x in seen])
    sets = np.arange(len(counts))[:, np.newaxis]
    times = np.zeros((len(counts), len(seen)))
    np.add.at(times, (sets, place.reshape(counts.shape)), 1)
    return np.asarray(times @ terms)
