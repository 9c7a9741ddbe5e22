"""The campaign as a whole: what is gathered from which file, and what belongs beside a record."""

import hashlib
import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sitegen.model.loaded import Campaign
from sitegen.problems import Fault, NotACampaign
from sitegen.read import digest, read_campaign
from tests.campaigns import FREQUENCY_HZ, tiny_campaign
from tests.campaigns_broken.cases import CALIBRATION, CAMPAIGN, append, replace, write


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tiny_campaign(tmp_path)


def whole(folder: Path) -> Campaign:
    campaign, faults = read_campaign(folder)
    assert faults == (), [fault.sentence() for fault in faults]
    return campaign


def only_fault(folder: Path) -> Fault:
    _, faults = read_campaign(folder)
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    return faults[0]


def test_every_file_is_a_source_with_its_digest(folder: Path) -> None:
    campaign = whole(folder)
    on_disk = sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
    )
    assert [source.path for source in campaign.sources] == on_disk
    for source in campaign.sources:
        content = (folder / source.path).read_bytes()
        assert source.sha256 == hashlib.sha256(content).hexdigest() == digest(folder / source.path)
        assert source.size_bytes == len(content)
    beside = [source.path for source in campaign.calibrations[0].sources]
    assert beside and all(path.startswith("calibrations/CAL1/") for path in beside)


def test_notes_and_what_they_are_about(folder: Path) -> None:
    for place in ("calibrations/CAL1", "verifications/VER1", "wafers/W1", "."):
        (folder / place / "note.md").write_text(f"about {place}", encoding="utf-8")
    (folder / "README.md").write_text("not read", encoding="utf-8")
    (folder / "truth").mkdir()
    (folder / "truth/truth.toml").write_text("not read", encoding="utf-8")
    (folder / "wafers/.hidden.toml").write_text("not read", encoding="utf-8")
    (folder / "wafers/W1/photograph.jpg").write_bytes(b"not read")
    campaign = whole(folder)
    assert [note.file for note in campaign.notes] == ["note.md", "notes/purpose.md"]
    loaded = (campaign.calibrations[0].note, campaign.verifications[0].note)
    assert [note.subject for note in loaded if note] == ["calibration CAL1", "verification VER1"]
    note = campaign.wafers[0].note
    assert note is not None and (note.subject, note.markdown) == ("wafer W1", "about wafers/W1")


@pytest.mark.parametrize(
    "file", ["more.toml", "notes/deep/a.md", "wafers/W1/b.s2p", "calibrations/c.ts", "d.PARQUET"]
)
def test_files_that_nothing_refers_to(folder: Path, file: str) -> None:
    (folder / file).parent.mkdir(exist_ok=True)
    (folder / file).write_bytes(b"")
    assert only_fault(folder).file == file


def test_no_campaign_file(folder: Path) -> None:
    (folder / CAMPAIGN).unlink()
    (folder / "calibrations/CAL1/open.s2p").unlink()
    with pytest.raises(NotACampaign) as refusal:
        read_campaign(folder)
    first, second = refusal.value.faults
    assert (first.file, first.fatal) == (CALIBRATION, False)
    assert (second.file, second.found, second.fatal) == (CAMPAIGN, "no file", True)
    assert str(refusal.value) == f"{first.sentence()}; {second.sentence()}"


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(NotACampaign) as refusal:
        read_campaign(tmp_path / "nowhere")
    assert "no folder of this name" in str(refusal.value)


@pytest.mark.skipif(os.sep != "/", reason="needs a file system that allows such names")
def test_names_that_are_no_text(folder: Path) -> None:
    (folder / os.fsdecode(b"wafers/W1/\xff\n.toml")).write_bytes(b"")
    assert only_fault(folder).sentence().encode("utf-8")


SWITCH = 'switch_terms = { forward = "forward.s1p", reverse = "reverse.s1p" }\n'


def one_port(values: npt.NDArray[np.generic]) -> bytes:
    rows = zip(FREQUENCY_HZ, values, strict=False)
    return ("# Hz S RI\n" + "\n".join(f"{f} {v.real} {v.imag}" for f, v in rows)).encode()


