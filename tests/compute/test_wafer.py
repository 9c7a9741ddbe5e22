"""A wafer's values: touchdowns, floors, verdicts of dies, and what is counted."""

from datetime import timedelta
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest

from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.wafer import compute_wafer
from sitegen.model.loaded import VALUE_SCHEMA, WaferTables
from sitegen.model.results import WaferResults
from sitegen.model.wafer import WaferRecord
from tests.compute.settings import AT, parameter, setting


def compute(here: WaferSetting, *rows: dict[str, Any]) -> WaferResults:
    """Results of a wafer with these values; a row states what differs from an ordinary one."""
    columns: dict[str, list[Any]] = {name: [] for name in VALUE_SCHEMA.names}
    ordinary = {
        "die_x": 0,
        "die_y": 0,
        "site": "",
        "device": "D",
        "parameter": "P",
        "condition": "RT",
        "touchdown": 1,
        "measured_at": AT,
        "ambient_c": 23.0,
        "file": "values.parquet",
    }
    for row in rows:
        for name in columns:
            columns[name].append({**ordinary, **row}.get(name))
    record = WaferRecord.model_validate(
        {
            "id": "W",
            "identity_read": "W",
            "lot": "L",
            "station": "A",
            "by": "engineer",
            "started": AT,
            "finished": AT + timedelta(hours=1),
            "ambient_c": 23.0,
            "dc_instrument": "SMU",
            "thermal": (
                {
                    "set_point_c": 25.0,
                    "chuck_reading_c": 25.0,
                    "surface_correction_c": 0.0,
                    "surface_correction_u_c": 0.1,
                    "soak_s": 0.0,
                },
            ),
        }
    )
    tables = WaferTables(pa.table(columns, schema=VALUE_SCHEMA), ())
    layout = here.campaign.layout
    assert layout is not None
    return compute_wafer(record, tables, here, layout)


def frame(results: WaferResults) -> pd.DataFrame:
    """The rows that were measured."""
    table: pd.DataFrame = results.results.to_pandas()
    return table[table["outcome"] != "not measured"]


def verdicts(results: WaferResults) -> dict[tuple[int, int], str]:
    dies = results.dies.to_pandas()
    planned = dies[dies["planned"]]
    return dict(zip(zip(planned.die_x, planned.die_y, strict=True), planned.outcome, strict=True))


@pytest.mark.parametrize(
    ("counts", "value", "verdict"), [("first", 0.5, "within"), ("last", 1.5, "outside")]
)
def test_the_declared_touchdown_counts_never_the_best(
    counts: str, value: float, verdict: str
) -> None:
    here = setting(parameter("P", lower=0.0, upper=1.0), counts=counts)
    results = compute(here, {"value": 0.5, "touchdown": 1}, {"value": 1.5, "touchdown": 2})
    rows = frame(results)
    assert rows.loc[rows["counts"] & (rows["die_x"] == 0), "value"].tolist() == [value]
    assert verdicts(results)[0, 0] == verdict
    assert results.summary.touchdown_changes == 1


def test_the_mean_of_touchdowns_is_a_row_of_its_own() -> None:
    here = setting(parameter("P", lower=0.0, upper=1.0), counts="mean")
    results = compute(here, {"value": 0.5}, {"value": 0.9, "touchdown": 2})
    counting = frame(results).query("counts and die_x == 0")
    assert counting["value"].tolist() == [0.7]
    assert counting["touchdown"].tolist() == [0]


def test_a_mean_stands_only_where_every_touchdown_stands() -> None:
    here = setting(parameter("P", unit="A", upper=1.0), counts="mean")
    results = compute(
        here,
        {"value": 1e-10, "range": "1 nA", "path": "triaxial"},
        {"value": 1e-10, "touchdown": 2, "range": "10 nA", "path": "triaxial"},
    )
    counting = frame(results).query("counts and die_x == 0")
    assert counting["standing"].tolist() == ["without standing"]
    assert counting["standing_reasons"].tolist() == ["floor missing"]


