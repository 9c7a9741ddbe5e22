"""The search index and the files that every page loads."""

import json
import re

from sitegen import addresses
from sitegen.render.search import VARIABLE, search_index
from sitegen.render.static import static_files
from tests.render import samples


def test_the_search_index_sets_one_variable_with_every_entry() -> None:
    script = search_index(samples.campaign_results(), [("W1", 3, -2), ("W2", 0, 0)])
    name, _, value = script.rstrip().removesuffix(";").partition("=")
    assert name == f"window.{VARIABLE}"
    entries = json.loads(value)
    assert ["W1 (3,\u00a0\u22122)", "wafers/W1/x3_y-2.html", "die"] in entries
    assert ["CAL-1", "calibrations/CAL-1/index.html", "calibration"] in entries
    assert ["V_th threshold voltage (VTH)", "parameters/VTH/index.html", "parameter"] in entries
    assert ["transistor (hemt)", "devices/hemt/index.html", "device"] in entries
    kinds = {kind for _, _, kind in entries}
    events = {"calibration", "verification", "station"}
    assert kinds == {"wafer", "parameter", "device", *events, "page", "die"}


def test_the_index_of_a_large_campaign_stays_small() -> None:
    dies = [(f"W{wafer}", x, y) for wafer in range(1, 25) for x in range(20) for y in range(15)]
    assert len(search_index(samples.campaign_results(), dies)) < 500_000


def test_the_script_reads_the_index_by_its_name() -> None:
    script = static_files("")[addresses.SCRIPT].decode()
    assert f'"{VARIABLE}"' in script


def test_the_style_sheet_ends_with_the_drawings_rules() -> None:
    style = static_files(".drawing{fill:none}")[addresses.STYLE].decode()
    assert style.endswith("\n.drawing{fill:none}\n")


def test_nothing_is_loaded_from_elsewhere() -> None:
    for address, content in static_files("").items():
        text = content.decode()
        outside = [found for found in re.findall(r"\bhttps?://[^\s\"')]+", text)
                   if found != "http://www.w3.org/2000/svg"]  # fmt: skip
        assert outside == [], address
        assert "@import" not in text and "url(" not in text
