"""The bytes of a table of text as lines: encodings, and what is no text at all."""

from dataclasses import dataclass
from typing import Literal

from sitegen.model.mapping import Dialect
from sitegen.read.files import Intake

Encoding = Literal["utf-8", "utf-16", "windows-1252"]
_MARKS: tuple[tuple[bytes, Encoding, str], ...] = (
    (b"\xef\xbb\xbf", "utf-8", "utf-8"),
    (b"\xff\xfe", "utf-16", "utf-16-le"),
    (b"\xfe\xff", "utf-16", "utf-16-be"),
)
"""Byte order marks (The Unicode Standard, section 23.8; quoted from memory)."""
_OTHER_FORMATS = (
    (b"PK\x03\x04", "an Excel workbook or another ZIP archive under the name of a table of text"),
    (b"\xd0\xcf\x11\xe0", "an old Excel workbook under the name of a table of text"),
    (b"PAR1", "a Parquet file under the name of a table of text"),
    (b"\x1f\x8b", "a compressed file under the name of a table of text"),
)
_EXPECTED = "a table of text"


@dataclass(frozen=True)
class TableText:
    """A file's lines, as an editor counts them, and how its bytes were read."""

    lines: list[str]
    """Without their ends; what stands after the last line end is the last of them if not empty."""
    is_ended: bool
    """Whether the last line has an end."""
    encoding: Encoding


def text_of_table(intake: Intake, file: str, content: bytes, dialect: Dialect) -> TableText | None:
    """The lines of a table of text, or None and a fault.

    The encoding is that of the byte order mark, else the declared one, else UTF-8. Lines end with
    CR, LF or both.
    """
    if not content.strip(b" \t\r\n\x1a"):
        again = "Copy the file again, or remove it."
        intake.tell(file, "", found="an empty file", expected=_EXPECTED, remedy=again)
        return None
    for signature, found in _OTHER_FORMATS:
        if content.startswith(signature):
            remedy = "Save the table as CSV in UTF-8, or correct 'files' of the source."
            if signature == b"\x1f\x8b":
                remedy = "Unpack it, or correct 'files' of the source."
            intake.tell(file, "", found=found, expected=_EXPECTED, remedy=remedy)
            return None
    decoded = _decoded(intake, file, content, dialect)
    if decoded is None:
        return None
    text, encoding = decoded
    if "\x00" in text:
        _tell_nul(intake, file, content, text)
        return None
    text = text.removeprefix("\ufeff").rstrip("\x1a").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    is_ended = not lines[-1]
    return TableText(lines[:-1] if is_ended else lines, is_ended, encoding)


def _decoded(
    intake: Intake, file: str, content: bytes, dialect: Dialect
) -> tuple[str, Encoding] | None:
    marked = next((one for one in _MARKS if content.startswith(one[0])), None)
    if marked is not None:
        mark, encoding, codec = marked
    else:
        mark, encoding = b"", dialect.encoding or "utf-8"
        codec = {"utf-16": _byte_order(content), "windows-1252": "cp1252"}.get(encoding, "utf-8")
    try:
        text = content[len(mark) :].decode(codec)
    except UnicodeDecodeError as error:
        at = error.start + len(mark)
        if _breaks_off(content[:at], error, encoding):
            intake.tell(
                file,
                "its end",
                found=f"a file that breaks off inside a sign of {encoding.upper()}",
                expected=_EXPECTED,
                remedy="Copy the file again.",
            )
        else:
            _tell_bad_bytes(intake, file, content, encoding, at)
        return None
    if encoding == "windows-1252" and _is_utf_8(content):
        intake.tell(
            file,
            f"line {_line_of(content, _first_high(content))}",
            found="bytes that are UTF-8",
            expected="windows-1252, as dialect.encoding has it",
            remedy="Remove dialect.encoding in mapping.toml; files of two encodings need two"
            " sources.",
        )
        return None
    return text, encoding


def _breaks_off(before: bytes, error: UnicodeDecodeError, encoding: Encoding) -> bool:
    """Whether the last sign is not whole; of UTF-8 only where other signs prove the encoding."""
    if encoding == "utf-16":
        return error.reason == "truncated data"
    return error.reason == "unexpected end of data" and _is_utf_8(before)


def _byte_order(content: bytes) -> str:
    """Of UTF-16 without a mark: signs of ASCII have their zero byte first or last."""
    head = content[:2000]
    return "utf-16-be" if head[::2].count(0) > head[1::2].count(0) else "utf-16-le"


def _is_utf_8(content: bytes) -> bool:
    """Whether bytes above 0x7F are there and all are UTF-8; chance hardly makes such."""
    if content.isascii():
        return False
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _first_high(content: bytes) -> int:
    return next(index for index, byte in enumerate(content) if byte > 0x7F)


def _line_of(content: bytes, at: int) -> int:
    before = content[:at].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return before.count(b"\n") + 1


def _tell_bad_bytes(intake: Intake, file: str, content: bytes, encoding: Encoding, at: int) -> None:
    """The fault for bytes that are not of the encoding; those of windows-1252 are recognised."""
    expected = {"utf-8": "UTF-8", "utf-16": "UTF-16", "windows-1252": "windows-1252"}[encoding]
    found = f"the byte 0x{content[at]:02X}, which is not {expected}"
    remedy = "Copy the file again, or declare its dialect.encoding in mapping.toml."
    sign = content[at : at + 1].decode("cp1252", "replace")
    if encoding == "utf-8" and sign.isprintable() and sign != "\ufffd" and _is_1252(content):
        if any(_is_utf_8(line) for line in content.splitlines()):
            found = f'the byte 0x{content[at]:02X} ("{sign}" in windows-1252) among lines in UTF-8'
            remedy = "Save the file in one encoding: its parts were written in two."
        else:
            found += f'; the bytes look like windows-1252, where it is "{sign}"'
            remedy = 'Declare dialect.encoding = "windows-1252" for the source in mapping.toml.'
    place = f"line {_line_of(content, at)}" if encoding != "utf-16" else ""
    intake.tell(file, place, found=found, expected=f"text in {expected}", remedy=remedy)


def _is_1252(content: bytes) -> bool:
    """Whether the bytes are text in windows-1252: all signs are defined and none is a control."""
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        return False
    return all(sign.isprintable() or sign in "\t\r\n\f\x1a\xa0\xad" for sign in set(text))


def _tell_nul(intake: Intake, file: str, content: bytes, text: str) -> None:
    head = content[:2000]
    is_wide = max(head[::2].count(0), head[1::2].count(0)) >= 0.4 * len(head)
    found, remedy = "NUL bytes", "Copy the file again: writing or copying it was broken off."
    if is_wide and any(head):
        found = "NUL bytes at every second place, as of UTF-16 without a byte order mark"
        remedy = 'Declare dialect.encoding = "utf-16" for the source in mapping.toml.'
    before = text[: text.index("\x00")].replace("\r\n", "\n").replace("\r", "\n")
    intake.tell(
        file,
        f"line {before.count(chr(10)) + 1}",
        found=found,
        expected=_EXPECTED,
        remedy=remedy,
    )
