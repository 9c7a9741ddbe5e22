"""Text of a TOML file from plain values: strings, numbers, truth values, dates, lists, tables."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from json import dumps


def toml_text(table: Mapping[str, object]) -> str:
    """TOML 1.0 text; lists of tables become arrays of tables, deeper tables stand in one line.

    Raises TypeError for a value that TOML has no form for.
    """
    return "\n".join(_lines(table, ())) + "\n"


def _lines(table: Mapping[str, object], path: tuple[str, ...]) -> Iterator[str]:
    plain = {key: value for key, value in table.items() if not _has_own_heading(value)}
    for key, value in plain.items():
        yield f"{_key(key)} = {_value(value)}"
    for key, value in table.items():
        if key in plain:
            continue
        heading = ".".join(map(_key, (*path, key)))
        if isinstance(value, Mapping):
            yield f"\n[{heading}]"
            yield from _lines(value, (*path, key))
        elif isinstance(value, list):
            for entry in value:
                yield f"\n[[{heading}]]"
                yield from _lines(entry, (*path, key))


def _has_own_heading(value: object) -> bool:
    """Tables that hold tables, lists of such tables, and tables too long for one line."""
    if isinstance(value, Mapping):
        return bool(value) and len(_value(value)) > 70
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return max(len(_value(entry)) for entry in value) > 85
    return False


def _key(key: str) -> str:
    bare = key.replace("_", "").replace("-", "")
    return key if bare.isascii() and bare.isalnum() else _quoted(key)


def _quoted(text: str) -> str:
    """A basic string: JSON's escapes, and the one control character that JSON lets through."""
    return dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: object) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return _quoted(value)
        case int():
            return str(value)
        case float():
            return repr(float(value))
        case datetime() | date():
            return value.isoformat()
        case list() | tuple():
            if value and isinstance(value[0], Mapping):
                return "[\n" + "".join(f"  {_value(entry)},\n" for entry in value) + "]"
            return "[" + ", ".join(_value(entry) for entry in value) + "]"
        case Mapping():
            pairs = ", ".join(f"{_key(key)} = {_value(entry)}" for key, entry in value.items())
            return "{ " + pairs + " }" if pairs else "{}"
        case _:
            raise TypeError(f"TOML has no form for {type(value).__name__}")