def test_a_reading_below_the_floor_is_within_an_upper_limit_above_the_floor() -> None:
    here = setting(parameter("P", unit="pA", upper=5.0))
    taken = {"range": "1 nA", "path": "triaxial"}
    results = compute(
        here,
        {"value": -0.2, **taken},
        {"value": 3.0, "die_x": 1, **taken},
        {"value": 7.0, "die_x": 2, **taken},
    )
    rows = frame(results)
    assert rows["below_floor"].tolist() == [True, False, False]
    assert rows["floor"].tolist() == pytest.approx([1.0] * 3)
    assert rows["outcome"].tolist() == ["within", "within", "outside"]
    summary = results.summary.parameters[0].summary
    assert (summary.n, summary.below_floor, summary.mean) == (3, 1, None)
    assert (summary.median, summary.below) == (3.0, ("minimum",))


def test_a_current_without_a_stored_floor_has_no_standing() -> None:
    results = compute(setting(parameter("P", unit="pA", upper=5.0)), {"value": 3.0})
    rows = frame(results)
    assert rows["standing_reasons"].tolist()[0] == "floor missing"
    assert verdicts(results)[0, 0] == "not assessable"
    assert results.summary.parameters[0].summary.n == 0
    assert results.summary.parameters[0].summary.without_standing == 1


def test_a_die_is_judged_by_all_its_parameters() -> None:
    here = setting(parameter("P", upper=1.0), parameter("Q", upper=1.0), parameter("FREE"))
    both: list[dict[str, Any]] = [
        {"value": 0.5},
        {"value": 0.5, "parameter": "Q"},
        {"value": 9.0, "parameter": "FREE"},
    ]
    results = compute(
        here,
        *both,
        *({**row, "die_x": 1} for row in both[:1]),
    )
    assert verdicts(results) == {
        (0, 0): "within",
        (1, 0): "not assessable",  # Q was planned and is not there
        (2, 0): "not measured",
    }
    rows = results.results.to_pandas()
    missing = rows[rows["outcome"] == "not measured"]
    wanted = [[1, "FREE"], [1, "Q"], [2, "FREE"], [2, "P"], [2, "Q"]]
    assert missing[["die_x", "parameter"]].values.tolist() == wanted
    assert [one.summary.missing for one in results.summary.parameters] == [1, 2, 2]
    dies = results.dies.to_pandas().set_index(["die_x", "die_y"])
    assert dies.loc[(1, 0), "reason"] == "missing: Q at RT"
    assert dies.loc[(1, 0), "missing"] == 2


def test_a_summary_names_the_dies_outside_lacking_a_value_and_not_measured() -> None:
    """Values of a die that nobody touched are not missing on a measured one."""
    here = setting(parameter("P", upper=1.0), parameter("Q", upper=1.0))
    results = compute(here, {"value": 0.5}, {"die_x": 1, "value": 1.5}, {"parameter": "Q"})
    summary = results.summary
    assert summary.outside_dies == {"P": ((1, 0),)}
    assert summary.missing_dies == {"Q": ((1, 0),)}
    assert summary.unmeasured_dies == ((2, 0),)


def test_a_parameter_of_some_dies_holds_no_die_back() -> None:
    here = setting(parameter("P", upper=1.0), parameter("Q", upper=1.0, coverage="some dies"))
    results = compute(
        here,
        {"value": 0.5},
        {"value": 0.5, "die_x": 1},
        {"value": 2.0, "die_x": 1, "parameter": "Q"},
    )
    assert verdicts(results) == {(0, 0): "within", (1, 0): "outside", (2, 0): "not measured"}


def test_the_yield_counts_only_dies_whose_every_planned_value_is_judged() -> None:
    here = setting(parameter("P", upper=1.0), parameter("Q", upper=1.0))
    results = compute(
        here,
        {"value": 0.5},
        {"value": 0.5, "parameter": "Q"},
        {"value": 2.0, "die_x": 1},
        {"value": 0.5, "die_x": 2},
    )
    summary = results.summary
    assert verdicts(results)[1, 0] == "outside"
    assert (summary.conforming, summary.assessable, summary.outside_besides) == (1, 1, 1)


def test_a_site_that_few_dies_have_holds_no_other_die_back() -> None:
    here = setting(parameter("P", upper=1.0))
    taken = [{"value": 0.5, "die_x": x, "site": "A"} for x in (0, 1, 2)]
    results = compute(here, *taken, {"value": 0.5, "site": "B"})
    assert set(verdicts(results).values()) == {"within"}


