"""Everything planted in the demo is found, and nothing else is reported.

What to expect comes from the forward side (`tests.simulate.demo_expected`), never from `compute`.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.simulate import demo_expected as expected


@pytest.fixture(scope="module")
def values(demo_publication: Path) -> pd.DataFrame:
    return pd.read_parquet(demo_publication / "data" / "results.parquet")


@pytest.fixture(scope="module")
def dies(demo_publication: Path) -> pd.DataFrame:
    return pd.read_parquet(demo_publication / "data" / "dies.parquet")


def read(demo_publication: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(demo_publication / "data" / f"{name}.parquet")


def keys(rows: pd.DataFrame) -> list[tuple[int, int]]:
    return list(zip(rows["die_x"], rows["die_y"], strict=True))


def test_no_fault_and_exactly_these_findings(demo_publication: Path) -> None:
    assert read(demo_publication, "faults").empty
    found = read(demo_publication, "findings")
    outside = {name for name, counts in expected.DIE_OUTCOMES.items() if counts["outside"]}
    wanted = {
        ("verification failed", f"verification {expected.FAILED}"),
        *(("without standing", f"wafer {name}") for name in expected.WAFERS),
        *((reason, f"wafer {name}") for name, reason in expected.BAD_TOUCHES),
        ("dies not measured", "wafer LK7-2"),
        ("touchdown changes a verdict", f"wafer {expected.RETOUCHED[0]}"),
        *(("outside limits", f"wafer {name}") for name in outside),
        *(("below the floor", f"wafer {name}") for name in expected.BELOW_FLOOR),
    }
    assert set(zip(found["kind"], found["subject"], strict=True)) == wanted
    twice = 2  # LK7-2 and LK7-3 lost values for two reasons, each told by itself
    assert len(found) == len(wanted) + twice


def test_every_value_is_there(values: pd.DataFrame) -> None:
    taken = values[(values["touchdown"] > 0) & ~values["wafer"].isin(expected.STUDY)]
    assert taken.groupby("wafer").size().to_dict() == expected.VALUES


def test_calibrations_and_verifications(demo_publication: Path) -> None:
    calibrations = read(demo_publication, "calibrations")
    methods = dict(zip(calibrations["calibration"], calibrations["method"], strict=True))
    assert methods == expected.CALIBRATIONS
    assert set(calibrations["outcome"]) == {"usable"}
    verifications = read(demo_publication, "verifications")
    outcomes = dict(zip(verifications["verification"], verifications["outcome"], strict=True))
    assert outcomes == {**dict.fromkeys(expected.PASSED, "passed"), expected.FAILED: "failed"}
    failed = verifications[verifications["structure_outcome"] == "failed"]
    assert set(failed["structure"]) == set(expected.FAILED_STRUCTURES)
    assert set(failed["verification"]) == {expected.FAILED}


def test_the_fitted_load_inductance_is_the_true_one(demo_publication: Path) -> None:
    checks = read(demo_publication, "checks")
    fitted = checks.loc[checks["check"] == "fitted load inductance", "figure"] * 1e12
    assert len(fitted) == 3
    # each with a standard uncertainty of 0.3 pH, from contacts of a few ten-thousandths
    assert fitted.tolist() == pytest.approx([expected.TRUE_LOAD_INDUCTANCE_PH] * 3, abs=0.9)


def test_uncertainty_of_raw_figures_is_their_calibrations(values: pd.DataFrame) -> None:
    """Within 10 % of what simulated calibrations scatter by, figure by figure."""
    taken = values[(values["touchdown"] > 0) & values["value"].notna()]
    propagated = np.hypot(taken["u_common"], taken["u_own"])
    methods = taken["calibration"].map(expected.CALIBRATIONS)
    for method, figures in expected.PROPAGATED_U.items():
        for name, u in figures.items():
            if name not in expected.AT_ONE_FREQUENCY or (method, name) in expected.OTHER_DUMMIES:
                continue
            mine = propagated[(methods == method) & (taken["parameter"] == name)]
            assert np.sqrt((mine**2).mean()) == pytest.approx(u, rel=0.1), (method, name)


def test_the_expired_calibration(values: pd.DataFrame) -> None:
    expired = values[values["standing_reasons"] == "expired by time"]
    assert set(expired["wafer"]) == {"LK7-3"}
    found = {die: frozenset(rows["parameter"]) for die, rows in expired.groupby(["die_x", "die_y"])}
    assert found == expected.EXPIRED
    assert set(expired["calibration"]) == {"CAL-5"}


def test_the_verification_that_failed(values: pd.DataFrame) -> None:
    lost = values[values["standing_reasons"] == "verification failed"]
    assert set(lost["wafer"]) == {"LK7-2"}
    assert lost.groupby("parameter").size().to_dict() == expected.LOST
    assert len(set(keys(lost))) == expected.LOST_DIES


def test_nothing_else_is_without_standing_or_not_closed(values: pd.DataFrame) -> None:
    taken = values[values["touchdown"] > 0]
    without = taken[taken["standing"] != "stands"]
    touched = without[without["standing_reasons"].str.startswith("contact check")]
    found = touched.groupby(["wafer", "standing_reasons"]).size().to_dict()
    assert found == expected.BAD_TOUCHES
    others = sum(expected.LOST.values()) + sum(map(len, expected.EXPIRED.values()))
    assert len(without) == others + len(touched)


def test_the_edge_ring(values: pd.DataFrame) -> None:
    ring = values[(values["parameter"] == "RSH") & (values["outcome"] == "outside")]
    assert set(ring["wafer"]) == {"LK7-1"}
    assert set(keys(ring)) == expected.EDGE_RING
    assert set(ring["zone"]) == {"edge"}


def test_the_unmeasured_dies(dies: pd.DataFrame) -> None:
    missing = dies[dies["planned"] & (dies["outcome"] == "not measured")]
    assert set(missing["wafer"]) == {"LK7-2"}
    assert set(keys(missing)) == expected.UNMEASURED
    planned = dies[dies["planned"] & ~dies["wafer"].isin(expected.STUDY)]
    assert planned.groupby("wafer").size().tolist() == [expected.PLANNED_DIES] * 3


def test_the_touchdown_that_changes_a_verdict(values: pd.DataFrame) -> None:
    wafer, (x, y), parameter = expected.RETOUCHED
    rows = values[
        (values["wafer"] == wafer)
        & (values["die_x"] == x)
        & (values["die_y"] == y)
        & (values["parameter"] == parameter)
    ].sort_values("touchdown")
    assert rows["outcome"].tolist() == ["outside", "within"]
    assert rows["counts"].tolist() == [False, True]


def test_the_leakage_below_the_floor(values: pd.DataFrame) -> None:
    below = values[values["below_floor"]]
    assert set(below["parameter"]) == {"ICAP"}
    assert below.groupby("wafer").size().to_dict() == expected.BELOW_FLOOR


def test_the_natural_tails_and_nothing_beside_them(values: pd.DataFrame) -> None:
    counting = values[values["counts"] & (values["standing"] == "stands")]
    counting = counting[~counting["wafer"].isin(expected.STUDY)]
    tails = counting[
        counting["outcome"].isin(["outside", "not refuted", "not proven", "not assessable"])
    ]
    for wafer, rows in tails.groupby("wafer"):
        in_ring = (
            (rows["parameter"] == "RSH")
            & (rows["outcome"] == "outside")
            & (rows["wafer"] == "LK7-1")
        )
        found = {
            ((x, y), parameter): outcome
            for x, y, parameter, outcome in rows.loc[
                ~in_ring, ["die_x", "die_y", "parameter", "outcome"]
            ].itertuples(index=False, name=None)
        }
        assert found == expected.ORDINARY[str(wafer)]


def test_the_verdicts_of_the_dies(dies: pd.DataFrame) -> None:
    planned = dies[dies["planned"]]
    for wafer, counts in expected.DIE_OUTCOMES.items():
        found = planned.loc[planned["wafer"] == wafer, "outcome"].value_counts()
        assert {word: int(found.get(word, 0)) for word in counts} == counts


@pytest.mark.parametrize(
    "page",
    [
        "index.html",
        "wafers/LK7-1/index.html",
        "parameters/BV/index.html",
        "stations/PS-A/index.html",
        "wafers/LK7-1/x0_y0.html",
    ],
)
def test_cautions_stand_where_they_are_called_for(demo_publication: Path, page: str) -> None:
    text = (demo_publication / page).read_text("utf-8")
    assert "IEC 61010-1" in text and "quoted from memory" in text
    assert "local" in text


def test_notes_stand_on_their_pages(demo_publication: Path) -> None:
    for page in (
        "index.html",
        "wafers/LK7-1/index.html",
        "wafers/LK7-2/index.html",
        "calibrations/CAL-4/index.html",
        "verifications/VER-5/index.html",
        "notes/index.html",
    ):
        assert ">Note" in (demo_publication / page).read_text("utf-8"), page


def test_sizes_and_counts_that_were_promised(demo_publication: Path) -> None:
    demo = Path(__file__).parent.parent / "campaigns_demo" / "lark-7"
    size = sum(path.stat().st_size for path in demo.rglob("*") if path.is_file())
    assert size <= 6 * 2**20
    parameters = read(demo_publication, "parameters")
    assert parameters["parameter"].nunique() >= 12
    wafers = read(demo_publication, "wafers")
    assert len(wafers) == 3 and (wafers["planned"] >= 80).all()
    frequencies = pd.read_parquet(
        demo_publication / "data" / "sweeps-LK7-1.parquet", columns=["frequency_hz"]
    )
    assert frequencies["frequency_hz"].agg(["min", "max"]).tolist() == [10e6, 110e9]


def test_the_study_finds_the_operator_who_reads_high(
    demo_publication: Path, values: pd.DataFrame
) -> None:
    """Between the operators lies the planted shift; the repeats are the declared contact."""
    study, share = expected.READS_HIGH
    parts = read(demo_publication, "components")
    mine = parts[(parts["study"] == study) & parts["level"].isin(["operator", "repeat"])]
    found = {
        (str(row["parameter"]), str(row["level"])): tuple(
            float(row[name]) for name in ("value", "lower", "upper")
        )
        for row in mine.to_dict("records")
    }
    for name, contact in (("RON", 0.12), ("RSH", 0.8)):
        readings = values[values["wafer"].isin(expected.STUDY) & (values["parameter"] == name)]
        by_operator = readings[readings["touchdown"] > 0].groupby("wafer")["value"].mean()
        shift = by_operator.iloc[2] - by_operator.iloc[:2].mean()
        assert shift == pytest.approx(share * readings["value"].median(), rel=0.5)
        assert found[name, "operator"][0] > 0
        _, lower, upper = found[name, "repeat"]
        assert lower < contact < upper


def test_records_of_the_study_take_no_part(demo_publication: Path) -> None:
    for table in ("yields", "means", "statistics", "patterns"):
        named = set(read(demo_publication, table)["wafer"].dropna())
        assert named and not named & set(expected.STUDY)
