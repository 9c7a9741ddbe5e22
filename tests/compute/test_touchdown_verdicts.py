"""What another rule of choice between touchdowns would make of the dies of a wafer."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.judged import judged
from sitegen.compute.other_touchdowns import RULES, Rule, under_rule
from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.touchdown_choice import choose_touchdowns
from sitegen.model.campaign import CampaignRecord
from tests.compute.settings import parameter, setting
from tests.compute.test_touchdown_choice import touchdowns
from tests.compute.test_wafer import compute

ONE = ({"source": "gauge", "absolute": 0.1},)


def here(counts: str, rule: str = "simple", **changes: Any) -> WaferSetting:
    """One parameter between 0 and 1, or two where `also` names the fields of a second one."""
    also = changes.pop("also", None)
    verdict = changes.pop("verdict", None)
    found = setting(
        parameter("P", lower=0.0, upper=1.0, **changes),
        *([parameter("Q", **also)] if also else []),
        rule=rule,
        counts=counts,
    )
    if verdict is None:
        return found
    record = {**found.campaign.model_dump(), "verdict": verdict}
    return replace(found, campaign=CampaignRecord.model_validate(record))


def dies(where: WaferSetting, *rows: dict[str, Any]) -> pd.DataFrame:
    found: pd.DataFrame = compute(where, *rows).dies.to_pandas()
    return found[found["planned"]].set_index("die_x")


@pytest.mark.parametrize(
    ("counts", "verdict", "others"),
    [
        ("first", "within", "last: outside"),
        ("last", "outside", "first: within; mean: within"),
        ("mean", "within", "last: outside"),
    ],
)
def test_a_die_says_what_the_other_rules_would_make_of_it(
    counts: str, verdict: str, others: str
) -> None:
    """0.5 and then 1.2: their mean 0.85 is within."""
    found = dies(here(counts), {"value": 0.5}, {"value": 1.2, "touchdown": 2})
    assert found.loc[0, "outcome"] == verdict
    assert found.loc[0, "other_verdicts"] == others
    assert found["verdict_depends_on_touchdown"].tolist() == [True, False, False]
    assert found.loc[1, "other_verdicts"] == ""


def results_of(table: pd.DataFrame, record: CampaignRecord) -> pd.DataFrame:
    """Rows as a wafer's results have them."""
    found = judged(choose_touchdowns(table, record), record)
    return found.rename(columns={"ev_detail": "standing_detail"})


def test_a_mean_is_judged_with_its_own_uncertainty() -> None:
    """u 0.1 of each one's own, so w 0.2 of one touchdown and 0.1 of the mean of four: 0.85 is not
    proven below 1 alone, and within as a mean."""
    record = here("last", "guarded").campaign
    found = results_of(touchdowns([0.85] * 4, u_own=0.1), record)
    assert found["outcome"].tolist() == ["not proven"] * 4
    mean = under_rule(found, record, "mean")
    assert mean["outcome"].tolist() == ["within"]
    assert mean["u"].tolist() == pytest.approx([0.05])
    assert under_rule(found, record, "first")["touchdown"].tolist() == [1]
    assert under_rule(found, record, "last")["touchdown"].tolist() == [4]


@pytest.mark.parametrize("declared", RULES)
@pytest.mark.parametrize("other", RULES)
def test_what_another_rule_would_count_is_what_it_counts_when_declared(
    declared: Rule, other: Rule
) -> None:
    """Forty dies touched one to four times, some without standing, value, or above a floor."""
    random = np.random.default_rng(7)
    die = np.repeat(np.arange(40), random.integers(1, 5, 40))
    n = len(die)
    table = touchdowns(
        random.normal(0.8, 0.3, n),
        die,
        u_own=random.uniform(0.01, 0.1, n),
        u_common=0.03,
        ev_reasons=np.where(random.random(n) < 0.1, 4, 0),
        ev_not_closed=random.random(n) < 0.2,
        below_floor=random.random(n) < 0.1,
        not_reached=random.random(n) < 0.1,
        floor=0.2,
        flags=random.choice(["", "noisy", "noisy; range changed"], n),
    )
    table.loc[random.random(n) < 0.05, "value"] = np.nan
    curve = {"figure": "on-resistance", "curve": "c", "swept_at": 0.1}
    campaigns = {
        rule: here(rule, "non-binary", from_curve=curve).campaign for rule in (declared, other)
    }
    found = under_rule(results_of(table, campaigns[declared]), campaigns[declared], other)
    expected = results_of(table, campaigns[other])
    expected = expected[expected["counts"]]
    names = ["touchdown", "value", "u", "outcome", "standing", "standing_detail", "flags"]
    for name in names:
        pd.testing.assert_series_equal(
            found.set_index("die_x")[name].sort_index(),
            expected.set_index("die_x")[name].sort_index(),
        )
    assert len(set(found["outcome"])) >= 3 and len(set(found["standing"])) == 3


def test_another_value_may_decide_the_die_whatever_the_touchdown() -> None:
    """P hinges on the touchdown, but Q is outside: the die's verdict does not."""
    where = here("last", also={"upper": 1.0})
    rows = (
        {"value": 0.5},
        {"value": 1.2, "touchdown": 2},
        {"parameter": "Q", "value": 9.0},
    )
    found = dies(where, *rows)
    assert found.loc[0, "outcome"] == "outside"
    assert not found["verdict_depends_on_touchdown"].any()


def test_a_missing_value_stays_missing_under_every_rule() -> None:
    where = here("last", also={"upper": 1.0})
    found = dies(where, {"value": 0.5}, {"value": 1.2, "touchdown": 2})
    assert found.loc[0, "outcome"] == "outside"
    assert found.loc[0, "other_verdicts"] == "first: not assessable; mean: not assessable"


