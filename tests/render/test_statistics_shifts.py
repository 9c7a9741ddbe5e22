"""What a stress did, on the page of a parameter: every case in words, none without a stress."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen import render
from sitegen.model.declared_statistics import Remeasured, Stress
from sitegen.model.results import CampaignResults
from sitegen.model.shift_results import Lost, PairShift, Shift
from sitegen.model.space_results import Patterns, PatternTest
from sitegen.model.statistics import Estimate
from sitegen.render import shift_sentences, statistics_shifts
from sitegen.render.parameter_case import cases
from sitegen.render.statistics_text import ANCHORS
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import outline, text_of

STRESS = Stress(
    id="HTS",
    name="168 h at 125 °C",
    pairs=(Remeasured(before="W1", after="W1-168h"),),
    controls=(),
)
NOT = Estimate(None)


def pair(**changes: Any) -> PairShift:
    fields: dict[str, Any] = {
        "before": "W1",
        "after": "W1-168h",
        "control": False,
        "had": 52,
        "n": 49,
        "dies": 49,
        "lost": (Lost("no value", "no value: no crossing", 2), Lost("censored", "not reached", 1)),
        "appeared": (),
        "mean": Estimate(-0.0031, -0.0034, -0.0028),
        "median": Estimate(-0.003, -0.0033, -0.0028),
        "standard_deviation": 0.001,
        "p_value": 0.0001,
        "sign_p": 0.0001,
        "u": 0.0002,
        "u_shared": 0.0001,
    }
    return PairShift(**{**fields, **changes})


def shift(**changes: Any) -> Shift:
    fields: dict[str, Any] = {
        "stress": "HTS",
        "parameter": "VTH",
        "condition": "room",
        "pairs": (pair(),),
        "had": 52,
        "n": 49,
        "dies": 49,
        "lost": (Lost("no value", "no value: no crossing", 2), Lost("censored", "not reached", 1)),
        "appeared": (),
        "wafers": 1,
        "controls": 0,
        "of_process": False,
        "mean": Estimate(-0.0031, -0.0034, -0.0028),
        "median": Estimate(-0.003, -0.0033, -0.0028),
        "standard_deviation": 0.001,
        "control_mean": None,
        "p_value": 0.0001,
        "adjusted_p": 0.0002,
        "sign_p": 0.0001,
        "u": 0.0002,
        "u_shared": 0.0001,
        "expanded": 0.0004,
        "resolved": "resolved",
        "u_die": 0.0007,
        "shift_max": 0.005,
        "outcomes": {"within": 43, "not proven": 2, "outside": 4},
    }
    return Shift(**{**fields, **changes})


def results(*found: Shift, **of_stress: Any) -> CampaignResults:
    record = samples.campaign_record(stresses=(STRESS.model_copy(update=of_stress),))
    return given.results(context=samples.context(record), shifts=found)


def words(one: Shift) -> str:
    made = results(one)
    parameter = next(each for each in made.context.record.parameters if each.id == "VTH")
    every = statistics_shifts.told(cases(parameter, made))
    return " ".join(str(text) for text in shift_sentences.texts(every)).replace("\u202f", " ")


def test_losses_come_first_then_the_shift_its_size_and_the_bound() -> None:
    assert words(shift()).startswith(
        "After 168\u00a0h at 125\u00a0°C (HTS), under room, 3 of the 52 values of before are gone"
        " (2 no value: no crossing; 1 not reached); the other 49 shifted by −3.10 mV (−3.40 mV to"
        " −2.80 mV) on average, more than the measurement's own U = 400 µV; 4 of the 49"
        " shifts are beyond ±5 mV, and 2 are in a guard band or not assessable. The interval holds"
        " for this wafer alone and for the dies that still have a number;"
    )


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"resolved": "not resolved", "expanded": 0.01}, "which the measurement does not resolve"),
        (
            {"resolved": "not stated", "u": None, "expanded": None},
            "on average, without the measurement's part",
        ),
        ({"outcomes": {"within": 49}}, "none is shown to be beyond ±5 mV."),
        ({"lost": (), "had": 49}, "all 49 values shifted by"),
        ({"lost": (), "had": 1, "n": 1}, "the one value shifted by"),
        (
            {"lost": (Lost("not measured", "not measured", 1),), "had": 50},
            "one value was not measured again or has no standing; the other 49",
        ),
        (
            {"lost": (Lost("without standing", "without standing: floor missing", 7),)},
            "seven values were not measured again or have no standing",
        ),
        ({"control_mean": 0.002, "controls": 1}, "with the control wafer's 2.00 mV taken off"),
        ({"control_mean": 0.002, "controls": 3}, "with the three control wafers' 2.00 mV taken"),
        ({"of_process": True, "wafers": 6}, "takes the wafer as the unit, over six wafers"),
        ({"controls": 1, "control_mean": 0.0}, "5 stressed wafers and 5 control wafers."),
        (
            {"dependence": Estimate(-0.5, -0.7, -0.3), "dependence_adjusted": 0.001},
            "The dies spread less after",
        ),
        (
            {"dependence": Estimate(0.99999, 0.9999, 1.0), "dependence_adjusted": 0.001},
            "correlation of shift and size above 0.999): larger values shift further up, or dies",
        ),
    ],
)
def test_other_cases_in_words(changes: dict[str, Any], told: str) -> None:
    assert told in words(shift(**changes))


def test_nothing_is_claimed_that_is_not_shown() -> None:
    weak = {"dependence": Estimate(0.2, -0.1, 0.5), "dependence_adjusted": 0.2}
    assert "spread" not in words(shift(**weak))
    assert "Where the shifts lie" not in words(shift())


def test_where_no_value_has_a_partner() -> None:
    gone = (Lost("no value", "no value, though the die was measured", 52),)
    none = shift(n=0, dies=0, wafers=0, lost=gone, mean=NOT, median=NOT, outcomes={})
    assert "52 of the 52 values of before are gone" in words(none)
    assert words(none).endswith("and no value has a partner.")
    nothing = shift(n=0, had=0, lost=(), mean=NOT, median=NOT, outcomes={})
    assert "nothing can be said: no value of before is a number" in words(nothing)


def test_the_place_is_told_wafer_by_wafer() -> None:
    test = PatternTest("plane", 49, 9.0, "F", 0.001, 0.002, 0.4, "rises to the right by 3 mV")
    text = words(shift(patterns=(Patterns("W1-168h", 49, 0, (test,), ()),)))
    assert "Where the shifts lie: <a" in text and "rises to the right by 3 mV." in text


def test_the_section_stands_on_the_page_with_its_method_and_tables() -> None:
    page = render.parameter_page(
        next(one for one in results(shift()).context.record.parameters if one.id == "VTH"),
        results(shift()),
        {},
    )
    assert 'id="stress"' in page.html and 'id="shifts"' in page.html
    assert f"method/index.html#{ANCHORS['stress']}" in page.html
    method = render.method_page(given.results())
    assert ANCHORS["stress"] in outline(method).ids
    text = text_of(page)
    assert "W1 → W1-168h" in text and "2 no value: no crossing; 1 not reached" in text
    assert "4 of 49" in text


def test_without_a_shift_there_is_no_section() -> None:
    without = results()
    parameter = next(one for one in without.context.record.parameters if one.id == "VTH")
    page = render.parameter_page(parameter, without, {})
    assert 'id="stress"' not in page.html
    assert 'id="stress' not in render.campaign_page(given.results(), {}).html


def test_the_campaigns_page_lists_stresses_also_those_without_values() -> None:
    html = render.campaign_page(results(shift()), {}).html
    text = text_of(replace(render.campaign_page(results(shift()), {}), html=html))
    assert "Before and after a stress" in text and "−3.10 mV (−3.40 mV to −2.80 mV)" in text
    assert 'href="parameters/VTH/index.html#stress"' in html
    empty = text_of(render.campaign_page(results(), {}))
    assert "no parameter has values in it" in empty


def wafer_page(wafer: str, *read: str) -> render.Page:
    record = samples.campaign_record(stresses=(STRESS,))
    context = replace(samples.context(record), read=read)
    pages = render.wafer_pages(
        context=context,
        record=samples.wafer_record("W1").model_copy(update={"id": wafer}),
        results=samples.wafer_results(),
        note=None,
        frames={},
        maps={},
        bars={},
    )
    return next(iter(pages))


def test_records_before_and_after_say_so_and_lead_to_each_other() -> None:
    before = wafer_page("W1", "W1", "W1-168h")
    assert "This wafer was measured again as W1-168h after stress HTS" in text_of(before)
    assert 'href="../W1-168h/index.html"' in before.html
    alone = wafer_page("W1", "W1")
    assert "W1-168h (not in the record)" in text_of(alone)
    assert "../W1-168h" not in alone.html, "it has no page"
    after = wafer_page("W1-168h", "W1", "W1-168h")
    assert "This is wafer W1 measured again after stress HTS (168 h at 125 °C)" in text_of(after)
