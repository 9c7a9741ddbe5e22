"""A verification held against its own calibration's validity, and what a failure then says."""

import re
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from sitegen.build import build
from sitegen.compute.verification_validity import outside_validity
from tests.campaigns import line, raw, write_touchstone
from tests.compute.events import calibration, hour, verification
from tests.conftest import quiet


def outside(hours: float = 1.0, validity: dict[str, Any] | None = None, **changes: Any) -> str:
    """What is said of a verification so many hours after a calibration at 23 °C of ambient and
    25 °C of substrate, valid for 8 h, 1 °C and 1 °C."""
    made = calibration("CAL-1", 0)
    bounds = made.record.validity.model_copy(update=validity or {})
    made = replace(made, record=made.record.model_copy(update={"validity": bounds}))
    record = verification("VER-1", "CAL-1", hours, "failed").record.model_copy(update=changes)
    return outside_validity(record, hour(hours), made)


@pytest.mark.parametrize(
    ("hours", "changes", "text"),
    [
        (8.0, {"ambient_c": 24.0, "substrate_c": 24.0}, ""),
        (8.35, {}, "8 h 21 min after the calibration, outside its validity of 8 h"),
        (8.0 + 20 / 3600, {}, "8 h 00 min 20 s after the calibration, outside its validity of 8 h"),
        (
            8.35,
            {"ambient_c": 24.54},
            "8 h 21 min after the calibration and at an ambient 1.5 °C warmer, outside its validity"
            " of 8 h and 1 °C",
        ),
        (
            1.0,
            {"ambient_c": 21.9},
            "at an ambient 1.1 °C cooler than at the calibration, outside its validity of 1 °C",
        ),
        (
            1.0,
            {"ambient_c": 24.004},
            "at an ambient 1.004 °C warmer than at the calibration, outside its validity of 1 °C",
        ),
        (
            26.0,
            {"ambient_c": 25.0, "substrate_c": 22.0},
            "26 h 00 min after the calibration, at an ambient 2.0 °C warmer and with the contact"
            " substrate 3.0 °C cooler, outside its validity of 8 h, 1 °C and 1 °C",
        ),
    ],
)
def test_what_lies_outside_is_named_with_its_bound(
    hours: float, changes: dict[str, Any], text: str
) -> None:
    assert outside(hours, **changes) == text


def test_what_is_not_bounded_or_not_stated_is_not_outside() -> None:
    assert outside(substrate_c=99.0).startswith("with the contact substrate 74.0 °C warmer")
    assert outside(substrate_c=99.0, validity={"substrate_change_c": None}) == ""
    assert outside(substrate_c=None) == ""


def late(tiny: Path, ambient_c: float, failing: bool, at: str) -> None:
    """The tiny campaign's verification, made at another time and ambient; the line as long again
    where it is to fail."""
    record = tiny / "verifications/VER1/record.toml"
    text = record.read_text("utf-8")
    text = text.replace("2026-03-02T10:05:00Z", at).replace("23.1", f"{ambient_c}")
    record.write_text(text, "utf-8")
    if failing:
        write_touchstone(tiny / "verifications/VER1/line.s2p", raw(line(14.0)))


def said(page: Path) -> str:
    bare = re.sub(r"<(svg|script)\b.*?</\1>", "", page.read_text("utf-8"), flags=re.S)
    text = unescape(re.sub(r"<[^>]+>", "", bare))
    return " ".join(text.replace("\u202f", " ").replace("\u00a0", " ").split())


TOLD = (
    "8 h 21 min after the calibration and at an ambient 1.5 °C warmer, outside its validity of 8 h"
    " and 1 °C"
)


@pytest.mark.parametrize("failing", [True, False], ids=["failed", "passed"])
def test_it_stands_on_both_pages_and_in_the_finding(
    tiny: Path, tmp_path: Path, failing: bool
) -> None:
    late(tiny, 24.5, failing, "2026-03-02T16:21:00Z")
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert report.faults == ()
    of_it = said(tmp_path / "out/verifications/VER1/index.html")
    of_calibration = said(tmp_path / "out/calibrations/CAL1/index.html")
    assert f"It was made {TOLD}." in of_it
    assert TOLD.removeprefix("8 h") in of_calibration
    told = f"; verification VER1 failed (made {TOLD}) and none passed before it, so no value"
    assert (told in of_calibration) is failing
    failed = [one.text for one in report.findings if one.kind == "verification failed"]
    assert [one.endswith(f"; it was made {TOLD}.") for one in failed] == [True] * failing
    lost = [one for one in report.findings if "no standing: verification failed" in one.text]
    assert len(lost) == failing, "the rule stays: a failed verification ends its calibration"


def test_one_inside_says_nothing_of_it(tiny: Path, tmp_path: Path) -> None:
    late(tiny, 23.9, True, "2026-03-02T15:59:00Z")
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert not any("outside its validity" in one.text for one in report.findings)
    for page in ("verifications/VER1", "calibrations/CAL1"):
        assert "outside its validity" not in said(tmp_path / "out" / page / "index.html")