def test_touchdowns_that_agree_change_nothing() -> None:
    taken = [{"value": 0.5}, {"value": 0.6, "touchdown": 2}]
    found = dies(here("first"), *taken)
    assert not found["verdict_depends_on_touchdown"].any()
    assert set(found["other_verdicts"]) == {""}


def test_values_without_standing_are_without_it_under_every_rule() -> None:
    """The second touchdown's range has no stored floor: it and the mean have no standing."""
    where = setting(parameter("P", unit="A", lower=-1.0, upper=1.0), counts="first")
    taken = {"range": "1 nA", "path": "triaxial"}
    found = dies(
        where,
        {"value": 1e-10, **taken},
        {"value": 1e-10, "touchdown": 2, **taken, "range": "10 nA"},
    )
    assert found.loc[0, "outcome"] == "within"
    assert found.loc[0, "other_verdicts"] == "last: not assessable; mean: not assessable"


def test_conforming_dies_follow_the_declared_outcomes() -> None:
    """U 0.2: 0.5 is within, 0.9 not proven, 1.1 not refuted, 1.5 outside."""
    rows = [{"value": value, "die_x": x} for x, value in enumerate((0.5, 0.9, 1.1))]
    only = dies(here("last", "non-binary", uncertainty=ONE), *rows)
    assert only["outcome"].tolist() == ["within", "not proven", "not refuted"]
    assert only["conforming"].tolist() == [True, False, False]
    assert only["judged"].tolist() == [True] * 3
    assert (only["not_proven"].tolist(), only["not_refuted"].tolist()) == ([0, 1, 0], [0, 0, 1])
    assert only["reason"].tolist() == ["", "not proven: P at RT", "not refuted: P at RT"]
    wide = here(
        "last",
        "non-binary",
        uncertainty=ONE,
        verdict={"conforming": ("within", "not refuted")},
    )
    assert dies(wide, *rows)["conforming"].tolist() == [True, False, True]


def test_a_value_without_standing_never_makes_a_die_conform() -> None:
    where = setting(parameter("P", unit="A", lower=-1.0, upper=1.0))
    found = dies(where, {"value": 1e-10, "range": "10 nA", "path": "triaxial"})
    assert found.loc[0, "outcome"] == "not assessable"
    assert not found["conforming"].any()


def test_a_parameters_own_rule_decides_its_values() -> None:
    own = {"rule": "guarded", "coverage_factor": 3.0}
    where = here("last", uncertainty=ONE, decision=own, also={"upper": 1.0, "uncertainty": ONE})
    rows: list[dict[str, Any]] = [{"value": 0.8}, {"parameter": "Q", "value": 0.95}]
    table = compute(where, *rows).results.to_pandas()
    table = table[table["outcome"] != "not measured"].set_index("parameter")
    assert table["outcome"].to_dict() == {"P": "not proven", "Q": "within"}
    assert table["decision_rule"].to_dict() == {"P": "guarded", "Q": "simple"}
    assert table["expanded_uncertainty"].to_dict() == pytest.approx({"P": 0.3, "Q": 0.2})
    assert table.loc["P", "guard_band"] == pytest.approx(0.3)
    assert pd.isna(table.loc["Q", "guard_band"])
    assert (table.loc["P", "acceptance_lower"], table.loc["P", "acceptance_upper"]) == (
        pytest.approx((0.3, 0.7))
    )
    assert table.loc["P", "uncertainty_share"] == pytest.approx(0.3)
    assert pd.isna(table.loc["Q", "uncertainty_share"])


def test_probabilities_beside_the_values() -> None:
    """0.9 with u 0.1 below 1: Phi(1) - Phi(-9) = 0.841345; with a prior 0.5 +- 0.1 the mean is 0.7
    and the spread 0.0707: Phi(4.2426) = 0.999989."""
    prior = {"mean": 0.5, "standard_deviation": 0.1, "basis": "earlier lots"}
    where = here("last", uncertainty=ONE, prior=prior)
    table = compute(where, {"value": 0.9}).results.to_pandas()
    row = table[table["outcome"] != "not measured"].iloc[0]
    assert row["probability_of_conformity"] == pytest.approx(0.841345, abs=5e-7)
    assert row["probability_with_prior"] == pytest.approx(0.999989, abs=5e-7)
    bare = compute(here("last"), {"value": 0.9}).results.to_pandas()
    assert bare["probability_of_conformity"].isna().all()
    assert bare["probability_with_prior"].isna().all()


def test_a_reading_below_its_floor_has_no_probability() -> None:
    where = setting(parameter("P", unit="pA", upper=5.0, uncertainty=ONE))
    taken = {"range": "1 nA", "path": "triaxial"}
    table = compute(where, {"value": 0.2, **taken}, {"value": 3.0, "die_x": 1, **taken})
    found = table.results.to_pandas().set_index("die_x")["probability_of_conformity"]
    assert pd.isna(found[0]) and found[1] == pytest.approx(1.0)


def test_a_bound_on_the_uncertainty_is_told_with_its_figure() -> None:
    own = {"rule": "simple", "uncertainty_share_max": 0.15}
    where = here("last", uncertainty=ONE, decision=own)
    table = compute(where, {"value": 0.5}).results.to_pandas()
    row = table[table["outcome"] != "not measured"].iloc[0]
    assert row["outcome"] == "not assessable"
    assert row["outcome_reason"] == (
        "expanded uncertainty above 15 % of the tolerance, its declared bound"
    )
    assert row["uncertainty_share"] == pytest.approx(0.2)
