"""Whatever bytes stand in a campaign's files: faults are told, nothing else is raised."""

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitegen.problems import Fault, NotACampaign
from sitegen.read import read_campaign, read_wafer_tables
from tests.device_campaign import device_campaign

FILES = (
    "campaign.toml",
    "calibrations/CAL1/record.toml",
    "calibrations/CAL1/short.s2p",
    "verifications/VER1/record.toml",
    "verifications/VER1/line.s2p",
    "wafers/W1/wafer.toml",
    "wafers/W1/values.parquet",
    "wafers/W1/sweeps.parquet",
    "wafers/W1/curves.parquet",
    "wafers/W1/touchdowns.parquet",
    "wafers/W1/earlier.parquet",
    "notes/purpose.md",
)
QUICK = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return device_campaign(tmp_path_factory.mktemp("fuzzed"))


def faults_of(folder: Path) -> tuple[Fault, ...]:
    """Every fault of a campaign and its tables; raises nothing for a fault of the input."""
    try:
        campaign, faults = read_campaign(folder)
    except NotACampaign as refusal:
        assert any(fault.fatal for fault in refusal.faults)
        return refusal.faults
    for wafer in campaign.wafers:
        faults += read_wafer_tables(folder, wafer, campaign.record, frozenset({"CAL1"}))[1]
    return faults


def check_with(folder: Path, file: str, content: bytes) -> None:
    """Read the campaign with other bytes in one file, then put the old ones back."""
    path = folder / file
    kept = path.read_bytes()
    try:
        path.write_bytes(content)
        for fault in faults_of(folder):
            sentence = fault.sentence()
            assert sentence.encode("utf-8") and "\n" not in sentence
            assert "Input should" not in sentence and "Error" not in sentence
            assert fault.found and fault.expected and fault.remedy.endswith(".")
    finally:
        path.write_bytes(kept)


@pytest.mark.parametrize("file", FILES)
@QUICK
@given(content=st.binary(max_size=200))
def test_any_bytes(folder: Path, file: str, content: bytes) -> None:
    check_with(folder, file, content)


@pytest.mark.parametrize("file", FILES)
@QUICK
@given(data=st.data())
def test_damaged_files(folder: Path, file: str, data: st.DataObject) -> None:
    content = (folder / file).read_bytes()
    start = data.draw(st.integers(0, len(content)))
    length = data.draw(st.integers(0, 40))
    patch = data.draw(st.binary(max_size=40))
    check_with(folder, file, content[:start] + patch + content[start + length :])


@pytest.mark.parametrize("file", FILES)
@QUICK
@given(data=st.data())
def test_truncated_files(folder: Path, file: str, data: st.DataObject) -> None:
    content = (folder / file).read_bytes()
    check_with(folder, file, content[: data.draw(st.integers(0, len(content)))])


TOML_VALUES = st.sampled_from(
    [
        "1", "-1", "0", "1e400", "nan", "inf", '""', '"x"', "true", "[]", "{}", "[[]]", "[1, 2]",
        '["P1"]', "2026-03-02", "2026-03-02T10:00:00", "0001-01-01T00:00:00+14:00", "9" * 400,
        "9999-12-31T23:59:59-14:00", '"../../x"', '"/etc/passwd"', '"."', "{ a = 1 }", "07:00:00",
        "1.5", '"\\u0000"', '"raw"', '"layout"', "[[1, 2], [3, 4]]",
    ]
)  # fmt: skip


@pytest.mark.parametrize("file", [file for file in FILES if file.endswith(".toml")])
@settings(QUICK, max_examples=40)
@given(data=st.data())
def test_any_value_of_any_key(folder: Path, file: str, data: st.DataObject) -> None:
    lines = (folder / file).read_text(encoding="utf-8").splitlines()
    keys = [number for number, line in enumerate(lines) if " = " in line]
    number = data.draw(st.sampled_from(keys))
    key = lines[number].partition(" = ")[0]
    lines[number] = f"{key} = {data.draw(TOML_VALUES)}"
    check_with(folder, file, "\n".join(lines).encode())


TOUCHSTONE_LINES = st.lists(
    st.sampled_from(
        [
            "# Hz S RI R 50", "# GHz S MA", "#", "# R", "# Hz Z RI R 50 75", "[Version] 2.0",
            "[Number of Ports] 2", "[Number of Ports] x", "[Two-Port Data Order] 12_21",
            "[Number of Frequencies] 1", "[Reference]", "[Reference] 50 50", "[End]", "[Nonsense",
            "[Network Data]", "[Matrix Format] Lower", "[Begin Information]", "[End Information]",
            "[Noise Data]", "1 0 0 0 0 0 0 0 0", "2 0 0 0 0 0 0 0 0", "1 0 0 0 0", "1 0 0", "!",
            "! Gamma 1 2", "! Port Impedance", "1e999 0 0 0 0 0 0 0 0", "1,5 0 0", "٣ 0 0", "\x1c",
        ]
    ),
    max_size=12,
)  # fmt: skip


@settings(QUICK, max_examples=150)
@given(lines=TOUCHSTONE_LINES)
def test_any_order_of_touchstone_lines(folder: Path, lines: list[str]) -> None:
    check_with(folder, "verifications/VER1/line.s2p", "\n".join(lines).encode())


def test_things_in_place_of_files(tmp_path: Path) -> None:
    whole = device_campaign(tmp_path)
    for number, file in enumerate(FILES):
        for kind in ("folder", "link", "loop", "gone", "empty"):
            folder = shutil.copytree(whole, tmp_path / f"{number}-{kind}")
            path = folder / file
            path.unlink()
            if kind == "folder":
                path.mkdir()
            elif kind == "link":
                path.symlink_to("/dev/null")
            elif kind == "loop":
                path.symlink_to(path.name)
            elif kind == "empty":
                path.touch()
            faults = faults_of(folder)
            assert faults or file.startswith("notes/"), (file, kind)


def test_things_in_place_of_folders(tmp_path: Path) -> None:
    whole = device_campaign(tmp_path)
    for name in ("calibrations", "verifications", "wafers", "notes"):
        folder = shutil.copytree(whole, tmp_path / name)
        shutil.rmtree(folder / name)
        (folder / name).write_text("no folder")
        told = [fault for fault in faults_of(folder) if fault.file == name]
        assert len(told) == 1, name
    for path in (tmp_path / "nowhere", whole / "campaign.toml", tmp_path / "a\0b"):
        with pytest.raises(NotACampaign):
            read_campaign(path)
