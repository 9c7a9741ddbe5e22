"""Mistakes that any reader would want to be told of, planted in a simulated campaign."""

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sitegen.compute.events import Events, solve_events
from sitegen.joining import join
from sitegen.problems import Finding
from sitegen.publish.campaign_folder import write_campaign
from sitegen.read import read_campaign
from sitegen.simulate import simulate_campaign
from sitegen.wafer_jobs import Computed
from sitegen.wafer_listing import compute_jobs, lent_beforehand

TURNED = {"map looks turned", "wafer identity in doubt"}
KINDS = {*TURNED, "wafers with the same values", "suspicious sweep"}
Suspicions = Callable[[], list[Finding]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The campaign as it was simulated, written once."""
    place = tmp_path_factory.mktemp("suspicions") / "made"
    return write_campaign(simulate_campaign(wafers=3, dies=60, seed=11), place)


@pytest.fixture(scope="module")
def events(made: Path) -> Events:
    """Its calibrations, solved once: what is planted here touches wafers only."""
    campaign, _ = read_campaign(made)
    return solve_events(campaign)


@pytest.fixture(scope="module")
def computed() -> dict[str, Computed]:
    """Wafers that were computed already, by the key of all that their results depend on."""
    return {}


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy of it to change."""
    return shutil.copytree(made, tmp_path / "made")


@pytest.fixture
def suspicions(folder: Path, events: Events, computed: dict[str, Computed]) -> Suspicions:
    """What a build of the folder finds, without its pages and drawings."""

    def found() -> list[Finding]:
        work, root = folder.parent / "work", folder.parent / "out"
        work.mkdir()
        campaign, faults = read_campaign(folder)
        lent = lent_beforehand(campaign, events, work, None)
        listed = compute_jobs(campaign, events, work, lent)
        for job in listed:
            if job.key not in computed:
                computed[job.key] = job.function(job.argument)
        mine = tuple(computed[job.key] for job in listed)
        results = join(campaign, events, mine, lent, (*faults, *events.faults()), root)
        assert [fault.sentence() for fault in results.faults] == []
        return [finding for finding in results.findings if finding.kind in KINDS]

    return found


def wafers(folder: Path) -> list[Path]:
    return sorted((folder / "wafers").iterdir())


def rewrite(path: Path, change: Callable[[pd.DataFrame], pd.DataFrame]) -> None:
    table = pq.read_table(path)
    frame = change(table.to_pandas())
    pq.write_table(pa.Table.from_pandas(frame, schema=table.schema, preserve_index=False), path)


def test_an_ordinary_campaign_raises_no_suspicion(suspicions: Suspicions) -> None:
    assert suspicions() == []


def test_a_table_copied_from_another_wafer_is_noticed(folder: Path, suspicions: Suspicions) -> None:
    first, second = wafers(folder)[:2]
    values = pq.read_table(first / "values.parquet").to_pandas()["value"].to_numpy()

    def copied(frame: pd.DataFrame) -> pd.DataFrame:
        return frame.assign(value=values[: len(frame)])

    rewrite(second / "values.parquet", copied)
    found = suspicions()
    assert [finding.kind for finding in found] == ["wafers with the same values"]
    assert first.name in found[0].text and second.name in found[0].text


def test_sweeps_of_lifted_probes_are_noticed(folder: Path, suspicions: Suspicions) -> None:
    """Corrected sweeps replaced by an open: 5 fF at each port, nothing between them."""
    path = next(wafers(folder)[0].glob("sweeps-corrected.parquet"))

    def lifted(frame: pd.DataFrame) -> pd.DataFrame:
        first = frame[["die_x", "die_y"]].iloc[0]
        mine = ((frame["die_x"] == first["die_x"]) & (frame["die_y"] == first["die_y"])).to_numpy()
        y = 2j * np.pi * frame["frequency_hz"].to_numpy() * 5e-15 * 50.0
        gamma = (1 - y) / (1 + y)
        for name in ("s11", "s22", "s21", "s12"):
            s = gamma if name in {"s11", "s22"} else np.zeros_like(gamma)
            frame.loc[mine, f"{name}_re"] = s.real[mine].astype(np.float32)
            frame.loc[mine, f"{name}_im"] = s.imag[mine].astype(np.float32)
        return frame

    rewrite(path, lifted)
    found = suspicions()
    assert [finding.kind for finding in found] == ["suspicious sweep"]
    assert "looks like an open" in found[0].text


def patterned(frame: pd.DataFrame) -> pd.DataFrame:
    """A lopsided pattern that all wafers share, of twice each parameter's spread."""
    x = frame["die_x"] / frame["die_x"].abs().max()
    y = frame["die_y"] / frame["die_y"].abs().max()
    spread = frame.groupby("parameter")["value"].transform("std")
    return frame.assign(value=frame["value"] + 2.0 * spread * (x + 0.5 * y))


@pytest.mark.parametrize("turned", [False, True])
def test_a_wafer_that_lay_turned_on_the_chuck_is_noticed(
    folder: Path, suspicions: Suspicions, turned: bool
) -> None:
    """Every value, curve and sweep of one wafer goes to the die opposite its own.

    The map that was taken of it before stays as it was.
    """
    for wafer in wafers(folder):
        rewrite(wafer / "values.parquet", patterned)
    last = wafers(folder)[2]
    sums = pq.read_table(last / "values.parquet").to_pandas()[["die_x", "die_y"]]
    sums = sums.agg(["min", "max"]).sum()

    def opposite(frame: pd.DataFrame) -> pd.DataFrame:
        return frame.assign(
            die_x=(sums["die_x"] - frame["die_x"]).astype(frame["die_x"].dtype),
            die_y=(sums["die_y"] - frame["die_y"]).astype(frame["die_y"].dtype),
        )

    for path in last.glob("*.parquet") if turned else ():
        if path.name != "in-line-map.parquet":
            rewrite(path, opposite)
    found = {finding.subject for finding in suspicions() if finding.kind in TURNED}
    assert found == ({f"wafer {last.name}"} if turned else set())
