"""A declared agreement, built whole: it stands on its wafer's page whether it holds or not."""

import re
from html import unescape
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

from sitegen.build import build
from tests.campaigns import values_table
from tests.conftest import quiet

DECLARED = """
[[parameters]]
id = "VTB"
symbol = "V_th"
name = "threshold voltage, second method"
unit = "mV"
kind = "dc"
device = "FET"
conditions = ["sat"]
uncertainty = [{ source = "meter", absolute = 1.0 }]

[[agreements]]
id = "both-methods"
physics = "other"
first = { parameter = "VTH", condition = "sat" }
second = { parameter = "VTB", condition = "sat" }

[[plan.wafers]]"""


def second_method(tiny: Path, shift_v: float, dies: int) -> None:
    """Threshold voltages by another method on the first dies of the table."""
    table = values_table()
    first = table.filter(pc.equal(table["parameter"], "VTH")).slice(0, dies)
    shifted = pc.add(first["value"], shift_v)
    second = first.set_column(first.schema.get_field_index("value"), "value", shifted)
    second = second.set_column(
        second.schema.get_field_index("parameter"), "parameter", pa.array(["VTB"] * dies)
    )
    pq.write_table(pa.concat_tables([table, second]), tiny / "wafers/W1/values.parquet")
    campaign, wafer = tiny / "campaign.toml", tiny / "wafers/W1/wafer.toml"
    campaign.write_text(campaign.read_text("utf-8").replace("\n[[plan.wafers]]", DECLARED), "utf-8")
    wafer.write_text(wafer.read_text("utf-8").replace('VTH = "V"', 'VTH = "V", VTB = "V"'), "utf-8")


@pytest.mark.parametrize(
    ("shift_v", "row"),
    [(0.0, "agree 8 0 1 (0"), (0.1, "do not agree 0 8 1 (−100.0 ± ")],
    ids=["holds", "does not"],
)
def test_it_leaves_a_trace_either_way(tiny: Path, tmp_path: Path, shift_v: float, row: str) -> None:
    second_method(tiny, shift_v, 8)
    report = build(tiny, tmp_path / "out", quiet, workers=1)
    assert report.faults == ()
    page = (tmp_path / "out/wafers/W1/index.html").read_text("utf-8")
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ").split())
    assert f"both-methods VTH at sat VTB at sat {row}" in text
    told = "VTH at sat and VTB at sat do not agree"
    assert (told in text) is (shift_v > 0), "the finding stands on the page that it leads to"
    assert any(told in one.text for one in report.findings) is (shift_v > 0)
