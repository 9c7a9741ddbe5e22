"""A station's files, gathered and published: the same publication as from tables of ours."""

import csv
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sitegen.build import build
from sitegen.gathering import gather
from tests.conftest import quiet
from tests.device_campaign import device_campaign
from tests.foreign_campaign import foreign_campaign
from tests.read.foreign.test_whole import _changed

KEY = ["die_x", "die_y", "device", "parameter", "condition", "touchdown"]


def results_of(publication: Path) -> pd.DataFrame:
    return pd.read_parquet(publication / "data/results.parquet").sort_values(KEY, ignore_index=True)


@pytest.fixture(scope="module")
def gathered(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The campaign after gathering its tree, with one reading beyond its range; its publication."""
    place = tmp_path_factory.mktemp("gathered")
    campaign = foreign_campaign(place, gathered=False)
    column = 'parameter = "IOFF", unit = "nA"'
    _changed(campaign / "mapping.toml", column, f"{column}, beyond = {{ OVL = 10.5 }}")
    table = place / "tree/dc/W1 parametric.csv"
    text = table.read_bytes().decode("utf-8-sig")
    table.write_bytes(text.replace(";1,8;", ";OVL;", 1).encode("utf-8-sig"))
    report = gather(campaign, place / "tree", datetime(2026, 3, 3, tzinfo=UTC), quiet)
    assert report.is_whole
    done = build(campaign, place / "out", quiet, workers=1)
    assert [fault.sentence() for fault in done.faults] == []
    return campaign, place / "out"


def test_the_same_values_with_the_same_standing(
    gathered: tuple[Path, Path], tmp_path: Path
) -> None:
    build(device_campaign(tmp_path), tmp_path / "out", quiet, workers=1)
    ours, theirs = results_of(tmp_path / "out"), results_of(gathered[1])
    assert len(ours) == len(theirs)
    same = ~theirs["not_reached"].eq(True)
    assert same.sum() == len(theirs) - 1
    for name in ("value", "u"):
        np.testing.assert_allclose(theirs[name][same], ours[name][same], rtol=1e-9)
    # a table of ours names the calibration of its RF values, a wide table names none
    for name in ("standing", "calibration", "outcome", "unit"):
        assert theirs[name][same].tolist() == ours[name][same].tolist(), name


def test_a_reading_beyond_its_range_is_judged_by_where_the_range_ended(
    gathered: tuple[Path, Path],
) -> None:
    table = results_of(gathered[1])
    (row,) = table[table["not_reached"].eq(True)].to_dict("records")
    assert (row["parameter"], row["value"]) == ("IOFF", pytest.approx(10.5e-9))
    assert row["outcome"] == "outside"  # above 10.5 nA, where at most 10 nA are allowed


def test_each_gathered_file_is_listed_with_its_digest(gathered: tuple[Path, Path]) -> None:
    with (gathered[0] / "gathered.csv").open(encoding="utf-8") as stream:
        listed = {row["file"]: row["sha256"] for row in csv.DictReader(stream)}
    published = pd.read_csv(gathered[1] / "data/gathered-files.csv")
    assert dict(zip(published["file"], published["sha256"], strict=True)) == listed
    page = (gathered[1] / "sources/index.html").read_text(encoding="utf-8")
    assert "parametric" in page and "rf/{wafer}/{device}_{die}_{time}.s2p" in page
