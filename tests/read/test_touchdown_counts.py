"""Counts of contacts and touchdowns in foreign tables: whole numbers from 1, or told."""

from pathlib import Path

import pytest

from sitegen.read import read_campaign, read_wafer_tables
from tests.foreign_campaign import MAPPING, foreign_campaign


def told_of(folder: Path, text: str) -> tuple[int, list[str]]:
    """How many touchdowns are read where the first row has this count, and what is told."""
    table = folder / "contacts/all.tsv"
    head, first, rest = table.read_text("utf-8").split("\n", 2)
    cells = [*first.split("\t")[:-1], text]
    table.write_text("\n".join([head, "\t".join(cells), rest]), "utf-8")
    campaign, _ = read_campaign(folder)
    known = frozenset(one.record.id for one in campaign.calibrations)
    tables, faults = read_wafer_tables(folder, campaign.wafers[0], campaign.record, known)
    return tables.touchdowns.num_rows, [fault.sentence() for fault in faults]


@pytest.mark.parametrize("name", ["probe_contacts", "pad_touchdowns"])
@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("14.5", "14.5"),
        ("1000000.25", "1000000.25"),
        ("0.999", "0.999"),
        ("0", "0"),
        ("-3", "-3"),
        ("1e12", "1000000000000"),
    ],
)
def test_what_is_no_count_is_told_and_its_row_left_out(
    name: str, text: str, found: str, tmp_path: Path
) -> None:
    folder = foreign_campaign(tmp_path)
    mapping = folder / "mapping.toml"
    mapping.write_text(mapping.read_text("utf-8").replace("probe_contacts", name), "utf-8")
    whole, nothing = told_of(folder, "14")
    assert nothing == []
    kept, (told,) = told_of(folder, text)
    assert kept == whole - 1
    assert told.startswith("contacts/all.tsv") and ", line 2 (" in told
    assert f"): found {found}, expected" in told
    assert "a count from 1 as a whole number" in told


@pytest.mark.parametrize("text", ["", "14.0", "1"])
def test_whole_counts_and_those_that_nobody_knows_are_taken(text: str, tmp_path: Path) -> None:
    assert "probe_contacts" in MAPPING
    kept, told = told_of(foreign_campaign(tmp_path), text)
    assert kept == 18 and told == []
