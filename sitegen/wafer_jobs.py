"""The two jobs of a wafer: compute it and keep its results; draw it and write its pages.

Both run in processes of their own, with a small description as their argument and counts as
their result; tables and curves stay in files.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sitegen import drawings, jobs
from sitegen.compute.device_bands import curve_bands, frequency_bands, quality_counts
from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.in_force import CalibrationFacts
from sitegen.compute.rf.propagation import CalibrationUncertainty
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.typical_sweeps import devices_without, typical_sweeps
from sitegen.compute.wafer import (
    compute_wafer,
    control_readings,
    lent_dummies,
)
from sitegen.model.agreement_results import AgreementCount
from sitegen.model.campaign import CampaignRecord, Instrument, Layout, Station
from sitegen.model.device_results import (
    Band,
    ControlResult,
    DummyUse,
    QualityCount,
    TypicalFile,
)
from sitegen.model.loaded import LoadedWafer, Note
from sitegen.model.results import CampaignContext, Drawing, TraceGroup, WaferResults, WaferSummary
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Fault, Finding
from sitegen.publish.staging import write_text
from sitegen.publish.typical_sweeps import write_typical
from sitegen.read import read_wafer_tables
from sitegen.render import wafer_pages


@dataclass(frozen=True)
class ComputeArgument:
    """What the first job of a wafer needs."""

    folder: Path
    wafer: LoadedWafer
    campaign: CampaignRecord
    layout: Layout
    station: Station
    calibrations: tuple[CalibrationFacts, ...]
    terms: Mapping[str, ErrorTerms]
    uncertainties: Mapping[str, CalibrationUncertainty]
    known_calibrations: frozenset[str]
    controls: tuple[ControlResult, ...]
    """Control dies of the campaign, found beforehand; empty while they are being found."""
    campaign_dummies: Mapping[str, Mapping[str, DummySweeps]]
    """By device, then by part: the dummies of one die of the campaign, found beforehand."""
    kept: Path
    """Where its results are kept for the second job."""
    key: str
    """Digest of what the results depend on."""


@dataclass(frozen=True)
class Computed:
    """What the first job hands back."""

    record: WaferRecord
    key: str
    kept: Path
    summary: WaferSummary
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    trace_extents: Mapping[str, tuple[float, float]]
    """By 'device/trace': least and greatest value of the curves."""
    bands: tuple[Band, ...]
    """What its devices show over frequency and over bias."""
    dummies: tuple[DummyUse, ...]
    sweep_quality: tuple[QualityCount, ...]
    budgets: Mapping[tuple[str, str], Mapping[str, float]]
    """By parameter and condition: median u by source."""
    fits: Mapping[tuple[str, str], Mapping[str, float]]


@dataclass(frozen=True)
class PagesArgument:
    """What the second job of a wafer needs."""

    record: WaferRecord
    note: Note | None
    kept: Path
    context: CampaignContext
    findings: tuple[Finding, ...]
    """All findings about this wafer, those of the whole campaign included."""
    faults: tuple[Fault, ...]
    root: Path
    """Where the publication is being written."""
    agreements: tuple[AgreementCount, ...] = ()
    """Of this wafer."""


@dataclass(frozen=True)
class Published:
    """What the second job hands back."""

    pages: int
    maps: Mapping[str, Drawing]
    """By '<parameter>/<condition>' and 'verdicts': small maps, written already, without SVG."""
    typical: tuple[TypicalFile, ...] = ()
    """Touchstone files of its most typical die."""


def compute(argument: ComputeArgument) -> Computed:
    """Read a wafer's tables, compute everything of it, keep the results."""
    record = argument.wafer.record
    tables, faults = read_wafer_tables(
        argument.folder, argument.wafer, argument.campaign, argument.known_calibrations
    )
    results = compute_wafer(record, tables, _setting(argument), argument.layout, argument.controls)
    results = replace(results, faults=tuple(sorted({*faults, *results.faults})))
    jobs.keep(argument.kept, replace(results, traces=(), curves=()))
    jobs.keep(traces_beside(argument.kept), results.traces)
    return Computed(
        record=record,
        key=argument.key,
        kept=argument.kept,
        summary=results.summary,
        faults=results.faults,
        findings=results.findings,
        trace_extents=_trace_extents(results.traces, argument.campaign),
        bands=(
            *frequency_bands(results.traces, argument.campaign, record.id),
            *curve_bands(results.curves, argument.campaign, record.id),
        ),
        dummies=results.dummies,
        sweep_quality=quality_counts(results.sweep_quality),
        budgets=results.budgets,
        fits=results.fits,
    )


