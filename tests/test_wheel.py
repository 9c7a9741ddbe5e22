"""A built wheel, installed elsewhere, builds the demo from another folder."""

import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.wheel
def test_an_installed_wheel_builds_the_demo_from_another_folder(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", tmp_path / "dist", ROOT],
        check=True,
        capture_output=True,
    )
    (wheel,) = (tmp_path / "dist").glob("*.whl")
    venv.create(tmp_path / "venv", with_pip=True)
    python = tmp_path / "venv" / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "--quiet", wheel], check=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
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
