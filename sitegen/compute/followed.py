"""What is followed of a station over its calibrations and verifications."""

from collections.abc import Sequence

from sitegen.model.campaign import Station
from sitegen.model.event_results import CalibrationResult, StationFollowed, VerificationResult


def follow_station(
    station: Station,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult],
) -> StationFollowed:
    """Metrics with control limits and forecasts, and what lies between repeated measurements."""
    return StationFollowed(station.id, (), ())
