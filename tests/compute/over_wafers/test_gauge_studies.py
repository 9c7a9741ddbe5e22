"""Declared studies of repeatability and reproducibility, from tables of results."""

from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from sitegen.compute.over_wafers.gauge_studies import gauge_studies
from sitegen.model.declared_statistics import Study
from sitegen.model.variation_results import GaugeStudy
from sitegen.model.wafer import WaferRecord
from tests.compute.settings import parameter, setting
from tests.compute.stats.test_gauge import AIAG

WHO = {"W1": ("Anna", "S1"), "W2": ("Ben", "S1"), "W3": ("Cleo", "S2"), "W4": ("Anna", "S2")}


def results(cube: npt.NDArray[np.float64]) -> pd.DataFrame:
    """(part, wafer, touchdown) as rows; NaN leaves a touchdown out."""
    rows = [
        {
            "wafer": f"W{wafer + 1}",
            "die_x": part % 4,
            "die_y": part // 4,
            "site": "",
            "parameter": "P",
            "condition": "RT",
            "touchdown": touchdown + 1,
            "counts": touchdown == 0,
            "value": cube[part, wafer, touchdown],
            "standing": "stands",
            "below_floor": False,
            "not_reached": False,
        }
        for part, wafer, touchdown in np.ndindex(cube.shape)
        if not np.isnan(cube[part, wafer, touchdown])
    ]
    return pd.DataFrame(rows)


def studied(
    table: pd.DataFrame,
    wafers: tuple[str, ...] = ("W1", "W2", "W3"),
    between: Literal["operators", "stations"] = "operators",
    **of_parameter: Any,
) -> tuple[GaugeStudy, ...]:
    campaign = setting(parameter("P", **of_parameter), parameter("Q")).campaign
    study = Study(id="GRR", between=between, wafers=wafers)
    campaign = campaign.model_copy(update={"studies": (study,)})
    looked_at: list[dict[str, Any]] = [
        {"id": name, "by": by, "station": station} for name, (by, station) in WHO.items()
    ]
    records = [WaferRecord.model_construct(**one) for one in looked_at]
    return gauge_studies(table, campaign, records)


def test_worked_example() -> None:
    """The AIAG manual's: GRR .302372, TV 1.085300, 27.86 %, 4 categories (see test_gauge)."""
    (found,) = studied(results(AIAG), lower=-3.0, upper=3.0)
    assert (found.study, found.between, found.parameter, found.condition) == (
        "GRR",
        "operators",
        "P",
        "RT",
    )
    assert (found.parts, found.appraisers, found.repeats) == (10, 3, 3)
    assert found.interaction_pooled
    assert found.repeatability.value == pytest.approx(0.199933, abs=5e-7)
    assert found.reproducibility.value == pytest.approx(0.226838, abs=5e-7)
    assert found.combined.value == pytest.approx(0.302372, abs=1.5e-6)
    assert found.part_to_part.value == pytest.approx(1.042327, abs=5e-7)
    assert found.total == pytest.approx(1.085300, abs=5e-6)
    assert found.share_of_total is not None
    assert 100 * found.share_of_total == pytest.approx(27.86, abs=5e-3)
    assert found.share_of_tolerance == pytest.approx(6 * 0.302372 / 6, abs=2e-6)
    assert found.distinct_categories == 4
    assert found.reason == ""
    levels = [one.level for one in found.components]
    assert levels == ["die", "operator", "interaction", "repeat"]
    interaction = found.components[2]
    assert interaction.f_ratio == pytest.approx(0.4337, abs=5e-5)
    assert interaction.standard_deviation.value is None
    assert interaction.standard_deviation.reason == "not significant, counted as repeatability"
    assert sum(one.share or 0 for one in found.components) == pytest.approx(1)
    for stated in (found.repeatability, found.reproducibility, found.combined, found.part_to_part):
        assert stated.lower is not None and stated.value is not None and stated.upper is not None
        assert stated.lower < stated.value < stated.upper


def test_the_order_of_rows_does_not_matter() -> None:
    table = results(AIAG)
    assert studied(table.sample(frac=1, random_state=1)) == studied(table)


def test_one_sided_limits_have_no_tolerance() -> None:
    (found,) = studied(results(AIAG), upper=3.0)
    assert found.share_of_tolerance is None


def test_two_operators() -> None:
    (found,) = studied(results(AIAG), ("W1", "W2"))
    assert found.appraisers == 2
    assert found.reason == "2 operators leave reproducibility one degree of freedom"
    assert found.components[1].degrees_of_freedom == 1
    assert found.reproducibility.upper is not None and found.reproducibility.value is not None
    assert found.reproducibility.upper > 10 * found.reproducibility.value


