"""Tables of the wafers' means and their differences for data/."""

from collections.abc import Sequence

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.wafer_means import WaferDifference, WaferMean
from sitegen.publish.record_tables import REAL, TEXT, WHOLE, Columns, table_of

MEAN_COLUMNS: Columns = (
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("wafer", TEXT, "wafer"),
    ("unit", TEXT, "unit of mean and uncertainties"),
    ("n", WHOLE, "values that count and stand (or are not closed)"),
    ("mean", REAL, "their arithmetic mean; null: not stated"),
    ("u", REAL, "standard uncertainty of the mean as measured, not the spread; null: not stated"),
    ("u_common", REAL, "part of u from errors that several values share: the mean keeps it"),
    ("u_own", REAL, "part of u from each value's own errors: it shrinks with n"),
    ("expanded_uncertainty", REAL, "k times u"),
    ("calibrations", TEXT, "calibrations in force, each with the number of values on it"),
    ("reason", TEXT, "why mean or u is not stated"),
)
DIFFERENCE_COLUMNS: Columns = (
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("first", TEXT, "wafer whose mean comes first"),
    ("second", TEXT, "wafer whose mean is taken off"),
    ("unit", TEXT, "unit of difference and uncertainties"),
    ("n_first", WHOLE, "values of the first"),
    ("n_second", WHOLE, "values of the second"),
    ("difference", REAL, "mean of the first less mean of the second; null: not stated"),
    ("u", REAL, "standard uncertainty of the difference; errors that both share cancel"),
    ("u_common", REAL, "part of u from shared errors that does not cancel"),
    ("u_own", REAL, "part of u from each value's own errors"),
    ("expanded_uncertainty", REAL, "k times u"),
    (
        "same_calibration",
        REAL,
        "share of the values on a calibration that serves both wafers, 0 to 1; null: none named",
    ),
    ("reason", TEXT, "why difference or u is not stated"),
)


def contents(
    means: Sequence[WaferMean], differences: Sequence[WaferDifference], campaign: CampaignRecord
) -> tuple[tuple[str, str, pa.Table], ...]:
    """Name, description and content of each table."""
    units = {one.id: one.unit for one in campaign.parameters}
    return (
        (
            "means",
            "Mean of each parameter and condition on each wafer, with its uncertainty.",
            table_of(
                MEAN_COLUMNS,
                (
                    {
                        **vars(one),
                        "unit": units[one.parameter],
                        "calibrations": "; ".join(f"{name}: {n}" for name, n in one.calibrations),
                    }
                    for one in means
                ),
            ),
        ),
        (
            "differences",
            "Difference of the means of each two wafers, with its uncertainty.",
            table_of(
                DIFFERENCE_COLUMNS,
                ({**vars(one), "unit": units[one.parameter]} for one in differences),
            ),
        ),
    )