def test_a_mean_of_touchdowns_on_both_sides_of_the_floor_is_not_assessable() -> None:
    here = setting(parameter("P", unit="nA", upper=10.0), counts="mean")
    taken = {"range": "1 nA", "path": "triaxial"}
    results = compute(here, {"value": 1e-4, **taken}, {"value": 100.0, "touchdown": 2, **taken})
    mean = frame(results).query("touchdown == 0").iloc[0]
    assert (mean["outcome"], mean["below_floor"]) == ("not assessable", False)
    assert "both sides of the floor" in mean["outcome_reason"]


def test_a_lower_limit_below_minus_the_floor_is_met_by_a_reading_below_the_floor() -> None:
    here = setting(parameter("P", unit="pA", lower=-5.0, upper=5.0))
    results = compute(here, {"value": -0.2, "range": "1 nA", "path": "triaxial"})
    assert frame(results)["outcome"].tolist() == ["within"]


def test_the_guard_band_of_a_reading_below_the_floor_is_that_at_the_floor() -> None:
    source = ({"source": "gain", "relative": 0.05},)
    here = setting(parameter("P", unit="pA", upper=1.05, uncertainty=source), rule="guarded")
    results = compute(here, {"value": 0.1, "range": "1 nA", "path": "triaxial"})
    assert frame(results)["outcome"].tolist() == ["not proven"]  # 1.0 + 2 * 0.05 > 1.05


@pytest.mark.parametrize(("width_um", "floor"), [(50.0, 0.02), (None, None)])
def test_the_floor_of_a_current_per_width_needs_the_width(
    width_um: float | None, floor: float | None
) -> None:
    """1 pA over 50 µm is 0.02 nA/mm."""
    here = setting(parameter("P", unit="nA/mm", upper=1.0), width_um=width_um)
    row = frame(compute(here, {"value": 0.5, "range": "1 nA", "path": "triaxial"})).iloc[0]
    if floor is None:
        assert row["standing_reasons"] == "floor missing"
        assert "width_um" in row["standing_detail"]
    else:
        assert row["floor"] == pytest.approx(floor)
        assert row["standing"] == "stands"


def test_a_floor_measured_after_the_reading_does_not_hold() -> None:
    here = setting(parameter("P", unit="pA", upper=5.0))
    taken = {"value": 3.0, "range": "1 nA", "path": "triaxial"}
    results = compute(here, {**taken, "measured_at": AT - timedelta(days=1)})
    assert frame(results)["standing_reasons"].tolist() == ["floor missing"]


def test_the_guarded_rule_keeps_a_band_of_doubt() -> None:
    source = ({"source": "all", "absolute": 0.05},)
    here = setting(parameter("P", upper=1.0, uncertainty=source), rule="guarded")
    results = compute(
        here, {"value": 0.89}, {"value": 0.91, "die_x": 1}, {"value": 1.01, "die_x": 2}
    )
    rows = frame(results)
    assert rows["outcome"].tolist() == ["within", "not proven", "outside"]
    assert rows["acceptance_upper"].tolist() == pytest.approx([0.9] * 3)
    assert rows["expanded_uncertainty"].tolist() == pytest.approx([0.1] * 3)
    summary = results.summary
    assert (summary.conforming, summary.assessable) == (1, 3)


def test_without_a_stated_uncertainty_a_guarded_verdict_is_not_assessable() -> None:
    results = compute(setting(parameter("P", upper=1.0), rule="guarded"), {"value": 0.5})
    rows = frame(results)
    assert rows["outcome"].tolist()[0] == "not assessable"
    assert "no uncertainty" in rows["outcome_reason"].tolist()[0]


def test_relative_and_absolute_sources_add_in_quadrature() -> None:
    sources = ({"source": "gain", "relative": 0.03}, {"source": "offset", "absolute": 0.04})
    results = compute(setting(parameter("P", uncertainty=sources)), {"value": 1.0})
    assert frame(results)["u"].tolist() == pytest.approx([0.05])


def test_nothing_measured_at_all() -> None:
    results = compute(setting(parameter("P", upper=1.0)))
    assert set(results.results.column("outcome").to_pylist()) == {"not measured"}
    assert results.summary.parameters[0].summary.missing == 3
    assert set(verdicts(results).values()) == {"not measured"}
    assert (results.summary.measured, results.summary.yield_lower) == (0, None)


def test_an_absurd_value_is_told_and_kept() -> None:
    results = compute(setting(parameter("P", plausible_upper=10.0)), {"value": 11.0})
    assert frame(results)["absurd"].tolist() == [True]
    assert [finding.kind for finding in results.findings] == ["absurd value"]
