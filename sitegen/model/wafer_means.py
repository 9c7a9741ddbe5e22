"""Means of wafers and their differences, with the uncertainty that each carries."""

from dataclasses import dataclass


@dataclass(frozen=True)
class WaferMean:
    """The mean of one parameter under one condition over a wafer's values that count and stand."""

    parameter: str
    condition: str
    wafer: str
    n: int
    mean: float | None
    """None: not stated, see `reason`."""
    u: float | None
    """Standard uncertainty of the mean of these values as measured; it is not their spread.
    None: not stated."""
    u_common: float | None
    """Part of u from errors that several of the values share: the mean keeps it."""
    u_own: float | None
    """Part of u from each value's own errors: it shrinks with n."""
    expanded_uncertainty: float | None
    """k times u."""
    calibrations: tuple[tuple[str, int], ...]
    """Calibrations in force and how many of the values stand on each, by id."""
    reason: str
    """Why the mean or its u is not stated; empty where both are."""


@dataclass(frozen=True)
class WaferDifference:
    """The difference of two wafers' means: the first less the second."""

    parameter: str
    condition: str
    first: str
    second: str
    n_first: int
    n_second: int
    difference: float | None
    u: float | None
    """Standard uncertainty of the difference; an error that both means share cancels."""
    u_common: float | None
    """Part of u from shared errors that does not cancel."""
    u_own: float | None
    expanded_uncertainty: float | None
    """k times u."""
    same_calibration: float | None
    """Share of the values that stand on a calibration that serves both wafers, from 0 to 1: the
    sum over calibrations of the smaller of the two wafers' shares. None: no calibration is named,
    as of DC values."""
    reason: str
    """Why the difference or its u is not stated; empty where both are."""
