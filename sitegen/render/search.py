"""The search index: a classic script, because a page opened from a folder may not fetch a file."""

import json
from collections.abc import Iterable

from sitegen import addresses
from sitegen.model.results import CampaignResults
from sitegen.render.phrases import die_name

VARIABLE = "waferRecordSearchIndex"
"""The one global name that the index sets."""

Entry = tuple[str, str, str]
"""Label, address from the publication's root, kind."""


def search_index(results: CampaignResults, dies: Iterable[tuple[str, int, int]]) -> str:
    """The script that sets the index: wafers, parameters, devices, events, stations, pages, dies.

    dies: wafer, die_x and die_y of each die that has a page. The pages load it when the
    search box is first used.
    """
    text = json.dumps(entries(results, dies), ensure_ascii=True, separators=(",", ":"))
    return f"window.{VARIABLE}={text};\n"


def entries(results: CampaignResults, dies: Iterable[tuple[str, int, int]]) -> list[Entry]:
    """Every entry, the few before the many."""
    record = results.context.record
    found: list[Entry] = [
        (f"Wafer {wafer.id}", addresses.wafer(wafer.id), "wafer") for wafer in results.wafer_records
    ]
    found += [
        (f"{each.symbol} {each.name} ({each.id})", addresses.parameter(each.id), "parameter")
        for each in record.parameters
    ]
    found += [
        (f"{each.name} ({each.id})", addresses.device(each.id), "device") for each in record.devices
    ]
    found += [
        (each.record.id, addresses.calibration(each.record.id), "calibration")
        for each in results.calibrations
    ]
    found += [
        (each.record.id, addresses.verification(each.record.id), "verification")
        for each in results.verifications
    ]
    found += [
        (
            f"{each.record.id} {each.record.title}",
            addresses.acceptance(each.record.id),
            "acceptance",
        )
        for each in results.acceptances
    ]
    found += [
        (f"{each.name} ({each.id})", addresses.station(each.id), "station")
        for each in record.stations
    ]
    found += [
        (title, address, "page")
        for title, address in (
            ("Campaign", addresses.HOME),
            ("Findings and faults", addresses.PROBLEMS),
            ("Method", addresses.METHOD),
            ("Data", addresses.DATA),
            ("Notes", addresses.NOTES),
            ("Reference of the record formats", addresses.REFERENCE),
        )
    ]
    found += [
        (f"{wafer} {die_name(x, y)}", addresses.die(wafer, x, y), "die") for wafer, x, y in dies
    ]
    return found
