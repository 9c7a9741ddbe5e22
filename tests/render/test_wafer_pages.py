"""The pages of a wafer and of its dies from hand-made results, in odd cases too."""

import re

import pytest

from sitegen import render
from tests.render import samples
from tests.render.test_pages import outline, text_of, wafer_pages


def test_the_wafer_comes_first_then_its_dies_in_order() -> None:
    assert [page.address for page in wafer_pages()] == [
        "wafers/W1/index.html",
        "wafers/W1/x0_y0.html",
        "wafers/W1/x1_y0.html",
        "wafers/W1/x2_y0.html",
        "wafers/W1/x3_y0.html",
    ]


def test_a_wafer_says_which_values_to_take_again() -> None:
    page = wafer_pages()[0]
    text = text_of(page)
    assert "expired by time; different state" in text
    assert "no passed verification after" in text
    assert "Looked hazy." in text
    assert "<style>" not in page.html, "an inlined drawing loses its own style"


def test_a_value_without_a_number_has_a_row_with_its_reason_and_is_not_missing() -> None:
    wafer, _, die, *_ = wafer_pages()
    text = text_of(die)
    row = text[text.index("Every value of this die") :]
    assert "no number dB ≥ 16" in row
    assert "not assessable the frequency lies outside the sweep stands CAL-1" in row
    assert "current gain (room) has no number: the frequency lies outside the sweep" in text
    assert "not measured" not in row and "missing" not in text
    text = text_of(wafer)
    assert "no number: the frequency lies outside the sweep stands CAL-1 1 1" in text


def test_a_value_without_a_number_keeps_the_reasons_against_its_standing() -> None:
    lost = {
        **samples.ODD_VALUES[-2],
        "outcome_reason": "not corrected: different state",
        "standing": "without standing",
        "standing_reasons": "different state",
        "standing_detail": "different state: attenuator",
    }
    wafer, _, die, *_ = wafer_pages(results=samples.values(lost))
    assert "not corrected: different state without standing different state: attenuator" in text_of(
        die
    )
    assert "no number: not corrected: different state; different state without" in text_of(wafer)


@pytest.mark.parametrize(
    ("coverage", "value", "shown"),
    [("some dies", -2.6, True), ("some dies", None, False), ("every die", None, True)],
)
def test_a_wafer_warns_only_of_what_was_or_must_be_measured_on_it(
    coverage: str, value: float | None, shown: bool
) -> None:
    hot = samples.VTH.model_copy(update={"coverage": coverage, "conditions": ("hot",)})
    context = samples.context(samples.campaign_record(parameters=(hot,)))
    rows = samples.values({"condition": "hot", "value": value, "outcome": "not assessable"})
    pages = render.wafer_pages(
        context=context,
        record=samples.wafer_record(),
        results=samples.wafer_results(results=rows, traces=()),
        note=None,
        frames={},
        maps={},
        bars={},
    )
    wafer, die, *_ = pages
    for page in (wafer, die):
        assert ("Hot chuck" in text_of(page)) is shown
        assert "Hazardous voltage" not in text_of(page)


def test_a_die_leads_with_its_verdict_and_what_decided_it() -> None:
    text = text_of(wafer_pages()[1])
    assert (
        "Die (0, 0) is outside under the guarded rule (w = U, k = 2): one value lies outside its"
        " limits (threshold voltage (hot) −2.450 V, above −2.5 V)." in text
    )
    assert "One value is without standing. " not in text
    assert "One value is without standing and one value is not closed" in text


def test_a_value_without_standing_keeps_its_number_and_shows_its_reason() -> None:
    text = text_of(wafer_pages()[1])
    row = text[text.index("current gain") :]
    assert row.index("17.60") < row.index("without standing")
    assert "expired by time: 9.1 h after CAL-1; different state: attenuator" in row
    assert "no uncertainty stated for a guarded rule" in row


def test_a_reading_below_its_floor_is_shown_as_such() -> None:
    assert "< 6.00 (reads 3.10) pV" in text_of(wafer_pages()[1])