def controls(argument: ComputeArgument) -> tuple[ControlResult, ...]:
    """What the control dies of a wafer say, before the wafers themselves are computed."""
    tables, _ = read_wafer_tables(
        argument.folder, argument.wafer, argument.campaign, argument.known_calibrations
    )
    return control_readings(argument.wafer.record, tables, _setting(argument))


def dummies(argument: ComputeArgument) -> Mapping[str, Mapping[str, DummySweeps]]:
    """The dummies that a wafer lends to the whole campaign, by device and part."""
    tables, _ = read_wafer_tables(
        argument.folder, argument.wafer, argument.campaign, argument.known_calibrations
    )
    return lent_dummies(argument.wafer.record, tables, _setting(argument))


def publish(argument: PagesArgument) -> Published:
    """Draw a wafer's frames and maps, and write its pages."""
    results: WaferResults = replace(
        jobs.kept(argument.kept),
        traces=jobs.kept(traces_beside(argument.kept)),
        findings=argument.findings,
        faults=argument.faults,
    )
    frames = drawings.frames(argument.record.id, results, argument.context)
    maps = drawings.wafer_maps(argument.record.id, results, argument.context)
    for drawing in [*(frame.drawing for frame in frames.values()), *maps.values()]:
        write_text(argument.root, drawing.address, drawing.svg)
    campaign = argument.context.record
    chosen = typical_sweeps(results, campaign)
    typical = write_typical(argument.root, chosen, results.traces, campaign, argument.record)
    verdicts = drawings.verdict_map(argument.record.id, results, argument.context, linked=True)
    pages = 0
    for page in wafer_pages(
        context=argument.context,
        record=argument.record,
        results=results,
        note=argument.note,
        frames={name: frame.art for name, frame in frames.items()},
        maps={**maps, "verdicts": verdicts},
        bars=drawings.limit_bars(results),
        typical=typical,
        without=devices_without(results, campaign),
        agreements=argument.agreements,
    ):
        write_text(argument.root, page.address, page.html)
        pages += 1
    small = {name: replace(drawing, svg="") for name, drawing in maps.items()}
    return Published(pages, small, typical)


def traces_beside(kept: Path) -> Path:
    """Where a wafer's curves are kept: apart, since most of what follows needs the tables only."""
    return kept.with_suffix(".traces")


def _setting(argument: ComputeArgument) -> WaferSetting:
    record = argument.wafer.record
    instruments: dict[str | None, Instrument] = {
        one.id: one for one in argument.station.instruments
    }
    return WaferSetting(
        campaign=argument.campaign,
        station=argument.station,
        rf_instrument=instruments.get(record.rf_instrument),
        dc_instrument=instruments.get(record.dc_instrument),
        states={state.id: state for state in record.states},
        calibrations=argument.calibrations,
        terms=argument.terms,
        uncertainties=argument.uncertainties,
        thermal=record.thermal,
        campaign_dummies=argument.campaign_dummies,
    )


def _trace_extents(
    groups: tuple[TraceGroup, ...], campaign: CampaignRecord
) -> Mapping[str, tuple[float, float]]:
    traces = {device.id: device.traces for device in campaign.devices}
    extents: dict[str, tuple[float, float]] = {}
    for group in groups:
        for trace in traces[group.device]:
            values = drawings.trace_values(group.s, trace)
            finite = values[np.isfinite(values)]
            if not finite.size:
                continue
            name = f"{group.device}/{trace}"
            low, high = extents.get(name, (np.inf, -np.inf))
            extents[name] = (
                min(low, float(np.quantile(finite, 0.001))),
                max(high, float(np.quantile(finite, 0.999))),
            )
    return extents
