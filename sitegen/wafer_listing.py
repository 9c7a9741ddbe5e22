"""Which jobs the wafers of a campaign need, and what they need of each other beforehand."""

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from pathlib import Path

from sitegen import jobs, wafer_jobs
from sitegen.compute.calibration import without_arrays
from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.events import Events
from sitegen.compute.evidence import facts
from sitegen.compute.in_force import CalibrationFacts
from sitegen.model.device_results import ControlResult
from sitegen.model.loaded import Campaign, LoadedWafer


@dataclass(frozen=True)
class Lent:
    """What one wafer lends to others: what its control dies say, and its dummies."""

    controls: tuple[ControlResult, ...] = ()
    dummies: Mapping[str, Mapping[str, DummySweeps]] = field(default_factory=dict)
    """By device, then by part."""


NOTHING_LENT = Lent()


def lent_beforehand(
    campaign: Campaign, events: Events, work: Path, executor: Executor | None
) -> Lent:
    """Found in jobs of their own for the few wafers that lend something."""
    record = campaign.record
    with_controls = {one.wafer for one in record.controls}
    with_dummies = {
        one.deembedding.wafer
        for one in record.devices
        if one.deembedding is not None and one.deembedding.wafer is not None
    }
    listed = compute_jobs(campaign, events, work)
    lenders = [
        jobs.Job("dummies", one.name, one.key, wafer_jobs.dummies, one.argument)
        for one in listed
        if one.name in with_dummies
    ]
    dummies = {
        device: parts
        for lent in jobs.run(lenders, executor, _unseen)
        for device, parts in lent.items()
    }
    controls = [
        jobs.Job(
            "controls",
            one.name,
            one.key,
            wafer_jobs.controls,
            replace(one.argument, campaign_dummies=dummies),
        )
        for one in listed
        if one.name in with_controls
    ]
    found = jobs.run(controls, executor, _unseen)
    order = {one.id: place for place, one in enumerate(record.controls)}
    return Lent(
        tuple(
            sorted((one for some in found for one in some), key=lambda one: order[one.record.id])
        ),
        dummies,
    )


def _unseen(_: object) -> None:
    """These jobs are part of another stage's progress."""


def compute_jobs(
    campaign: Campaign, events: Events, work: Path, lent: Lent = NOTHING_LENT
) -> tuple[jobs.Job[wafer_jobs.ComputeArgument, wafer_jobs.Computed], ...]:
    """One job a wafer, each with the key of what its results depend on."""
    known = tuple(
        replace(one, result=without_arrays(one.result))
        for one in facts(events.results(), events.verifications)
    )
    return tuple(
        _compute_job(campaign, events, known, wafer, work, lent) for wafer in campaign.wafers
    )


def _compute_job(
    campaign: Campaign,
    events: Events,
    known: tuple[CalibrationFacts, ...],
    wafer: LoadedWafer,
    work: Path,
    lent: Lent,
) -> jobs.Job[wafer_jobs.ComputeArgument, wafer_jobs.Computed]:
    """The first job of a wafer; its key holds its own files and its station's calibrations."""
    record = campaign.record
    station = next(one for one in record.stations if one.id == wafer.record.station)
    assert record.layout is not None  # reading refuses wafers without a layout
    digests = event_digests(campaign, station.id)
    key = jobs.key_of(
        "wafer",
        {
            "wafer": [source.sha256 for source in wafer.sources],
            "mapped": [one.source.model_dump(mode="json") for one in wafer.mapped],
            "events": digests,
            "calibrations": sorted(_ids(campaign)),
            "controls": jobs.digest_of(lent.controls),
            "lenders": _lenders(campaign),
            "campaign": record.model_dump(
                mode="json", exclude={"campaign", "plan"}, exclude_none=True
            ),
            "plan": [
                one.model_dump(mode="json")
                for one in record.plan.wafers
                if one.id == wafer.record.id
            ],
        },
    )
    return jobs.Job(
        kind="wafer",
        name=wafer.record.id,
        key=key,
        function=wafer_jobs.compute,
        argument=wafer_jobs.ComputeArgument(
            folder=campaign.folder,
            wafer=wafer,
            campaign=record,
            layout=record.layout,
            station=station,
            calibrations=known,
            terms={
                one.result.record.id: one.terms
                for one in events.calibrations
                if one.terms is not None and one.result.record.station == station.id
            },
            uncertainties={
                one.result.record.id: one.uncertainty
                for one in events.calibrations
                if one.uncertainty is not None and one.result.record.station == station.id
            },
            known_calibrations=_ids(campaign),
            controls=lent.controls,
            campaign_dummies=lent.dummies,
            kept=work / f"{wafer.record.id}.kept",
            key=key,
        ),
    )


def event_digests(campaign: Campaign, station: str | None) -> Mapping[str, list[str]]:
    """Digests of the files behind each event, of one station or of all."""
    return {
        f"{kind} {one.record.id}": [source.sha256 for source in one.sources]
        for kind, events in (
            ("calibration", campaign.calibrations),
            ("verification", campaign.verifications),
            ("acceptance", campaign.acceptances),
        )
        for one in events
        if station in (None, one.record.station)
    }


def _ids(campaign: Campaign) -> frozenset[str]:
    return frozenset(one.record.id for one in campaign.calibrations)


def _lenders(campaign: Campaign) -> Mapping[str, list[str]]:
    """Digests of the files of each wafer whose dummies serve the whole campaign."""
    wanted = {
        one.deembedding.wafer for one in campaign.record.devices if one.deembedding is not None
    }
    return {
        wafer.record.id: [source.sha256 for source in wafer.sources]
        for wafer in campaign.wafers
        if wafer.record.id in wanted
    }
