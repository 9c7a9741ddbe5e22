"""Ten mistakes at once, published; folders without rights; and campaigns that have none of them."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.build import build
from sitegen.checking import check
from sitegen.cli import main
from sitegen.problems import Fault, grouped
from sitegen.publish.campaign_folder import write_campaign
from sitegen.simulate import simulate_campaign
from tests.campaigns import sweeps_table, tiny_campaign, values_table
from tests.campaigns_broken.cases import CASES, Case
from tests.campaigns_broken.laboratory_cases import LABORATORY_CASES, of_parameter
from tests.campaigns_broken.test_cases import read_all
from tests.conftest import quiet
from tests.rights import as_nobody

"""A user without rights by convention (common practice of Unix systems)."""
TEN = (
    "missing file",
    "stray file",
    "note that is not UTF-8",
    "missing reference of a verification",
    "column that is not known",
    "millivolts for volts",
    "parameter with a zero for a letter",
    "calibration of a value with another dash",
    "NaN in a sweep",
    "one sweep under two dies",
)
"""Of the rest of the campaign they leave something: currents, frequencies, six inductors."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tiny_campaign(tmp_path)


def ten_of_laboratories(folder: Path) -> list[Case]:
    by_name = {case.name: case for case in (*CASES, *LABORATORY_CASES)}
    chosen = [by_name[name] for name in TEN]
    for case in chosen:
        case.broken_by(folder)
    return chosen


def test_ten_mistakes_are_told_grouped_and_the_rest_is_published(folder: Path) -> None:
    chosen = ten_of_laboratories(folder)
    out = folder.parent / "out"
    report = build(folder, out, quiet, workers=1)
    for case in chosen:
        assert any(
            fault.file == case.file and case.found in fault.found for fault in report.faults
        ), case.name
    assert check(folder, quiet).faults == report.faults
    assert sum(group.count for group in grouped(report.faults)) == len(report.faults)
    values = pq.read_table(out / "data/results.parquet").to_pandas()
    measured = values[values["value"].notna() & (values["parameter"] == "FT")]
    assert len(measured) == 9  # what is healthy has its numbers
    assert values[values["parameter"] == "VTH"]["value"].isna().all()
    assert values[values["parameter"] == "L"]["value"].isna().all()  # its calibration has no short


def test_the_pages_say_what_is_missing(folder: Path) -> None:
    ten_of_laboratories(folder)
    out = folder.parent / "out"
    report = build(folder, out, quiet, workers=1)

    def page(address: str) -> str:
        return (out / address / "index.html").read_text("utf-8")

    assert "could not be solved" in page("calibrations/CAL1")
    assert "millivolts (mV)" in page("wafers/W1")
    assert "No value was measured" in page("parameters/VTH")
    assert "look like millivolts (mV)" in page("parameters/VTH")  # and why
    problems = page("problems")
    for number, group in enumerate(grouped(report.faults), 1):
        assert f'<h3 id="faults-{number}">{group.cause}</h3>' in problems
        for fault in group.faults:
            assert fault.file in problems


def many_names(folder: Path) -> None:
    """Eleven notes that are not UTF-8, and one value table in millivolts."""
    for number in range(11):
        (folder / f"notes/n{number:02d}.md").write_bytes(b"\xff\n")
    of_parameter("VTH", 1e3)(folder)


def test_check_tells_groups_with_counts_and_three_faults_of_each(folder: Path) -> None:
    many_names(folder)
    done = CliRunner().invoke(main, ["check", str(folder)], catch_exceptions=False)
    assert done.exit_code == 1
    told = done.output
    assert "Faults of the input: 12 in 2 groups" in told
    assert "Files that are cut off or of another kind: 11" in told
    assert "Numbers in another unit than stated: 1" in told
    assert told.count("notes/n") == 3 and "and 8 more like it: --all shows them" in told
    done = CliRunner().invoke(main, ["check", str(folder), "--all"], catch_exceptions=False)
    assert done.output.count("notes/n") == 11 and "more like it:" not in done.output


def test_build_points_to_the_page_with_the_rest(folder: Path) -> None:
    many_names(folder)
    out = str(folder.parent / "out")
    arguments = ["build", str(folder), "--out", out, "--workers", "1"]
    done = CliRunner().invoke(main, arguments, catch_exceptions=False)
    assert done.exit_code == 1
    assert "and 8 more like it: see the faults page" in done.output


# rights


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """The campaign where every user may read it."""
    with tempfile.TemporaryDirectory() as top:
        Path(top).chmod(0o755)
        campaign = tiny_campaign(Path(top))
        yield campaign
        for path in (campaign, *campaign.rglob("*")):
            path.chmod(0o755)


