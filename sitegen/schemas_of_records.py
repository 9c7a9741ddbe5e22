"""The JSON Schema of each record (draft 2020-12), from the models that read the records."""

import typing
from collections.abc import Mapping
from datetime import date

from pydantic import BaseModel

from sitegen.model.examples import example
from sitegen.render.fields import FILES, FieldText, sections

DIALECT = "https://json-schema.org/draft/2020-12/schema"
SCHEMA_FOLDER = ".schemas"
"""Of a campaign: where its records' first lines say that the schemas lie."""
RECORDS: Mapping[str, type[BaseModel]] = {
    file.anchor.removesuffix("-toml"): file.model for file in FILES
}
"""By the name of a record: campaign, calibration, ..."""

Schema = dict[str, typing.Any]


def schema_file(record: str) -> str:
    """The name of a record's schema as a file."""
    return f"{record}.schema.json"


def schema_of(record: str) -> Schema:
    """The schema of a record, with meaning, unit and an example of every field.

    Times and dates are texts there, as JSON has no others. Raises KeyError for a record that there
    is not.
    """
    model = RECORDS[record]
    title = next(file.title for file in FILES if file.model is model)
    found: Schema = model.model_json_schema()
    inner: Schema = found.get("$defs", {})
    models = {one.__name__: one for one in _models(model)}
    for section in sections(model):
        one = inner.get(section.name, found)
        one["description"] = section.text
        for field in section.fields:
            _explain(one["properties"][field.name], field, models[section.name])
    return {"$schema": DIALECT, **found, "title": title}


def every_schema() -> dict[str, Schema]:
    """All schemas by the names of their files."""
    return {schema_file(record): schema_of(record) for record in RECORDS}


def _models(model: type[BaseModel]) -> list[type[BaseModel]]:
    from sitegen.model.examples import records_of

    found = [model]
    for one in found:
        for info in one.model_fields.values():
            found += [inner for inner in records_of(info.annotation) if inner not in found]
    return found


def _explain(schema: Schema, field: FieldText, model: type[BaseModel]) -> None:
    unit = f" ({field.unit})" if field.unit else ""
    schema["description"] = f"{field.meaning}{unit}"
    schema["examples"] = [as_json(example(model, field.name))]


def as_json(value: object) -> object:
    """A value of TOML as JSON writes it: times and dates as texts."""
    if isinstance(value, Mapping):
        return {key: as_json(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(entry) for entry in value]
    return value.isoformat() if isinstance(value, date) else value
