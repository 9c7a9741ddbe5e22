"""Every event of a campaign: calibrations solved, verifications and acceptances judged."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen.compute.acceptance import judge_acceptance
from sitegen.compute.budgets import with_budgets
from sitegen.compute.calibration import SolvedCalibration, judged, solve
from sitegen.compute.certainty import where_certain
from sitegen.compute.history import with_history
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.verification import judge_verification
from sitegen.model.campaign import CampaignRecord, Instrument
from sitegen.model.event_results import AcceptanceResult, CalibrationResult, VerificationResult
from sitegen.model.loaded import Campaign
from sitegen.problems import Fault


@dataclass(frozen=True)
class Events:
    """The stations' events, solved and judged."""

    calibrations: tuple[SolvedCalibration, ...]
    verifications: tuple[VerificationResult, ...]
    acceptances: tuple[AcceptanceResult, ...]

    def results(self) -> tuple[CalibrationResult, ...]:
        """The calibrations' results, without what only correction needs."""
        return tuple(one.result for one in self.calibrations)

    def faults(self) -> tuple[Fault, ...]:
        """What kept a calibration from being solved."""
        return tuple(fault for one in self.calibrations for fault in one.faults)


def solve_events(campaign: Campaign) -> Events:
    """Solve every calibration from its raw sweeps, then judge what was verified with it.

    The order: each calibration by itself, its uncertainty, its neighbours in time (which steps lie
    between them is known from the verifications), its budgets; then verifications, acceptances.
    """
    instruments = _instruments(campaign.record)
    stations = campaign.record.stations
    probes = {station.id: station.probes for station in stations}
    alone = (
        solve(
            one,
            instruments[one.record.station, one.record.instrument],
            probes[one.record.station],
        )
        for one in campaign.calibrations
    )
    uncertain = [where_certain(with_uncertainty(one)) for one in alone]
    related = with_history(uncertain, stations, _failed(campaign, uncertain, instruments))
    calibrations = tuple(judged(with_budgets(one)) for one in related)
    by_id = {one.result.record.id: one for one in calibrations}
    verifications = tuple(
        judge_verification(
            one,
            by_id,
            instruments[one.record.station, one.record.instrument],
            campaign.record.decision,
        )
        for one in campaign.verifications
    )
    verified = {one.record.id: one for one in verifications}
    acceptances = tuple(
        judge_acceptance(one, verified, by_id, campaign.record.decision)
        for one in campaign.acceptances
    )
    return Events(calibrations, verifications, acceptances)


def _failed(
    campaign: Campaign,
    solved: Sequence[SolvedCalibration],
    instruments: Mapping[tuple[str, str], Instrument],
) -> frozenset[str]:
    """Calibrations of which a verification failed by its deviations alone.

    Uncertainty is left aside: drift, part of it, is still to come, and no failure hangs on it.
    """
    plain = {one.result.record.id: replace(one, uncertainty=None) for one in solved}
    decision = campaign.record.decision.model_copy(update={"rule": "simple"})
    return frozenset(
        one.record.calibration
        for one in campaign.verifications
        if judge_verification(
            one, plain, instruments[one.record.station, one.record.instrument], decision
        ).outcome
        == "failed"
    )


def _instruments(record: CampaignRecord) -> Mapping[tuple[str, str], Instrument]:
    return {(station.id, one.id): one for station in record.stations for one in station.instruments}
