"""Each way in which a record can be refused, in plain words and with its place."""

from pathlib import Path

import pytest

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.toml_file import read_record
from tests.campaigns import CALIBRATION, CAMPAIGN, WAFER


def faults_of(folder: Path, text: str, model: type) -> list[Fault]:
    (folder / "record.toml").write_text(text, encoding="utf-8")
    intake = Intake(folder)
    assert (read_record(intake, "record.toml", model, "a record") is None) == bool(intake.faults)
    return intake.faults


REFUSED = (
    # changed text, its new text, place, found, expected
    (CAMPAIGN, "edition = 1\n", "edition = 0\n", 'campaign.edition (id "TINY")', "0",
     "not less than 1"),
    (CAMPAIGN, "edition = 1\n", "edition = 1.0\n", "campaign.edition", "1", "a whole number"),
    (CAMPAIGN, "simulated = true", "simulated = 1", "campaign.simulated", "1", "true or false"),
    (CAMPAIGN, "2026-03-03", '"2026-03-03"', "campaign.issued", '"2026-03-03"', "a date"),
    (CAMPAIGN, "2026-03-03", "2026-03-03T00:00:00", "campaign.issued", "2026-03-03T", "a date"),
    (CAMPAIGN, 'id = "TINY"', 'id = "-T"', 'campaign.id (id "-T")', '"-T"', "beginning with"),
    (CAMPAIGN, 'id = "TINY"', 'id = "T."', "campaign.id", '"T."', "must not end with a full stop"),
    (CAMPAIGN, 'id = "TINY"', f'id = "{"T" * 65}"', "campaign.id", "TTT", "at most 64 characters"),
    (CAMPAIGN, '"simple"', '"strict"', "decision.rule", '"strict"',
     '"simple", "guarded", "guarded rejection" or "non-binary"'),
    (CAMPAIGN, "diameter_mm = 100.0", "diameter_mm = 0", "layout.diameter_mm", "0",
     "greater than 0"),
    (CAMPAIGN, "diameter_mm = 100.0", "diameter_mm = nan", "layout.diameter_mm", "nan", "finite"),
    (CAMPAIGN, "diameter_mm = 100.0", 'diameter_mm = "x"', "layout.diameter_mm", '"x"', "a number"),
    (CAMPAIGN, "[0, 0]", "[0]", "layout.origin_die[2]", "no entry", "one more entry"),
    (CAMPAIGN, "[0, 0]", "[0, 0, 0]", "layout.origin_die", "3 entries", "at most 2 entries"),
    (CAMPAIGN, "[0, 0]", "0", "layout.origin_die", "0", "a list"),
    (CAMPAIGN, 'lower = 90.0', 'lowr = 90.0', 'parameters[3].lowr (id "FT")', '"lowr"', '"lower"'),
    (CAMPAIGN, 'unit = "nH"\n', "", 'parameters[4].unit (id "L")', 'no key "unit"',
     "'1' for a number"),
    (CAMPAIGN, "absolute = 1.0", "absolute = 1.0, relative = 0.1",
     'parameters[1].uncertainty[1] (id "VTH")', "do not go together", "exactly one of"),
    (CAMPAIGN, 'conditions = ["rf"]', "conditions = []", "parameters[4].conditions", "0 entries",
     "at least 1 entry"),
    (CAMPAIGN, 'id = "W1"', 'id = "W1"\ndies = "some"', 'plan.wafers[1].dies (id "W1")', '"some"',
     '"all" or a list'),
    (CAMPAIGN, 'id = "W1"', 'id = "W1"\ndies = [[0, 0], [0, "1"]]', "plan.wafers[1].dies[2][2]",
     '"1"', "a whole number"),
    (CAMPAIGN, 'figure = "inductance"', 'figure = "beauty"', "parameters[4].from_sweep.figure",
     '"beauty"', '"inductor quality"'),
    (CAMPAIGN, 'figure = "inductance"', 'figure = "inductanse"', "parameters[4].from_sweep.figure",
     '"inductanse"', "more"),
    (CALIBRATION, 'kind = "open"', 'kind = "opn"', "definitions.open.kind", '"opn"', '"open"'),
    (CALIBRATION, 'kind = "open", ', "", "definitions.open", 'no key "kind"', "what is described"),
    (CALIBRATION, "[4.0]", '["4"]', "definitions.open.capacitance_ff[1]", '"4"', "a number"),
    (CALIBRATION, "[4.0]", "[1, 2, 3, 4, 5]", "definitions.open.capacitance_ff", "5 entries",
     "at most 4 entries"),
    (CALIBRATION, 'between = "thru"', 'port_1 = "thru"\nbetween = "thru"', "sweeps[4]",
     "do not go together", "give either"),
    (CALIBRATION, '"thru.s2p"', '"/thru.s2p"', "sweeps[4].file", '"/thru.s2p"', "relative"),
    (CALIBRATION, '"thru.s2p"', '""', "sweeps[4].file", '""', "relative"),
    (CALIBRATION, '"thru.s2p"', '"a\\\\b.s2p"', "sweeps[4].file", "b.s2p", "forward slashes"),
    (CALIBRATION, "08:00:00Z", "08:00:00", "at", "2026-03-02T08:00:00", "its zone"),
    (CALIBRATION, "2026-03-02T08:00:00Z", "2026-03-02", "at", "2026-03-02", "date and zone"),
    (CALIBRATION, "2026-03-02T08:00:00Z", "08:00:00", "at", "08:00:00", "date and zone"),
    (CALIBRATION, 'by = "measuring engineer (invented)"', 'by = ""', "by", '""', "not empty"),
    (WAFER, 'lot = "TINY"', "lot = 7", "lot", "7", "a text in double quotes"),
    (WAFER, 'units = { VTH = "V", IOFF = "A", FT = "GHz" }', 'units = "V"', "values[1].units",
     '"V"', "a table of keys"),
    (WAFER, "die = [1, 0]", "die = [1, 2000000]", "reference_dies[3].die[2]", "2000000",
     "not greater than"),
)  # fmt: skip
MODELS = {CAMPAIGN: CampaignRecord, CALIBRATION: CalibrationRecord, WAFER: WaferRecord}


