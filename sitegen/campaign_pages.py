"""The pages beyond the wafers' own, with their drawings, and what stands beside all pages."""

from collections.abc import Iterator, Mapping
from pathlib import Path

import pandas as pd

from sitegen import addresses, drawings, render
from sitegen.answer_drawings import answer_drawings
from sitegen.chart.control_dies import control_die_drawing
from sitegen.chart.coverage import coverage_chart, described
from sitegen.chart.station import followed_drawings
from sitegen.chart.theme import CHART_CSS
from sitegen.compute.over_wafers.interval_coverage import interval_coverages
from sitegen.device_drawings import device_drawings
from sitegen.event_jobs import subject_of
from sitegen.joining import joined_values
from sitegen.model.results import CampaignResults, Drawing
from sitegen.pair_drawings import of_parameter, pair_drawings
from sitegen.publish.staging import write_bytes, write_text
from sitegen.publish.tables import read_columns
from sitegen.render.page import Page
from sitegen.shift_drawings import shift_drawings
from sitegen.stressed_wafers import shifted_dies
from sitegen.wafer_jobs import Published


def write_campaign_pages(
    results: CampaignResults,
    published: Mapping[str, Published],
    events: Mapping[str, Mapping[str, Drawing]],
    root: Path,
) -> int:
    """Write them all; returns how many pages the whole publication has.

    events: drawings of each event, written already, by `event_jobs.subject_of`.
    """
    values = joined_values(root)
    values = values[values["wafer"].isin(results.context.wafers)]
    count = sum(one.pages for one in published.values())
    for page, drawn in _pages(results, published, events, values, root):
        for drawing in drawn.values():
            if drawing.svg:
                write_text(root, drawing.address, drawing.svg)
        write_text(root, page.address, page.html)
        count += 1
    for address, content in render.static_files(CHART_CSS).items():
        write_bytes(root, address, content)
    dies = read_columns(root, "dies", ["wafer", "die_x", "die_y"])
    index = render.search_index(results, list(dies.itertuples(index=False, name=None)))
    write_text(root, addresses.SEARCH_INDEX, index)
    return count


def _pages(
    results: CampaignResults,
    published: Mapping[str, Published],
    events: Mapping[str, Mapping[str, Drawing]],
    values: pd.DataFrame,
    root: Path,
) -> Iterator[tuple[Page, Mapping[str, Drawing]]]:
    """Each page with the drawings that are to be written beside it."""
    drawn = _campaign_drawings(results, published)
    yield render.campaign_page(results, drawn), drawn
    usable = values[
        values["counts"].astype(bool)
        & values["value"].notna()
        & (values["standing"] != "without standing")
    ]
    pairs = pair_drawings(values, results.context)
    shifted = shifted_dies(results.shifts, root)
    for parameter in results.context.record.parameters:
        mine = usable[usable["parameter"] == parameter.id]
        drawn = {
            **drawings.parameter_drawings(parameter, mine, results.context),
            **_parameter_maps(parameter.id, published),
            **answer_drawings(parameter, values[values["parameter"] == parameter.id], results),
            **of_parameter(parameter.id, pairs, results.context),
            **shift_drawings(parameter, shifted[shifted["parameter"] == parameter.id], results),
        }
        yield render.parameter_page(parameter, results, drawn), drawn
    for device in results.context.record.devices:
        drawn = dict(device_drawings(device, results))
        yield render.device_page(device, results, drawn), drawn
    for calibration in results.calibrations:
        drawn = dict(events[subject_of(calibration)])
        yield render.calibration_page(calibration, results, drawn), drawn
    for verification in results.verifications:
        drawn = dict(events[subject_of(verification)])
        yield render.verification_page(verification, results, drawn), drawn
    for acceptance in results.acceptances:
        drawn = dict(events[subject_of(acceptance)])
        yield render.acceptance_page(acceptance, results, drawn), drawn
    for station, record, followed in zip(
        results.context.record.stations, results.stations, results.followed, strict=True
    ):
        evidence = drawings.station_drawing(record, addresses.station(station.id), "evidence")
        drawn = {
            "evidence": evidence,
            **followed_drawings(station, followed),
            **_control_drawings(station.id, results),
        }
        yield render.station_page(station, results, drawn), drawn
    yield render.problems_page(results), {}
    drawn = {"yield-coverage": _yield_coverage()}
    yield render.method_page(results, tuple(drawn.values())), drawn
    yield render.reference_page(results), {}
    typical = tuple(one for each in published.values() for one in each.typical)
    yield render.data_page(results, typical), {}
    yield render.notes_page(results), {}
    if render.has_sources(results):
        yield render.sources_page(results), {}


def _yield_coverage() -> Drawing:
    """How often the interval of a wafer's yield holds the truth, beside an exact one."""
    coverages = interval_coverages()
    return coverage_chart(
        address=addresses.drawing(addresses.METHOD, "yield-coverage"),
        title="Coverage of two intervals of a share",
        description=described(coverages),
        coverages=coverages,
    )


def _control_drawings(station: str, results: CampaignResults) -> dict[str, Drawing]:
    """Charts of the control dies of a station, by 'control-<id>'."""
    names = {one.id: one.name for one in results.context.record.parameters}
    drawn = {
        f"control-{one.record.id}": control_die_drawing(one, names[one.record.parameter])
        for one in results.controls
        if one.station == station
    }
    return {name: drawing for name, drawing in drawn.items() if drawing is not None}


def _campaign_drawings(
    results: CampaignResults, published: Mapping[str, Published]
) -> dict[str, Drawing]:
    evidence = {
        f"evidence-{record.station}": drawings.station_drawing(
            record, addresses.HOME, f"evidence-{record.station}"
        )
        for record in results.stations
    }
    verdicts = {f"verdicts-{wafer}": one.maps["verdicts"] for wafer, one in published.items()}
    return {**evidence, **verdicts}


def _parameter_maps(parameter: str, published: Mapping[str, Published]) -> dict[str, Drawing]:
    contact = {
        f"touchdowns/{wafer}": one.maps["touchdowns"]
        for wafer, one in published.items()
        if "touchdowns" in one.maps
    }
    return contact | {
        f"map/{wafer}/{name.partition('/')[2]}": drawing
        for wafer, one in published.items()
        for name, drawing in one.maps.items()
        if name.startswith(f"{parameter}/")
    }
