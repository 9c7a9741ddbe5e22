"""What a record leaves out is never taken for good: certificate, clock, temperature, times."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from sitegen.build import build
from sitegen.compute.clocks import NEVER_SURE, clock_margin, reference_time
from sitegen.compute.evidence import dc_evidence, reason_text
from sitegen.model.base import BLANK
from sitegen.model.campaign import Instrument
from tests.campaigns import STARTED
from tests.compute.events import instrument
from tests.conftest import quiet

AT = np.array(["2026-03-02T09:00:00", "2199-01-01T00:00:00"], dtype="datetime64[us]")


def dc_reasons(one: Instrument | None) -> list[str]:
    n = len(AT)
    found = dc_evidence(AT, np.full(n, np.nan), np.full(n, "", dtype=object), one, None)
    return [reason_text(int(bits)) for bits in found.reasons]


def test_a_certificate_without_a_day_or_without_a_number_gives_no_standing() -> None:
    told = ["certificate not stated"] * 2
    assert dc_reasons(instrument(due=None)) == told
    for text in (BLANK, f"{BLANK}: at the next service"):
        assert dc_reasons(instrument().model_copy(update={"certificate": text})) == told
    assert dc_reasons(instrument()) == ["", "instrument past due"]


def test_a_clock_that_is_not_stated_is_sure_of_its_own_order_only() -> None:
    known, other = instrument("A"), instrument("B")
    assert clock_margin(known, other) < NEVER_SURE
    for unknown in (
        instrument("B", clock_offset_s=None),
        instrument("B", clock_offset_u_s=None),
    ):
        assert clock_margin(known, unknown) == clock_margin(unknown, known) == NEVER_SURE
        assert clock_margin(unknown, unknown) == np.timedelta64(0, "us")
    at = datetime(2026, 3, 2, 9, tzinfo=UTC)
    assert reference_time(at, instrument("B", clock_offset_s=None)) == at


def published(tiny: Path, tmp_path: Path, *left_out: str) -> tuple[Path, list[str]]:
    """The tiny campaign without some lines of its wafer's record, and the places of its faults."""
    record = tiny / "wafers/W1/wafer.toml"
    lines = record.read_text("utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(left_out)]
    assert len(lines) - len(kept) == len(left_out)
    record.write_text("".join(kept), "utf-8")
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    return tmp_path / "out", [fault.place for fault in report.faults]


def test_without_an_ambient_temperature_rf_values_have_no_standing(
    tiny: Path, tmp_path: Path
) -> None:
    out, faults = published(tiny, tmp_path, "ambient_c")
    assert faults == []
    rows = pq.read_table(out / "data/results.parquet").to_pandas()
    taken = rows[rows["value"].notna()]
    is_rf = taken["parameter"].isin(["FT", "L"])
    assert set(taken[is_rf]["standing_reasons"]) == {"ambient temperature not stated"}
    assert set(taken[~is_rf]["standing_reasons"]) == {""}
    assert "not stated" in taken[is_rf]["standing_detail"].iloc[0]


def test_without_its_times_a_wafer_lasts_from_its_first_to_its_last_value(
    tiny: Path, tmp_path: Path
) -> None:
    out, faults = published(tiny, tmp_path, "started", "finished")
    assert faults == []
    page = (out / "wafers/W1/index.html").read_text("utf-8")
    last = STARTED + timedelta(minutes=85)
    assert f"{STARTED:%Y-%m-%d %H:%M:%S} to {last:%H:%M:%S} UTC" in page
    assert "W1" in (out / "stations/ST1/index.html").read_text("utf-8")


@pytest.mark.parametrize("end", ["started", "finished"])
def test_one_end_alone_still_bounds_the_tables(tiny: Path, tmp_path: Path, end: str) -> None:
    record = tiny / "wafers/W1/wafer.toml"
    text = record.read_text("utf-8")
    moved = text.replace("2026-03-02T08:30:00Z", "2026-03-02T10:00:00Z").replace(
        "finished = 2026-03-02T10:00:00Z", "finished = 2026-03-02T08:00:00Z"
    )
    record.write_text(moved, "utf-8")
    other = "finished" if end == "started" else "started"
    _, faults = published(tiny, tmp_path, other)
    assert any('column "measured_at"' in place for place in faults)


def test_without_a_thermal_entry_the_values_are_told(tiny: Path, tmp_path: Path) -> None:
    record = tiny / "wafers/W1/wafer.toml"
    text = record.read_text("utf-8")
    begin, end = text.index("[[thermal]]"), text.index("[[states]]")
    record.write_text(text[:begin] + text[end:], "utf-8")
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert [fault.place for fault in report.faults] == ["thermal"]
