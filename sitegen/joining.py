"""What needs all wafers: common tables, populations, axes, the dated record, findings."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pyarrow as pa

from sitegen import __version__, drawings, jobs
from sitegen.between_wafers import findings_between, hand_over, write_comparisons
from sitegen.compute.agreements import agreement_counts
from sitegen.compute.calibration_use import calibration_uses
from sitegen.compute.differences import compare_wafers
from sitegen.compute.events import Events
from sitegen.compute.evidence import facts
from sitegen.compute.findings import findings_of, not_in_the_record
from sitegen.compute.followed import follow_station
from sitegen.compute.over_wafers.campaign_statistics import campaign_statistics
from sitegen.compute.over_wafers.concerned_dies import concerned_dies
from sitegen.compute.population import NEEDED, summarise_results
from sitegen.compute.source_use import source_uses
from sitegen.compute.station_record import station_record
from sitegen.compute.unfinished import unfinished
from sitegen.model.campaign import CampaignRecord
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.decision_results import Risks
from sitegen.model.device_results import (
    SWEEP_QUALITY_SCHEMA,
    TOUCHDOWN_RESULT_SCHEMA,
)
from sitegen.model.followed_results import StationFollowed
from sitegen.model.loaded import Campaign, Note
from sitegen.model.remeasured import takes_part
from sitegen.model.result_tables import DIE_COLUMNS, EARLIER_COLUMNS, RESULT_COLUMNS
from sitegen.model.results import (
    AxisRange,
    CampaignContext,
    CampaignResults,
    ParameterResult,
    StationRecord,
    TableFile,
    WaferResults,
    WaferSummary,
)
from sitegen.model.schemas import schema_of
from sitegen.problems import Fault, Finding
from sitegen.publish import (
    acceptance_tables,
    foreign_tables,
    record_tables,
    station_tables,
    statistics_tables,
    sweep_tables,
    verification_tables,
)
from sitegen.publish.tables import read_columns, write_table
from sitegen.stressed_wafers import compare_stressed
from sitegen.wafer_jobs import Computed, traces_beside
from sitegen.wafer_listing import Lent

JOINED = [
    *NEEDED,
    "die_x",
    "die_y",
    "x_mm",
    "y_mm",
    "site",
    "device",
    "touchdown",
    "measured_at",
    "standing_reasons",
]
"""Columns of the results that are looked at over all wafers."""
EVER_LISTED = ("faults", "findings")
"""Tables of which it says something that they have no row; others without rows are left out."""


def join(
    campaign: Campaign,
    events: Events,
    computed: Sequence[Computed],
    lent: Lent,
    faults: Sequence[Fault],
    root: Path,
) -> CampaignResults:
    """Everything that the pages beyond the wafers are made from; writes the tables of data/.

    Wafers measured for a study only, or again after a stress, have pages and rows in the tables,
    and no part in the rest but for the study and the comparison with the measurement before.
    """
    record, calibrations, verifications = campaign.record, events.results(), events.verifications
    tables = _write_wafer_tables(computed, root)
    every_fault = {*faults, *(fault for one in computed for fault in one.faults)}
    measured, everything = computed, joined_values(root)
    computed = [one for one in measured if takes_part(one.record, record)]
    values = everything[everything["wafer"].isin([one.record.id for one in computed])]
    wafers = tuple(one.summary for one in computed)
    compared = compare_wafers(values, record, [one.record for one in computed])
    dies = read_columns(root, "dies", [name for name, _, _ in DIE_COLUMNS])
    records = tuple(one.record for one in measured)
    made = {one.record.id: one.made_at for one in calibrations}
    statistics = campaign_statistics(everything, dies, record, records, compared.differences, made)
    parameters = summarise_results(values, record, "")
    stressed = compare_stressed(record, measured, root)
    tables = (*tables, *write_comparisons(record, values, compared, root), *stressed.tables)
    followed = _followed(record, events)
    from_wafers = [
        *_found_before(campaign, measured),
        *findings_between(record, values, lent.controls, computed, root),
        *stressed.findings,
    ]
    results = CampaignResults(
        context=_context(record, events, measured, values, parameters, tables, statistics),
        calibrations=calibrations,
        verifications=verifications,
        stations=_stations(record, events, measured),
        uses=calibration_uses(everything, facts(calibrations, verifications)),
        wafer_records=records,
        wafers=wafers,
        parameters=(*parameters, *(one for wafer in wafers for one in wafer.parameters)),
        notes=notes_of(campaign),
        sources=campaign.sources,
        faults=tuple(sorted(every_fault)),
        findings=_findings(record, events, followed, _judged(measured), parameters, from_wafers),
        tables=(),
        acceptances=events.acceptances,
        controls=lent.controls,
        handed_over=hand_over(record, values, computed, root),
        bands=tuple(band for one in computed for band in one.bands),
        dummies=tuple(use for one in computed for use in one.dummies),
        sweep_quality=tuple(count for one in computed for count in one.sweep_quality),
        budgets=_by_wafer({one.record.id: one.budgets for one in computed}),
        fits=_by_wafer({one.record.id: one.fits for one in computed}),
        means=compared.means,
        concerned=concerned_dies(values, record),
        differences=compared.differences,
        followed=followed,
        statistics=statistics,
        shifts=stressed.shifts,
        source_uses=source_uses(campaign),
        gathered=campaign.gathered,
        agreements=agreement_counts(values, record),
    )
    tables = (*tables, *_write_event_tables(results, root))
    listed = tuple(one for one in tables if one.rows or one.name in EVER_LISTED)
    return replace(
        results,
        tables=_with_dictionary(listed, root),
        without_rows=tuple(one for one in tables if one not in listed),
    )


def _followed(record: CampaignRecord, events: Events) -> tuple[StationFollowed, ...]:
    """What each station's events say over time."""
    calibrations = events.results()
    return tuple(
        follow_station(station, calibrations, events.verifications) for station in record.stations
    )


