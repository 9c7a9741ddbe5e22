"""A built wheel, installed elsewhere, builds the demo from another folder.

Nothing is downloaded twice: what the wheel declares to need is linked from this environment, each
in a version that it allows, and nothing else is. A need that is not declared is thus missed here.
"""

import subprocess
import sys
import venv
from importlib.metadata import Distribution, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent


def linked_needs(site: Path) -> set[str]:
    """Link what the wheel installed in `site` needs, and what that needs in turn; all names."""
    (metadata,) = site.glob("wafer_sitegen-*.dist-info")
    waiting, seen = list(Distribution.at(metadata).requires or ()), set[str]()
    while waiting:
        need = Requirement(waiting.pop())
        name = canonicalize_name(need.name)
        if name in seen or (need.marker and not need.marker.evaluate({"extra": ""})):
            continue
        found = distribution(name)
        assert need.specifier.contains(found.version), f"{need}, and {found.version} is installed"
        tops = {file.parts[0] for file in found.files or ()} - {"..", "__pycache__"}
        for top in tops:
            (site / top).symlink_to(str(found.locate_file(top)))
        seen.add(name)
        waiting += found.requires or ()
    return seen


@pytest.mark.wheel
@pytest.mark.long
def test_an_installed_wheel_builds_the_demo_from_another_folder(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", tmp_path / "dist", ROOT],
        check=True,
        capture_output=True,
    )
    (wheel,) = (tmp_path / "dist").glob("*.whl")
    venv.create(tmp_path / "venv")
    python = tmp_path / "venv" / "bin" / "python"
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", wheel],
        check=True,
        capture_output=True,
    )
    (site,) = (tmp_path / "venv").glob("lib/python*/site-packages")
    assert "numpy" in linked_needs(site)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    told = subprocess.run(
        [python, "-c", "import sitegen, sys; print(sitegen.__file__, sys.path)"],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert told.startswith(str(site)) and str(ROOT) not in told
    done = subprocess.run(
        [python.with_name("sitegen"), "build", ROOT / "campaigns_demo" / "lark-7", "--out", "here"],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (elsewhere / "here" / "index.html").is_file()
    assert (elsewhere / "here" / "static" / "style.css").is_file()