def test_records_of_one_operator_are_repeats() -> None:
    """W1 and W4 are Anna's; on stations they are of two."""
    cube = np.concatenate([AIAG, AIAG[:, :1] + 0.01], axis=1)[:, :, :1]
    (found,) = studied(results(cube), ("W1", "W2", "W4"))
    assert (found.appraisers, found.repeats) == (2, 1)
    assert "further touchdowns left out: 10" in found.reason
    (found,) = studied(results(cube), ("W1", "W4"), "stations")
    assert (found.appraisers, found.components[1].level) == (2, "station")
    (found,) = studied(results(cube), ("W1", "W4"))
    assert found.reason == "needs 2 operators, there is 1"
    assert found.combined.value is None and found.components == ()


def test_what_is_missing_is_left_out_and_said() -> None:
    """Two dies less, and one touchdown too many: the rest is studied as it stands."""
    cube = AIAG.copy()
    cube[3, 1, 1:] = np.nan
    cube[7, 2] = np.nan
    cube[:, 0, 2] = np.nan
    cube[:, 1, 2] = np.nan
    (found,) = studied(results(cube))
    assert (found.parts, found.repeats) == (8, 2)
    assert found.reason == (
        "dies left out, not measured 2 times by every operator: 2; further touchdowns left out: 8"
    )
    (whole,) = studied(results(np.delete(AIAG, [3, 7], axis=0)[:, :, :2]))
    assert found.combined == whole.combined
    assert found.part_to_part == whole.part_to_part


def test_without_repeats() -> None:
    (found,) = studied(results(AIAG[:, :, :1]))
    assert found.repeats == 1
    assert not found.interaction_pooled
    assert "stands in repeatability" in found.reason
    assert [one.level for one in found.components] == ["die", "operator", "repeat"]


def test_what_does_not_stand_takes_no_part() -> None:
    table = results(AIAG)
    table["standing"] = table["standing"].astype(object)
    of_die = (table["die_x"] == 1) & (table["die_y"] == 1)
    table.loc[of_die & (table["wafer"] == "W2"), "standing"] = "without standing"
    (found,) = studied(table)
    assert found.parts == 9
    mean = table.assign(touchdown=0, value=99.0)
    assert studied(pd.concat([table, mean])) == (found,), "means of touchdowns are no readings"


def test_no_two_dies_in_common() -> None:
    cube = np.full((4, 2, 2), np.nan)
    cube[:2, 0], cube[2:, 1] = 1.0, 2.0
    (found,) = studied(results(cube), ("W1", "W2"))
    assert found.reason == "needs 2 dies that every operator measured"


def test_nothing_measured_and_nothing_declared() -> None:
    table = results(AIAG)
    assert studied(table[table["wafer"] == "none"]) == ()
    assert studied(table, ("W8", "W9")) == ()


def test_all_equal() -> None:
    (found,) = studied(results(np.full((4, 3, 2), 0.1)), lower=0.0, upper=1.0)
    assert found.combined.value == 0
    assert (found.total, found.share_of_total, found.distinct_categories) == (0, None, None)
    assert found.share_of_tolerance == 0


def test_sites_are_parts() -> None:
    table = results(AIAG)
    (plain,) = studied(table)
    table["site"] = np.where(table["die_y"] == 0, "a", "b")
    table["die_y"] = 0
    table.loc[table["die_x"] > 1, "site"] = table["site"] + "2"
    groups = table.groupby(["die_x", "site"]).ngroups
    (found,) = studied(table)
    assert found.parts == groups
    assert plain.parts == 10


def test_records_that_repeat_each_other() -> None:
    """Anna's readings copied as Ben's and Cleo's: no rounding is told as repeatability."""
    readings = np.random.default_rng(5).normal(0.5e-12, 1e-14, (12, 1, 1))
    (found,) = studied(results(np.tile(readings, (1, 3, 2))), lower=0.0, upper=1e-12)
    assert (found.combined.value, found.combined.upper) == (0, None)
    assert found.distinct_categories is None and found.share_of_tolerance == 0
    assert found.reason == "all readings of each die are equal"
    assert all(one.f_ratio is None for one in found.components)
    assert found.part_to_part.value == pytest.approx(np.std(readings, ddof=1), rel=1e-12)


def test_one_quantity_has_one_interval() -> None:
    """Without an interaction of its own, what operators make is reproducibility."""
    (found,) = studied(results(AIAG))
    assert found.interaction_pooled
    assert found.reproducibility == found.components[1].standard_deviation


def test_records_without_a_value_are_named() -> None:
    table = results(AIAG)
    gone = table[table["wafer"] != "W2"]
    (found,) = studied(gone)
    assert found.reason.startswith("W2 has no value of P; 2 operators leave")
    (found,) = studied(gone, ("W1", "W2"))
    assert found.reason == "W2 has no value of P; needs 2 operators, there is 1"
    (found,) = studied(table, ("W1", "W9"))
    assert found.reason == "there is no record of W9; needs 2 operators, there is 1"
