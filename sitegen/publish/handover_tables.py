"""Tables for the design team: every die's parameters in a row, and how they vary together."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.joint_statistics import JointStatistics
from sitegen.publish.record_tables import REAL, TEXT, WHOLE, Columns, table_of

DIE = ["wafer", "die_y", "die_x"]
JOINT_KEYS: Columns = (
    (
        "scope",
        TEXT,
        "wafer: of one; within wafers: about each wafer's mean, pooled; all dies: about the mean of"
        " all",
    ),
    ("wafer", TEXT, "wafer of the scope 'wafer'; else empty"),
)
MODEL_MEAN_COLUMNS: Columns = (
    *JOINT_KEYS,
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("site", TEXT, "place inside the die"),
    ("unit", TEXT, "unit of mean and standard deviation"),
    ("n", WHOLE, "dies with standing that have a value; those below a floor are not among them"),
    ("mean", REAL, "arithmetic mean over them"),
    (
        "standard_deviation",
        REAL,
        "root of the covariance with itself; what the measurement adds is inside",
    ),
)
COVARIANCE_COLUMNS: Columns = (
    *JOINT_KEYS,
    ("parameter", TEXT, "first parameter"),
    ("condition", TEXT, "its set point"),
    ("site", TEXT, "its place inside the die"),
    ("other_parameter", TEXT, "second parameter"),
    ("other_condition", TEXT, "its set point"),
    ("other_site", TEXT, "its place inside the die"),
    ("n", WHOLE, "dies with standing that have both; with gaps a matrix may be indefinite"),
    (
        "covariance",
        REAL,
        "sum of products of deviations divided by n - 1, within wafers by n less the number of"
        " wafers, in unit times other_unit",
    ),
    ("correlation", REAL, "of the same dies; null where one of both does not vary"),
    ("unit", TEXT, "unit of the first parameter"),
    ("other_unit", TEXT, "unit of the second"),
)


def die_table(results: pd.DataFrame, campaign: CampaignRecord) -> pa.Table:
    """One row a die; for each parameter and condition (and site) a column of values and one of u.

    Only values that count and stand; a missing one is empty. Where values of a column lie below a
    floor or were not reached, they are empty too, and a third column holds what is known of them:
    '< 1e-12', '> 20'. Columns are named PARAMETER~CONDITION, with ~SITE where dies have sites,
    followed by ~u and ~known; no id holds a tilde.

    results: of `RESULT_COLUMNS`, of all wafers.
    """
    counting = results[results["counts"].astype(bool)]
    dies = counting[["wafer", "die_x", "die_y", "x_mm", "y_mm", "zone"]].drop_duplicates(DIE)
    dies = dies.sort_values(DIE, ignore_index=True)
    index = pd.MultiIndex.from_frame(dies[DIE])
    fields = [
        _field("wafer", TEXT, "identity of the wafer"),
        _field("die_x", pa.int32(), "column of the die in the campaign's layout"),
        _field("die_y", pa.int32(), "row of the die in the campaign's layout"),
        _field("x_mm", REAL, "die centre right of the wafer's centre, mm"),
        _field("y_mm", REAL, "die centre above the wafer's centre, mm"),
        _field("zone", TEXT, "centre, middle or edge"),
    ]
    columns = [pa.array(dies[one.name], one.type, from_pandas=True) for one in fields]
    valid = counting[counting["standing"].isin(["stands", "not closed"])]
    groups = {tuple(key): rows for key, rows in valid.groupby(["parameter", "condition", "site"])}
    sites = sorted({str(site) for site in valid["site"]})
    for parameter in campaign.parameters:
        for condition in parameter.conditions:
            for site in sites:
                rows = groups.get((parameter.id, condition, site))
                if rows is None:
                    continue
                name = "~".join(part for part in (parameter.id, condition, site) if part)
                meaning = f"{parameter.name} under {condition}" + (
                    f" at site {site}" if site else ""
                )
                for field, column in _columns_of(rows, index, name, meaning, parameter.unit):
                    fields.append(field)
                    columns.append(column)
    return pa.table(columns, schema=pa.schema(fields))


def _columns_of(
    rows: pd.DataFrame, index: pd.MultiIndex, name: str, meaning: str, unit: str
) -> Iterator[tuple[pa.Field, pa.Array]]:
    """Columns of one quantity: values, uncertainties, and what is known of censored values."""
    placed = rows.set_index(DIE).reindex(index)
    below, beyond = placed["below_floor"].eq(True), placed["not_reached"].eq(True)
    censored = (below | beyond).to_numpy()
    for suffix, column, text in (
        ("", "value", f"{meaning}, in {unit}; null: no value with standing"),
        ("~u", "u", f"standard uncertainty of {name}, in {unit}; null: not stated"),
    ):
        numbers = placed[column].to_numpy(dtype=np.float64)
        numbers = np.where(censored | placed["value"].isna(), np.nan, numbers)
        yield _field(name + suffix, REAL, text), pa.array(numbers, REAL, from_pandas=True)
    if censored.any():
        value, floor = placed["value"].to_numpy(float), placed["floor"].to_numpy(float)
        known = [
            None
            if not censored[row]
            else f"< {floor[row]:.6g}"
            if below.iloc[row]
            else f"{'<' if value[row] < 0 else '>'} {value[row]:.6g}"
            for row in range(len(placed))
        ]
        text = f"what is known of {name} where it is below the floor or was not reached, in {unit}"
        yield _field(f"{name}~known", TEXT, text), pa.array(known, TEXT)


def _field(name: str, kind: pa.DataType, meaning: str) -> pa.Field:
    return pa.field(name, kind, metadata={"description": meaning})


def contents(
    results: pd.DataFrame, statistics: Sequence[JointStatistics], campaign: CampaignRecord
) -> tuple[tuple[str, str, pa.Table], ...]:
    """Name, description and content of each table."""
    return (
        (
            "dies-parameters",
            "Every die in a row, each parameter and condition in a column: values with standing.",
            die_table(results, campaign),
        ),
        (
            "model-means",
            "Means and standard deviations over the dies, for a statistical model.",
            table_of(MODEL_MEAN_COLUMNS, _mean_rows(statistics, campaign)),
        ),
        (
            "model-covariances",
            "Covariances and correlations of each two parameters over the dies.",
            table_of(COVARIANCE_COLUMNS, _pair_rows(statistics, campaign)),
        ),
    )


def _mean_rows(
    statistics: Sequence[JointStatistics], campaign: CampaignRecord
) -> Iterator[Mapping[str, Any]]:
    units = {one.id: one.unit for one in campaign.parameters}
    for one in statistics:
        for place, (parameter, condition, site) in enumerate(one.names):
            yield {
                "scope": one.scope,
                "wafer": one.wafer,
                "parameter": parameter,
                "condition": condition,
                "site": site,
                "unit": units[parameter],
                "n": int(one.n[place, place]),
                "mean": _number(one.mean[place]),
                "standard_deviation": _number(np.sqrt(one.covariance[place, place])),
            }


def _pair_rows(
    statistics: Sequence[JointStatistics], campaign: CampaignRecord
) -> Iterator[Mapping[str, Any]]:
    """Each pair once, in the order of the names, a quantity with itself among them."""
    units = {one.id: one.unit for one in campaign.parameters}
    for one in statistics:
        for i, (parameter, condition, site) in enumerate(one.names):
            for j, (other, other_condition, other_site) in enumerate(one.names[i:], start=i):
                yield {
                    "scope": one.scope,
                    "wafer": one.wafer,
                    "parameter": parameter,
                    "condition": condition,
                    "site": site,
                    "other_parameter": other,
                    "other_condition": other_condition,
                    "other_site": other_site,
                    "n": int(one.n[i, j]),
                    "covariance": _number(one.covariance[i, j]),
                    "correlation": _number(one.correlation[i, j]),
                    "unit": units[parameter],
                    "other_unit": units[other],
                }


def _number(figure: Any) -> float | None:
    return None if np.isnan(figure) else float(figure)
