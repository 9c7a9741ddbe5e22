"""Entries of a record that are still to be filled in."""

from collections.abc import Iterator, Mapping

from sitegen.model.base import Record, is_blank


def blanks_of(record: Record) -> tuple[str, ...]:
    """The keys of a record whose text is a blank, in the record's order: 'stations[1].place'."""
    return tuple(_blanks(record, ""))


def _blanks(value: object, place: str) -> Iterator[str]:
    if isinstance(value, str):
        if is_blank(value):
            yield place
    elif isinstance(value, Record):
        for name in type(value).model_fields:
            yield from _blanks(getattr(value, name), f"{place}.{name}" if place else name)
    elif isinstance(value, Mapping):
        for name, entry in value.items():
            yield from _blanks(entry, f"{place}.{name}")
    elif isinstance(value, tuple):
        for number, entry in enumerate(value, 1):
            yield from _blanks(entry, f"{place}[{number}]")
