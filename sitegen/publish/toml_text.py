"""Text of a TOML file from plain values: strings, numbers, truth values, dates, lists, tables."""

from collections.abc import Iterator, Mapping

from sitegen.model.toml_values import toml_key, toml_value


def toml_text(table: Mapping[str, object]) -> str:
    """TOML 1.0 text; lists of tables become arrays of tables, deeper tables stand in one line.

    Raises TypeError for a value that TOML has no form for.
    """
    return "\n".join(_lines(table, ())) + "\n"


def _lines(table: Mapping[str, object], path: tuple[str, ...]) -> Iterator[str]:
    plain = {key: value for key, value in table.items() if not _has_own_heading(value)}
    for key, value in plain.items():
        yield f"{toml_key(key)} = {toml_value(value)}"
    for key, value in table.items():
        if key in plain:
            continue
        heading = ".".join(map(toml_key, (*path, key)))
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
        return bool(value) and len(toml_value(value)) > 70
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return max(len(toml_value(entry)) for entry in value) > 85
    return False
