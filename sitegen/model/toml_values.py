"""Keys and values as TOML 1.0 writes them."""

import math
from collections.abc import Mapping
from datetime import date, datetime
from json import dumps


def toml_key(key: str) -> str:
    """A bare key where that is possible, else a quoted one."""
    bare = key.replace("_", "").replace("-", "")
    return key if bare.isascii() and bare.isalnum() else _quoted(key)


def toml_value(value: object, *, readable: bool = False) -> str:
    """One value on one line; a list of tables takes a line for each.

    readable: large and small numbers with an exponent in steps of three (40e9), for people.
    Raises TypeError for a value that TOML has no form for.
    """
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return _quoted(value)
        case int():
            return str(value)
        case float():
            return _number(value) if readable else repr(float(value))
        case datetime() | date():
            return value.isoformat()
        case list() | tuple():
            written = [toml_value(entry, readable=readable) for entry in value]
            if value and isinstance(value[0], Mapping) and not readable:
                return "[\n" + "".join(f"  {entry},\n" for entry in written) + "]"
            return "[" + ", ".join(written) + "]"
        case Mapping():
            pairs = ", ".join(
                f"{toml_key(key)} = {toml_value(entry, readable=readable)}"
                for key, entry in value.items()
            )
            return "{ " + pairs + " }" if pairs else "{}"
        case _:
            raise TypeError(f"TOML has no form for {type(value).__name__}")


def _quoted(text: str) -> str:
    """A basic string: JSON's escapes, and the one control character that JSON lets through."""
    return dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    """The same number; from a million on and below a thousandth with an exponent: 40e9, 1e-12."""
    size = abs(value)
    if not math.isfinite(value) or size == 0 or 1e-3 <= size < 1e6:
        return repr(value)
    exponent = 3 * math.floor(math.log10(size) / 3)
    short = f"{value / 10.0**exponent:g}e{exponent}"
    return short if float(short) == value else repr(value)
