"""Fixtures for all tests: the tiny campaign, and the demos' publications, built once a run."""

import os
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from sitegen.build import build
from tests.campaigns import tiny_campaign

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "campaigns_demo" / "lark-7"
STATION_DEMO = ROOT / "campaigns_demo" / "teasel-4"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long tests first: one that began last would keep one process busy and the others idle."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """A process that is done takes work from another, unless the command line says otherwise."""
    from xdist.scheduler import WorkStealingScheduling  # type: ignore[import-untyped]

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None


def quiet(stage: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


def need(what: str, available: bool, how: str) -> None:
    """Skip without what a fresh machine lacks; fail instead where every test must run."""
    if available:
        return
    if os.environ.get("SITEGEN_EVERY_TEST"):
        pytest.fail(f"{what} is missing, and every test must run here: {how}")
    pytest.skip(f"needs {what}: {how}")


def chromium() -> str:
    """The browser's path, or a skip that says how to get it."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    need("Chromium", bool(found), "install the Debian package 'chromium'")
    return found


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    """A tiny whole campaign in a folder of its own."""
    return tiny_campaign(tmp_path / "tiny")


def _built_once(campaign: Path, name: str, factory: pytest.TempPathFactory) -> Path:
    """A campaign's publication, built once for all processes of a test run.

    All of them stand beside each other in one folder.
    """
    shared = factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        shared = shared.parent
    out, lock = shared / name, shared / f"{name}-building"
    try:
        lock.mkdir()
    except FileExistsError:
        while not out.is_dir():
            time.sleep(0.2)
            assert not (lock / "failed").exists(), f"{name} was not built, see the other process"
        return out
    try:
        build(campaign, out, quiet)
    except BaseException:
        (lock / "failed").touch()
        raise
    return out


@pytest.fixture(scope="session")
def demo_publication(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The publication of the demo with wafers."""
    return _built_once(DEMO, "demo", tmp_path_factory)


@pytest.fixture(scope="session")
def station_publication(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The publication of the demo of a station without wafers."""
    return _built_once(STATION_DEMO, "station-demo", tmp_path_factory)
