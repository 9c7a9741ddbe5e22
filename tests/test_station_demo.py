"""The demo of a station without wafers: everything planted is found, and nothing else is reported.

What to expect comes from the forward side (`tests.simulate.followed_expected`), never from
`compute`.
"""

from pathlib import Path

import pandas as pd
import pytest

from tests.simulate import followed_expected as expected


def read(publication: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(publication / "data" / f"{name}.parquet")


def test_no_fault_and_exactly_these_findings(station_publication: Path) -> None:
    assert read(station_publication, "faults").empty
    found = read(station_publication, "findings")
    assert set(zip(found["kind"], found["subject"], strict=True)) == expected.FINDINGS
    assert len(found) == len(expected.FINDINGS)


def test_calibrations_and_verifications(station_publication: Path) -> None:
    calibrations = read(station_publication, "calibrations").set_index("calibration")
    assert calibrations["method"].to_dict() == expected.CALIBRATIONS
    failed = calibrations.index[calibrations["outcome"] != "usable"]
    assert failed.tolist() == [expected.BADLY_CONTACTED]
    verifications = read(station_publication, "verifications")
    assert verifications["verification"].nunique() == expected.VERIFICATIONS
    not_passed = verifications[verifications["outcome"] != "passed"]
    assert set(not_passed["verification"]) == {expected.FAILED}
    structures = not_passed.loc[not_passed["structure_outcome"] == "failed", "structure"]
    assert set(structures) == set(expected.FAILED_STRUCTURES)


def test_the_acceptance(station_publication: Path) -> None:
    (row,) = read(station_publication, "acceptances").to_dict("records")
    assert (row["acceptance"], row["outcome"]) == (expected.ACCEPTANCE, "passed")
    assert (row["factory"], row["site"]) == (expected.FACTORY, expected.SITE)
    declared = read(station_publication, "declared-performance")
    assert set(declared["factory_outcome"]) | set(declared["site_outcome"]) == {"passed"}


def test_the_load_that_wears(station_publication: Path) -> None:
    """The chart's points rise as planted, to 5 %; its limits rest on more than 20 points."""
    followed = read(station_publication, "followed")
    worn = followed[followed["metric"] == expected.WORN].sort_values("at")
    rise_ohm = worn["value"].iloc[-1] - worn["value"].iloc[0]
    assert rise_ohm == pytest.approx(expected.WEAR_OHM_PER_CALIBRATION * (len(worn) - 1), rel=0.05)
    assert set(worn["bound_upper"]) == {expected.WORN_BOUND_OHM}
    page = (station_publication / "stations" / expected.STATION / "index.html").read_text("utf-8")
    first, last = expected.MEETS_BOUND
    days = pd.date_range(first, last).strftime("%Y-%m-%d")
    assert any(f"about {day}" in page for day in days)


def test_control_limits_are_not_provisional(station_publication: Path) -> None:
    """Since the probe was exchanged there are more than 20 calibrations and verifications."""
    followed = read(station_publication, "followed")
    last = followed[followed["at"] == followed.groupby("metric")["at"].transform("max")]
    firm = set(last.loc[~last["provisional"].astype(bool), "metric"])
    assert {
        expected.WORN,
        "fitted load inductance",
        "greatest difference from the previous calibration",
    } <= firm


def test_the_exchanged_part_begins_a_new_segment(station_publication: Path) -> None:
    followed = read(station_publication, "followed")
    loads = followed[followed["metric"] == "fitted load inductance"].sort_values("at")
    new = loads["at"] > expected.EXCHANGED_AT
    assert loads.loc[~new, "segment"].nunique() == loads.loc[new, "segment"].nunique() == 1
    assert set(loads.loc[~new, "segment"]).isdisjoint(loads.loc[new, "segment"])
    assert loads.loc[new, "source"].iloc[0] == expected.FIRST_AFTER_EXCHANGE


def test_notes_stand_on_their_pages(station_publication: Path) -> None:
    for name in expected.NOTED:
        kind = {"CAL": "calibrations", "VER": "verifications", "ACC": "acceptances"}[name[:3]]
        page = station_publication / kind / name / "index.html"
        assert ">Note" in page.read_text("utf-8"), name
