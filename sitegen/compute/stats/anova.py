"""One-way analysis of variance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc


@dataclass(frozen=True)
class OneWay:
    """Table of a one-way analysis of variance; sums and mean squares in the unit squared."""

    n: int
    group_sizes: tuple[int, ...]
    grand_mean: float
    ss_between: float
    df_between: int
    ms_between: float
    ss_within: float
    df_within: int
    ms_within: float
    f: float | None
    """ms_between / ms_within; None where the values within every group are equal."""
    p_value: float | None
    """Chance of an F at least as large if all groups had one mean and normal values."""
    r_squared: float | None
    """ss_between / (ss_between + ss_within); None where all values are equal."""
    residual_sd: float
    """sqrt(ms_within)."""


def one_way(groups: Sequence[npt.ArrayLike]) -> OneWay:
    """One-way analysis of variance of one-dimensional groups; NaN is left out.

    Everything is promoted to float64 and referred to one of the values first, which is exact for
    values with many leading digits in common; the sums of squares are then taken in two passes.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.4.3.

    Raises ValueError unless there are two groups with a value, and a group with two.
    """
    vectors = [np.asarray(group, dtype=np.float64) for group in groups]
    filled = [v for v in (vector[~np.isnan(vector)] for vector in vectors) if v.size]
    sizes = np.array([v.size for v in filled], dtype=np.int64)
    n, n_groups = int(sizes.sum()), len(filled)
    if n_groups < 2 or n == n_groups:
        raise ValueError(
            "an analysis of variance needs two groups with values and a group with at least two"
        )
    origin = float(filled[0][0])
    shifted = [v - origin for v in filled]
    grand = float(np.mean(np.concatenate(shifted)))
    means = np.array([v.mean() for v in shifted])
    ss_between = float(np.sum(sizes * (means - grand) ** 2))
    ss_within = float(sum(np.sum((v - mean) ** 2) for v, mean in zip(shifted, means, strict=True)))
    df_between, df_within = n_groups - 1, n - n_groups
    ms_between, ms_within = ss_between / df_between, ss_within / df_within
    f = ms_between / ms_within if ms_within > 0 else None
    total = ss_between + ss_within
    return OneWay(
        n=n,
        group_sizes=tuple(int(size) for size in sizes),
        grand_mean=origin + grand,
        ss_between=ss_between,
        df_between=df_between,
        ms_between=ms_between,
        ss_within=ss_within,
        df_within=df_within,
        ms_within=ms_within,
        f=f,
        p_value=None if f is None else float(fdtrc(df_between, df_within, f)),
        r_squared=ss_between / total if total > 0 else None,
        residual_sd=float(np.sqrt(ms_within)),
    )
