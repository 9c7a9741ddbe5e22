"""Wafers before and after a stress: their comparison, and the tables of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyarrow as pa

from sitegen.compute.over_wafers.paired_dies import COLUMNS
from sitegen.compute.over_wafers.shift_findings import shift_findings
from sitegen.compute.over_wafers.shift_identity import exchanged_wafers
from sitegen.compute.over_wafers.shifts import shifts
from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import TableFile
from sitegen.model.schemas import schema_of
from sitegen.model.shift_results import SHIFT_DIE_COLUMNS, Shift
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Finding
from sitegen.publish import shift_tables
from sitegen.publish.tables import read_columns, write_table
from sitegen.wafer_jobs import Computed

DIES = "shift-dies"
"""Name of the table of single dies."""


@dataclass(frozen=True)
class Stressed:
    """What each stress did; empty where none is declared."""

    shifts: tuple[Shift, ...] = ()
    findings: tuple[Finding, ...] = ()
    tables: tuple[TableFile, ...] = ()


def compare_stressed(record: CampaignRecord, measured: Sequence[Computed], root: Path) -> Stressed:
    """What each stress did and whether its wafers are those of before; writes the tables of it."""
    if not record.stresses:
        return Stressed()
    named = {name for stress in record.stresses for name in stress.records}
    results = read_columns(root, "results", COLUMNS)
    results = results[results["wafer"].isin(named)]
    found = shifts(results, record, [_dated(one) for one in measured])
    schema = schema_of(SHIFT_DIE_COLUMNS)
    dies = pa.Table.from_pandas(found.dies, schema=schema, preserve_index=False)
    table = shift_tables.content(found.found, record)
    tables = (
        write_table(
            root,
            "shifts",
            "What each stress did to each parameter, over all its wafers and wafer by wafer.",
            table.schema,
            [table],
        ),
        write_table(
            root,
            DIES,
            "Every value before a stress with the value after, or why there is none.",
            schema,
            [dies.replace_schema_metadata(None)],
        ),
    )
    told = (*shift_findings(found.found, record), *exchanged_wafers(results, record))
    return Stressed(found.found, told, tables)


def _dated(one: Computed) -> WaferRecord:
    """The record with the times of its tables where it states none, so that order is checked."""
    record, summary = one.record, one.summary
    times = {
        "started": record.started or summary.started,
        "finished": record.finished or summary.finished,
    }
    return record.model_copy(update=times)


def shifted_dies(found: Sequence[Shift], root: Path) -> pd.DataFrame:
    """`SHIFT_DIE_COLUMNS` as this build has written them; none without a shift."""
    names = [name for name, _, _ in SHIFT_DIE_COLUMNS]
    return read_columns(root, DIES, names) if found else pd.DataFrame({name: [] for name in names})
