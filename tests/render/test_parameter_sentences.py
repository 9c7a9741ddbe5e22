"""The first sentences of a parameter's page: its value, how sure, how it came out."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen.model.campaign import Decision, UncertaintySource
from sitegen.render import parameter_sentences
from tests.render.samples import VTH, parameter_result, summary
from tests.render.test_sentences import RULE, said


@pytest.mark.parametrize(
    ("counts", "aside", "limited", "text"),
    [
        ({}, {}, True, "No value was measured."),
        ({}, {"without standing": 3}, True, "No value has standing; three are without."),
        (
            {"within": 8},
            {},
            True,
            "All 8 values that could be judged are within their limits under the guarded rule.",
        ),
        (
            {"within": 6, "not proven": 1, "outside": 1, "not assessable": 3},
            {"not measured": 2, "not determined": 1, "without standing": 1, "not closed": 1},
            True,
            "6 of the 8 values that could be judged are within their limits under the guarded rule;"
            " 1 is not proven and 1 is outside. Beside them 2 were not measured, 2 could not be"
            " assessed, 1 could not be determined and 1 is without standing. One of the values with"
            " standing is not closed.",
        ),
        (
            {"not assessable": 4},
            {"not determined": 4},
            True,
            "No value could be judged under the guarded rule. Of its values 4 could not be"
            " determined.",
        ),
        (
            {"no limits": 4},
            {},
            False,
            "There are no specification limits; four values with standing are summarised.",
        ),
    ],
)
def test_how_a_parameter_came_out(
    counts: dict[str, int], aside: dict[str, int], limited: bool, text: str
) -> None:
    assert said(parameter_sentences.outcomes(counts, aside, RULE, limited)) == text


GUARDED = Decision(rule="guarded")
RANGE = "from −2.670 V to −2.540 V (5 % to 95 %)"


@pytest.mark.parametrize(
    ("changes", "sources", "text"),
    [
        (
            {"n": 263},
            ({"absolute": 0.002},),
            f"Median −2.605 V over 263 values with standing, {RANGE}; expanded uncertainty of the"
            " median's value 4.0 mV (k = 2), as declared.",
        ),
        (
            {},
            ({"absolute": 0.003}, {"relative": 0.0015355086}),
            f"Median −2.605 V over 8 values with standing, {RANGE}; expanded uncertainty of the"
            " median's value 10 mV (k = 2), as declared.",
        ),
        (
            {},
            (),
            f"Median −2.605 V over 8 values with standing, {RANGE}; no uncertainty is stated.",
        ),
        (
            {"n": 1},
            ({"absolute": 0.002},),
            "One value with standing, −2.605 V; expanded uncertainty 4.0 mV (k = 2), as declared.",
        ),
        (
            {
                "median": None,
                "q05": None,
                "q95": 2e-3,
                "maximum": 2.1e-3,
                "below_floor": 5,
                "below": ("median", "q05"),
                "highest_floor": 1.5e-3,
            },
            ({"absolute": 0.002},),
            "Median below the floor (< 1.50 mV) over 8 values with standing, 5 of them below the"
            " floor, from below the floor (< 1.50 mV) to 2.000 mV (5 % to 95 %).",
        ),
        ({"n": 0, "without_standing": 3}, ({"absolute": 0.002},), ""),
        ({"n": 0}, ({"absolute": 0.002},), ""),
    ],
)
def test_the_value_of_a_parameter_and_how_sure_it_is(
    changes: dict[str, Any], sources: tuple[dict[str, float], ...], text: str
) -> None:
    """The uncertainties by JCGM 100:2008, equation 10, worked by hand: 0.003 V and 0.004 V."""
    declared = tuple(UncertaintySource.model_validate({"source": "s", **each}) for each in sources)
    vth = VTH.model_copy(update={"uncertainty": declared})
    found = replace(parameter_result("VTH", "room"), summary=summary(**changes))
    assert said(parameter_sentences.values(vth, [found], GUARDED)) == text


def test_each_condition_has_its_sentence_and_many_are_counted() -> None:
    empty = replace(parameter_result("VTH", "hot"), summary=summary(n=0))
    lost = replace(empty, condition="cold", summary=summary(n=0, without_standing=2))
    found = [parameter_result("VTH", "room"), empty, lost, empty, empty]
    text = said(parameter_sentences.values(VTH, found, GUARDED))
    assert text.startswith("At room: median −2.605 V over 8 values with standing, from ")
    assert text.endswith(
        "At hot: no value was measured. At cold: no value has standing. Two more conditions follow"
        " below."
    )