def faults_without_rights(folder: Path, closed: str, mode: int) -> list[Fault]:
    (folder / closed).chmod(mode)
    try:
        with as_nobody():
            return read_all(folder)[2]
    finally:
        (folder / closed).chmod(0o755)


@pytest.mark.parametrize("mode", [0o000, 0o444, 0o111], ids=["none", "list only", "enter only"])
@pytest.mark.parametrize(
    "closed", ["wafers", "wafers/W1", "calibrations", "calibrations/CAL1", "verifications", "notes"]
)
def test_a_folder_without_rights_is_told_and_the_rest_read(
    closed: str, mode: int, open_folder: Path
) -> None:
    faults = faults_without_rights(open_folder, closed, mode)
    if mode != 0o111:  # a folder that may be entered serves the files that records name
        assert faults, "nothing was told"
    about = [fault for fault in faults if fault.file.startswith(closed)]
    assert about or not faults
    for fault in faults:
        assert fault.sentence().endswith(".") and "\n" not in fault.sentence()
        assert not fault.fatal


def test_a_closed_folder_that_no_record_names_is_told(open_folder: Path) -> None:
    (open_folder / "wafers/W1/old").mkdir()
    (fault,) = faults_without_rights(open_folder, "wafers/W1/old", 0o000)
    assert fault.file == "wafers/W1/old"
    assert "a folder that cannot be read" in fault.found
    assert "Give the right to read it" in fault.remedy


def test_a_campaign_without_rights_is_none(open_folder: Path) -> None:
    (fault,) = faults_without_rights(open_folder, ".", 0o000)
    assert fault.fatal and "cannot be read" in fault.found


# healthy campaigns


@pytest.mark.parametrize(
    ("seed", "wafers", "dies"), [(1, 1, 60), (2, 2, 25), (3, 1, 9), (4, 1, 1), (5, 1, 3)]
)
def test_simulated_campaigns_have_no_fault(
    seed: int, wafers: int, dies: int, tmp_path: Path
) -> None:
    made = write_campaign(simulate_campaign(wafers=wafers, dies=dies, seed=seed), tmp_path / "made")
    assert [fault.sentence() for fault in check(made, quiet).faults] == []


@pytest.fixture(scope="module")
def plausible(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tiny_campaign(tmp_path_factory.mktemp("plausible"))


def plausible_values(random: np.random.Generator) -> pa.Table:
    """Measured values of some dies: any process, noise, dead devices, drops on the way."""
    table = values_table()
    dies = np.arange(table.num_rows) // 3
    table = table.filter(pa.array(random.random(9)[dies] > random.uniform(0.0, 0.7)))
    n = table.num_rows
    value = np.asarray(table.column("value").to_numpy())
    value = (
        value * random.uniform(0.4, 2.5) * (1 + random.uniform(0.0, 0.3) * random.normal(size=n))
    )
    dead = random.random(n) < random.uniform(0.0, 0.08)
    value = np.where(dead, value * 10.0 ** random.integers(-6, 7, n), value)
    vds = 1.2 * (1 - random.uniform(0.0, 0.09)) + random.normal(0.0, 1e-3, n)
    changes = {
        "value": value,
        "temperature_c": 25.0 + random.normal(0.0, 1.0, n),
        "bias_vds_v": vds,
        "bias_vgs_v": 0.6 + random.normal(0.0, 1e-3, n),
    }
    for name, numbers in changes.items():
        table = table.set_column(table.column_names.index(name), name, pa.array(numbers))
    return table


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_plausible_campaigns_have_no_fault(plausible: Path, seed: int) -> None:
    random = np.random.default_rng(seed)
    pq.write_table(plausible_values(random), plausible / "wafers/W1/values.parquet")
    table = sweeps_table()
    for name in table.column_names:
        if name.endswith(("_re", "_im")):
            noisy = np.asarray(table.column(name).to_numpy()) + random.normal(
                0, 1e-4, table.num_rows
            )
            noisy = noisy.astype(np.float32)
            table = table.set_column(table.column_names.index(name), name, pa.array(noisy))
    pq.write_table(table, plausible / "wafers/W1/sweeps.parquet")
    _, _, faults = read_all(plausible)
    assert [fault.sentence() for fault in faults] == []


@pytest.mark.parametrize("demo", ["lark-7", "teasel-4"])
def test_the_demos_have_no_fault(demo: str) -> None:
    folder = Path(__file__).parent.parent.parent / "campaigns_demo" / demo
    assert [fault.sentence() for fault in check(folder, quiet).faults] == []
