"""Columns of mapping.toml whose numbers become numbers with a unit: it must be stated somewhere."""

from pathlib import Path

import pytest

from sitegen.model.campaign import CampaignRecord
from sitegen.read.files import Intake
from sitegen.read.foreign.mapping import read_mapping
from sitegen.read.toml_file import read_record
from tests.device_campaign import device_campaign

ALL = "{ theirs = 'x', ours = 'die_x' }, { theirs = 'y', ours = 'die_y' }"
VALUES = """
[[sources]]
id = "table"
files = "{wafer}.csv"
folder = "tables"
holds = "values"
constants = { condition = "sat", device = "FET", parameter = "VTH" }
time_zone = "UTC"
"""
CURVES = VALUES.replace('"values"', '"curves"').replace('parameter = "VTH"', 'curve = "TRANSFER"')
TOUCHDOWNS = VALUES.replace('"values"', '"touchdowns"').replace('condition = "sat", ', "")
TOUCHDOWNS = TOUCHDOWNS.replace(', parameter = "VTH"', "")
SWEEPS = VALUES.replace('"values"', '"sweeps"\nsweep = "raw"').replace(', parameter = "VTH"', "")


def told(folder: Path, head: str, *columns: str) -> list[str]:
    """What is told of a source with a place, a time and these columns."""
    campaign_folder = device_campaign(folder)
    listed = ", ".join([ALL, "{ theirs = 'at', ours = 'time' }", *columns])
    (campaign_folder / "mapping.toml").write_text(f"{head}columns = [{listed}]\n", "utf-8")
    intake = Intake(campaign_folder)
    campaign = read_record(intake, "campaign.toml", CampaignRecord, "the campaign")
    assert campaign is not None
    mapping = read_mapping(intake, campaign)
    assert mapping is not None
    assert len(mapping.record.sources) == (not intake.faults)
    return [fault.sentence() for fault in intake.faults]


@pytest.mark.parametrize(
    ("head", "ours", "unit"),
    [
        (CURVES, "vg_v", "V"),
        (CURVES, "id_a", "A"),
        (CURVES, "id_a_again", "A"),
        (CURVES, "integration_s", "s"),
        (VALUES, "bias_vgs_v", "V"),
        (VALUES, "contact_resistance_ohm", "Ω"),
        (TOUCHDOWNS, "contact_resistance_ohm", "Ω"),
        (TOUCHDOWNS, "overtravel_um", "µm"),
        (TOUCHDOWNS, "pad_leakage_a", "A"),
        (SWEEPS, "frequency_hz", "Hz"),
    ],
)
def test_numbers_without_a_unit_are_refused(
    head: str, ours: str, unit: str, tmp_path: Path
) -> None:
    value = ("{ theirs = 'V', ours = 'value' }",) if head == VALUES else ()
    column = f"theirs = 'their {ours}', ours = '{ours}'"
    (sentence,) = told(tmp_path / "1", head, *value, f"{{ {column} }}")
    place = f"sources[1].columns[{len(value) + 4}]"
    assert f'mapping.toml, {place}: found no unit for the column "their {ours}"' in sentence
    assert "expected its unit, as nothing is guessed" in sentence
    assert f"State unit = '{unit}' or whatever its numbers are in" in sentence
    assert told(tmp_path / "2", head, *value, f"{{ {column}, unit = '{unit}' }}") == []
    in_line = head + f"{'dialect = { units_line = 2 }'}\n"
    assert told(tmp_path / "3", in_line, *value, f"{{ {column} }}") == []
    parquet = head.replace("{wafer}.csv", "{wafer}.parquet")
    assert told(tmp_path / "4", parquet, *value, f"{{ {column} }}") == []


@pytest.mark.parametrize("name", ["VG [mV]", "VG (mV)", "VG/mV", "VG [V]", "VG (V)"])
def test_a_unit_in_the_name_is_stated(name: str, tmp_path: Path) -> None:
    assert told(tmp_path, CURVES, f"{{ theirs = '{name}', ours = 'vg_v' }}") == []


@pytest.mark.parametrize("name", ["VG", "VG [gate]", "VG/X", "I/V", "VG mV"])
def test_a_name_that_states_no_unit_for_sure(name: str, tmp_path: Path) -> None:
    """'I/V' may be a quotient of two quantities."""
    (sentence,) = told(tmp_path, CURVES, f"{{ theirs = '{name}', ours = 'vg_v' }}")
    assert f'no unit for the column "{name}"' in sentence


@pytest.mark.parametrize(
    "column",
    [
        "ours = 'temperature_c'",
        "ours = 'in_compliance'",
        "ours = 'touchdown'",
        "ours = 'range'",
    ],
)
def test_what_has_no_unit_or_degrees_celsius_needs_none(column: str, tmp_path: Path) -> None:
    assert told(tmp_path, CURVES, f"{{ theirs = 'a', {column} }}") == []


def test_reflections_and_values_need_none(tmp_path: Path) -> None:
    """S-parameters have no unit; the values' is that of the parameter where nothing states one."""
    assert told(tmp_path / "1", SWEEPS, "{ theirs = 'a', ours = 's11_re' }") == []
    assert told(tmp_path / "2", VALUES, "{ theirs = 'a', ours = 'value' }") == []
