"""Cautions are shown where a record calls for one, and only there.

The limit of 60 V DC is that of IEC 61010-1, third edition, normal condition, quoted from memory;
the temperatures are common practice.
"""

from typing import Any

import pytest

from sitegen.model.campaign import Condition, Hazard
from sitegen.model.wafer import Thermal
from sitegen.render.cautions import cautions
from tests.render.samples import STATION


def condition(temperature_c: float = 25.0, **bias: float) -> Condition:
    return Condition(id="c", description="c", temperature_c=temperature_c, bias=bias)


def titles(**given: Any) -> list[str]:
    return [each.title for each in cautions(**given)]


@pytest.mark.parametrize(
    ("bias", "shown"),
    [
        ({"vds_v": 60.0}, False),
        ({"vds_v": 60.1}, True),
        ({"vds_v": -60.1}, True),
        ({"vds_v": 40.0, "vgs_v": -30.0}, True),
        ({"vds_v": 40.0, "vgs_v": 30.0}, False),
        ({"id_a": 100.0}, False),
        ({}, False),
    ],
)
def test_hazardous_voltage_between_any_two_terminals(bias: dict[str, float], shown: bool) -> None:
    assert ("Hazardous voltage" in titles(conditions=[condition(**bias)])) is shown


@pytest.mark.parametrize(
    ("temperature_c", "shown"),
    [
        (25.0, []),
        (59.9, []),
        (60.0, ["Hot chuck"]),
        (150.0, ["Hot chuck"]),
        (0.1, []),
        (0.0, ["Cold chuck"]),
        (-40.0, ["Cold chuck"]),
    ],
)
def test_hot_and_cold(temperature_c: float, shown: list[str]) -> None:
    assert titles(conditions=[condition(temperature_c)]) == shown
    thermal = Thermal(
        set_point_c=temperature_c,
        chuck_reading_c=25.0,
        surface_correction_c=0.0,
        surface_correction_u_c=0.1,
        soak_s=0.0,
    )
    assert titles(thermal=[thermal]) == shown


@pytest.mark.parametrize(
    ("hazard", "title"),
    [
        ("hazardous voltage", "Hazardous voltage"),
        ("cryogen", "Cryogens"),
        ("light source", "Light source"),
        ("heavy test head", "Heavy test head"),
    ],
)
def test_hazards_that_a_station_names(hazard: Hazard, title: str) -> None:
    station = STATION.model_copy(update={"hazards": (hazard,)})
    assert titles(stations=[STATION]) == []
    assert titles(stations=[station]) == [title]


def test_every_caution_defers_to_local_rules() -> None:
    hazards = ("hazardous voltage", "cryogen", "light source", "heavy test head")
    station = STATION.model_copy(update={"hazards": hazards})
    found = cautions([station], [condition(85.0, vds_v=120.0), condition(-40.0)])
    assert len(found) == 6
    assert all("local" in each.text.lower() or "label" in each.text for each in found)
    assert "120" in found[0].text and "IEC 61010-1" in found[0].text
    assert "quoted from memory" in found[0].text
