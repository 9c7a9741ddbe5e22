"""Touchdowns and contacts against their bounds; values against cleanings and touchdowns."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen.compute.touchdown_checks import judge_touchdowns
from sitegen.compute.wear_of_contacts import (
    ContactEffect,
    contact_effects,
    effect_findings,
    touchdown_findings,
)
from sitegen.model.campaign import CampaignRecord
from sitegen.problems import Finding
from tests.faults import touchdown_scenes as scenes
from tests.faults.touchdown_records import CLEANED_HOUR, SPREADS, START, campaign, wafer_records
from tests.faults.touchdown_scenes import Scene, sound


def judged(scene: Scene, asked: CampaignRecord | None = None) -> pa.Table:
    return judge_touchdowns(scene.touchdowns(1), asked or campaign(), "W2")


def told(table: pa.Table, asked: CampaignRecord) -> list[tuple[str, str]]:
    found: tuple[Finding, ...] = touchdown_findings(table, wafer_records()[1], asked)
    return [(one.kind, one.text) for one in found]


def effects(scene: Scene, asked: CampaignRecord | None = None) -> tuple[ContactEffect, ...]:
    asked = asked or campaign()
    tables = [
        judge_touchdowns(scene.touchdowns(number), asked, record.id)
        for number, record in enumerate(wafer_records())
    ]
    touchdowns = pa.concat_tables(tables).to_pandas()
    return contact_effects(scene.values(), touchdowns, asked, wafer_records())


def with_station(**changes: Any) -> CampaignRecord:
    station = campaign().stations[0].model_copy(update=changes)
    return campaign().model_copy(update={"stations": (station,)})


def test_sound_touchdowns_are_not_told() -> None:
    assert told(judged(sound(0)), campaign()) == []


def test_failed_touchdowns_are_counted_with_the_first_and_its_reason() -> None:
    ((kind, text),) = told(judged(scenes.failed_contacts(sound(0), 0)), campaign())
    assert kind == "contact check failed"
    assert text.startswith("On wafer W2, 5 of 97 touchdowns failed a check, the first on die (")
    assert "contact resistance 1.276" in text and "at most 1.000\u202fΩ" in text


def test_pads_and_probes_beyond_their_bounds() -> None:
    twice = pa.concat_tables([sound(0).touchdowns(1)] * 2)
    touchdowns = campaign().touchdowns.model_copy(update={"pad_touchdowns_max": 1})
    probe = campaign().stations[0].probes[0].model_copy(update={"contacts_max": 1190})
    asked = with_station(probes=(probe,)).model_copy(update={"touchdowns": touchdowns})
    found = dict(told(judge_touchdowns(twice, asked, "W2"), asked))
    assert (
        "97 of 194 touchdowns came after the 1 that a pad may have"
        in (found["pads touched too often"])
    )
    # contacts 1097 to 1193, twice: three of them beyond 1190
    assert "6 of 194 touchdowns came after the 1190 contacts" in found["probe beyond its contacts"]
    assert found["probe beyond its contacts"].endswith("number 1193.")


def test_a_step_is_tested_for_the_parameters_of_the_probe_that_was_cleaned() -> None:
    steps = [one for one in effects(sound(0)) if one.kind == "step"]
    assert {(one.parameter, one.parts) for one in steps} == {
        ("GM", "RF-1"),
        ("RLF", "RF-1"),
        ("RON", "DC-1"),
        ("VTH", "DC-1"),
    }
    assert {one.wafer for one in steps} == {"W2"}


def test_a_step_is_found_with_its_size() -> None:
    (found,) = effect_findings(effects(scenes.step_at_cleaning(sound(0), 0)))
    assert found.kind == "step at a cleaning"
    assert "RF-1 was cleaned at 2026-04-20 20:00 UTC: GM at RT by" in found.text
    (effect,) = [
        one for one in effects(scenes.step_at_cleaning(sound(0), 0)) if one.parameter == "GM"
    ]
    size = scenes.STEP * SPREADS["GM"]
    assert abs(effect.change - size) < 0.5 * size


def test_no_cleaning_no_step_and_a_cleaning_between_wafers_neither() -> None:
    assert effects(sound(0), with_station(exchanges=())) == ()
    cleaning = campaign().stations[0].exchanges[0]
    between = cleaning.model_copy(update={"at": START + timedelta(hours=8)})
    assert effects(sound(0), with_station(exchanges=(between,))) == ()
    service = cleaning.model_copy(update={"kind": "serviced"})
    assert effects(sound(0), with_station(exchanges=(service,))) == ()


def test_a_course_is_told_only_where_the_path_leaves_it_apart_from_place() -> None:
    """Row after row it is a slope in y; with the dies in a drawn order it is a course."""
    scene = sound(5)
    asked = with_station(exchanges=())
    assert effects(scene, asked) == ()
    order = np.random.default_rng(1).permutation(97)
    hours = scene.hours[:, order]
    measured = scene.measured.copy()
    measured[1, :, 2] += 5.0 * order / 97
    mixed = replace(scene, hours=hours, measured=measured)
    values = mixed.values()
    nothing = judge_touchdowns(scene.touchdowns(0).slice(0, 0), asked, "W1").to_pandas()
    found = contact_effects(values, nothing, asked, wafer_records())
    assert {one.kind for one in found} == {"course"} and len(found) == 12
    (finding,) = effect_findings(found)
    assert finding.kind == "values move with touchdowns" and finding.subject == "wafer W2"
    assert "VTH at RT by" in finding.text


def test_the_level_is_shared_among_the_tests() -> None:
    one = ContactEffect("step", "W1", "GM", "RT", "", "S", "RF-1", START, 1, 2.0, 4e-4, 97)
    other = ContactEffect("step", "W1", "VTH", "RT", "", "V", "DC-1", START, 1, 0.1, 0.5, 97)
    assert len(effect_findings([one])) == 1
    assert effect_findings([one, other, other]) == ()


def test_values_without_standing_and_below_the_floor_are_left_out() -> None:
    scene = scenes.step_at_cleaning(sound(0), 0)
    values = scene.values()
    late = values["measured_at"] >= START + timedelta(hours=CLEANED_HOUR)
    touchdowns = judged(scene).to_pandas()
    for name, value in (("standing", "without standing"), ("below_floor", True)):
        changed = values.copy()
        changed.loc[late & (changed["wafer"] == "W2"), name] = value
        assert contact_effects(changed, touchdowns, campaign(), wafer_records()) == ()
