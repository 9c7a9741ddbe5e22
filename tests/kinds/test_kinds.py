"""Each kind of campaign is published whole, says what it is about, and shows nothing empty."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pandas as pd
import pytest

from sitegen.build import build
from sitegen.model.results import NOT_HELD
from tests.conftest import quiet
from tests.kinds import builders, stress
from tests.kinds.emptiness import faults_of, leads_nowhere, read, words_of

RF_WORDS = re.compile(
    r"(?i)calibrat|verif|\bRF\b|sweep|analyser|S-param|embed|dummy|dummies|substrate|probe tip"
)
FOOTER = "This record is not an accredited calibration certificate."
"""Stands on every page, whatever was measured."""
FIXED = ("method/index.html", "reference/index.html", "data/index.html")
"""Pages that explain everything that the program can do, and every column of its tables."""


@dataclass(frozen=True)
class Kind:
    """A kind of campaign: how it is built and what its pages must, and must not, say."""

    make: Callable[[Path], Path]
    says: Mapping[str, tuple[str, ...]]
    """By page: phrases that stand on it."""
    absent: re.Pattern[str] | None = None
    """Words that stand on no page but the fixed ones."""


CORRECTED = (
    "No value has standing: the sweeps were corrected before they came into the record, with a"
    " calibration that the record does not hold."
)
KINDS = {
    "dc only": Kind(
        builders.dc_only,
        {
            "index.html": ("All 18 values stand on valid evidence.", "threshold voltage"),
            "stations/ST1/index.html": ("holds one wafer", "Open-circuit floors"),
            "devices/FET/index.html": ("threshold voltage",),
        },
        RF_WORDS,
    ),
    "corrected sweeps": Kind(
        builders.corrected_sweeps,
        {
            "index.html": (CORRECTED,),
            "wafers/W1/index.html": (CORRECTED, "Corrected sweeps of IND", "(0, 0)"),
            "wafers/W2/x0_y0.html": ("1.000 nH", NOT_HELD),
            "parameters/L/index.html": ("No value has standing.", NOT_HELD),
        },
        re.compile(r"verif|holds no calibration|calibration –|(?i:followed over time)"),
    ),
    "one die": Kind(
        builders.one_die,
        {
            "index.html": ("the one planned die was measured", "All 4 values stand"),
            "wafers/W1/index.html": ("The one die whose every value could be judged conforms.",),
            "parameters/VTH/index.html": ("One value with standing, 410.0 mV.",),
        },
    ),
    "several stations": Kind(
        builders.several_stations,
        {
            "index.html": ("probe station 1 (simulated)", "probe station 2 (simulated)"),
            "stations/ST1/index.html": ("one calibration, one verification and one wafer", "W1"),
            "stations/ST2/index.html": ("one calibration, one verification and one wafer", "W2"),
            "calibrations/CAL2/index.html": ("VNA2",),
        },
    ),
    "several temperatures": Kind(
        builders.several_temperatures,
        {
            "parameters/VTH/index.html": (
                "Over temperature",
                "sat-0 −40 9 415.3 mV",
                "sat-1 25 9 410.0 mV",
                "sat-2 125 9 401.8 mV",
                "−8.20 −0.0820 mV",
            ),
            "wafers/W1/index.html": ("−40", "125"),
        },
        RF_WORDS,
    ),
    "before and after a stress": Kind(
        stress.stressed,
        {
            "index.html": ("Before and after a stress", "168 h at 125 °C"),
            "wafers/W1-168h/index.html": ("168 h at 125 °C",),
            "parameters/VTH/index.html": ("168 h at 125 °C",),
        },
        RF_WORDS,
    ),
    "lots with splits": Kind(
        builders.lots_with_splits,
        {
            "index.html": (
                "usual annealed for 30 s LOT-A A1, A2, A3",
                "long annealed for 60 s LOT-B B1, B2, B3",
                "usual − long −4.15 mV",
            ),
            "parameters/VTH/index.html": ("usual − long", "long: annealed for 60 s"),
        },
        RF_WORDS,
    ),
}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The publication of each kind, built when it is first asked for."""

    @cache
    def publication(name: str) -> Path:
        folder = tmp_path_factory.mktemp(name.replace(" ", "-"))
        report = build(KINDS[name].make(folder), folder / "out", quiet, workers=1)
        assert report.faults == ()
        return folder / "out"

    return publication


def pages_of(root: Path) -> Iterator[Path]:
    return (page for page in sorted(root.rglob("*.html")))


