"""Are groups of values spread alike? Brown and Forsythe's test about the medians."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc


def equal_spreads(groups: Sequence[npt.ArrayLike]) -> tuple[float, float] | None:
    """F and p-value of groups (n_i,) of values spread so differently if all are spread alike.

    One-way analysis of variance of the distances from each group's median: F with k - 1 and n - k
    degrees of freedom; about the medians it holds its level for skewed values too. None with fewer
    than two groups with a value or no value beyond them, or where the distances within every group
    are equal.
    Source: Brown and Forsythe 1974, Journal of the American Statistical Association 69:364;
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.10.
    """
    vectors = [np.asarray(group, dtype=np.float64) for group in groups]
    vectors = [one - one[0] for one in vectors if len(one)]
    distances = [np.abs(one - np.median(one)) for one in vectors]
    k, n = len(distances), sum(len(one) for one in distances)
    if k < 2 or n == k:
        return None
    sizes = np.array([len(one) for one in distances])
    means = np.array([one.mean() for one in distances])
    grand = float(sizes @ means) / n
    between = float(sizes @ (means - grand) ** 2) / (k - 1)
    within = sum(float(np.sum((one - one.mean()) ** 2)) for one in distances) / (n - k)
    if within <= 0:
        return None
    f = between / within
    return f, float(fdtrc(k - 1, n - k, f))
