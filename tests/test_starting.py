"""New records build as they are, say what is still blank, and every example in them is right."""

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from sitegen import addresses, starting
from sitegen.build import build
from sitegen.checking import check
from sitegen.cli import main
from sitegen.commented import uncommented
from sitegen.model.base import BLANK, is_identifier
from sitegen.model.blanks import blanks_of
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.mapping import MappingRecord
from sitegen.model.verification import VerificationRecord
from sitegen.model.wafer import WaferRecord
from sitegen.problems import TO_FILL_IN, NotACampaign
from sitegen.read.calibration_methods import check_method
from sitegen.read.files import Intake
from sitegen.render.fields import FILES, sections
from tests.campaigns import CAMPAIGN
from tests.conftest import quiet
from tests.model.test_examples import frozen

HERE = starting.new_campaign("LOT 7")
METHODS = tuple(starting.STANDARDS_OF)


def parsed(text: str) -> dict[str, object]:
    return tomllib.loads(text)


def whole_campaign() -> CampaignRecord:
    """A new campaign with every example in it live."""
    text = uncommented(starting.campaign_text("LOT 7"))
    return CampaignRecord.model_validate(frozen(parsed(text)))


def new(folder: Path, *options: str) -> str:
    done = CliRunner().invoke(main, ["new", str(folder), *options])
    assert done.exit_code == 0, done.output
    return done.output


def test_a_new_campaign_builds_as_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "LOT 7 (March)"
    said = new(folder)
    assert "written: campaign.toml\nwritten: mapping.toml\n" in said
    report = build(folder, tmp_path / "out", quiet, workers=1)
    assert report.faults == ()
    assert report.campaign.campaign.id == "LOT-7-March"
    assert report.campaign.campaign.title == "LOT 7 (March)"
    home = (tmp_path / "out" / "index.html").read_text("utf-8")
    assert '<dd><span class="blank">to fill in</span></dd>' in home
    assert BLANK not in re.sub(r"<script.*?</script>", "", home, flags=re.S)
    assert "edition 1, not dated" in home


def test_a_new_wafer_builds_before_there_is_a_layout_and_after(tmp_path: Path) -> None:
    folder = tmp_path / "LOT7"
    new(folder, "--wafer", "W01")
    report = build(folder, tmp_path / "out", quiet, workers=1)
    assert report.faults == ()
    assert {finding.kind for finding in report.findings} == {TO_FILL_IN, "wafer without a layout"}
    layout = re.search(r"^#\[layout\]$.*?(?=^#\[layout\.)", text_of(folder), re.M | re.S)
    assert layout is not None
    record = folder / "campaign.toml"
    record.write_text(text_of(folder).replace(layout[0], uncommented(layout[0])), "utf-8")
    report = build(folder, tmp_path / "out", quiet, workers=1)
    assert report.faults == ()
    assert [one.subject for one in report.findings if one.kind == TO_FILL_IN] == [
        "campaign",
        "wafer W01",
    ]
    assert "wafer without a layout" not in {finding.kind for finding in report.findings}
    page = (tmp_path / "out" / "wafers" / "W01" / "index.html").read_text("utf-8")
    assert '<span class="blank">to fill in</span>' in page
    assert "Measured, as stamped</dt><dd>not stated" in page


def text_of(folder: Path) -> str:
    return (folder / "campaign.toml").read_text("utf-8")


def test_what_is_blank_is_one_finding_a_record(tmp_path: Path) -> None:
    folder = tmp_path / "LOT7"
    new(folder, "--wafer", "W01")
    report = build(folder, tmp_path / "out", quiet, workers=1)
    told = {one.subject: one for one in report.findings if one.kind == TO_FILL_IN}
    assert set(told) == {"campaign", "wafer W01"}
    assert told["wafer W01"].text == (
        "The record of wafer W01 has 3 entries to fill in: identity_read, lot, by."
    )
    assert {one.weight for one in told.values()} == {"attention"}
    keys = blanks_of(report.campaign)
    assert keys[:2] == ("campaign.requested_by", "campaign.responsible")
    assert "stations[1].instruments[2].certificate" in keys
    assert f"has {len(keys)} entries to fill in: {', '.join(keys)}." in told["campaign"].text
    for page in (addresses.HOME, addresses.PROBLEMS):
        shown = re.sub(r"<[^>]+>", "", (tmp_path / "out" / page).read_text("utf-8"))
        assert all(one.text in shown for one in told.values())


