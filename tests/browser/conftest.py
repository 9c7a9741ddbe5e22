"""One Chromium for all browser tests, and the demos' publications over file:// and http://."""

import functools
import http.server
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.conftest import chromium

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAFERS = {
    "campaign": "index.html",
    "wafer": "wafers/LK7-2/index.html",
    "die": "wafers/LK7-2/x1_y-2.html",
    "parameter": "parameters/VTH/index.html",
    "calibration": "calibrations/CAL-1/index.html",
    "verification": "verifications/VER-5/index.html",
    "station": "stations/PS-A/index.html",
    "device": "devices/hemt/index.html",
    "problems": "problems/index.html",
    "method": "method/index.html",
    "reference": "reference/index.html",
    "data": "data/index.html",
    "notes": "notes/index.html",
}
STATION = {
    "campaign without wafers": "index.html",
    "acceptance": "acceptances/ACC-1/index.html",
    "verification of many structures": "verifications/VER-01/index.html",
    "station followed": "stations/PS-T/index.html",
}
KINDS = {
    **{kind: f"demo/{address}" for kind, address in WAFERS.items()},
    **{kind: f"station-demo/{address}" for kind, address in STATION.items()},
}
"""A page of each kind, by its address among the publications."""


@dataclass
class Watched:
    """A page that keeps what its console said and what it asked for."""

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 1366, "height": 900})
    yield context
    context.close()


@pytest.fixture
def watched(context: BrowserContext) -> Watched:
    return watch(context)


def watch(context: BrowserContext) -> Watched:
    """A new page that is watched."""
    watched = Watched(context.new_page())
    watched.page.on("console", lambda message: watched.said.append(message.text))
    watched.page.on("pageerror", lambda error: watched.said.append(str(error)))
    watched.page.on("request", lambda request: watched.asked.append(request.url))
    watched.page.on("requestfailed", lambda request: watched.said.append(f"failed: {request.url}"))
    return watched


class _Silent(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="session")
def publications(demo_publication: Path, station_publication: Path) -> Path:
    """The folder in which both demos' publications stand."""
    assert (demo_publication.name, station_publication.name) == ("demo", "station-demo")
    return demo_publication.parent


@pytest.fixture(scope="session")
def served(publications: Path) -> Iterator[str]:
    """Address of the publications on a server of this machine."""
    handler = functools.partial(_Silent, directory=str(publications))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


@pytest.fixture(params=["file", "http"])
def origin(request: pytest.FixtureRequest, publications: Path) -> str:
    """Where the publications are opened from: a folder, then a server."""
    if request.param == "file":
        return publications.as_uri() + "/"
    return str(request.getfixturevalue("served"))
