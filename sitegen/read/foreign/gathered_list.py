"""The list of gathered files: read, and compared with what lies in the campaign."""

import csv
import io
import os
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime

from sitegen.model.loaded import GATHERED_COLUMNS, Gathered
from sitegen.model.mapping import GATHERED, GATHERED_LIST
from sitegen.read.files import Intake, digest, line_of_bad_byte, text_of
from sitegen.read.foreign.folders import files_below
from sitegen.read.words import quoted, shown

WHAT = "the list of gathered files"
_AGAIN = (
    "Restore the list from a copy, or remove it and run 'sitegen gather' again: files that lie"
    " there unaltered are listed anew."
)
PLACES = (f"{GATHERED}/", "calibrations/", "verifications/")
"""Where gathered files lie, and no others of the list may."""
RECORD = "record.toml"
"""Name of the record of a calibration or verification, which nobody gathers."""
_SHA256 = re.compile(r"[0-9a-f]{64}")
_WHOLE = re.compile(r"[0-9]{1,18}")


def read_list(intake: Intake) -> Mapping[str, Gathered]:
    """The rows of gathered.csv by their file; none where there is no list.

    Rows that cannot be understood are told and left out; then it is not known which files were not
    gathered. Times are in UTC.
    """
    if not os.path.lexists(intake.folder / GATHERED_LIST):
        return {}
    before = len(intake.faults)
    rows = _read(intake)
    if len(intake.faults) > before:
        intake.refused.add(GATHERED_LIST)
    return rows


def _read(intake: Intake) -> Mapping[str, Gathered]:
    content = intake.read(GATHERED_LIST, what=WHAT)
    if content is None:
        return {}
    text = text_of(content)
    if text is None:
        place = f"line {line_of_bad_byte(content)}"
        _tell(intake, place, "bytes that are not UTF-8 text", "a table in UTF-8")
        return {}
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        names = next(reader, [])
        if tuple(names) != GATHERED_COLUMNS:
            found = f"the columns {quoted(','.join(names))}" if names else "nothing"
            _tell(intake, "line 1", found, f"the columns {','.join(GATHERED_COLUMNS)}")
            return {}
        return _rows(intake, reader)
    except csv.Error as error:
        _tell(intake, f"line {reader.line_num}", f"no comma-separated row ({error})", "one")
        return {}


def list_troubles(intake: Intake, listed: Mapping[str, Gathered]) -> frozenset[str]:
    """Tell gathered files that were altered, that are missing, or that the list does not have.

    Returns the paths of those altered or missing. The digest decides; a size in the list that is
    not that of the same bytes is told as the list's own mistake.
    """
    missing: list[str] = []
    sizes: list[tuple[str, int]] = []
    altered: set[str] = set()
    for file, row in listed.items():
        path = intake.folder / file
        if not path.is_file():
            missing.append(file)
            continue
        if _digest(intake, file) == row.sha256:
            size = _size(intake, file)
            if size not in (None, row.bytes):
                sizes.append((file, row.bytes))
            continue
        altered.add(file)
        intake.tell(
            file,
            "",
            found="other bytes than were gathered: it was altered since then",
            expected=f"the bytes with the digest that {GATHERED_LIST} has",
            remedy="Remove the file and run 'sitegen gather' again, which copies it from the tree.",
        )
    if missing:
        intake.tell(
            GATHERED_LIST,
            f"file {quoted(missing[0])}",
            found="a gathered file that is not there",
            expected="every file of the list in the campaign",
            remedy="Run 'sitegen gather' again, or remove its line from the list.",
            count=len(missing),
        )
    if sizes:
        file, said = sizes[0]
        place, found = f"file {quoted(file)}", f"{said} bytes, while the file has another size"
        _tell(intake, place, found, _EXPECTED["bytes"], len(sizes))
    if GATHERED_LIST not in intake.refused:
        _tell_unlisted(intake, listed)
    return frozenset({*altered, *missing})