def test_a_blank_may_say_more_and_other_texts_are_none(tmp_path: Path) -> None:
    record = HERE.campaign.model_copy(
        update={
            "requested_by": f"{BLANK}: ask Anna",
            "responsible": f"Anna, {BLANK}",
            **dict.fromkeys(("authorised_by", "laboratory", "place"), "known"),
        }
    )
    assert blanks_of(record) == ("requested_by",)


def test_a_record_that_is_filled_in_has_no_such_finding(tiny: Path, tmp_path: Path) -> None:
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert TO_FILL_IN not in {finding.kind for finding in report.findings}
    assert 'class="blank"' not in (tmp_path / "out" / "index.html").read_text("utf-8")


def test_every_example_of_a_new_campaign_holds_with_the_others(tmp_path: Path) -> None:
    folder = tmp_path / "LOT7"
    new(folder)
    text = text_of(folder)
    (folder / "campaign.toml").write_text(uncommented(text), "utf-8")
    assert check(folder, quiet).faults == ()
    record = whole_campaign()
    assert record.devices[0].deembedding is not None and record.handover is not None


CAMPAIGN_TEXT = starting.campaign_text("LOT 7")
OPTIONAL = tuple(
    dict.fromkeys(
        re.findall(r"^#\[+((?:stations|touchdowns)\.[a-z_]+|[a-z]+)", CAMPAIGN_TEXT, re.M)
    )
)


def test_every_optional_section_of_the_campaign_is_offered() -> None:
    optional = {
        name for name, field in CampaignRecord.model_fields.items() if not field.is_required()
    }
    assert optional | {"stations.probes", "stations.floors", "touchdowns.checks"} <= set(OPTIONAL)


@pytest.mark.parametrize("section", OPTIONAL)
def test_each_section_of_a_new_campaign_can_be_uncommented_by_itself(section: str) -> None:
    """Its heading with all that follows until another section begins."""
    mine, lines = False, []
    for line in CAMPAIGN_TEXT.splitlines():
        heading = re.match(r"#?\[+([^]]+)\]", line)
        if heading is not None:
            mine = f"{heading[1]}.".startswith(f"{section}.")
        lines.append(uncommented(line) if mine else line)
    live, before = parsed("\n".join(lines)), parsed(CAMPAIGN_TEXT)
    assert live != before
    CampaignRecord.model_validate(frozen(live))


@pytest.mark.parametrize("method", [*METHODS, None])
def test_the_examples_of_a_calibration_are_what_its_method_needs(
    method: str | None, tmp_path: Path
) -> None:
    text = starting.calibration_text("CAL1", HERE, method)
    assert parsed(text).get("method") == method
    record = CalibrationRecord.model_validate(frozen(parsed(uncommented(text))))
    intake, missing = Intake(tmp_path), list[str]()
    check_method(intake, "record.toml", record, missing)
    assert (missing, intake.faults) == ([], [])


def test_the_method_choices_are_those_of_the_record() -> None:
    annotation = CalibrationRecord.model_fields["method"].annotation
    assert set(METHODS) == set(getattr(annotation, "__args__", ()))


def test_the_examples_of_the_other_records_hold() -> None:
    campaign = whole_campaign()
    for model, text in (
        (WaferRecord, starting.wafer_text("W01", campaign, None, None)),
        (VerificationRecord, starting.verification_text("VER1", campaign, ["CAL1"])),
        (MappingRecord, starting.mapping_text()),
    ):
        model.model_validate(frozen(parsed(uncommented(text))))
    assert MappingRecord.model_validate(parsed(starting.mapping_text())) == MappingRecord()


def test_a_wafer_begins_with_what_is_known() -> None:
    at = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
    live = parsed(starting.wafer_text("W01", HERE, at, None))
    assert live == {
        "id": "W01",
        "identity_read": BLANK,
        "lot": BLANK,
        "by": BLANK,
        "station": "ST1",
        "started": at,
        "rf_instrument": "VNA1",
        "dc_instrument": "SMU1",
    }
    record = WaferRecord.model_validate(frozen(live))
    assert (record.finished, record.ambient_c, record.thermal) == (None, None, ())


def test_nothing_is_chosen_where_there_is_a_choice() -> None:
    station = HERE.stations[0]
    two = HERE.model_copy(update={"stations": (station, station.model_copy(update={"id": "ST2"}))})
    text = starting.wafer_text("W01", two, None, None)
    assert not {"station", "rf_instrument"} & set(parsed(text))
    assert '#station = "ST1"' in text
    doubled = station.model_copy(update={"instruments": station.instruments * 2})
    live = parsed(
        starting.wafer_text("W01", HERE.model_copy(update={"stations": (doubled,)}), None, None)
    )
    assert live["station"] == "ST1" and "rf_instrument" not in live


