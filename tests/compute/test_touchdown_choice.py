"""Which touchdown counts, what a mean of touchdowns carries, and what their spread says."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from sitegen.compute.touchdown_choice import choose_touchdowns, spread_of_touchdowns
from sitegen.model.campaign import CampaignRecord
from tests.compute.settings import parameter, setting

CURVE = {"figure": "on-resistance", "curve": "c", "swept_at": 0.1}


def campaign(counts: str = "mean", own_dummies: bool = False, **changes: Any) -> CampaignRecord:
    record = setting(parameter("P", **changes), counts=counts).campaign.model_dump()
    if own_dummies:
        deembedding = {
            "method": "open",
            "open": "O",
            "taken_from": "each die",
            "condition": "RT",
        }
        record["devices"] = ({**record["devices"][0], "deembedding": deembedding},)
    return CampaignRecord.model_validate(record)


def touchdowns(value: npt.ArrayLike, die_x: npt.ArrayLike = 0, **columns: Any) -> pd.DataFrame:
    """Values of dies, each touched as often as it is named."""
    values = np.asarray(value, dtype=np.float64)
    die = np.broadcast_to(np.asarray(die_x), values.shape)
    number = pd.Series(die).groupby(die).cumcount().to_numpy() + 1
    ordinary: dict[str, Any] = {
        "die_y": 0,
        "die_x": die,
        "site": "",
        "device": "D",
        "parameter": "P",
        "condition": "RT",
        "touchdown": number,
        "value": values,
        "ev_reasons": 0,
        "ev_not_closed": False,
        "ev_never_verified": False,
        "ev_detail": "",
    }
    return pd.DataFrame({**ordinary, **columns}, index=range(len(values)))


def mean(table: pd.DataFrame, **changes: Any) -> "pd.Series[Any]":
    """The row of the mean of the first die."""
    found = choose_touchdowns(table, campaign(**changes))
    rows = found[found["counts"]]
    assert (rows["touchdown"] == 0).all()
    return rows.iloc[0]


def test_first_and_last_are_by_number() -> None:
    table = touchdowns([5.0, 6.0, 7.0], [0, 0, 1])
    for counts, chosen in (("first", [5.0, 7.0]), ("last", [6.0, 7.0])):
        found = choose_touchdowns(table, campaign(counts))
        assert found.loc[found["counts"], "value"].tolist() == chosen
        assert found["touchdowns"].tolist() == [2, 2, 1]


def test_what_is_common_stays_and_what_is_its_own_shrinks() -> None:
    """GUM 5.2 in two lines: a correlated error stays whole in a mean of four, another halves."""
    common = {"u_common": 0.3, "u_calibration": 0.2, "u_instrument": 0.1, "u_temperature": 0.05}
    own = {"u_own": 0.4, "u_extraction": 0.2}
    row = mean(touchdowns([1.0, 2.0, 3.0, 4.0], **common, **own, u_dummies=0.15))
    assert row["value"] == 2.5
    assert {name: row[name] for name in common} == pytest.approx(common)
    assert {name: row[name] for name in own} == pytest.approx({"u_own": 0.2, "u_extraction": 0.1})
    assert row["u_dummies"] == pytest.approx(0.15)
    assert np.isnan(row["u_touchdowns"])


def test_dummies_of_the_die_serve_all_its_touchdowns() -> None:
    """u_own 0.5, of which the die's own dummies make 0.3, so 0.4 shrinks to 0.2 in a mean of 4."""
    row = mean(touchdowns(np.ones(4), u_own=0.5, u_dummies=0.3), own_dummies=True)
    assert row["u_own"] == pytest.approx(np.hypot(0.2, 0.3))
    shared = mean(touchdowns(np.ones(4), u_own=0.5, u_dummies=0.3))
    assert shared["u_own"] == pytest.approx(0.25)


def test_a_mean_with_a_value_not_reached_lies_beyond() -> None:
    row = mean(touchdowns([8.0, 10.0], not_reached=[False, True]))
    assert (row["value"], row["not_reached"]) == (9.0, True)
    sides = mean(touchdowns([-8.0, 10.0], not_reached=[False, True]))
    assert np.isnan(sides["value"])
    assert "both sides of zero" in sides["no_value"]
    assert not sides["not_reached"]


