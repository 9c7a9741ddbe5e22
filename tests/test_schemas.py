"""The schemas of the records are schemas, and say of records what the program says."""

import json
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from sitegen.cli import main
from sitegen.schemas_of_records import RECORDS, as_json, every_schema, schema_file, schema_of
from tests import campaigns

DEMO = Path(__file__).parent.parent / "campaigns_demo"
KINDS = {
    "campaign": "*/campaign.toml",
    "calibration": "*/calibrations/*/record.toml",
    "verification": "*/verifications/*/record.toml",
    "acceptance": "*/acceptances/*/record.toml",
    "wafer": "*/wafers/*/wafer.toml",
}
TINY = {
    "campaign": campaigns.CAMPAIGN,
    "calibration": campaigns.CALIBRATION,
    "verification": campaigns.VERIFICATION,
    "acceptance": campaigns.ACCEPTANCE,
    "wafer": campaigns.WAFER,
}


def validator(record: str) -> Draft202012Validator:
    return Draft202012Validator(
        schema_of(record), format_checker=Draft202012Validator.FORMAT_CHECKER
    )


def of_toml(text: str) -> Any:
    return as_json(tomllib.loads(text))


@pytest.mark.parametrize("record", RECORDS)
def test_it_is_a_schema_of_the_draft_that_it_names(record: str) -> None:
    schema = schema_of(record)
    assert schema["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("record", RECORDS)
def test_every_field_has_a_meaning_and_examples_that_it_accepts(record: str) -> None:
    schema = schema_of(record)
    for part in (schema, *schema["$defs"].values()):
        assert part["description"]
        for name, field in part["properties"].items():
            assert field["description"], name
            one = {**field, "$defs": schema["$defs"]}
            for example in field["examples"]:
                Draft202012Validator(one).validate(example)


@pytest.mark.parametrize("record", KINDS)
def test_the_demonstration_campaigns_records_are_valid(record: str) -> None:
    files = sorted(DEMO.glob(KINDS[record]))
    assert files
    check = validator(record)
    for file in files:
        check.validate(of_toml(file.read_text("utf-8")))


@pytest.mark.parametrize("record", TINY)
def test_a_key_too_many_or_too_few_is_refused(record: str) -> None:
    good, check = of_toml(TINY[record]), validator(record)
    check.validate(good)
    assert not check.is_valid({**good, "colour": "red"})
    for name in schema_of(record)["required"]:
        assert not check.is_valid({key: value for key, value in good.items() if key != name})


def test_what_the_reader_refuses_the_schema_refuses() -> None:
    good, check = of_toml(campaigns.CAMPAIGN), validator("campaign")
    for record, changes in (
        ("layout", {"diameter_mm": -1.0}),
        ("layout", {"diameter_mm": "100"}),
        ("decision", {"rule": "easy"}),
        ("campaign", {"id": "a b"}),
        ("campaign", {"edition": 0}),
        ("campaign", {"issued": "03.03.2026"}),
    ):
        bad = deepcopy(good)
        bad[record] |= changes
        assert check.is_valid(good) and not check.is_valid(bad)
    assert not check.is_valid({**good, "stations": []})


def test_units_and_defaults_are_told() -> None:
    layout = schema_of("campaign")["$defs"]["Layout"]["properties"]
    assert layout["die_pitch_x_mm"]["description"].endswith("(mm)")
    decision = schema_of("campaign")["$defs"]["Decision"]["properties"]
    assert decision["coverage_factor"]["default"] == 2.0


def test_the_command_prints_one_or_all_and_writes_files(tmp_path: Path) -> None:
    run = CliRunner()
    one = run.invoke(main, ["schema", "wafer"])
    assert one.exit_code == 0 and json.loads(one.output) == schema_of("wafer")
    all_of_them = run.invoke(main, ["schema"])
    assert json.loads(all_of_them.output) == every_schema()
    done = run.invoke(main, ["schema", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0
    assert {file.name for file in (tmp_path / "out").iterdir()} == {
        schema_file(record) for record in RECORDS
    }
    for record in RECORDS:
        written = (tmp_path / "out" / schema_file(record)).read_text("utf-8")
        assert json.loads(written) == schema_of(record)


def test_an_unknown_record_is_one_sentence() -> None:
    done = CliRunner().invoke(main, ["schema", "wafers"])
    assert done.exit_code == 2
    assert done.output == (
        '"wafers" is no record. Choose one of campaign, calibration, verification, acceptance,'
        " wafer, mapping.\n"
    )
