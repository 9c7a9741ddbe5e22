"""Verifications as tables for data/: one function a table."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import MaskResult, StructureResult, VerificationResult
from sitegen.model.schemas import schema_of
from sitegen.publish.record_tables import REAL, TEXT, TIME, WHOLE, Columns, table_of

JUDGED = "passed, failed, not proven, not assessable"
VERIFICATION_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    ("station", TEXT, "station"),
    ("calibration", TEXT, "calibration that it verifies"),
    ("made_at", TIME, "reference time"),
    ("outcome", TEXT, f"verdict of the verification: {JUDGED}"),
    ("structure", TEXT, "structure that took no part in the calibration"),
    ("parameter", TEXT, "S-parameter under the mask"),
    ("quantity", TEXT, "complex deviation (linear), magnitude db, phase deg"),
    ("structure_outcome", TEXT, "verdict under this mask"),
    ("reason", TEXT, "why it is not assessable"),
    ("worst_ratio", REAL, "greatest deviation with its guard band, divided by the mask"),
    ("worst_margin", REAL, "mask less deviation where the ratio is greatest"),
    ("worst_frequency_hz", REAL, "where that is, Hz"),
    ("points_judged", WHOLE, "frequencies inside the mask"),
    ("repeatability", REAL, "pooled standard deviation of an S-parameter over repeated contacts"),
)
OVER_FREQUENCY: Columns = (
    ("structure", TEXT, "structure"),
    ("parameter", TEXT, "S-parameter"),
    ("quantity", TEXT, "quantity of deviation, u, guard and limit"),
    ("frequency_hz", REAL, "frequency, Hz"),
)
UNDER_MASK: Columns = (
    (
        "u",
        REAL,
        "its standard uncertainty, along a complex deviation where that is well above it, else of"
        " the direction that is least certain; null: not stated",
    ),
    ("guard", REAL, "guard band that the rule adds to it; null: none"),
    ("limit", REAL, "mask; null outside it"),
)
DEVIATION_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    *OVER_FREQUENCY,
    ("deviation", REAL, "absolute deviation from the reference"),
    *UNDER_MASK,
)
AGREEMENT_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    ("structure", TEXT, "structure"),
    ("parameter", TEXT, "S-parameter"),
    ("rule", TEXT, "shown, share of points, greatest value"),
    ("figure", REAL, "share of points above 1, or greatest value, as the rule asks"),
    ("limit", REAL, "what a sweep that agrees exceeds at the false-alarm rate"),
    ("false_alarm_rate", REAL, "chance that the rule refuses a sweep that agrees"),
    ("outcome", TEXT, JUDGED),
    ("text", TEXT, "the same as a sentence"),
)
NORMALISED_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    ("structure", TEXT, "structure"),
    ("parameter", TEXT, "S-parameter"),
    ("frequency_hz", REAL, "frequency, Hz"),
    ("normalised", REAL, "sqrt(d' V^-1 d / 5.991); at most 1 in 95 % of points that agree"),
)
LINE_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    ("structure", TEXT, "line"),
    ("quantity", TEXT, "effective permittivity, attenuation db per mm, phase deg per mm"),
    ("frequency_hz", REAL, "frequency, Hz"),
    ("value", REAL, "what was found; null: not determined"),
    ("u", REAL, "its standard uncertainty"),
    ("reference", REAL, "reference"),
    ("reference_u", REAL, "its standard uncertainty"),
    ("tolerance", REAL, "greatest accepted difference"),
    ("difference", REAL, "value less reference"),
    ("normalised", REAL, "difference / (k sqrt(u^2 + reference_u^2)), signed"),
    ("outcome", TEXT, JUDGED),
    ("reason", TEXT, "why it is not assessable"),
)
PHYSICAL_COLUMNS: Columns = (
    ("verification", TEXT, "identity of the verification"),
    ("structure", TEXT, "structure"),
    ("property", TEXT, "passivity, reciprocity"),
    ("figure", REAL, "greatest singular value less 1, or greatest |S21 - S12|"),
    ("at_hz", REAL, "where that is, Hz"),
    ("tolerance", REAL, "greatest accepted figure"),
    ("outcome", TEXT, JUDGED),
)


def contents(verified: Sequence[VerificationResult]) -> Iterator[tuple[str, str, pa.Table]]:
    """Every table with its name and what it holds."""
    yield (
        "verifications",
        "Each structure of each verification under each mask.",
        verifications(verified),
    )
    yield "deviations", "Deviation, uncertainty and mask over frequency.", deviations(verified)
    yield "agreements", "Each whole sweep held against its reference.", agreements(verified)
    yield (
        "normalised-deviations",
        "Normalised deviation of each sweep from its reference over frequency.",
        normalised(verified),
    )
    yield "line-quantities", "Quantities of lines and references.", line_quantities(verified)
    yield "physical-checks", "Passivity and reciprocity of structures.", physical_checks(verified)


def verifications(results: Sequence[VerificationResult]) -> pa.Table:
    """One row a mask of a structure; a structure that was not judged has one row of its own."""
    rows = []
    for one in results:
        event = {
            "verification": one.record.id,
            "station": one.record.station,
            "calibration": one.record.calibration,
            "made_at": one.made_at,
            "outcome": one.outcome,
        }
        for structure in one.structures:
            about = event | {
                "structure": structure.structure.id,
                "structure_outcome": structure.outcome,
                "reason": structure.reason,
                "repeatability": structure.repeatability,
            }
            rows += [
                about
                | {
                    "parameter": mask.mask.parameter,
                    "quantity": mask.mask.quantity,
                    "structure_outcome": mask.outcome,
                    "reason": mask.reason,
                    "worst_ratio": mask.worst_ratio,
                    "worst_margin": mask.worst_margin,
                    "worst_frequency_hz": mask.worst_frequency_hz,
                    "points_judged": mask.points_judged,
                }
                for mask in structure.masks
            ] or [about]
    return table_of(VERIFICATION_COLUMNS, rows)


def deviations(results: Sequence[VerificationResult]) -> pa.Table:
    """Every deviation with its uncertainty and its mask over frequency."""
    return joined(
        DEVIATION_COLUMNS,
        (
            {
                "verification": [one.record.id] * len(mask.frequency_hz),
                **mask_columns(structure.structure.id, mask),
            }
            for one, structure in _structures(results)
            for mask in structure.masks
        ),
    )


def agreements(results: Sequence[VerificationResult]) -> pa.Table:
    """One row a whole sweep that was held against its reference."""
    return table_of(
        AGREEMENT_COLUMNS,
        (
            {
                "verification": one.record.id,
                "structure": structure.structure.id,
                "parameter": found.parameter,
                "rule": found.rule,
                "figure": found.figure,
                "limit": found.limit,
                "false_alarm_rate": found.false_alarm_rate,
                "outcome": found.outcome,
                "text": found.text,
            }
            for one, structure in _structures(results)
            for found in structure.agreements
        ),
    )


def normalised(results: Sequence[VerificationResult]) -> pa.Table:
    """Every normalised deviation over frequency."""
    return joined(
        NORMALISED_COLUMNS,
        (
            {
                "verification": [one.record.id] * len(found.frequency_hz),
                "structure": [structure.structure.id] * len(found.frequency_hz),
                "parameter": [found.parameter] * len(found.frequency_hz),
                "frequency_hz": found.frequency_hz,
                "normalised": nullable(found.normalised, len(found.frequency_hz)),
            }
            for one, structure in _structures(results)
            for found in structure.agreements
        ),
    )


def line_quantities(results: Sequence[VerificationResult]) -> pa.Table:
    """One row a quantity of a line."""
    return table_of(
        LINE_COLUMNS,
        (
            {
                "verification": one.record.id,
                "structure": structure.structure.id,
                "quantity": found.declared.quantity,
                "frequency_hz": found.declared.frequency_hz,
                "value": found.value,
                "u": found.u,
                "reference": found.declared.reference,
                "reference_u": found.declared.reference_u,
                "tolerance": found.declared.tolerance,
                "difference": found.difference,
                "normalised": found.normalised,
                "outcome": found.outcome,
                "reason": found.reason,
            }
            for one, structure in _structures(results)
            for found in structure.line_quantities
        ),
    )


def physical_checks(results: Sequence[VerificationResult]) -> pa.Table:
    """One row a check of passivity or reciprocity."""
    return table_of(
        PHYSICAL_COLUMNS,
        (
            {
                "verification": one.record.id,
                "structure": structure.structure.id,
                "property": found.property,
                "figure": found.figure,
                "at_hz": found.at_hz,
                "tolerance": found.tolerance,
                "outcome": found.outcome,
            }
            for one, structure in _structures(results)
            for found in structure.physical
        ),
    )


def _structures(
    results: Sequence[VerificationResult],
) -> Iterator[tuple[VerificationResult, StructureResult]]:
    return ((one, structure) for one in results for structure in one.structures)


def mask_columns(structure: str, mask: MaskResult) -> dict[str, Any]:
    """The columns of `OVER_FREQUENCY`, the deviation and those of `UNDER_MASK`."""
    length = len(mask.frequency_hz)
    return {
        "structure": [structure] * length,
        "parameter": [mask.mask.parameter] * length,
        "quantity": [mask.mask.quantity] * length,
        "frequency_hz": mask.frequency_hz,
        "deviation": nullable(mask.deviation, length),
        "u": nullable(mask.u, length),
        "guard": nullable(mask.guard, length),
        "limit": nullable(mask.limit, length),
    }


def nullable(values: FloatArray | None, length: int) -> pa.Array:
    """A column that is null where there is no number."""
    if values is None:
        return pa.nulls(length, REAL)
    return pa.array(np.asarray(values, dtype=np.float64), REAL, from_pandas=True)


def joined(columns: Columns, parts: Iterable[Mapping[str, Any]]) -> pa.Table:
    """One table of these columns from parts over frequency; empty without any."""
    schema = schema_of(columns)
    tables = [pa.table(dict(part)).cast(schema) for part in parts]
    return pa.concat_tables(tables) if tables else schema.empty_table()
