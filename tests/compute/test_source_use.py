"""How much of a campaign each source understands."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, cast

from sitegen.compute.source_use import source_uses
from sitegen.model.loaded import Campaign, Gathered, MappedFile, MappedSource
from sitegen.model.mapping import MappingRecord, Source

SWEEPS = Source(id="s", files="{wafer}/{device}.s2p", holds="sweeps", sweep="raw")
TABLE = Source(id="t", files="*.csv", holds="values")
STANDARDS = Source(id="c", files="{calibration}/*.s2p", holds="calibration sweeps")
AT = datetime(2026, 3, 2, tzinfo=UTC)


@dataclass
class Named:
    """As much of a wafer's record as is needed."""

    id: str


@dataclass
class Wafer:
    """As much of a wafer as is needed."""

    record: Named
    mapped: tuple[MappedSource, ...] = ()


@dataclass
class Folder:
    """As much of a campaign as is needed."""

    mapping: MappingRecord | None
    wafers: tuple[Wafer, ...] = ()
    gathered: tuple[Gathered, ...] = field(default=())


def mapped(source: Source, *groups: tuple[str, ...]) -> MappedSource:
    return MappedSource(source, tuple(MappedFile(group, ((),) * len(group)) for group in groups))


def uses(folder: Folder) -> list[tuple[str, int, tuple[str, ...]]]:
    found = source_uses(cast(Campaign, cast(Any, folder)))
    return [(one.source.id, one.files, one.wafers) for one in found]


def test_files_and_wafers_of_each_source_are_counted() -> None:
    rows = tuple(
        Gathered(f"calibrations/C/{n}", str(n), "0" * 64, 1, None, AT, "c") for n in range(3)
    )
    wafers = (
        Wafer(Named("W2"), (mapped(SWEEPS, ("a", "b"), ("c",)), mapped(TABLE, ("all.csv",)))),
        Wafer(Named("W1"), (mapped(TABLE, ("all.csv",), ("w1.csv",)),)),
        Wafer(Named("W3")),
    )
    record = MappingRecord(sources=(SWEEPS, TABLE, STANDARDS))
    assert uses(Folder(record, wafers, rows)) == [
        ("s", 3, ("W2",)),
        ("t", 2, ("W1", "W2")),
        ("c", 3, ()),
    ]


def test_without_a_mapping_or_files_nothing_is_counted() -> None:
    assert uses(Folder(None)) == []
    assert uses(Folder(MappingRecord(sources=(SWEEPS,)))) == [("s", 0, ())]
