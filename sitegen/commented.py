"""A record as commented TOML: what is known stands live, the rest as examples to uncomment.

Meanings and units come from the models, examples from `sitegen.model.examples`; there is no second
text. A line that begins with "#" and no blank is an example, every other comment begins with "# ".
"""

import re
import textwrap
import typing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pydantic import BaseModel

from sitegen.model.examples import SHOWN, example, records_of
from sitegen.model.toml_values import toml_key, toml_value
from sitegen.render.fields import FieldText, Section, sections

WIDTH = 100
LIVE_SHOWN: Mapping[str, tuple[str, ...]] = {"RawSweep": ("port_1", "port_2", "between")}
"""Fields that exclude each other: an entry that is begun shows them all, a whole example one."""

Values = Mapping[str, object]
Instead = Mapping[str, Values]


def commented(
    model: type[BaseModel], known: Values, head: Sequence[str], instead: Instead | None = None
) -> str:
    """The text of a record.

    known: what stands live, by key; texts, numbers, times, lists, tables of the same. instead: by
    the name of a record and of its field examples that take the place of the usual ones.
    """
    writer = _Writer({one.name: one for one in sections(model)}, instead or {}, set())
    lines = [*head, ""]
    for line in writer.section(model, known, "", True, True):
        if line or lines[-1]:
            lines.append(line)
    return "\n".join(lines).rstrip() + "\n"


def uncommented(text: str) -> str:
    """The same record with every example in it live."""
    return "\n".join(
        line[1:] if line.startswith("#") and line[1:2].strip() and line[1] != ":" else line
        for line in text.splitlines()
    )


@dataclass(frozen=True)
class _Writer:
    """What the lines of one record are made from."""

    texts: Mapping[str, Section]
    instead: Instead
    explained: set[str]
    """Names of the records that have been explained: each is once."""

    def section(
        self, model: type[BaseModel], values: Values, path: str, live: bool, explain: bool
    ) -> Iterator[str]:
        """The keys of one table, then the tables inside it."""
        told = {field.name: field for field in self.texts[model.__name__].fields}
        inside: list[tuple[str, object, bool]] = []
        rows: list[tuple[str, FieldText]] = []
        for name, value, is_live in self._shown(model, values, live):
            if _has_heading(model, name, value, explain):
                inside.append((name, value, is_live))
            else:
                line = f"{toml_key(name)} = {toml_value(value, readable=True)}"
                rows.append((line if is_live else f"#{line}", told[name]))
        yield from _keys(rows, explain)
        for name, value, is_live in inside:
            key = f"{path}.{name}" if path else name
            annotation = model.model_fields[name].annotation
            if typing.get_origin(annotation) is dict:
                yield from _named(key, told[name].meaning, value, is_live)
            else:
                yield from self._tables(annotation, value, key, is_live, explain)

    def _shown(
        self, model: type[BaseModel], values: Values, live: bool
    ) -> Iterator[tuple[str, object, bool]]:
        """Each key with its value, and whether it stands live."""
        shown = SHOWN.get(model.__name__, ()) + LIVE_SHOWN.get(model.__name__, ())
        instead = self.instead.get(model.__name__, {})
        for name, info in model.model_fields.items():
            if name in values:
                yield name, values[name], live
            elif live and name in instead:
                yield name, instead[name], False
            elif live and (info.is_required() or name in shown):
                yield name, example(model, name), False

    def _tables(
        self, annotation: object, value: object, key: str, live: bool, explain: bool
    ) -> Iterator[str]:
        """A table or the entries of a list of tables; only the first of them is explained."""
        mark = "" if live else "#"
        several = isinstance(value, list | tuple)
        for number, entry in enumerate(
            typing.cast(Sequence[Values], value if several else [value])
        ):
            record = _record_of(annotation, entry)
            first = explain and number == 0 and record.__name__ not in self.explained
            yield ""
            if first:
                self.explained.add(record.__name__)
                yield from _wrapped(self.texts[record.__name__].text)
            yield f"{mark}[[{key}]]" if several else f"{mark}[{key}]"
            yield from self.section(record, entry, key, live, first)


def _has_heading(model: type[BaseModel], name: str, value: object, explain: bool) -> bool:
    """Records have a heading, but short ones of entries that are not explained."""
    if next(records_of(model.model_fields[name].annotation), None) is None:
        return False
    return explain or len(toml_value(value, readable=True)) > WIDTH - 30


def _named(key: str, meaning: str, value: object, live: bool) -> Iterator[str]:
    """A table of records by names of the writer's own choice, each on one line."""
    mark = "" if live else "#"
    yield ""
    yield from _wrapped(f"{meaning[:1].upper()}{meaning[1:]}.")
    yield f"{mark}[{key}]"
    for name, entry in typing.cast(Values, value).items():
        yield f"{mark}{toml_key(name)} = {toml_value(entry, readable=True)}"


def _record_of(annotation: object, entry: Values) -> type[BaseModel]:
    """Of several records the one of the entry's kind."""
    records = list(records_of(annotation))
    for record in records:
        kind = record.model_fields.get("kind")
        if kind is not None and entry.get("kind") in typing.get_args(kind.annotation):
            return record
    return records[0]


def _keys(rows: Sequence[tuple[str, FieldText]], explain: bool) -> Iterator[str]:
    """One line a key, its meaning behind it where there is room, else above it."""
    if not explain:
        yield from (line for line, _ in rows)
        return
    behind = [(len(line), len(said(field))) for line, field in rows if said(field)]
    fitting = [length for length, words in behind if length + words + 4 <= WIDTH]
    column = min(max(fitting, default=0), 36)
    for line, field in rows:
        start = max(column, len(line))
        if not said(field):
            yield line
        elif start + len(said(field)) + 4 <= WIDTH:
            yield f"{line.ljust(start)}  # {said(field)}"
        else:
            yield from _wrapped(said(field))
            yield line


def said(field: FieldText) -> str:
    """A field's meaning with its unit and its choices, where neither name nor meaning has them."""
    words = field.name.replace("_", " ")
    unit = f"in {field.unit}" if field.unit else ""
    bare = words.startswith(field.meaning)
    meaning = unit if bare else field.meaning
    if unit and not bare and not re.search(r"\bin [a-zµ°ΩA-Z]", meaning):
        meaning = f"{meaning}, {unit}"
    named = re.findall(r"'[^']*'", field.type)
    if len(named) < 2 or all(choice.strip("'") in meaning for choice in named):
        return meaning
    told = f"{', '.join(named[:-1])} or {named[-1]}"
    return f"{meaning}: {told}" if meaning else told


def _wrapped(text: str) -> Iterator[str]:
    for line in textwrap.wrap(text, WIDTH - 2, break_long_words=False, break_on_hyphens=False):
        yield f"# {line}"
