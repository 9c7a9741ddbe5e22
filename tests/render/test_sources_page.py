"""The page of files that a station left: every source in words, every gathered file counted."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from sitegen import addresses, render
from sitegen.model.loaded import Gathered
from sitegen.model.mapping import Dialect, MappedColumn, NamedCondition, Source
from sitegen.model.results import TableFile
from sitegen.model.source_use import SourceUse
from sitegen.render.page import Page
from sitegen.render.sources import MOST_SHOWN
from tests.render import samples
from tests.render.test_pages import outline, text_of

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SWEEPS = Source(
    id="station-a",
    files="{wafer}/**/<X{die_x}>_{device}_{bias}.s2p",
    holds="sweeps",
    sweep="corrected",
    reference_impedance_ohm=75.0,
    ports=(2, 1),
    one_port_pairs="no transmission",
    lines=("! Wafer & lot: {wafer}",),
    rename={"wafer": {"07": "W1"}},
    conditions=(NamedCondition(condition="room", when={"bias": "VG1"}),),
    dies={"A1": (0, 0), "A2": (1, 0)},
    minus="m",
    point="p",
    frame="prober",
    time_format="%d.%m.%Y %H:%M:%S",
    time_zone="Europe/Berlin",
    repeated_hour="second",
)
TABLE = Source(
    id="dc",
    files="*.csv",
    folder="tables",
    holds="values",
    rows="one a die",
    constants={"device": "hemt", "touchdown": 1},
    time_from="modification",
    columns=(
        MappedColumn(theirs="Vt <mV>", parameter="VTH", unit="mV", condition="room"),
        MappedColumn(theirs="col", ours="die_x"),
    ),
    leave=("*",),
    dialect=Dialect(separator="semicolon", decimal="comma", missing=("n/a",), names_line=3),
)
STANDARDS = Source(id="std", files="{calibration}/*.s2p", holds="calibration sweeps")
USES = (
    SourceUse(SWEEPS, 1200, ("W1",)),
    SourceUse(TABLE, 1, ()),
    SourceUse(STANDARDS, 0, ()),
)


def gathered(number: int) -> tuple[Gathered, ...]:
    return tuple(
        Gathered(
            file=f"gathered/{place:04d}<.s2p",
            taken_from=f"{place:04d}<.s2p",
            sha256=f"{place:064x}",
            bytes=1000,
            modified_at=None if place else AT,
            gathered_at=AT + timedelta(seconds=place),
            source="station-a",
        )
        for place in range(number)
    )


def page(files: int = 3, uses: tuple[SourceUse, ...] = USES) -> Page:
    table = TableFile("gathered-files", "", files, (), (("data/gathered-files.csv", 10),))
    return render.sources_page(
        samples.campaign_results(
            source_uses=uses, gathered=gathered(files), tables=(table,) if files else ()
        )
    )


@pytest.mark.parametrize("made", [page(), page(0), page(250, ()), page(1, USES[:1])])
def test_the_page_is_whole(made: Page) -> None:
    found = outline(made)
    assert made.address == addresses.SOURCES
    assert found.wrong == []
    assert found.headings.count(1) == 1 and found.headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(found.headings))
    assert len(set(found.ids)) == len(found.ids)


@pytest.mark.parametrize(
    "words",
    [
        "1 201 files of the campaign stand as a station wrote them; three sources in mapping.toml"
        " say how they are to be understood.",
        "Three files were copied byte for byte from a station's tree, the last at 2026-03-02"
        " 09:00:02 UTC, and listed in gathered.csv with their digests.",
        "{wafer}/**/<X{die_x}>_{device}_{bias}.s2p",
        "! Wafer & lot: {wafer}",
        "Called otherwise: wafer 07 is W1",
        "Condition room where bias is VG1",
        "two labels",
        "port 1 of the file is port 2 of the device, port 2 of the file is port 1 of the device",
        "its transmission taken as 0",
        "75 Ω",
        "%d.%m.%Y %H:%M:%S",
        "Europe/Berlin",
        "the second is meant",
        "gathered/, copied there from a station's tree",
        "tables/, read where they lie",
        "copied beside the record that each belongs to",
        "The same in all files device = hemt, touchdown = 1",
        "when the file was last written",
        "columns separated by semicolons; decimal comma; names in line 3; no value: n/a",
        "values of the parameter VTH under room",
        "one die",
        "all others",
    ],
)
def test_everything_that_is_declared_stands_there_in_words(words: str) -> None:
    assert words in text_of(page())


def test_a_dialect_that_declares_nothing_is_found() -> None:
    bare = SourceUse(TABLE.model_copy(update={"dialect": Dialect()}), 0, ())
    assert "found from the names of the columns" in text_of(page(1, (bare,)))


def test_only_the_first_rows_are_shown_and_the_rest_is_counted() -> None:
    made = page(250)
    assert made.html.count("<td>station-a</td>") == MOST_SHOWN == 25
    assert "Gathered files: 250 with 250 kB together; the first 25 of them" in text_of(made)
    assert "data/gathered-files.csv" in made.html
    assert "all of them" in text_of(page(25))


def test_only_a_campaign_with_foreign_files_has_the_page_and_leads_to_it() -> None:
    without = samples.campaign_results()
    assert not render.has_sources(without)
    for results, leads in (
        (without, False),
        (replace(without, source_uses=USES), True),
        (replace(without, gathered=gathered(1)), True),
    ):
        assert render.has_sources(results) == leads
        for made in (render.campaign_page(results, {}), render.data_page(results)):
            targets = [target.removeprefix("../") for target in outline(made).targets]
            assert (addresses.SOURCES in targets) == leads
