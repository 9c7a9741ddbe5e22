"""What the lines before a file's numbers say, such as '! Wafer: W3' or 'Operator;day shift'."""

from collections.abc import Sequence

from sitegen.model.mapping import Source
from sitegen.read.files import Intake
from sitegen.read.foreign.patterns import Pattern, compiled, said
from sitegen.read.words import quoted

LINES_SEARCHED = 200
"""What says something of a whole file stands at its head (common practice)."""
_BYTES_SEARCHED = 100_000
_NO_TEXT = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"PAR1")
"""How workbooks and Parquet files begin."""


def said_by_lines(
    intake: Intake, file: str, content: bytes, source: Source
) -> tuple[tuple[str, str], ...] | None:
    """What a source's `lines` say of a file, as (field, text); None and faults where one of them
    is not found, or more than once. Bytes that are no text say nothing: their reader tells it."""
    if not content.strip() or content.startswith(_NO_TEXT):
        return ()
    head = content[:_BYTES_SEARCHED]
    lines = [line.strip() for line in _decoded(head, source).splitlines()[:LINES_SEARCHED]]
    found: list[tuple[str, str]] = []
    whole = True
    for text in source.lines:
        pattern = compiled(text, source.minus, source.point, in_line=True)
        hits = [says for says in (_said_by(pattern, line) for line in lines) if says is not None]
        if len(hits) == 1:
            found.extend(hits[0])
            continue
        whole = False
        remedy = f"Correct 'lines' of source {quoted(source.id)}, or export the file again."
        if not hits and _fits_with_commas(text, source, lines):
            remedy = (
                f"State point = ',' in source {quoted(source.id)}: the line has decimal commas."
            )
        intake.tell(
            file,
            f"the first {LINES_SEARCHED} lines" if not hits else "",
            found=f"{'no line' if not hits else f'{len(hits)} lines'} like {quoted(text)}",
            expected="one such line, as mapping.toml has it",
            remedy=remedy,
        )
    return tuple(found) if whole else None


def _said_by(pattern: Pattern, line: str) -> tuple[tuple[str, str], ...] | None:
    """What a line says, as it stands or without what spreadsheets add: separators and quotes."""
    says = said(pattern, line)
    return said(pattern, line.rstrip(";,\t ").strip('"')) if says is None else says


def _fits_with_commas(text: str, source: Source, lines: Sequence[str]) -> bool:
    """Whether a pattern fits a line once numbers have decimal commas."""
    if source.point is not None:
        return False
    pattern = compiled(text, source.minus, ",", in_line=True)
    return any(said(pattern, line) is not None for line in lines)


def _decoded(head: bytes, source: Source) -> str:
    """The head as text; a byte that is none stays visible as a mark."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head.decode("utf-16", "replace")
    if source.dialect.encoding == "utf-16":
        is_little = head[1:200:2].count(0) >= head[0:200:2].count(0)
        return head.decode("utf-16-le" if is_little else "utf-16-be", "replace")
    return head.decode(source.dialect.encoding or "utf-8-sig", "replace").removeprefix("\ufeff")