def test_every_touchdown_is_shown_and_the_counting_one_marked() -> None:
    text = text_of(wafer_pages()[2])
    assert "1 of 2 does not count" in text and "2 of 2 counts" in text
    assert "−2.2000 ± 0.0040 absurd" in text
    assert "the last touchdown counts; another one would change the outcome of" in text


def test_touchdowns_that_the_station_numbers_itself_are_not_counted_from_one() -> None:
    """319 is the station's number of the second of two touchdowns on the die, not one of two."""
    there = [one for one in samples.ODD_VALUES if one.get("die_x") == 1 and "touchdown" in one]
    renumbered = [{**one, "touchdown": one["touchdown"] + 317} for one in there]
    text = text_of(wafer_pages(results=samples.values(*renumbered))[2])
    assert "of 2 touchdowns number 318 does not count" in text
    assert "of 2 touchdowns number 319 counts" in text
    assert "319 of 2 " not in text


def test_dies_without_values_say_whether_they_were_planned() -> None:
    pages = wafer_pages()
    assert "was not measured although the plan asks for it" in text_of(pages[3])
    assert "was not measured; the plan does not ask for it" in text_of(pages[4])
    assert "No value of this die is in the record." in text_of(pages[4])


def test_a_die_leads_to_its_neighbours_and_to_itself_on_other_wafers() -> None:
    _, first, second, _, last = wafer_pages()
    assert outline(second).targets.count("x0_y0.html") == 1
    assert "../W2/x0_y0.html" in outline(first).targets
    assert not [target for target in outline(last).targets if target.startswith("../W2/x")]


def test_a_trace_lies_over_its_frame() -> None:
    page = wafer_pages()[1]
    assert '<image href="frame~hemt~room~s21_db.svg" width="480" height="300"/>' in page.html
    assert 'x="58" y="26" width="408" height="230" viewBox="0 0 4080 2300"' in page.html
    assert page.html.count('<polyline class="trace"') == 2


def test_traces_of_touchdowns_that_do_not_count_or_do_not_stand_differ() -> None:
    keys = ({"touchdown": 1}, {"touchdown": 2, "standing": "without standing"})
    pages = list(
        render.wafer_pages(
            context=samples.context(),
            record=samples.wafer_record(),
            results=samples.wafer_results(traces=(samples.trace_group(keys),)),
            note=None,
            frames={"a": samples.frame(2)},
            maps={},
            bars={},
        )
    )
    assert '<polyline class="trace repeat"' in pages[1].html
    assert '<polyline class="trace without-standing"' in pages[1].html
    assert "Touchdown 1 (does not count)" in text_of(pages[1])


def test_a_die_leads_straight_to_its_files_with_their_sizes() -> None:
    wafer, die, *_ = wafer_pages()
    for page in (wafer, die):
        assert '<a href="../../data/results.csv" download>results.csv</a> 9.9\u202fkB' in page.html
        assert "sweeps-W1.parquet</a> 1.2\u202fMB" in page.html
        assert "sweeps-W2" not in page.html


def test_a_dc_value_shows_the_instrument_behind_it_and_an_rf_value_its_calibration() -> None:
    record = samples.wafer_record().model_copy(update={"dc_instrument": "SMU-A"})
    _, die, *_ = render.wafer_pages(
        context=samples.context(),
        record=record,
        results=samples.wafer_results(
            results=samples.values(
                {"calibration": None, "calibration_basis": None},
                {"parameter": "H21", "condition": "room", "calibration": "CAL-1"},
            ),
            traces=(),
        ),
        note=None,
        frames={},
        maps={},
        bars={},
    )
    values = die.html.partition('id="decisions"')[0]
    dc, rf = re.findall(r"<tr><th scope=\"row\".*?</tr>", values)
    assert '<a href="../../stations/PS-A/index.html#instruments">SMU-A</a>' in dc
    assert "SMU-A" not in rf and "CAL-1" in rf


def test_a_condition_is_described_beside_its_name() -> None:
    wafer, die, *_ = wafer_pages()
    for page in (wafer, die):
        assert (
            '<td data-sort-value="room">room <span class="name">saturation</span></td>' in page.html
        )