def _found_before(campaign: Campaign, measured: Sequence[Computed]) -> list[Finding]:
    """What each wafer shows by itself, what is not there, and what is still to be filled in."""
    return [
        *(finding for one in measured for finding in one.findings),
        *not_in_the_record(campaign.record, [one.record.id for one in measured]),
        *unfinished(campaign),
    ]


def _judged(measured: Sequence[Computed]) -> tuple[WaferSummary, ...]:
    """Of the wafers whose verdicts ask for a look: those after a stress too."""
    return tuple(one.summary for one in measured if not one.record.only_for_study)


def _findings(
    record: CampaignRecord,
    events: Events,
    followed: Sequence[StationFollowed],
    wafers: Sequence[WaferSummary],
    parameters: Sequence[ParameterResult],
    beside: Sequence[Finding],
) -> tuple[Finding, ...]:
    """All findings in their order; beside: those already made of the wafers."""
    return findings_of(
        record,
        events.results(),
        events.verifications,
        events.acceptances,
        followed,
        wafers,
        parameters,
        beside,
    )


def _context(
    record: CampaignRecord,
    events: Events,
    computed: Sequence[Computed],
    values: pd.DataFrame,
    parameters: tuple[ParameterResult, ...],
    tables: Sequence[TableFile],
    statistics: CampaignStatistics | None,
) -> CampaignContext:
    """The little that a wafer's pages need of the whole campaign."""
    return CampaignContext(
        record=record,
        version=__version__,
        wafers=tuple(one.record.id for one in computed if takes_part(one.record, record)),
        parameters=parameters,
        ranges=_ranges(record, values, computed),
        calibrations={one.record.id: one.outcome for one in events.results()},
        downloads={
            address: size for table in tables if table.rows for address, size in table.files
        },
        risks=_global_risks(record, statistics),
        read=tuple(one.record.id for one in computed),
    )


def _global_risks(
    record: CampaignRecord, statistics: CampaignStatistics | None
) -> dict[tuple[str, str], Risks]:
    """Of the parameters with a prior."""
    known = {one.id for one in record.parameters if one.prior is not None}
    every = statistics.parameters if statistics else ()
    return {(one.parameter, one.condition): one.risks for one in every if one.parameter in known}


def _stations(
    record: CampaignRecord, events: Events, computed: Sequence[Computed]
) -> tuple[StationRecord, ...]:
    """What calibrations and wafers say of each station."""
    wafers = [(one.record, one.summary) for one in computed]
    return tuple(
        station_record(station.id, events.results(), events.verifications, wafers)
        for station in record.stations
    )


def _by_wafer(
    found: Mapping[str, Mapping[tuple[str, str], Mapping[str, float]]],
) -> dict[tuple[str, str, str], Mapping[str, float]]:
    """Facts by parameter and condition of each wafer, under one roof."""
    return {
        (wafer, *key): facts for wafer, of_wafer in found.items() for key, facts in of_wafer.items()
    }


def _ranges(
    record: CampaignRecord, values: pd.DataFrame, computed: Sequence[Computed]
) -> dict[str, AxisRange]:
    """The axes that every page of the campaign shares."""
    counting = values[values["counts"].astype(bool)]
    return {
        **drawings.value_ranges(record.parameters, counting),
        **drawings.trace_ranges([one.trace_extents for one in computed]),
    }