@pytest.mark.parametrize(("text", "old", "new", "place", "found", "expected"), REFUSED)
def test_one_sentence(
    tmp_path: Path, text: str, old: str, new: str, place: str, found: str, expected: str
) -> None:
    assert old in text
    faults = faults_of(tmp_path, text.replace(old, new, 1), MODELS[text])
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    assert faults[0].place.startswith(place)
    assert found in faults[0].found and expected in faults[0].expected
    assert faults[0].remedy.endswith(".")


def test_all_refusals_of_a_record_are_told_at_once(tmp_path: Path) -> None:
    text = CAMPAIGN.replace("edition = 1\n", "edition = 0\n").replace("simulated = true\n", "")
    text = text.replace('"simple"', '"strict"')
    assert len(faults_of(tmp_path, text, CampaignRecord)) == 3


def test_a_misspelt_key_hides_no_missing_one_elsewhere(tmp_path: Path) -> None:
    text = CAMPAIGN.replace('unit = "mV"', 'unti = "mV"').replace('unit = "nH"\n', "")
    found = [fault.found for fault in faults_of(tmp_path, text, CampaignRecord)]
    assert found == ['the unknown key "unti"', 'no key "unit"']


def test_of_many_choices_the_nearest_is_told(tmp_path: Path) -> None:
    text = CAMPAIGN.replace('figure = "inductance"', 'figure = "inductanse"')
    (fault,) = faults_of(tmp_path, text, CampaignRecord)
    assert fault.remedy == 'Write "inductance" if that is meant.' and len(fault.expected) < 400


@pytest.mark.parametrize(
    ("content", "place", "found"),
    [
        (b"a = 1\nb = = 2\n", "line 2, column 5", "invalid value"),
        (b"a = 1\na = 2\n", "line 2, column 6", "overwrite"),
        (b'a = 1\nb = "\xff"\n', "line 2", "not UTF-8"),
        (b"a = \x00", "line 1", "not UTF-8"),
        (b"\xff\xfea\x00", "line 1", "not UTF-8"),
        (b"a = " + b"[" * 5000, "", "nested too deeply"),
        (b"a = " + b"9" * 5000, "", "not TOML"),
    ],
)
def test_what_is_not_toml(tmp_path: Path, content: bytes, place: str, found: str) -> None:
    (tmp_path / "record.toml").write_bytes(content)
    intake = Intake(tmp_path)
    assert read_record(intake, "record.toml", WaferRecord, "a record") is None
    assert [fault.place for fault in intake.faults] == [place]
    assert found in intake.faults[0].found