def test_thermal_examples_have_the_campaigns_set_points_and_are_not_live() -> None:
    campaign = CampaignRecord.model_validate(frozen(parsed(CAMPAIGN)))
    text = starting.wafer_text("W01", campaign, None, None)
    assert "thermal" not in parsed(text)
    (only,) = WaferRecord.model_validate(frozen(parsed(uncommented(text)))).thermal
    assert only.set_point_c == 25.0
    (state,) = WaferRecord.model_validate(frozen(parsed(uncommented(text)))).states
    assert (state.probes, state.cables) == (("P1", "P2"), ("C1",))


def test_touchstone_files_are_named_and_what_they_show_stays_open(tiny: Path) -> None:
    record = tiny / "calibrations/CAL1/record.toml"
    record.unlink()
    new(tiny, "--calibration", "CAL1", "--method", "SOLT")
    live = parsed(record.read_text("utf-8"))
    names = ["load-again.s2p", "load.s2p", "open.s2p", "short.s2p", "thru.s2p"]
    assert live["sweeps"] == [{"file": name} for name in names]
    shared = ("reference_impedance_ohm", "frequency_start_hz", "frequency_stop_hz")
    assert [live[key] for key in shared] == [50.0, 1e9, 11e9] and live["frequency_points"] == 11
    lacking = {
        fault.place
        for fault in check(tiny, quiet).faults
        if fault.file.endswith("CAL1/record.toml")
    }
    assert {"at", "ambient_c", "state.probes", "definitions"} <= lacking
    unknown = {"averaging", "substrate_c", "overtravel_um", "state.source_power_dbm"}
    assert not unknown & lacking, "what nobody knows may stay an example"
    assert any(place.startswith("sweeps[5]") for place in lacking)


@pytest.mark.parametrize(
    "change", [("R 50", "R 75"), ("11000000000.0 ", "12000000000.0 "), ("# Hz", "# furlongs")]
)
def test_what_the_files_do_not_share_stays_open(tiny: Path, change: tuple[str, str]) -> None:
    (tiny / "calibrations/CAL1/record.toml").unlink()
    file = tiny / "calibrations/CAL1/open.s2p"
    text = file.read_text("utf-8")
    assert change[0] in text
    file.write_text(text.replace(*change), "utf-8")
    new(tiny, "--calibration", "CAL1")
    live = parsed((tiny / "calibrations/CAL1/record.toml").read_text("utf-8"))
    assert "sweeps" in live and not {"frequency_points", "frequency_stop_hz"} & set(live)


def test_a_verification_names_the_one_calibration_and_a_structure_a_file(tiny: Path) -> None:
    record = tiny / "verifications/VER1/record.toml"
    record.unlink()
    new(tiny, "--verification", "VER1")
    live = parsed(record.read_text("utf-8"))
    assert live["calibration"] == "CAL1"
    assert live["structures"] == [
        {"id": name, "description": BLANK, "file": f"{name}.s2p"}
        for name in ("line-reference", "line")
    ]


def test_nothing_that_is_there_is_changed(tiny: Path) -> None:
    before = {file: file.read_bytes() for file in tiny.rglob("*") if file.is_file()}
    said = new(tiny, "--wafer", "W1", "--wafer", "W2")
    assert "kept as it is: wafers/W1/wafer.toml" in said
    assert "written: wafers/W2/wafer.toml" in said
    assert all(file.read_bytes() == content for file, content in before.items())
    assert (tiny / ".schemas/wafer.schema.json").is_file()
    assert not (tiny / ".schemas/campaign.schema.json").exists()
    assert not (tiny / "mapping.toml").exists()
    assert check(tiny, quiet).faults == ()


def test_the_first_line_leads_to_the_schema(tmp_path: Path) -> None:
    folder = tmp_path / "LOT7"
    new(folder, "--wafer", "W01", "--calibration", "CAL1", "--verification", "VER1")
    records = list(folder.rglob("*.toml"))
    assert len(records) == 5
    for file in records:
        first = file.read_text("utf-8").partition("\n")[0]
        assert (file.parent / first.removeprefix("#:schema ")).resolve().is_file()


