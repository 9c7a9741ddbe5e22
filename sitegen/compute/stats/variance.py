"""Variance components by the method of moments: how much of the spread lies between wafers."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.anova import OneWay, one_way


@dataclass(frozen=True)
class Component:
    """One source of spread, in the unit of the values squared."""

    name: str
    df: int
    mean_square: float
    moment_estimate: float
    """Estimate of the method of moments; below zero where chance outweighs the source."""
    variance: float
    """The same, but zero where the estimate is negative."""
    share: float | None
    """Part of the sum of all components; None where nothing spreads."""


@dataclass(frozen=True)
class Components:
    """Sources of spread, the outermost first, the residual last."""

    n: int
    grand_mean: float
    components: tuple[Component, ...]


def between_groups(analysis: OneWay, group: str = "wafer", residual: str = "die") -> Components:
    """Components of one level of grouping, from its analysis of variance.

    The between component is (MS between - MS within) / n0 with
    n0 = (N - sum(n_i^2) / N) / (a - 1) for a groups of n_i values, which is their common size
    where they are equal. Source: Searle, Casella and McCulloch 1992, Variance Components, 3.6
    (quoted from memory).
    """
    squares = sum(size * size for size in analysis.group_sizes)
    n0 = (analysis.n - squares / analysis.n) / analysis.df_between
    between = (analysis.ms_between - analysis.ms_within) / n0
    return _components(
        analysis.n,
        analysis.grand_mean,
        (
            (group, analysis.df_between, analysis.ms_between, between),
            (residual, analysis.df_within, analysis.ms_within, analysis.ms_within),
        ),
    )


def nested(lot: npt.ArrayLike, wafer: npt.ArrayLike, values: npt.ArrayLike) -> Components:
    """Components of wafers nested in lots, for balanced data.

    lot, wafer: (n,) labels, the wafer's label need only be unique within its lot; values: (n,)
    finite. With w wafers a lot and s values a wafer:
    wafer = (MS wafer in lot - MS residual) / s, lot = (MS lot - MS wafer in lot) / (w s).
    Source: Searle, Casella and McCulloch 1992, Variance Components, chapter 4, balanced data
    (quoted from memory).

    Raises ValueError where lots differ in their number of wafers or wafers in their number of
    values, where a level has one member only, or where a value is missing.
    """
    numbers = np.asarray(values, dtype=np.float64)
    lots, wafers = np.asarray(lot), np.asarray(wafer)
    if numbers.ndim != 1 or lots.shape != numbers.shape or wafers.shape != numbers.shape:
        raise ValueError("lot, wafer and values must have one dimension and the same length")
    if not np.isfinite(numbers).all():
        raise ValueError("nested components need a finite value in every place")
    cube = _balanced(lots, wafers, numbers)
    n_lot, n_wafer, n_site = cube.shape
    by_lot = one_way(list(cube.reshape(n_lot, -1)))
    by_wafer = one_way(list(cube.reshape(n_lot * n_wafer, n_site)))
    centred = cube - by_lot.grand_mean
    wafer_means = centred.mean(axis=2)
    deviations = wafer_means - wafer_means.mean(axis=1, keepdims=True)
    df_wafer = n_lot * (n_wafer - 1)
    ms_wafer = float(n_site * np.sum(deviations**2)) / df_wafer
    ms_site = by_wafer.ms_within
    return _components(
        numbers.size,
        by_lot.grand_mean,
        (
            ("lot", n_lot - 1, by_lot.ms_between, (by_lot.ms_between - ms_wafer) / cube[0].size),
            ("wafer", df_wafer, ms_wafer, (ms_wafer - ms_site) / n_site),
            ("site", by_wafer.df_within, ms_site, ms_site),
        ),
    )


def _balanced(
    lot: npt.NDArray[np.generic], wafer: npt.NDArray[np.generic], values: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Values as (n_lot, n_wafer, n_site)."""
    lot_code = np.unique(lot, return_inverse=True)[1]
    wafer_code = np.unique(wafer, return_inverse=True)[1]
    pair = lot_code * (wafer_code.max(initial=0) + 1) + wafer_code
    _, first, counts = np.unique(pair, return_index=True, return_counts=True)
    wafers_in_lot = np.bincount(lot_code[first])
    if np.unique(counts).size != 1 or np.unique(wafers_in_lot).size != 1:
        raise ValueError(
            "nested components need balanced data: every lot with the same number of wafers and "
            "every wafer with the same number of values"
        )
    shape = (wafers_in_lot.size, int(wafers_in_lot[0]), int(counts[0]))
    if min(shape) < 2:
        raise ValueError("nested components need two lots, two wafers a lot and two values a wafer")
    return values[np.argsort(pair, kind="stable")].reshape(shape)


def _components(
    n: int, grand_mean: float, rows: tuple[tuple[str, int, float, float], ...]
) -> Components:
    total = sum(max(estimate, 0.0) for *_, estimate in rows)
    return Components(
        n,
        grand_mean,
        tuple(
            Component(
                name=name,
                df=df,
                mean_square=mean_square,
                moment_estimate=estimate,
                variance=max(estimate, 0.0),
                share=max(estimate, 0.0) / total if total > 0 else None,
            )
            for name, df, mean_square, estimate in rows
        ),
    )
