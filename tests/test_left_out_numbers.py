"""Numbers that nobody knows may be left out: pages say so, and no check is met by their absence."""

import re
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import pytest

from sitegen.build import build
from sitegen.checking import check
from sitegen.problems import Fault, Finding
from tests.campaigns import tiny_campaign
from tests.conftest import quiet

CALIBRATION = "calibrations/CAL1/record.toml"
VERIFICATION = "verifications/VER1/record.toml"
WAFER = "wafers/W1/wafer.toml"
CALIBRATION_PAGE = "calibrations/CAL1/index.html"
VERIFICATION_PAGE = "verifications/VER1/index.html"
WAFER_PAGE = "wafers/W1/index.html"
STATES = (CALIBRATION, VERIFICATION, WAFER)
CHECK = "contacts of this set of standards"
PROBE = '\n[[probe_use]]\nport = 1\nprobe = "P1"\ncontacts = 1240\ncontact_resistance_ohm = 0.12\n'


@dataclass(frozen=True)
class Number:
    """A number that may be left out, and what a page says with it and without."""

    key: str
    files: tuple[str, ...]
    page: str
    stated: str
    left_out: str


NUMBERS = (
    Number(
        "averaging", (CALIBRATION,), CALIBRATION_PAGE, "Averaging: 1|", "Averaging: not stated|"
    ),
    Number(
        "overtravel_um",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        "Overtravel: 50 µm|",
        "Overtravel: not stated|",
    ),
    Number(
        "probe_spacing_um",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        "Probe spacing: 150 µm|",
        "Probe spacing: not stated|",
    ),
    Number(
        "substrate_c",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        "Contact substrate: 23.5 °C|",
        "Contact substrate: not stated|",
    ),
    Number(
        "substrate_change_c",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        "substrate change up to 1 K|",
        "substrate change not bounded|",
    ),
    Number(
        "contacts",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        f"{CHECK}|3|",
        f"{CHECK}|–||≤ 100|not determined|Set row 1 on substrate CS-1. Not judged: the record does"
        " not state the contacts so far.|",
    ),
    Number(
        "contacts_max",
        (CALIBRATION,),
        CALIBRATION_PAGE,
        f"{CHECK}|3||≤ 100|met|",
        f"{CHECK}|3||–|shown, not judged|",
    ),
    Number(
        "attenuator_db", STATES, CALIBRATION_PAGE, "Attenuator: 10 dB|", "Attenuator: not stated|"
    ),
    Number(
        "source_power_dbm",
        STATES,
        VERIFICATION_PAGE,
        "Source power: −20 dBm|",
        "Source power: not stated|",
    ),
    Number(
        "if_bandwidth_hz", STATES, WAFER_PAGE, "|rf-path|−20|10|100|", "|rf-path|−20|10|not stated|"
    ),
    Number("soak_s", (WAFER,), WAFER_PAGE, "|0.1|300|", "|0.1|not stated|"),
)


@dataclass(frozen=True)
class Made:
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    out: Path


def without(folder: Path, number: Number) -> None:
    """Take a number out of its records."""
    for name in number.files:
        path = folder / name
        text = path.read_text("utf-8")
        inline = re.sub(rf",\s*{number.key} = [^,}}\n]+(?=\s*\}})", "", text)
        shorter = re.sub(rf"^{number.key} = .*\n", "", inline, flags=re.M)
        assert shorter != text, f"{name} states {number.key}"
        path.write_text(shorter, "utf-8")


def made(folder: Path, out: Path) -> Made:
    report = build(folder, out, quiet, workers=1)
    return Made(report.faults, report.findings, out)