@pytest.mark.parametrize("name", ["CON", "AUX", "NUL", "COM1", "lpt9.x"])
def test_a_folder_named_like_a_device_becomes_a_campaign(name: str, tmp_path: Path) -> None:
    new(tmp_path / name)
    assert check(tmp_path / name, quiet).faults == ()
    assert is_identifier(starting.legal_id(name, "structure"))


@pytest.mark.parametrize("kind", ["wafer", "calibration", "verification"])
def test_ids_that_differ_by_capitals_only_are_refused(kind: str, tmp_path: Path) -> None:
    folder = tmp_path / "LOT7"
    options = [f"--{kind}", "A1", f"--{kind}", "a1"]
    done = CliRunner().invoke(main, ["new", str(folder), *options])
    assert done.exit_code == 2 and not folder.exists()
    assert f'The {kind}s "A1" and "a1" differ by capitals only.' in done.output
    new(folder, f"--{kind}", "A1", f"--{kind}", "A1")
    done = CliRunner().invoke(main, ["new", str(folder), f"--{kind}", "a1"])
    assert done.exit_code == 2 and f"capitals only from {kind}s/A1" in done.output
    assert [path.name for path in (folder / f"{kind}s").iterdir()] == ["A1"]
    assert f"kept as it is: {kind}s/A1/" in new(folder, f"--{kind}", "A1")


def test_a_wafer_may_be_spelled_like_a_calibration(tmp_path: Path) -> None:
    new(tmp_path / "LOT7", "--wafer", "A1", "--calibration", "a1")


def test_the_help_says_which_records_build_as_they_are() -> None:
    said = " ".join(CliRunner().invoke(main, ["new", "--help"]).output.split())
    assert "Those of a campaign and of a wafer build as they are;" in said
    assert "what a calibration or a verification still needs, 'sitegen check' tells." in said


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--wafer", "W 1"], '"W 1" is no id: it may have letters'),
        (["--calibration", "../x"], '"../x" is no id'),
        (["--wafer", "W1."], '"W1." is no id'),
    ],
)
def test_an_id_that_is_none_is_one_sentence(options: list[str], told: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["new", str(tmp_path / "LOT7"), *options])
    assert done.exit_code == 2 and told in done.output and "Nothing was written." in done.output
    assert not (tmp_path / "LOT7").exists()


def test_a_folder_with_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.odt").write_text("x", "utf-8")
    done = CliRunner().invoke(main, ["new", str(tmp_path)])
    assert done.exit_code == 2
    assert 'holds "letter.odt", which is no part of a campaign' in done.output
    done = CliRunner().invoke(main, ["new", str(tmp_path / "letter.odt")])
    assert done.exit_code == 2 and "is a file" in done.output
    assert [file.name for file in tmp_path.iterdir()] == ["letter.odt"]


def test_a_campaign_that_cannot_be_read_gets_nothing(tiny: Path) -> None:
    (tiny / "campaign.toml").write_text("[campaign\n", "utf-8")
    done = CliRunner().invoke(main, ["new", str(tiny), "--wafer", "W9"])
    assert done.exit_code == 2 and "campaign.toml" in done.output
    assert not (tiny / "wafers/W9").exists()


def test_a_wafer_with_tables_still_needs_a_layout(tiny: Path) -> None:
    record = tiny / "campaign.toml"
    text = re.sub(r"\[layout\].*?(?=\[\[)", "", record.read_text("utf-8"), flags=re.S)
    record.write_text(text, "utf-8")
    with pytest.raises(NotACampaign, match="layout"):
        check(tiny, quiet)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("LOT7", "LOT7"),
        ("Los 7, März", "Los-7-M-rz"),
        ("..", "campaign"),
        ("-x.", "x"),
        ("x" * 80, "x" * 64),
        ("ü", "campaign"),
        ("CON", "CON-campaign"),
        ("aux", "aux-campaign"),
        ("Nul.", "Nul-campaign"),
        ("COM1.lot 7", "COM1-campaign.lot-7"),
        ("PRN." + "x" * 80, "PRN-campaign." + "x" * 51),
        ("CONSOLE", "CONSOLE"),
    ],
)
def test_a_folders_name_becomes_an_id(name: str, made: str) -> None:
    assert starting.legal_id(name) == made
    assert starting.new_campaign(name).campaign.id == made


def test_a_comment_says_what_the_reference_says() -> None:
    """No second text: the meaning of each live key is the reference's."""
    model = next(file.model for file in FILES if file.title == "campaign.toml")
    identity = next(one for one in sections(model) if one.name == "Identity")
    text = starting.campaign_text("LOT7")
    for field in identity.fields:
        assert f"# {field.meaning}" in text
