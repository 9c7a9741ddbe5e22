"""The reference says something of every field of every record, and parses as Markdown."""

import re
import tomllib
from typing import get_args

import pytest
from markdown_it import MarkdownIt
from pydantic import BaseModel

from sitegen.model import tables
from sitegen.model.curve_figures import CurveFigureName
from sitegen.model.figures import FigureName
from sitegen.model.mapping import FIELDS
from sitegen.render.fields import FILES, RecordFile, sections
from sitegen.render.reference import reference_markdown, view


def models(model: type[BaseModel]) -> set[str]:
    """Names of a model and of every model inside it, from the JSON Schema that pydantic makes."""
    return {model.__name__, *model.model_json_schema().get("$defs", {})}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.title)
def test_every_record_and_field_is_there(file: RecordFile) -> None:
    found = sections(file.model)
    assert {section.name for section in found} == models(file.model)
    definitions = file.model.model_json_schema().get("$defs", {})
    for section in found:
        schema = definitions.get(section.name) or file.model.model_json_schema()
        assert [field.name for field in section.fields] == list(schema["properties"])
        needed = {field.name for field in section.fields if field.default == "required"}
        assert needed == set(schema.get("required", ()))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.title)
def test_every_field_has_a_type_and_a_meaning(file: RecordFile) -> None:
    for section in sections(file.model):
        assert section.text and section.key
        for field in section.fields:
            assert field.type and field.meaning and field.default
            assert "Annotated" not in field.type and "typing" not in field.type, field


def test_choices_units_and_bounds_are_told() -> None:
    fields = {
        (section.name, field.name): field
        for file in FILES
        for section in sections(file.model)
        for field in section.fields
    }
    assert fields["Decision", "rule"].type == (
        "'simple' or 'guarded' or 'guarded rejection' or 'non-binary'"
    )
    assert fields["Decision", "guard_factor"].default == "1"
    assert fields["Layout", "die_pitch_x_mm"].unit == "mm"
    assert fields["Layout", "die_pitch_x_mm"].type == "number, greater than 0"
    assert fields["Layout", "origin_die"].type == "[whole number, whole number]"
    assert fields["StationState", "source_power_dbm"].unit == "dBm"
    assert fields["Validity", "hours"].unit == "h"
    assert fields["CalibrationRecord", "at"].type == "time with zone"
    assert fields["CampaignRecord", "layout"].default == "none"
    assert fields["Floor", "floor_a"].type == "number, greater than 0"
    assert fields["Parameter", "temperature_coefficient_per_c"].unit == "per °C"
    assert fields["FromCurve", "current_window_a"].unit == "A"


def test_every_figure_is_listed_with_what_it_needs() -> None:
    pages = {file.title: file for file in view().files}
    for title, names in (
        ("Figures from sweeps", get_args(FigureName)),
        ("Figures from curves", get_args(CurveFigureName)),
    ):
        (table,) = pages[title].tables
        assert sorted(row.head.sort for row in table.rows) == sorted(names)
    told = {row.head.sort: [cell.text for cell in row.cells] for row in table.rows}
    assert told["threshold by Y-function"][:3] == ["V", "swept_window", "current over voltage"]


def test_every_field_shows_an_example_that_is_toml() -> None:
    for file in FILES:
        for section in sections(file.model):
            for field in section.fields:
                heading = re.fullmatch(r"\[+([A-Za-z_.]+)\]+", field.example)
                if heading is None:
                    assert list(tomllib.loads(f"key = {field.example}")) == ["key"]
                else:
                    assert heading[1].split(".")[-1] == field.name
                    assert tomllib.loads(field.example)
    for page in view().files[: len(FILES)]:
        for table in page.tables:
            assert table.columns[-1].heading == "Example"
            assert all("<code>" in row.cells[-1].text for row in table.rows)


def test_the_fields_of_a_mapping_are_listed() -> None:
    (table,) = next(file for file in view().files if file.title == "Fields of a mapping").tables
    assert [row.head.sort for row in table.rows] == list(FIELDS)


def test_every_column_of_a_table_is_there() -> None:
    pages = {file.id: file for file in view().files}
    for name, columns in (
        ("value-table", tables.VALUE_COLUMNS),
        ("sweep-table", tables.SWEEP_COLUMNS),
        ("curve-table", tables.CURVE_COLUMNS),
        ("touchdown-table", tables.TOUCHDOWN_COLUMNS),
        ("reported-terms", tables.REPORTED_TERM_COLUMNS),
    ):
        (table,) = pages[name].tables
        assert [row.head.sort for row in table.rows] == [column.name for column in columns]


def test_the_markdown_has_a_table_for_each_section() -> None:
    parser = MarkdownIt("commonmark").enable("table")
    tokens = parser.parse(reference_markdown())
    lists_and_tables = len(view().files) - len(FILES)
    wanted = sum(len(sections(file.model)) for file in FILES) + lists_and_tables
    assert sum(token.type == "table_open" for token in tokens) == wanted
