"""Values that must agree: what is counted, the mean's uncertainty, and how rarely it is wrong."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.agreements import (
    agreement_counts,
    agreement_findings,
    differences,
    paired,
)
from sitegen.model.campaign import CampaignRecord, UncertaintySource
from sitegen.model.trust import Agreement
from tests.faults.touchdown_records import campaign
from tests.faults.touchdown_scenes import sound


def agreement(**changes: Any) -> Agreement:
    ordinary = {
        "id": "A",
        "physics": "operating current",
        "first": {"parameter": "RON", "condition": "RT"},
        "second": {"parameter": "RLF", "condition": "RT"},
    }
    return Agreement.model_validate({**ordinary, **changes})


def asked(*agreements: Agreement, **changes: Any) -> CampaignRecord:
    return campaign().model_copy(update={"agreements": agreements, **changes})


def results(first: Any, second: Any, **columns: Any) -> pd.DataFrame:
    """Values of RON and RLF on dies (0, 0), (1, 0), ... of one wafer."""
    parts = [
        pd.DataFrame(
            {
                "wafer": "W1",
                "die_x": np.arange(len(values)),
                "die_y": 0,
                "site": "",
                "parameter": name,
                "condition": "RT",
                "counts": True,
                "value": np.asarray(values, dtype=float),
                "below_floor": False,
                "not_reached": False,
                "standing": "stands",
                "calibration": None,
                "u": 0.1,
                "u_common": 0.0,
                **columns,
            }
        )
        for name, values in (("RON", first), ("RLF", second))
    ]
    return pd.concat(parts, ignore_index=True)


def test_a_difference_beyond_its_uncertainty_is_counted_and_named() -> None:
    table = results([10.0, 10.0, 10.0, 10.0], [10.1, 9.9, 10.0, 11.5])
    (found,) = agreement_findings(table, asked(agreement()))
    assert found.kind == "values do not agree" and found.subject == "agreement A"
    assert "1 of 4 dies differ by more than 2 u" in found.text
    assert "the largest −1.500\u202fΩ on die (3, 0)" in found.text
    assert "the mean difference is (−380 ± 140)\u202fmΩ" in found.text


def test_an_allowance_is_added_and_named() -> None:
    table = results([10.0] * 4, [10.1, 9.9, 10.0, 11.5])
    assert not agreement_findings(table, asked(agreement(allowance=1.0)))
    (found,) = agreement_findings(table, asked(agreement(allowance=0.2)))
    assert "more than 2 u + 200.0\u202fmΩ" in found.text


def test_a_common_part_does_not_shrink_in_the_mean() -> None:
    """u² = 0.3² + 0.4²: over 100 dies the mean keeps 0.3 and has 0.04 of the rest, twice over."""
    table = results(np.full(100, 10.0), np.full(100, 10.5), u=0.5, u_common=0.3)
    pairs = paired(table, agreement(), {one.id: one for one in campaign().parameters}, 1.0)
    assert differences(pairs).u_mean == pytest.approx(np.sqrt(2 * (0.3**2 + 0.04**2)))
    assert not agreement_findings(table, asked(agreement()))
    assert agreement_findings(table.assign(u_common=0.0), asked(agreement()))


def test_declared_common_sources_are_common() -> None:
    source = UncertaintySource(source="reference", absolute=0.3, common=True)
    parameters = {
        one.id: one.model_copy(update={"uncertainty": (source,)}) for one in campaign().parameters
    }
    table = results(np.full(100, 10.0), np.full(100, 10.5), u=0.5)
    pairs = paired(table, agreement(), parameters, 1.0)
    assert differences(pairs).u_mean == pytest.approx(np.sqrt(2 * (0.3**2 + 0.04**2)))


def test_the_same_parameter_under_one_calibration_shares_its_error() -> None:
    """Two power levels: what the calibration does to both cancels."""
    levels = agreement(physics="two power levels", second={"parameter": "RON", "condition": "HIGH"})
    table = results(np.full(50, 10.0), np.full(50, 10.1), u=0.31, u_common=0.3, calibration="C")
    high = table["parameter"] == "RLF"
    table.loc[high, ["parameter", "condition"]] = ["RON", "HIGH"]
    (found,) = agreement_findings(table, asked(levels))
    assert "small-signal" in found.text
    assert not agreement_findings(table.assign(calibration=None), asked(levels))


def test_units_are_converted_or_the_agreement_is_not_decided() -> None:
    in_milli = [
        one.model_copy(update={"unit": "mohm"}) if one.id == "RLF" else one
        for one in campaign().parameters
    ]
    table = results([10.0] * 4, [10.0] * 4)
    table.loc[table["parameter"] == "RLF", ["value", "u"]] *= 1000
    assert not agreement_findings(table, asked(agreement(), parameters=tuple(in_milli)))
    with_gm = agreement(second={"parameter": "GM", "condition": "RT"})
    (found,) = agreement_findings(table, asked(with_gm))
    assert found.kind == "agreement not decided" and "does not convert" in found.text


def test_without_an_uncertainty_it_is_not_decided() -> None:
    table = results([10.0, 10.0], [10.0, 99.0])
    table.loc[table["die_x"] == 1, "u"] = np.nan
    (found,) = agreement_findings(table, asked(agreement()))
    assert found.kind == "agreement not decided" and "1 die of wafer W1" in found.text


@pytest.mark.parametrize(
    "change",
    [{"standing": "without standing"}, {"below_floor": True}, {"not_reached": True}],
    ids=str,
)
def test_values_that_do_not_stand_are_left_out(change: dict[str, Any]) -> None:
    table = results([10.0, 10.0], [10.0, 99.0])
    for name, value in change.items():
        table.loc[table["die_x"] == 1, name] = value
    assert not agreement_findings(table, asked(agreement()))


def test_each_wafer_is_judged_by_itself() -> None:
    values = sound(3).values()
    values.loc[(values["wafer"] == "W3") & (values["parameter"] == "RLF"), "value"] += 1.0
    found = agreement_findings(values, campaign())
    assert [one.address for one in found] == ["wafers/W3/index.html"]


def test_an_agreement_that_holds_is_counted_in_dies() -> None:
    """Differences 0.1, -0.1, 0 and 0.3 of u = 0.1 sqrt 2: the last lies beyond 2 u = 0.283, which
    chance allows in a campaign."""
    table = results([10.0] * 4, [10.1, 9.9, 10.0, 10.3])
    (found,) = agreement_counts(table, asked(agreement()))
    assert (found.wafer, found.unit, found.outcome) == ("W1", "ohm", "agree")
    assert (found.agree, found.beyond, found.not_compared) == (3, 1, 0)
    assert found.mean == pytest.approx(-0.075)
    assert found.u_mean == pytest.approx(0.1 * np.sqrt(2) / 2)
    assert found.largest == pytest.approx(-0.3) and found.largest_die == (3, 0)
    assert not agreement_findings(table, asked(agreement()))
    (wider,) = agreement_counts(table, asked(agreement(allowance=0.1)))
    assert (wider.agree, wider.beyond) == (4, 0)


def test_what_fails_is_counted_as_its_finding_says() -> None:
    table = results([10.0] * 4, [10.1, 9.9, 10.0, 11.5])
    (found,) = agreement_counts(table, asked(agreement()))
    assert (found.agree, found.beyond, found.outcome) == (3, 1, "do not agree")
    (told,) = agreement_findings(table, asked(agreement()))
    assert "1 of 4 dies differ" in told.text


@pytest.mark.parametrize(
    "change",
    [{"standing": "without standing"}, {"below_floor": True}, {"value": np.nan}, {"u": np.nan}],
    ids=str,
)
def test_dies_that_cannot_be_compared_are_counted(change: dict[str, Any]) -> None:
    table = results([10.0, 10.0, 10.0], [10.0, 10.0, 99.0])
    for name, value in change.items():
        table.loc[(table["die_x"] == 2) & (table["parameter"] == "RLF"), name] = value
    (found,) = agreement_counts(table, asked(agreement()))
    assert (found.agree, found.beyond, found.not_compared) == (2, 0, 1)
    alone = table[(table["die_x"] != 2) | (table["parameter"] != "RLF")]
    assert agreement_counts(alone, asked(agreement())) == (found,)


@pytest.mark.parametrize("second", ["GM", "RLF"])
def test_where_nothing_can_be_compared_it_is_not_decided(second: str) -> None:
    """In a unit that does not convert, or without the second value of any die."""
    asked_for = asked(agreement(second={"parameter": second, "condition": "RT"}))
    table = results([10.0] * 3, [10.0] * 3)
    table = table[table["parameter"] == "RON"] if second == "RLF" else table
    (found,) = agreement_counts(table, asked_for)
    assert (found.agree, found.beyond, found.not_compared) == (0, 0, 3)
    assert (found.outcome, found.mean, found.largest_die) == ("not decided", None, None)
    (nothing,) = agreement_counts(table.assign(counts=False), asked_for)
    assert (nothing.agree, nothing.not_compared, nothing.outcome) == (0, 0, "not decided")
    assert agreement_counts(table[:0], asked_for) == ()


def test_every_wafer_has_its_counts_in_order() -> None:
    values = sound(3).values()
    found = agreement_counts(values, campaign())
    names = sorted(values["wafer"].unique())
    assert [one.wafer for one in found] == [name for name in names for _ in campaign().agreements]
    assert {one.outcome for one in found} == {"agree"}
