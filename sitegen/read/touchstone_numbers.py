"""The numbers of a plain Touchstone file, all at once.

Plain is: a header that has no fault, then nothing but records of the right length, one on each
line, with comments, and in version 2 an [End]. Whatever else stands in a file is left to
`touchstone_text.check_text`, which says what is wrong with it; nothing is taken here that is
refused there.
"""

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.read.touchstone_text import UNITS, Header, header_of

_MARK = b"\xef\xbb\xbf"
"""The byte order mark of UTF-8."""
_FIRST_NUMBER = re.compile(rb"(?:\A|[\r\n])[ \t]*[0-9+\-.]")
_COMMENT = re.compile(rb"![^\r\n]*")
_LINE_ENDS = (b"\n", b"\r")
_BLANKS = b" \t\r\n"
_OF_NUMBERS = b"0123456789+-.eE" + _BLANKS


@dataclass(frozen=True)
class Numbers:
    """A file's header and its numbers."""

    header: Header
    frequency_hz: FloatArray
    """Shape (n_freq,)."""
    pairs: FloatArray
    """Shape (n_freq, n_parameter, 2): the two numbers of each S-parameter, in the file's order."""


def plain_numbers(file: str, content: bytes) -> Numbers | None:
    """The numbers of a plain file; None where it takes a closer look.

    `file` gives the extension.
    """
    if content.startswith(_MARK):
        try:
            content = content.decode("utf-8-sig").encode()
        except UnicodeDecodeError:
            return None
    first = _FIRST_NUMBER.search(content)
    if first is None:
        return None
    head, body = content[: first.end() - 1], content[first.end() - 1 :]
    if b"!" in head:
        head = _COMMENT.sub(b" ", head)
    header = header_of(file, head.decode("ascii")) if head.isascii() else None
    if header is None or header.matrix != "full":
        return None
    if b"!" in body:
        body = _COMMENT.sub(b" ", body)
    if header.version_2:
        body, _, after = body.partition(b"[")
        if after[:4].lower() != b"end]" or not body.rstrip(b" \t").endswith(_LINE_ENDS):
            return None
    table = _table(body, header.numbers_per_point)
    return None if table is None else _numbers(header, table)


def _numbers(header: Header, table: FloatArray) -> Numbers | None:
    """Checked as `check_text` checks them."""
    if not np.isfinite(table).all() or header.points not in (None, len(table)):
        return None
    with np.errstate(over="ignore"):
        frequency_hz = table[:, 0] * UNITS[header.unit]
    if frequency_hz[0] < 0 or not np.isfinite(frequency_hz[-1]):
        return None
    if not (frequency_hz[1:] > frequency_hz[:-1]).all():
        return None
    return Numbers(header, frequency_hz, table[:, 1:].reshape(len(table), -1, 2))


def _table(body: bytes, width: int) -> FloatArray | None:
    """Shape (n_line, width) of lines that hold `width` numbers each; None where one does not."""
    if body.translate(None, _OF_NUMBERS):
        return None
    chars = np.frombuffer(body, np.uint8)
    is_word = np.zeros(len(chars) + 2, np.bool_)
    np.greater(chars, ord(" "), out=is_word[1:-1])
    edges = np.flatnonzero(is_word[1:] != is_word[:-1])
    starts, ends = edges[0::2], edges[1::2]
    line_ends = np.flatnonzero(chars == ord("\n"))
    if b"\r" in body:
        line_ends = np.flatnonzero((chars == ord("\n")) | (chars == ord("\r")))
    if len(starts) % width or not _one_record_a_line(starts, line_ends, width):
        return None
    offsets = np.zeros(len(starts) + 1, np.int32)
    np.cumsum(ends - starts, out=offsets[1:])
    words = pa.Array.from_buffers(
        pa.string(),
        len(starts),
        [None, pa.py_buffer(offsets), pa.py_buffer(body.translate(None, _BLANKS))],
    )
    try:
        numbers = words.cast(pa.float64())
    except pa.ArrowInvalid:
        return None
    table: FloatArray = np.frombuffer(numbers.buffers()[1], np.float64).reshape(-1, width)
    return table


def _one_record_a_line(
    starts: npt.NDArray[np.int64], line_ends: npt.NDArray[np.int64], width: int
) -> bool:
    """Whether every `width` words stand on a line of their own.

    `starts` are the words' places in the text, `line_ends` those of the lines' ends.
    """
    before_first = np.searchsorted(line_ends, starts[::width])
    before_last = np.searchsorted(line_ends, starts[width - 1 :: width])
    return bool((before_first == before_last).all() and (before_first[1:] > before_last[:-1]).all())