def _rows(intake: Intake, reader: "Iterator[list[str]]") -> Mapping[str, Gathered]:
    """The rows below the names; each kind of fault is told once, with its count."""
    rows: dict[str, Gathered] = {}
    wrong: dict[str, list[tuple[int, str]]] = {}
    for number, cells in enumerate(reader, 2):
        if not cells:  # an empty line
            continue
        row = _row(cells)
        if isinstance(row, Gathered):
            if row.file in rows:
                row = ("file", f"{quoted(row.file)} a second time")
            else:
                rows[row.file] = row
                continue
        wrong.setdefault(row[0], []).append((number, row[1]))
    for column, places in wrong.items():
        number, found = places[0]
        _tell(intake, f"row {number}", found, _EXPECTED[column], len(places))
    return rows


_EXPECTED = {
    "": f"{len(GATHERED_COLUMNS)} entries",
    "file": f"each file once, below {', '.join(PLACES[:-1])} or {PLACES[-1]} of the campaign",
    "taken_from": "a path relative to the tree",
    "sha256": "the file's SHA-256 in hexadecimal",
    "bytes": "the file's size in bytes",
    "modified_at": "a time with its zone, such as 2026-03-02T08:00:00Z",
    "gathered_at": "a time with its zone, such as 2026-03-02T08:00:00Z",
    "source": "the id of a source of mapping.toml",
}


def _row(cells: list[str]) -> Gathered | tuple[str, str]:
    """A row, or the column that cannot be understood and what was found there."""
    if len(cells) != len(GATHERED_COLUMNS):
        return "", f"{len(cells)} entries"
    texts = dict(zip(GATHERED_COLUMNS, cells, strict=True))
    modified_at, gathered_at = _time(texts["modified_at"]), _time(texts["gathered_at"])
    for column, fits in {
        "file": _is_below(texts["file"]) and _may_be_gathered(texts["file"]),
        "taken_from": _is_below(texts["taken_from"]),
        "sha256": _SHA256.fullmatch(texts["sha256"]) is not None,
        "bytes": _WHOLE.fullmatch(texts["bytes"]) is not None,
        "modified_at": texts["modified_at"] == "" or modified_at is not None,
        "source": texts["source"] != "",
    }.items():
        if not fits:
            return column, shown(texts[column])
    if gathered_at is None:
        return "gathered_at", shown(texts["gathered_at"])
    return Gathered(
        file=texts["file"],
        taken_from=texts["taken_from"],
        sha256=texts["sha256"],
        bytes=int(texts["bytes"]),
        modified_at=modified_at,
        gathered_at=gathered_at,
        source=texts["source"],
    )


def _time(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text)
        return None if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _is_below(path: str) -> bool:
    """Whether a path stays below the folder that it is relative to."""
    return bool(path) and not {"", ".", ".."} & set(path.split("/"))


def _may_be_gathered(file: str) -> bool:
    """Whether a file lies where gathered files do, and is no record there."""
    is_record = not file.startswith(PLACES[0]) and file.rpartition("/")[2].casefold() == RECORD
    return file.startswith(PLACES) and not is_record


def _digest(intake: Intake, file: str) -> str | None:
    """A file's digest: as it was read already, else of its bytes; None where it cannot be read."""
    known = intake.sources.get(file)
    if known is not None:
        return known.sha256
    try:
        return digest(intake.folder / file)
    except OSError:
        return None


def _size(intake: Intake, file: str) -> int | None:
    """A file's size in bytes: as it was read already, else as it is; None where nobody knows."""
    known = intake.sources.get(file)
    if known is not None:
        return known.size_bytes
    try:
        return (intake.folder / file).stat().st_size
    except OSError:
        return None


def _tell_unlisted(intake: Intake, listed: Mapping[str, Gathered]) -> None:
    """Files below gathered/ that the list does not have, in one fault."""
    unlisted = sorted(file for file in files_below(intake.folder, GATHERED) if file not in listed)
    if unlisted:
        intake.tell(
            unlisted[0],
            "",
            found=f"a file that {GATHERED_LIST} does not have",
            expected=f"only files in {GATHERED}/ that 'sitegen gather' brought, with their digests",
            remedy="Run 'sitegen gather' on the tree that it comes from, or move it out.",
            count=len(unlisted),
        )


def _tell(intake: Intake, place: str, found: str, expected: str, count: int = 1) -> None:
    intake.tell(GATHERED_LIST, place, found=found, expected=expected, remedy=_AGAIN, count=count)
