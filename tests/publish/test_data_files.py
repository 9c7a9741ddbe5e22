"""Every file of data/ opens in a general program, and has a name that speaks, on any system."""

import re
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest
import skrf

from sitegen.model.base import RESERVED

SPEAKING = re.compile(r"[a-z]{3,}")
DIGEST = re.compile(r"[0-9a-f]{12,}")
SAFE = re.compile(r"[A-Za-z0-9._+~-]+")
LONGEST_PATH = 160
"""Windows takes 260 characters of a whole path by default (MAX_PATH, quoted from memory)."""


@pytest.fixture(params=["demo_publication", "station_publication"])
def root(request: pytest.FixtureRequest) -> Path:
    """The publication of each demo."""
    found: Path = request.getfixturevalue(request.param)
    return found


def data_files(root: Path) -> list[Path]:
    return [path for path in sorted((root / "data").rglob("*")) if path.is_file()]


def test_every_file_opens(root: Path) -> None:
    """Tables with pandas and pyarrow, both forms with the same rows and columns; sweeps with
    scikit-rf."""
    seen: dict[str, int] = {}
    for path in data_files(root):
        seen[path.suffix] = seen.get(path.suffix, 0) + 1
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            assert table.num_columns and len(pd.read_parquet(path)) == table.num_rows
        elif path.suffix == ".csv":
            frame = pd.read_csv(path, low_memory=False)
            schema = pq.read_schema(path.with_suffix(".parquet"))
            assert list(frame.columns) == schema.names, path
            assert len(frame) == pq.read_metadata(path.with_suffix(".parquet")).num_rows, path
        elif path.suffix in {".s1p", ".s2p"}:
            network = skrf.Network(str(path))
            ports = int(path.suffix[2])
            assert network.s.shape[1:] == (ports, ports) and network.f.size > 1, path
        else:
            assert path.name == "index.html", path
    assert seen[".parquet"] > 5 and seen[".csv"] > 5


def test_the_demo_with_wafers_has_sweeps_of_one_and_of_two_ports(demo_publication: Path) -> None:
    sweeps = demo_publication / "data" / "sweeps"
    for wafer in ("LK7-1", "LK7-2", "LK7-3"):
        devices = {
            path.name.split("~")[2] for path in (sweeps / wafer).glob("most-typical~*.s[12]p")
        }
        table = pd.read_parquet(demo_publication / "data" / f"sweeps-{wafer}.parquet")
        stands = table[table["standing"] != "without standing"]
        assert devices == set(stands["device"].unique())
    assert list(sweeps.rglob("most-typical~*.s1p"))


def test_names_speak_and_are_safe_everywhere(root: Path) -> None:
    """No digests and no bare numbers; nothing that Windows refuses or takes for the same."""
    names = [path.relative_to(root) for path in data_files(root)]
    lower = [str(name).lower() for name in names]
    assert len(set(lower)) == len(lower)
    for name in names:
        assert len(str(name)) <= LONGEST_PATH, name
        for part in name.parts:
            assert SAFE.fullmatch(part) and not part.endswith((".", " ")), name
            assert part.partition(".")[0].upper() not in RESERVED, name
        assert SPEAKING.search(name.stem) and not DIGEST.search(name.stem), name