def said(made: Made, page: str) -> str:
    """A page's text, with '|' behind each cell and fact and ': ' behind each term."""
    text = (made.out / page).read_text("utf-8")
    text = re.sub(r"<(svg|script|style)\b.*?</\1>", "", text, flags=re.S)
    text = text.replace("</dt>", ": ")
    text = re.sub(r"</(td|th|dd|p|tr)>", "|", text)
    text = unescape(re.sub(r"<[^>]+>", "", text)).replace("\u202f", " ").replace("\u00a0", " ")
    return re.sub(r" *\| *", "|", " ".join(text.split()))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The tiny campaign, everything stated."""
    folder = tmp_path_factory.mktemp("stated")
    return made(tiny_campaign(folder), folder / "out")


@pytest.mark.parametrize("number", NUMBERS, ids=lambda one: one.key)
def test_each_may_be_left_out(whole: Made, tiny: Path, tmp_path: Path, number: Number) -> None:
    without(tiny, number)
    bare = made(tiny, tmp_path / "out")
    assert (whole.faults, bare.faults) == ((), ())
    with_it, without_it = said(whole, number.page), said(bare, number.page)
    assert number.stated in with_it and number.left_out not in with_it
    assert number.left_out in without_it and number.stated not in without_it
    assert "without standing" not in " ".join(one.kind for one in bare.findings)


def test_all_may_be_left_out_at_once(whole: Made, tiny: Path, tmp_path: Path) -> None:
    for number in NUMBERS:
        without(tiny, number)
    bare = made(tiny, tmp_path / "out")
    assert bare.faults == ()
    assert {one.kind for one in bare.findings} == {one.kind for one in whole.findings}
    page = said(bare, CALIBRATION_PAGE)
    assert "Contacts so far: not stated, bound not stated|" in page
    assert "Its record does not bound the change of the contact substrate's temperature" in page
    assert f"{CHECK}|–||–|not determined|" in page


def test_a_setting_that_one_record_states_and_another_does_not_differs(tiny: Path) -> None:
    attenuator = next(one for one in NUMBERS if one.key == "attenuator_db")
    without(tiny, Number(attenuator.key, (VERIFICATION,), "", "", ""))
    report = made(tiny, tiny.parent / "out")
    (found,) = [one for one in report.findings if one.kind == "verification not assessable"]
    assert "attenuator: calibrated 10, measured not stated" in found.text


def test_a_calibration_without_the_substrates_temperature_says_what_was_not_checked(
    whole: Made, tiny: Path
) -> None:
    without(tiny, next(one for one in NUMBERS if one.key == "substrate_c"))
    report = made(tiny, tiny.parent / "out")
    kind = "substrate temperature not stated"
    (found,) = [one for one in report.findings if one.kind == kind]
    assert "not stated by the calibration, so its change since" in found.text
    assert kind not in {one.kind for one in whole.findings}
    page = said(report, CALIBRATION_PAGE)
    assert "which is not checked: the substrate's temperature at the calibration" in page
    assert "The contact substrate's temperature at the calibration is not stated" in page


def test_a_probe_without_contacts_is_not_judged_and_its_wear_not_stated(
    tiny: Path, tmp_path: Path
) -> None:
    record, campaign = tiny / CALIBRATION, tiny / "campaign.toml"
    text = record.read_text("utf-8")
    campaign.write_text(
        campaign.read_text("utf-8").replace(
            'serial_number = "1001"', 'serial_number = "1001"\ncontacts_max = 2000'
        )
    )
    for key, check_row, wear_row in (
        ("", "contacts of probe P1|1 240||≤ 2 000|met|", "met|1 240|2 000|62.0 %|"),
        (
            "contacts = 1240\n",
            "contacts of probe P1|–||≤ 2 000|not determined|At port 1. Not judged:",
            "shown, not judged|not stated|2 000|–|",
        ),
    ):
        record.write_text(text + PROBE.replace(key, "") if key else text + PROBE, "utf-8")
        report = made(tiny, tmp_path / f"out{len(key)}")
        assert report.faults == ()
        assert check_row in said(report, CALIBRATION_PAGE)
        assert wear_row in said(report, "stations/ST1/index.html")


def test_what_the_judgement_rests_on_is_still_required(tiny: Path) -> None:
    for key in ("hours", "ambient_change_c"):
        record = tiny / CALIBRATION
        text = record.read_text("utf-8")
        record.write_text(re.sub(rf"{key} = [\d.]+,", "", text), "utf-8")
        assert any(key in fault.place + fault.found for fault in check(tiny, quiet).faults)
        record.write_text(text, "utf-8")
