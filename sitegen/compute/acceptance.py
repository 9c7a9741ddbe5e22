"""An acceptance: what was shown at the factory against what is shown on site."""

from collections.abc import Mapping

from sitegen.compute.calibration import SolvedCalibration
from sitegen.model.campaign import Decision
from sitegen.model.event_results import AcceptanceResult, VerificationResult
from sitegen.model.loaded import LoadedAcceptance


def judge_acceptance(
    loaded: LoadedAcceptance,
    verifications: Mapping[str, VerificationResult],
    calibrations: Mapping[str, SolvedCalibration],
    decision: Decision,
) -> AcceptanceResult:
    """Judge declared performance at both places, and each structure's difference between them."""
    return AcceptanceResult(loaded.record, (), (), "not assessable", "nothing is declared")
