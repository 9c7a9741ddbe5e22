"""What the design team gets: Touchstone files that scikit-rf reads, tables that pandas reads."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import skrf

from sitegen.compute.joint_statistics import joint_statistics
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import HandedOver
from sitegen.model.loaded import SWEEP_KEY_SCHEMA
from sitegen.model.results import TraceGroup
from sitegen.publish import difference_tables
from sitegen.publish.handover_sweeps import write_sweeps
from sitegen.publish.handover_tables import contents, die_table
from sitegen.publish.tables import write_table
from tests.compute.test_differences import campaign as compared_campaign
from tests.compute.test_differences import compared
from tests.compute.test_differences import rows as mean_rows
from tests.compute.test_handover import campaign as chosen_campaign
from tests.compute.test_handover import rows

FREQUENCY_HZ = np.linspace(1e9, 40e9, 14)
Complex = npt.NDArray[np.complex128]


def campaign(counts: str = "last", **handover: Any) -> CampaignRecord:
    record = chosen_campaign().model_dump()
    record["campaign"] |= {"id": "C-1", "title": "Träume", "edition": 3}
    record["touchdowns"]["counts"] = counts
    record["handover"] |= handover
    deembedding = {
        "method": "open-short",
        "open": "O",
        "short": "S",
        "taken_from": "each die",
        "condition": "RT",
        "upper_hz": 30e9,
    }
    device = record["devices"][0]
    record["devices"] = (
        {**device, "id": "FET", "name": "transistor", "deembedding": deembedding},
        {**device, "id": "RES", "name": "resistor", "ports": 1},
    )
    return CampaignRecord.model_validate(record)


def group(
    device: str, *keys: dict[str, Any], ports: int = 2, deembedded: bool = True
) -> TraceGroup:
    """Sweeps of random S-parameters; a key states what differs from an ordinary one."""
    ordinary = {
        "die_x": 3,
        "die_y": -1,
        "site": "",
        "device": device,
        "condition": "RT",
        "touchdown": 1,
        "measured_at": datetime(2026, 4, 20, 9, 0, tzinfo=UTC),
        "calibration": "CAL-1",
        "ambient_c": 23.0,
        "file": "wafers/A/raw.parquet",
    }
    table = pa.Table.from_pylist([{**ordinary, **key} for key in keys], SWEEP_KEY_SCHEMA)
    for name, word in (("standing", "stands"), ("standing_reasons", ""), ("standing_detail", "")):
        found = [key.get(name, word) for key in keys]
        table = table.append_column(name, pa.array(found, pa.string()))
    random = np.random.default_rng(len(keys))
    shape = (len(keys), len(FREQUENCY_HZ), ports, ports)
    s: Complex = random.normal(size=shape) + 1j * random.normal(size=shape)
    stripped = 2 * s if deembedded else None
    return TraceGroup(device, "RT", FREQUENCY_HZ, table, s, deembedded=stripped, z_ref_ohm=75.0)


CHOSEN = (
    HandedOver("A", "wafer", "most typical", (3, -1), 1.0, ()),
    HandedOver("A", "campaign", "95th percentile", (3, -1), 1.0, ()),
    HandedOver("B", "wafer", "most typical", (0, 0), 1.0, ()),
)


def write(root: Path, *traces: TraceGroup, record: CampaignRecord) -> tuple[HandedOver, ...]:
    return write_sweeps(root, CHOSEN, traces, record, compared_campaign()[1][0])


def test_scikit_rf_reads_what_was_written(tmp_path: Path) -> None:
    here = group("FET", {}, {"die_x": 9})
    found = write(tmp_path, here, record=campaign())
    assert found[0].files == found[1].files
    assert found[2] == CHOSEN[2]
    assert [what for what, _, _ in found[0].files] == [
        "FET under RT, at the probe tips",
        "FET under RT, de-embedded",
    ]
    for (_, address, size), factor in zip(found[0].files, (1, 2), strict=True):
        path = tmp_path / address
        assert path.stat().st_size == size
        network = skrf.Network(str(path))
        assert network.f == pytest.approx(FREQUENCY_HZ)
        assert network.s == pytest.approx(factor * here.s[0], abs=1e-5, rel=1e-6)
        assert (network.z0 == 75).all()
    assert len(list(tmp_path.rglob("*.s2p"))) == 2


def test_a_file_says_what_stands_behind_it(tmp_path: Path) -> None:
    key = {"standing": "without standing", "standing_reasons": "expired by time"}
    found = write(tmp_path, group("FET", key), record=campaign())
    corrected, deembedded = (
        (tmp_path / address).read_text("ascii") for _, address, _ in found[0].files
    )
    for text in (corrected, deembedded):
        comments = [line for line in text.splitlines() if line.startswith("!")]
        told = "\n".join(comments)
        for phrase in (
            "Campaign C-1, edition 3: Tr?ume",
            "The data are simulated.",
            "Wafer A, die (3, -1), chosen as: most typical of wafer A; 95th percentile of all",
            "Device FET: transistor",
            "Condition RT: room; set point 25 degrees Celsius",
            "measured 2026-04-20T09:00:00Z",
            "Calibration: CAL-1; standing: without standing (expired by time)",
            "no certificate",
        ):
            assert phrase in told
        assert str(datetime.now(UTC).date()) not in told
    assert "pads and leads are in the data" in corrected
    assert "taken off: open-short, dummies of each die, declared to hold up to 30 GHz" in deembedded


@pytest.mark.parametrize(("counts", "row"), [("first", 0), ("last", 2), ("mean", 2)])
def test_the_touchdown_that_counts_is_written(tmp_path: Path, counts: str, row: int) -> None:
    here = group("FET", *({"touchdown": number} for number in (1, 2, 3)), deembedded=False)
    found = write(tmp_path, here, record=campaign(counts))
    ((_, address, _),) = found[0].files
    assert skrf.Network(str(tmp_path / address)).s == pytest.approx(here.s[row], abs=1e-5)


def test_touchdowns_on_two_frequency_lists_make_one_file(tmp_path: Path) -> None:
    """They lie in two groups; the later one counts, whichever group comes first."""
    first, second = (group("FET", {"touchdown": number}, deembedded=False) for number in (1, 2))
    for order in ((first, second), (second, first)):
        ((_, address, _),) = write(tmp_path, *order, record=campaign())[0].files
        assert "Touchdown 2" in (tmp_path / address).read_text("ascii")


def test_points_that_are_not_determined_are_left_out_and_told(tmp_path: Path) -> None:
    here = group("FET", {}, deembedded=False)
    here.s[0, 2:5] = np.nan
    ((_, address, _),) = write(tmp_path, here, record=campaign())[0].files
    assert len(skrf.Network(str(tmp_path / address)).f) == len(FREQUENCY_HZ) - 3
    assert "3 frequencies are left out" in (tmp_path / address).read_text("ascii")
    here.s[0] = np.nan
    assert write(tmp_path, here, record=campaign())[0].files == ()


def test_devices_sites_and_ports(tmp_path: Path) -> None:
    fet = group("FET", {"site": "b"}, {"site": "a"}, deembedded=False)
    resistor = group("RES", {}, ports=1, deembedded=False)
    with_two_ports = write(tmp_path, resistor, fet, record=campaign())[0].files
    assert [what for what, _, _ in with_two_ports] == [
        "FET under RT at site a, at the probe tips",
        "FET under RT at site b, at the probe tips",
    ]
    declared = write(tmp_path, resistor, fet, record=campaign(devices=("RES",)))[0].files
    ((what, address, _),) = declared
    assert (what, address[-4:]) == ("RES under RT, at the probe tips", ".s1p")
    assert skrf.Network(str(tmp_path / address)).s == pytest.approx(resistor.s[0], abs=1e-5)


def test_the_table_of_dies_is_the_results_turned() -> None:
    dies = [(2, 0), (1, 0), (1, 1)]
    place = {"x_mm": 1.0, "y_mm": 2.0, "zone": "edge", "u": 0.1}
    table = pd.concat(
        [
            rows("B", "P", dies, [1.0, 2.0, 3.0], **place),
            rows("A", "P", dies[:1], [4.0], **place),
            rows("A", "Q", dies, [5.0, 6.0, -7.0], **place).assign(
                below_floor=[True, False, False], not_reached=[False, False, True], floor=9.0
            ),
            rows("B", "Q", dies[:1], [8.0], **place, standing="without standing"),
        ]
    )
    found = die_table(table, chosen_campaign("PQ"))
    assert found.column_names[6:] == ["P~RT", "P~RT~u", "Q~RT", "Q~RT~u", "Q~RT~known"]
    keys = list(
        zip(*(found[name].to_pylist() for name in ("wafer", "die_x", "die_y")), strict=True)
    )
    assert keys == [("A", 1, 0), ("A", 2, 0), ("A", 1, 1), ("B", 1, 0), ("B", 2, 0), ("B", 1, 1)]
    assert found["P~RT"].to_pylist() == [None, 4.0, None, 2.0, 1.0, 3.0]
    assert found["P~RT~u"].to_pylist() == [None, 0.1, None, 0.1, 0.1, 0.1]
    assert found["Q~RT"].to_pylist() == [6.0, None, None, None, None, None]
    assert found["Q~RT~known"].to_pylist() == [None, "< 9", "< -7", None, None, None]


def test_tables_come_back_from_parquet_and_csv(tmp_path: Path) -> None:
    place = {"x_mm": 1.0, "y_mm": 2.0, "zone": "edge", "u": 0.1}
    dies = [(x, 0) for x in range(30)]
    random = np.random.default_rng(1)
    table = pd.concat(
        [rows(one, name, dies, random.normal(size=30), **place) for one in "AB" for name in "PQ"]
    )
    record = chosen_campaign("PQ")
    for name, description, content in contents(
        table, joint_statistics(table, record, ["A", "B"]), record
    ):
        write_table(tmp_path, name, description, content.schema, [content])
    read = {
        name: (
            pq.read_table(tmp_path / f"data/{name}.parquet").to_pandas(),
            pd.read_csv(tmp_path / f"data/{name}.csv"),
        )
        for name in ("dies-parameters", "model-means", "model-covariances")
    }
    for parquet, csv in read.values():
        assert list(parquet.columns) == list(csv.columns)
        assert len(parquet) == len(csv)
    wide = read["dies-parameters"][1]
    assert wide[["P~RT", "Q~RT"]].cov().to_numpy().ravel() == pytest.approx(
        covariances(read["model-covariances"][0], "all dies"), rel=1e-12
    )
    means = read["model-means"][0].query("scope == 'wafer' and wafer == 'B'")
    assert means["mean"].tolist() == pytest.approx(
        wide[wide["wafer"] == "B"][["P~RT", "Q~RT"]].mean().tolist()
    )
    assert means["n"].tolist() == [30, 30]


def covariances(table: pd.DataFrame, scope: str) -> list[float]:
    """The matrix of P and Q in a row, of one scope."""
    found = table[table["scope"] == scope].set_index(["parameter", "other_parameter"])["covariance"]
    return [float(found[key]) for key in (("P", "P"), ("P", "Q"), ("P", "Q"), ("Q", "Q"))]


def test_means_and_differences_as_tables() -> None:
    parts = {"u_common": 0.3, "u_calibration": 0.3, "u_own": 0.2}
    found = compared(
        mean_rows("A", np.full(4, 3.0), calibration="C1", **parts),
        mean_rows("B", np.full(4, 1.0), calibration="C2", **parts),
    )
    tables = {
        name: table
        for name, _, table in difference_tables.contents(
            found.means, found.differences, compared_campaign()[0]
        )
    }
    means, differences = tables["means"].to_pylist(), tables["differences"].to_pylist()
    assert [(one["wafer"], one["mean"], one["calibrations"]) for one in means] == [
        ("A", 3.0, "C1: 4"),
        ("B", 1.0, "C2: 4"),
        ("C", None, ""),
    ]
    first = differences[0]
    assert (first["difference"], first["unit"], first["same_calibration"]) == (2.0, "V", 0.0)
    assert first["u"] == pytest.approx(np.sqrt(2 * (0.3**2 + 0.1**2)))
    assert differences[1]["reason"] == "C: no value stands"