def test_a_mean_about_the_floor() -> None:
    both = mean(touchdowns([0.2, 5.0], below_floor=[True, False], floor=[1.0, 0.5]))
    assert "both sides of the floor" in both["no_value"]
    assert (both["below_floor"], both["floor"]) == (False, 1.0)
    below = mean(touchdowns([0.2, 0.4], below_floor=True, floor=[1.0, 0.5], raw_reading=[0.2, 0.4]))
    assert (below["below_floor"], below["floor"]) == (True, 1.0)
    assert below["raw_reading"] == pytest.approx(0.3)


def test_a_mean_stands_where_all_stand_and_tells_all_reasons() -> None:
    table = touchdowns(
        [1.0, 2.0, 3.0],
        ev_reasons=[1, 0, 4],
        ev_not_closed=[False, True, False],
        ev_detail=["b", "", "a"],
        flags=["range changed", "", "still moving; range changed"],
    )
    row = mean(table)
    assert (row["ev_reasons"], row["ev_not_closed"], row["ev_detail"]) == (5, False, "a; b")
    assert row["flags"] == "range changed; still moving"
    open_ = mean(touchdowns([1.0, 2.0], ev_not_closed=[False, True]))
    assert open_["ev_not_closed"]


def test_a_touchdown_without_value_leaves_no_mean() -> None:
    row = mean(touchdowns([1.0, np.nan]))
    assert np.isnan(row["value"])
    assert row["no_value"] == "a touchdown has no value"


# JCGM 100:2008, 4.2.4 (pooled estimate of variance); the sums of squares are made die by die here.
def test_the_pooled_spread_of_touchdowns() -> None:
    random = np.random.default_rng(1)
    dies = np.repeat(np.arange(6), [1, 2, 3, 2, 2, 2])
    values = 10.0 * dies + random.normal(0, 0.1, len(dies))
    record = campaign("last", from_curve=CURVE)
    found = spread_of_touchdowns(ready(touchdowns(values, dies)), record.parameters)
    squares = [((values[dies == one] - values[dies == one].mean()) ** 2).sum() for one in range(6)]
    expected = np.sqrt(sum(squares) / 6)
    assert found["u_touchdowns"].tolist() == pytest.approx([expected] * len(dies))
    single = mean(touchdowns(values, dies)[1:], from_curve=CURVE)
    assert single["u_touchdowns"] == pytest.approx(expected / np.sqrt(2))


def test_the_pooled_spread_is_that_of_the_touchdowns() -> None:
    """800 dies touched three times with a spread of 0.1: found to 3 % (1600 degrees of freedom)."""
    random = np.random.default_rng(2)
    dies = np.repeat(np.arange(800), 3)
    values = random.normal(0, 5.0, 800)[dies] + random.normal(0, 0.1, len(dies))
    record = campaign("last", from_curve=CURVE)
    found = spread_of_touchdowns(ready(touchdowns(values, dies)), record.parameters)
    assert found["u_touchdowns"].iloc[0] == pytest.approx(0.1, rel=0.05)


def ready(table: pd.DataFrame) -> pd.DataFrame:
    return table.assign(below_floor=False, not_reached=False)


@pytest.mark.parametrize("case", ["few", "table", "standing", "floor", "not reached"])
def test_when_no_spread_of_touchdowns_is_stated(case: str) -> None:
    dies = np.repeat(np.arange(5), 2)
    table = ready(touchdowns(np.arange(10.0), dies))
    record = campaign("last", from_curve=None if case == "table" else CURVE)
    if case == "few":
        table = table[table["die_x"] < 4]
    if case == "standing":
        table.loc[0, "ev_reasons"] = 1
    if case == "floor":
        table.loc[0, "below_floor"] = True
    if case == "not reached":
        table.loc[0, "not_reached"] = True
    assert spread_of_touchdowns(table, record.parameters)["u_touchdowns"].isna().all()
