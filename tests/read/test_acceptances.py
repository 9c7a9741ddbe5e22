"""Acceptances as they are read, and a campaign that has no wafers."""

import shutil
from pathlib import Path

import numpy as np

from sitegen.read import read_campaign
from tests.campaigns import FREQUENCY_HZ, acceptance_of_tiny
from tests.campaigns_broken.cases import CAMPAIGN, VERIFICATION, replace
from tests.campaigns_broken.verification_cases import ACCEPTANCE

SECOND_STATION = """
[[stations]]
id = "ST2"
name = "another station"
place = "room 2 (invented)"

[[stations.instruments]]
id = "VNA1"
kind = "vna"
model = "V"
serial_number = "2"
certificate = "C-2"
due = 2027-01-01
clock_offset_s = 0.0
clock_offset_u_s = 1.0
"""


def one_port_reflection(folder: Path, name: str, factor: float) -> None:
    """A structure of one port in place of the line, measured and as its reference."""
    for file in ("line.s1p", "line-reference.s1p"):
        rows = "".join(f"{frequency:.1f} {factor} 0.0\n" for frequency in FREQUENCY_HZ)
        (folder / "verifications" / name / file).write_text(f"# Hz S RI R 50\n{rows}")
    for file in ("line.s2p", "line-reference.s2p"):
        (folder / "verifications" / name / file).unlink()
    record = f"verifications/{name}/record.toml"
    replace(record, '"line.s2p"', '"line.s1p"')(folder)
    replace(record, '"line-reference.s2p"', '"line-reference.s1p"')(folder)
    replace(record, 'parameter = "s21"', 'parameter = "s11"')(folder)


def test_an_acceptance_is_read_with_its_note_and_sources(tiny: Path) -> None:
    acceptance_of_tiny(tiny)
    (tiny / "acceptances/ACC1/note.md").write_text("Both agreed.\n")
    campaign, faults = read_campaign(tiny)
    assert faults == ()
    (acceptance,) = campaign.acceptances
    assert (acceptance.record.factory, acceptance.record.site) == ("VER1", "VER2")
    assert acceptance.note is not None and acceptance.note.subject == "acceptance ACC1"
    assert [one.path for one in acceptance.sources] == [
        "acceptances/ACC1/note.md",
        "acceptances/ACC1/record.toml",
    ]


def test_an_unknown_verification_leaves_the_acceptance_in_the_record(tiny: Path) -> None:
    acceptance_of_tiny(tiny)
    replace(ACCEPTANCE, 'site = "VER2"', 'site = "VER9"')(tiny)
    campaign, faults = read_campaign(tiny)
    assert len(faults) == 1 and len(campaign.acceptances) == 1


def test_verifications_of_another_station_are_told_one_by_one(tiny: Path) -> None:
    acceptance_of_tiny(tiny)
    path = tiny / CAMPAIGN
    path.write_text(
        path.read_text().replace("[layout]", SECOND_STATION + "\n[layout]"), encoding="utf-8"
    )
    replace(ACCEPTANCE, 'station = "ST1"', 'station = "ST2"')(tiny)
    campaign, faults = read_campaign(tiny)
    assert [(fault.place, fault.found) for fault in faults] == [
        ("factory", '"VER1", made on station "ST1"'),
        ("site", '"VER2", made on station "ST1"'),
    ]
    assert len(campaign.acceptances) == 1


def test_a_transmission_is_not_asked_of_one_port(tiny: Path) -> None:
    acceptance_of_tiny(tiny)
    for name in ("VER1", "VER2"):
        one_port_reflection(tiny, name, 0.5)
    _, faults = read_campaign(tiny)
    assert [(fault.file, fault.place) for fault in faults] == [
        (ACCEPTANCE, "differences[1].mask.parameter"),
        (ACCEPTANCE, "performance[1].parameter"),
    ]
    assert all("1 port" in fault.found for fault in faults)


def test_further_contacts_stand_beside_the_sweep(tiny: Path) -> None:
    folder = tiny / "verifications/VER1"
    shutil.copy(folder / "line.s2p", folder / "again.s2p")
    replace(VERIFICATION, 'file = "line.s2p"', 'file = "line.s2p"\nrepeats = ["again.s2p"]')(tiny)
    campaign, faults = read_campaign(tiny)
    assert faults == ()
    structure = campaign.verifications[0].structures[0]
    assert structure.sweep is not None and len(structure.repeats) == 1
    assert np.array_equal(structure.repeats[0].s, structure.sweep.s)


def without_wafers(tiny: Path) -> None:
    """A station that is accepted and followed, with nothing measured on it yet."""
    shutil.rmtree(tiny / "wafers")
    text = (tiny / CAMPAIGN).read_text()
    for first, after in (("[layout]", "[["), ("[[plan.wafers]]", None)):
        start = text.index(first)
        stop = len(text) if after is None else text.index(after, start)
        text = text[:start] + text[stop:]
    for table in ("conditions", "devices", "parameters"):
        while f"[[{table}]]" in text:
            start = text.index(f"[[{table}]]")
            stop = text.find("\n[[", start + 1)
            text = text[:start] + (text[stop + 1 :] if stop > 0 else "")
    (tiny / CAMPAIGN).write_text(text, encoding="utf-8")


def test_a_campaign_without_wafers_is_read(tiny: Path) -> None:
    acceptance_of_tiny(tiny)
    without_wafers(tiny)
    campaign, faults = read_campaign(tiny)
    assert faults == ()
    assert campaign.wafers == () and campaign.record.layout is None
    assert len(campaign.acceptances) == 1 and len(campaign.verifications) == 2
