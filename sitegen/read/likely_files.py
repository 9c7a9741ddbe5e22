"""What bytes that are no Parquet file probably are."""

_MARK = b"PAR1"
_KINDS = (
    (b"PK\x03\x04", "the bytes of a spreadsheet or of an archive"),
    (b"\x89HDF\r\n", "the bytes of an HDF5 file"),
    (b"\x1f\x8b", "the bytes of a compressed file"),
    (b"ARROW1", "the bytes of an Arrow file"),
    (b"\xd0\xcf\x11\xe0", "the bytes of a spreadsheet"),
)
_HEAD = 4096


def kind_of_bytes(content: bytes) -> str:
    """What bytes that are not a whole Parquet file are, as a phrase; empty: nobody knows."""
    if content.startswith(_MARK) and not content.endswith(_MARK):
        return "the beginning of a Parquet file whose end is missing"
    for mark, told in _KINDS:
        if content.startswith(mark):
            return told
    head = content[:_HEAD]
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 3:
            return ""
        text = head[: error.start].decode("utf-8")
    is_text = bool(text.strip()) and all(char.isprintable() or char in "\r\n\t" for char in text)
    return "text, as a table written with commas or tabs" if is_text else ""
