"""What a source of mapping.toml says wrongly of the columns of its tables, by itself."""

from collections.abc import Iterator

from sitegen.model.mapping import Source
from sitegen.read.words import quoted

Trouble = tuple[str, str, str, str]
"""Place inside the source, found, expected, remedy."""


def only(source: Source, what: str) -> str:
    """What is expected of a key that this source cannot have."""
    return f"nothing, as the source holds {source.holds}; it is of {what} only"


def column_troubles(source: Source) -> Iterator[Trouble]:
    """All that is wrong in the columns of a source of tables."""
    yield from _rows(source)
    yield from _unit_twice(source)


def _unit_twice(source: Source) -> Iterator[Trouble]:
    """The unit of the values stands in a column, or is stated once for all."""
    of_units = [one.theirs for one in source.columns if one.ours == "unit"]
    for number, one in enumerate(source.columns, 1):
        if of_units and one.ours == "value" and one.unit is not None:
            yield (
                f"columns[{number}].unit",
                f"{quoted(one.unit)}, while the column {quoted(of_units[0])} says the unit too",
                "the unit once",
                "Leave 'unit' out, or leave that column under 'leave'.",
            )


def _rows(source: Source) -> Iterator[Trouble]:
    """Columns of parameters go with one row a die, one column of values with one a value."""
    columns = list(enumerate(source.columns, 1))
    of_parameters = [number for number, one in columns if one.parameter is not None]
    wide = source.rows == "one a die"
    if wide and source.holds != "values":
        yield "rows", quoted(source.rows), only(source, "tables of values"), "Leave it out."
    elif wide:
        if not of_parameters and source.columns:
            remedy = "Write parameter = '...' and unit = '...' for each column of values."
            yield "columns", "no column of a parameter", "at least one, as a row is a die", remedy
        for number, one in columns:
            if one.ours in ("value", "unit", "parameter"):
                found = f"{quoted(str(one.ours))} in a table with one row a die"
                remedy = "Write parameter = '...' for the column instead."
                yield f"columns[{number}].ours", found, "columns of parameters", remedy
        yield from _same_parameters(source)
    elif of_parameters:
        name = quoted(str(source.columns[of_parameters[0] - 1].parameter))
        remedy = "State rows = 'one a die' if each row holds all values of a die."
        found = f"a column of the parameter {name}"
        yield f"columns[{of_parameters[0]}]", found, "one row a die for such columns", remedy
    elif source.holds == "values" and columns and all(one.ours != "value" for _, one in columns):
        remedy = "Add the column of the values as ours = 'value'."
        yield "columns", "no column of values", "the measured values", remedy


def _same_parameters(source: Source) -> Iterator[Trouble]:
    seen: dict[tuple[str | None, str | None], int] = {}
    for number, one in enumerate(source.columns, 1):
        if one.parameter is None:
            continue
        earlier = seen.setdefault((one.parameter, one.condition), number)
        if earlier != number:
            found = f"the parameter {quoted(one.parameter)} again, as in columns[{earlier}]"
            remedy = "Give each its own condition, or leave one out."
            yield f"columns[{number}]", found, "each parameter and condition once", remedy
