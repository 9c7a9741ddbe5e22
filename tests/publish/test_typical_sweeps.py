"""The Touchstone files of a wafer's most typical die, as other programs read them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import skrf

from sitegen.build import build
from tests.campaigns import OMEGA, Complex, inductance_h, series, tiny_campaign
from tests.conftest import quiet
from tests.kinds import builders
from tests.kinds.emptiness import words_of

TYPICAL = "data/sweeps/W1"


def published(campaign: Path) -> Path:
    out = campaign.parent / "out"
    build(campaign, out, quiet, workers=1)
    return out


def the_file(out: Path) -> Path:
    (found,) = (out / TYPICAL).iterdir()
    return found


def of_die(x: int, y: int) -> Complex:
    return series(np.asarray(2.0 + 1j * OMEGA * inductance_h(x, y)))


def most_typical(out: Path, only_corners: bool = False) -> tuple[int, int]:
    """By the rule that the pages state, from the published values alone."""
    values = pd.read_parquet(out / "data" / "results.parquet")
    values = values[values["value"].notna() & (values["standing"] != "without standing")]
    if only_corners:
        values = values[values["die_x"].abs() + values["die_y"].abs() == 2]
    wide = values.pivot_table(
        index=["die_y", "die_x"], columns=["parameter", "condition"], values="value"
    )
    off = wide - wide.median()
    z = off / (1.4826 * off.abs().median())
    score = (z**2).mean(axis=1)
    best = score[np.isclose(score, score.min(), rtol=1e-9)].index.sort_values()[0]
    return int(best[1]), int(best[0])


def test_it_is_the_die_that_the_stated_rule_chooses(tmp_path: Path) -> None:
    """The corrected sweep is the closed form of that die's inductor."""
    out = published(tiny_campaign(tmp_path))
    x, y = most_typical(out)
    path = the_file(out)
    assert path.name == f"most-typical~x{x}_y{y}~IND~rf.s2p"
    network = skrf.Network(str(path))
    assert network.s == pytest.approx(of_die(x, y), abs=2e-5)
    text = path.read_text("ascii")
    assert "least mean of squared robust z" in text and "standing: stands" in text
    page = words_of(out / "wafers/W1/index.html")
    assert "Corrected sweeps of IND on the most typical die" in page
    assert "nearest the medians of all parameters with standing" in page
    assert path.name in page and path.name in words_of(out / "data/index.html")


def test_where_the_typical_die_was_not_swept_another_stands_for_it(tmp_path: Path) -> None:
    """Swept on the corners alone: the most typical of the corners by their values."""
    campaign = tiny_campaign(tmp_path)
    path = campaign / "wafers/W1/sweeps.parquet"
    table = pq.read_table(path)
    corner = np.abs(table["die_x"].to_numpy()) + np.abs(table["die_y"].to_numpy()) == 2
    pq.write_table(table.filter(corner), path)
    out = published(campaign)
    x, y = most_typical(out, only_corners=True)
    assert abs(x) == abs(y) == 1
    assert the_file(out).name == f"most-typical~x{x}_y{y}~IND~rf.s2p"


def test_without_standing_values_the_sweeps_decide(tmp_path: Path) -> None:
    """Of three dies of 0.97, 0.99 and 1.03 nH the middle one is nearest the sweeps' median."""
    campaign = builders.corrected_sweeps(tmp_path)
    dies = [(1, 1), (-1, -1), (-1, 0)]
    pq.write_table(builders.corrected_table(dies), campaign / "wafers/W1/sweeps.parquet")
    out = published(campaign)
    path = the_file(out)
    assert path.name == "most-typical~x-1_y0~IND~rf.s2p"
    assert skrf.Network(str(path)).s == pytest.approx(of_die(-1, 0), abs=1e-6)
    text = path.read_text("ascii")
    assert "nearest the pointwise median" in text
    assert "Calibration: not in the record; standing: without standing" in text


def test_where_no_sweep_stands_none_is_handed_on(tmp_path: Path) -> None:
    """The attenuator was set otherwise than in the calibration: every sweep lost its standing."""
    campaign = tiny_campaign(tmp_path)
    record = campaign / "wafers/W1/wafer.toml"
    record.write_text(
        record.read_text("utf-8").replace("attenuator_db = 10.0", "attenuator_db = 20.0"), "utf-8"
    )
    out = published(campaign)
    assert not (out / TYPICAL).exists()
    assert "No sweep of IND has standing" in words_of(out / "wafers/W1/index.html")


def one_port(campaign: Path) -> None:
    """Make the inductor a one-port device at port 1."""

    def declared(record: builders.Toml) -> None:
        next(one for one in record["devices"] if one["id"] == "IND")["ports"] = 1
        record["devices"][0]["traces"] = ["s11_db"]

    builders.changed(campaign / "campaign.toml", declared)
    for home in (campaign / "wafers").iterdir():
        path = home / "sweeps.parquet"
        table = pq.read_table(path)
        names = [name for name in table.column_names if name[:3] not in {"s21", "s12", "s22"}]
        pq.write_table(table.select(names), path)


def test_a_one_port_device_has_a_file_of_one_port(tmp_path: Path) -> None:
    campaign = builders.corrected_sweeps(tmp_path)
    one_port(campaign)
    path = the_file(published(campaign))
    assert path.suffix == ".s1p"
    network = skrf.Network(str(path))
    assert network.s.shape == (11, 1, 1)
    assert network.s[:, 0, 0] == pytest.approx(of_die(0, 0)[:, 0, 0], abs=1e-6)
