"""What is followed of a station over its calibrations and verifications."""

from collections.abc import Sequence

from sitegen.compute.metrics import metrics_of
from sitegen.compute.observations import of_calibrations, of_verifications
from sitegen.compute.spreads import spreads_of
from sitegen.compute.wear import wear_of
from sitegen.model.campaign import Station
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.followed_results import StationFollowed


def follow_station(
    station: Station,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult],
) -> StationFollowed:
    """Metrics with control limits and forecasts, and what lies between repeated measurements."""
    made = sorted(
        (one for one in calibrations if one.record.station == station.id),
        key=lambda one: (one.made_at, one.record.id),
    )
    verified = sorted(
        (one for one in verifications if one.record.station == station.id),
        key=lambda one: (one.made_at, one.record.id),
    )
    by_id = {one.record.id: one.record for one in made}
    observations = [*of_calibrations(made), *of_verifications(verified, by_id)]
    return StationFollowed(
        station.id,
        metrics_of(observations, station.exchanges),
        spreads_of(verified, by_id),
        wear_of(station, made),
    )
