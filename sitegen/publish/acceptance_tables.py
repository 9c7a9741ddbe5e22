"""Acceptances as tables for data/: one function a table."""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import AcceptanceResult, Agreement, MaskResult
from sitegen.publish.record_tables import REAL, TEXT, TIME, Columns, table_of
from sitegen.publish.verification_tables import (
    JUDGED,
    OVER_FREQUENCY,
    UNDER_MASK,
    joined,
    mask_columns,
    nullable,
)

ACCEPTANCE_COLUMNS: Columns = (
    ("acceptance", TEXT, "identity of the acceptance"),
    ("title", TEXT, "title"),
    ("station", TEXT, "station"),
    ("at", TIME, "when its record was closed"),
    ("factory", TEXT, "verification made where the system was built"),
    ("site", TEXT, "verification made where it stands"),
    ("supplier", TEXT, "who hands it over"),
    ("customer", TEXT, "who takes it"),
    ("outcome", TEXT, f"{JUDGED}; accepted only where it passed"),
    ("reason", TEXT, "why not"),
)
PERFORMANCE_COLUMNS: Columns = (
    ("acceptance", TEXT, "identity of the acceptance"),
    ("name", TEXT, "declared figure"),
    ("structure", TEXT, "structure"),
    ("parameter", TEXT, "S-parameter"),
    ("quantity", TEXT, "quantity of limit, factory and site"),
    ("frequency_start_hz", REAL, "lowest frequency, Hz"),
    ("frequency_stop_hz", REAL, "highest frequency, Hz"),
    ("limit", REAL, "declared limit of the greatest deviation"),
    ("factory", REAL, "greatest deviation at the factory"),
    ("factory_u", REAL, "its standard uncertainty; null: not stated"),
    ("factory_outcome", TEXT, JUDGED),
    ("site", REAL, "greatest deviation on site"),
    ("site_u", REAL, "its standard uncertainty; null: not stated"),
    ("site_outcome", TEXT, JUDGED),
)
DIFFERENCE_COLUMNS: Columns = (
    ("acceptance", TEXT, "identity of the acceptance"),
    *OVER_FREQUENCY,
    ("deviation", REAL, "absolute difference of the site from the factory"),
    *UNDER_MASK,
    ("normalised", REAL, "normalised deviation of the site from the factory; null: not stated"),
)


def contents(accepted: Sequence[AcceptanceResult]) -> Iterator[tuple[str, str, pa.Table]]:
    """Every table with its name and what it holds; none for a campaign without an acceptance."""
    if not accepted:
        return
    yield "acceptances", "Each acceptance with its outcome.", acceptances(accepted)
    yield (
        "declared-performance",
        "Each declared figure at both places.",
        declared_performance(accepted),
    )
    yield (
        "site-differences",
        "Difference of each site from its factory over frequency.",
        site_differences(accepted),
    )


def acceptances(results: Sequence[AcceptanceResult]) -> pa.Table:
    """One row an acceptance."""
    names = ("title", "station", "at", "factory", "site", "supplier", "customer")
    return table_of(
        ACCEPTANCE_COLUMNS,
        (
            {name: getattr(one.record, name) for name in names}
            | {"acceptance": one.record.id, "outcome": one.outcome, "reason": one.reason}
            for one in results
        ),
    )


def declared_performance(results: Sequence[AcceptanceResult]) -> pa.Table:
    """One row a declared figure."""
    return table_of(
        PERFORMANCE_COLUMNS,
        (
            found.declared.model_dump()
            | {
                "acceptance": one.record.id,
                "factory": found.factory,
                "factory_u": found.factory_u,
                "factory_outcome": found.factory_outcome,
                "site": found.site,
                "site_u": found.site_u,
                "site_outcome": found.site_outcome,
            }
            for one in results
            for found in one.performance
        ),
    )


def site_differences(results: Sequence[AcceptanceResult]) -> pa.Table:
    """Every difference of a site from its factory over frequency."""
    return joined(
        DIFFERENCE_COLUMNS,
        (
            {
                "acceptance": [one.record.id] * len(found.mask.frequency_hz),
                **mask_columns(found.structure, found.mask),
                "normalised": nullable(
                    _same_points(found.agreement, found.mask), len(found.mask.frequency_hz)
                ),
            }
            for one in results
            for found in one.differences
        ),
    )


def _same_points(agreement: Agreement | None, mask: MaskResult) -> FloatArray | None:
    """The normalised deviation, where it stands on the mask's frequencies."""
    if agreement is None or not np.array_equal(agreement.frequency_hz, mask.frequency_hz):
        return None
    return agreement.normalised