def with_switch_terms(folder: Path, points: int) -> None:
    replace(CALIBRATION, 'wave_definition = "power"\n', f'wave_definition = "power"\n{SWITCH}')(
        folder
    )
    forward, reverse = np.arange(points) * 0.01j, np.arange(points) * 0.02
    write("calibrations/CAL1/forward.s1p", one_port(forward))(folder)
    write("calibrations/CAL1/reverse.s1p", one_port(reverse))(folder)


def test_switch_terms(folder: Path) -> None:
    with_switch_terms(folder, 11)
    calibration = whole(folder).calibrations[0]
    assert calibration.switch_forward is not None and calibration.switch_reverse is not None
    np.testing.assert_allclose(calibration.switch_forward, np.arange(11) * 0.01j)
    np.testing.assert_allclose(calibration.switch_reverse, np.arange(11) * 0.02)
    assert len(calibration.standards) == 4 and len(calibration.standards[2].repeats) == 1


def test_switch_terms_at_other_frequencies(folder: Path) -> None:
    with_switch_terms(folder, 10)
    campaign, faults = read_campaign(folder)
    assert [fault.file for fault in faults] == [
        "calibrations/CAL1/forward.s1p",
        "calibrations/CAL1/reverse.s1p",
    ]
    assert campaign.calibrations[0].switch_forward is None
    assert campaign.calibrations[0].missing == ("its switch terms could not be read",)


def with_reported_terms(folder: Path, change: int = 0) -> None:
    replace(
        CALIBRATION,
        'wave_definition = "power"\n',
        'wave_definition = "power"\nreported_terms = "terms.parquet"\n',
    )(folder)
    table = pa.table(
        {
            "frequency_hz": np.concatenate([FREQUENCY_HZ, FREQUENCY_HZ + change]),
            "term": ["e00"] * 11 + ["e11"] * 11,
            "re": np.arange(22.0),
            "im": -np.arange(22.0),
        }
    )
    pq.write_table(table, folder / "calibrations/CAL1/terms.parquet")


def test_reported_terms(folder: Path) -> None:
    with_reported_terms(folder)
    terms = whole(folder).calibrations[0].reported_terms
    assert terms is not None and list(terms) == ["e00", "e11"]
    np.testing.assert_array_equal(terms["e11"], np.arange(11, 22) * (1 - 1j))


def test_reported_terms_at_other_frequencies(folder: Path) -> None:
    with_reported_terms(folder, change=1000)
    fault = only_fault(folder)
    assert (fault.file, fault.place) == ("calibrations/CAL1/terms.parquet", 'term "e11"')
    calibration = read_campaign(folder)[0].calibrations[0]
    assert calibration.reported_terms is None
    assert calibration.missing == ()  # it can be solved without them


def test_the_record_states_other_frequencies_than_all_its_sweeps(folder: Path) -> None:
    replace(CALIBRATION, "frequency_points = 11", "frequency_points = 21")(folder)
    fault = only_fault(folder)
    assert (fault.file, fault.place) == (CALIBRATION, "frequency_points")
    assert "21 points from 1 GHz to 11 GHz" in fault.found
    assert "11 points from 1 GHz to 11 GHz" in fault.expected
    calibration = read_campaign(folder)[0].calibrations[0]
    assert len(calibration.standards) == 4 and len(calibration.missing) == 1


def test_ports_that_do_not_go_with_the_method(folder: Path) -> None:
    replace(CALIBRATION, 'method = "SOLT"', 'method = "SOLT"\nports = [2, 1]')(folder)
    assert only_fault(folder).place == "ports"


def test_every_contradiction_of_campaign_toml_is_told_at_once(folder: Path) -> None:
    replace(CAMPAIGN, 'instrument = "SMU1"', 'instrument = "SMU7"')(folder)
    replace(CAMPAIGN, "vgs_v = 0.6", "vgs = 0.6")(folder)
    replace(CAMPAIGN, 'unit = "nH"', 'unit = "nF"')(folder)
    append(CAMPAIGN, "dies = [[0, 0], [9, 9], [0, 0]]\n")(folder)
    with pytest.raises(NotACampaign) as refusal:
        read_campaign(folder)
    assert [fault.place for fault in refusal.value.faults] == [
        'conditions[2].bias (id "sat")',
        'parameters[4].unit (id "L")',
        'plan.wafers[1].dies[2] (id "W1")',
        'plan.wafers[1].dies[3] (id "W1")',
        "stations[1].floors[1].instrument",
    ]
