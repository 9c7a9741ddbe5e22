"""A campaign without wafers: a station that is accepted and followed has a publication too."""

from pathlib import Path

from sitegen.build import build
from sitegen.checking import check
from tests.campaigns import acceptance_of_tiny
from tests.conftest import quiet
from tests.read.test_acceptances import without_wafers


def test_it_is_checked_and_published(tiny: Path, tmp_path: Path) -> None:
    acceptance_of_tiny(tiny)
    without_wafers(tiny)
    assert check(tiny, quiet).faults == ()
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert report.faults == () and report.index is not None
    assert "no wafer" in report.first
    page = tmp_path / "out" / "acceptances" / "ACC1" / "index.html"
    assert "accepted" in page.read_text("utf-8")
    assert (tmp_path / "out" / "verifications" / "VER2" / "index.html").is_file()
