"""How the parameters of the dies vary together: what a statistical model is made from."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sitegen.model.arrays import FloatArray

Scope = Literal["wafer", "within wafers", "all dies"]


@dataclass(frozen=True, eq=False)
class JointStatistics:
    """Means, covariances and correlations of p quantities over dies with standing.

    A quantity is a parameter under a condition at a site. Of each pair only the dies that have both
    are used, so that with gaps a matrix need not be positive semidefinite.
    """

    scope: Scope
    """'wafer': of one; 'within wafers': about each wafer's own mean, pooled; 'all dies': about the
    mean of all, so that what differs between wafers is inside."""
    wafer: str
    """Empty but for the scope 'wafer'."""
    names: tuple[tuple[str, str, str], ...]
    """Parameter, condition and site, p of them."""
    n: NDArray[np.int64]
    """(p, p): dies that have both; on the diagonal those that have the one."""
    mean: FloatArray
    """(p,), over the dies that have it; NaN without one."""
    covariance: FloatArray
    """(p, p): sum of products of deviations, divided by n - 1; within wafers by n less the number
    of wafers that have both. NaN where that divisor is not positive."""
    correlation: FloatArray
    """(p, p): of the same dies; NaN where one of both does not vary."""
