"""Do the dies outside their limits lie together?"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, gammaincc

from sitegen.compute.stats.neighbours import IntArray, Neighbours


@dataclass(frozen=True)
class JoinCount:
    """Pairs of neighbours of which both are outside."""

    joins: int
    expected: float
    """If the same number of dies were outside anywhere."""
    variance: float
    p_value: float | None
    """Of so many pairs or more; None where their number could be no other."""


def join_count(outside: npt.ArrayLike, neighbours: Neighbours) -> JoinCount:
    """Joins of outside dies (n,) and their chance, the number of outside dies held.

    Moments under sampling without replacement (non-free sampling): with m of n dies outside, E
    pairs of neighbours, D pairs of pairs that share a die and p_k = m(m-1)...(m-k+1) /
    n(n-1)...(n-k+1), the mean is E p2 and the variance
    E p2 + 2 D p3 + (E(E-1) - 2 D) p4 - (E p2)² (Cliff and Ord 1981, Spatial Processes, chapter 2;
    quoted from memory, checked by listing every placement). The count is a whole number and leans
    to the right, so that a normal law would call single pairs significant. Its tail is the larger
    one of two laws with that mean and variance: a binomial one, exact for two dies, and a gamma one
    with the continuity correction.
    """
    out = np.asarray(outside, dtype=bool)
    joins = int(np.sum(out[neighbours.first] & out[neighbours.second]))
    n, m, pairs = neighbours.n, int(out.sum()), len(neighbours.first)
    degree = neighbours.degree.astype(np.float64)
    meeting = float(np.sum(degree * (degree - 1))) / 2
    p2, p3, p4 = (_all_outside(m, n, k) for k in (2, 3, 4))
    mean = pairs * p2
    variance = mean + 2 * meeting * p3 + (pairs * (pairs - 1) - 2 * meeting) * p4 - mean**2
    if variance <= 1e-9 * mean:
        return JoinCount(joins, mean, max(variance, 0.0), None)
    return JoinCount(joins, mean, variance, _tail(joins, mean, variance))


def groups(outside: npt.ArrayLike, neighbours: Neighbours) -> tuple[IntArray, ...]:
    """Places of connected outside dies (n,), two and more, the largest group first.

    Groups of one size stand in the order of their first dies.
    """
    out = np.asarray(outside, dtype=bool)
    both = out[neighbours.first] & out[neighbours.second]
    group: dict[int, list[int]] = {}
    for first, second in zip(
        neighbours.first[both].tolist(), neighbours.second[both].tolist(), strict=True
    ):
        one, other = group.setdefault(first, [first]), group.setdefault(second, [second])
        if one is not other:
            one.extend(other)
            group.update(dict.fromkeys(other, one))
    distinct = {id(one): sorted(one) for one in group.values()}
    found = sorted(distinct.values(), key=lambda places: (-len(places), places[0]))
    return tuple(np.array(places, dtype=np.int64) for places in found)


def _all_outside(m: int, n: int, k: int) -> float:
    """Chance that k given dies are all among the m outside of n."""
    if k > min(m, n):
        return 0.0
    return float(np.prod([(m - step) / (n - step) for step in range(k)]))


def _tail(joins: int, mean: float, variance: float) -> float:
    """Chance of so many joins or more."""
    if joins == 0:
        return 1.0
    gamma = float(gammaincc(mean**2 / variance, (joins - 0.5) * mean / variance))
    share = 1 - variance / mean
    beyond = mean / share - joins + 1 if share > 1e-9 else 0.0
    return max(gamma, float(betainc(joins, beyond, share)) if beyond > 0 else 0.0)
