"""Whose a file is that a source understands: its name, its lines or its rows say the wafer."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.model.loaded import Gathered
from sitegen.model.mapping import Source
from sitegen.read.files import Asked, Intake
from sitegen.read.foreign.head_lines import said_by_lines
from sitegen.read.foreign.mapped_columns import wafer_column
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.readers import cell_text, foreign_table
from sitegen.read.words import quoted

Says = tuple[tuple[str, str], ...]
"""What a file's path and lines say, as (field, text)."""
_COPY_MARK = re.compile(
    r"(copy of|kopie von|copie de|copia de)"
    r"|[ _-]*(\(\d+\)|copy|kopie|copie|copia)[ _-]*(\(?\d+\)?)?",
    re.IGNORECASE,
)
"""What file managers add to the name of a copy (common practice)."""


@dataclass(frozen=True)
class One:
    """A file that one source understands."""

    file: str
    says: Says


def without_copies(
    intake: Intake, files: Sequence[One], gathered: Mapping[str, Gathered]
) -> Sequence[One]:
    """The files without those that are copies by their bytes and by their names, such as
    'Copy of X0_Y1.s2p' and 'X0_Y1 (1).s2p'; these are told."""
    by_bytes: dict[str, list[str]] = defaultdict(list)
    for one in files:
        if one.file in gathered:
            by_bytes[gathered[one.file].sha256].append(one.file)
    copies: set[str] = set()
    for alike in by_bytes.values():
        for file in alike:
            first = next((each for each in alike if _is_copy_of(_stem(file), _stem(each))), None)
            if first is not None:
                copies.add(file)
                _tell_copy(intake, file, first)
    return [one for one in files if one.file not in copies]


def _stem(file: str) -> str:
    return file.rpartition("/")[2].rpartition(".")[0]


def _is_copy_of(stem: str, other: str) -> bool:
    """Whether a name is another one with the mark of a copy."""
    before, found, after = stem.partition(other)
    return bool(found) and _COPY_MARK.fullmatch((before + after).strip()) is not None


def _tell_copy(intake: Intake, file: str, first: str) -> None:
    intake.tell(
        file,
        "",
        found=f"the same bytes as in {first}, of which it is a copy by its name",
        expected="each measurement in one file",
        remedy="Remove the copy and its line in gathered.csv; it was left out.",
        cause="One measurement under two names",
    )


def with_lines(intake: Intake, source: Source, files: Iterable[One], asked: Asked) -> Iterator[One]:
    """Each file with what its lines say besides; those that lack a line are told and left out."""
    for one in files:
        if not source.lines:
            yield one
            continue
        content = intake.read(one.file, asked, "a file of this source")
        says = None if content is None else said_by_lines(intake, one.file, content, source)
        if says is not None:
            yield One(one.file, (*one.says, *says))


def wafers_of(intake: Intake, source: Source, one: One, asked: Asked) -> Sequence[str]:
    """Whose file it is: its name or its lines say so, the source does, or its table's rows do."""
    rename = source.rename.get("wafer", {})
    texts = dict(one.says)
    if "wafer" in texts:
        return [rename.get(texts["wafer"], texts["wafer"])]
    if "wafer" in source.constants:
        return [str(source.constants["wafer"])]
    column = wafer_column(source)
    if column is None:
        _tell_nobody_said(intake, one.file)
        return []
    content = intake.read(one.file, asked, "a table of this source")
    if content is None:
        return []
    part = Intake(intake.folder)
    table = foreign_table(part, one.file, content, source)
    if table is None:
        intake.take_over(part)  # no wafer's job will read it, so it is told here
        return []
    said = wafers_of_rows(table, source)
    empty = np.flatnonzero([wafer is None for wafer in said])
    if len(empty):
        intake.tell(
            one.file,
            f"column {quoted(column)}, {table.word} {table.lines[empty[0]]}",
            found="an empty entry",
            expected="the id of the wafer",
            remedy="Fill it in every row: of merged cells only the first keeps its text.",
            count=len(empty),
        )
    return list(dict.fromkeys(wafer for wafer in said if wafer is not None))


def wafers_of_rows(table: ForeignTable, source: Source) -> list[str | None]:
    """Whose each row is, by the campaign's own names; None where it says nothing."""
    rename = source.rename.get("wafer", {})
    absent = {"", *(text.strip() for text in source.dialect.missing)}
    column = wafer_column(source)
    if column is None:
        return [None] * len(table.lines)
    texts = [
        "" if cell is None else cell_text(table, cell)
        for cell in table.columns[table.names.index(column)]
    ]
    return [None if text.strip() in absent else rename.get(text, text) for text in texts]


def _tell_nobody_said(intake: Intake, file: str) -> None:
    intake.tell(
        file,
        "",
        found="a file of which nothing says whose it is",
        expected="the wafer in its name, its lines, its rows or in mapping.toml",
        remedy="Say it there; until then the file is left out.",
    )