def empty_parts(root: Path) -> list[str]:
    return [
        f"{page.relative_to(root)}: {fault}"
        for page in pages_of(root)
        for fault in (*faults_of(page), *leads_nowhere(page))
    ]


def told(page: Path) -> str:
    """The page's words, thin spaces as spaces, without what stands on every page's foot."""
    return words_of(page).replace("\u202f", " ").replace("\xa0", " ").replace(FOOTER, "")


@pytest.mark.parametrize("name", KINDS)
def test_nothing_on_any_page_is_empty(name: str, built: Callable[[str], Path]) -> None:
    root = built(name)
    assert empty_parts(root) == []
    assert len(list(pages_of(root))) >= 15


@pytest.mark.parametrize("name", KINDS)
def test_what_it_is_about_is_said(name: str, built: Callable[[str], Path]) -> None:
    for address, phrases in KINDS[name].says.items():
        text = told(built(name) / address)
        for phrase in phrases:
            assert re.sub(r"\s+([;,.:])", r"\1", phrase) in re.sub(r"\s+([;,.:])", r"\1", text), (
                address
            )


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if kind.absent])
def test_of_what_is_absent_no_word_is_said(name: str, built: Callable[[str], Path]) -> None:
    root, absent = built(name), KINDS[name].absent
    assert absent is not None
    for page in pages_of(root):
        if str(page.relative_to(root)) not in FIXED:
            found = absent.search(told(page))
            assert found is None, (page.relative_to(root), found)


@pytest.mark.parametrize("name", KINDS)
def test_every_table_that_is_offered_has_rows(name: str, built: Callable[[str], Path]) -> None:
    data = built(name) / "data"
    rows = {path.stem: len(pd.read_parquet(path)) for path in data.glob("*.parquet")}
    assert {stem for stem, count in rows.items() if not count} <= {"faults", "findings"}
    listed = told(data / "index.html")
    assert all(f"{stem}.parquet" in listed for stem in rows)


def test_what_came_corrected_is_one_finding(built: Callable[[str], Path]) -> None:
    findings = pd.read_parquet(built("corrected sweeps") / "data" / "findings.parquet")
    mine = findings[findings["text"].str.contains("corrected before")]
    assert len(mine) == 1 and "18 values on 2 wafers" in mine["text"].iloc[0]
    assert not findings["text"].str.contains("missing").any()
    results = pd.read_parquet(built("corrected sweeps") / "data" / "results.parquet")
    assert set(results["standing_reasons"]) == {NOT_HELD}
    assert results["value"].notna().all()


def test_a_station_that_waits_for_its_first_wafer_says_so(tmp_path: Path) -> None:
    """Planned, and nothing measured: the page does not claim that a calibration was in force."""
    campaign = builders.nothing_measured(tmp_path)
    build(campaign, tmp_path / "out", quiet, workers=1)
    text = told(tmp_path / "out" / "stations" / "ST1" / "index.html")
    assert "Nothing is recorded on probe station 1" in text and "in force" not in text
    assert empty_parts(tmp_path / "out") == []


def test_the_demo_of_a_characterisation_shows_nothing_empty(demo_publication: Path) -> None:
    assert empty_parts(demo_publication) == []


def test_the_demo_of_an_acceptance_shows_nothing_empty(station_publication: Path) -> None:
    assert empty_parts(station_publication) == []
    text = told(station_publication / "index.html")
    assert "is accepted" in text and "no wafer is planned or measured" in text
    about = (
        station_publication / "index.html",
        *(station_publication / "stations").rglob("*.html"),
    )
    for page in about:
        assert not re.search(r"(?i)\bdies?\b|\byield|floor is stored", told(page)), page


def test_what_is_empty_is_seen(tmp_path: Path) -> None:
    """The walk itself: each sort of emptiness on a page made for it."""
    page = tmp_path / "page.html"
    page.write_text(
        '<nav><a href="other.html">x</a></nav><h1>T</h1><h2>A</h2><h3>B</h3><p>text</p>'
        '<h2>C</h2><p class="none">None.</p><h2>D</h2><table><tbody></tbody></table>'
        "<h2>E</h2><ul></ul>",
        "utf-8",
    )
    (tmp_path / "other.html").write_text("<h1>Other</h1><p></p>", "utf-8")
    found = list(faults_of(page))
    assert [f"nothing under the heading {title!r}" for title in "CDE"] == found[:3]
    assert "'None.' stands where a table would" in found[3]
    assert found[4:] == ["1 tables without rows", "1 lists without entries"]
    assert list(leads_nowhere(page)) == ["other.html leads to an empty page"]
    assert read(page).tables == [0]