def joined_values(root: Path) -> pd.DataFrame:
    """The results of all wafers, the columns that are looked at together."""
    return read_columns(root, "results", JOINED)


def notes_of(campaign: Campaign) -> tuple[Note, ...]:
    """Every note: the campaign's own, then those beside records."""
    beside = (
        *(one.note for one in campaign.calibrations),
        *(one.note for one in campaign.verifications),
        *(one.note for one in campaign.acceptances),
        *(one.note for one in campaign.wafers),
    )
    return (*campaign.notes, *(note for note in beside if note is not None))


def _write_wafer_tables(computed: Sequence[Computed], root: Path) -> tuple[TableFile, ...]:
    """The large tables, one wafer in memory at a time."""

    def kept(one: Computed) -> WaferResults:
        found: WaferResults = jobs.kept(one.kept)
        return found

    results = write_table(
        root,
        "results",
        "Every value: one row for each die, site, device, parameter, condition and touchdown.",
        schema_of(RESULT_COLUMNS),
        (kept(one).results for one in computed),
    )
    dies = write_table(
        root,
        "dies",
        "Every die of each wafer with its verdict.",
        schema_of(DIE_COLUMNS),
        (kept(one).dies for one in computed),
    )
    sweeps = tuple(
        write_table(
            root,
            f"sweeps-{one.record.id}",
            f"Corrected sweeps of wafer {one.record.id}, one row a frequency.",
            schema_of(sweep_tables.SWEEP_COLUMNS),
            sweep_tables.sweeps(jobs.kept(traces_beside(one.kept))),
            forms=("parquet",),
        )
        for one in computed
        if one.trace_extents
    )
    return (results, dies, *sweeps, *_write_trust_tables(computed, kept, root))


def _write_trust_tables(
    computed: Sequence[Computed], kept: Callable[[Computed], WaferResults], root: Path
) -> tuple[TableFile, ...]:
    """What shows whether sweeps, touchdowns and wafers can be relied on."""
    return (
        write_table(
            root,
            "sweep-quality",
            "Quality of each sweep: noise, steps, contact, passivity, reciprocity, causality.",
            SWEEP_QUALITY_SCHEMA,
            (kept(one).sweep_quality for one in computed),
        ),
        write_table(
            root,
            "touchdowns",
            "Every touchdown of each wafer with its contact checks.",
            TOUCHDOWN_RESULT_SCHEMA,
            (kept(one).touchdowns for one in computed),
        ),
        write_table(
            root,
            "earlier-maps",
            "Values of earlier maps of the wafers, against which their identity is checked.",
            schema_of(EARLIER_COLUMNS),
            (
                one_table.append_column(
                    "wafer", pa.array([one.record.id] * one_table.num_rows)
                ).select([name for name, _, _ in EARLIER_COLUMNS])
                for one in computed
                for one_table in (kept(one).earlier,)
            ),
        ),
    )


def _write_event_tables(results: CampaignResults, root: Path) -> tuple[TableFile, ...]:
    contents = (
        (
            "parameters",
            "Summaries of each parameter and condition, by wafer and zone.",
            record_tables.parameters(results.parameters, results.context.record),
        ),
        ("wafers", "Each wafer in counts.", record_tables.wafers(results.wafers)),
        (
            "calibrations",
            "Each calibration with its outcome.",
            record_tables.calibrations(results.calibrations, results.wafers),
        ),
        ("checks", "Each check of each calibration.", record_tables.checks(results.calibrations)),
        (
            "error-terms",
            "Solved error terms over frequency.",
            record_tables.error_terms(results.calibrations),
        ),
        *(
            statistics_tables.contents(results.statistics, results.context.record)
            if results.statistics
            else ()
        ),
        *verification_tables.contents(results.verifications),
        *acceptance_tables.contents(results.acceptances),
        *station_tables.contents(results.followed),
        *foreign_tables.contents(results.gathered),
        ("faults", "Faults of the input.", record_tables.faults(results.faults)),
        ("findings", "What the measurements show.", record_tables.findings(results.findings)),
    )
    return tuple(
        write_table(root, name, description, table.schema, [table])
        for name, description, table in contents
    )


def _with_dictionary(tables: tuple[TableFile, ...], root: Path) -> tuple[TableFile, ...]:
    table = record_tables.dictionary(tables)
    text = "Every column of every table with its type and meaning."
    return (*tables, write_table(root, "dictionary", text, table.schema, [table]))
