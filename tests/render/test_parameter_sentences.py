"""The first sentences of a parameter's page: its value, how it came out, how sure it is."""

from dataclasses import replace
from typing import Any

import pytest
from markupsafe import Markup

from sitegen.model.campaign import Parameter, UncertaintySource
from sitegen.model.concerned_results import ConcernedDies
from sitegen.render import parameter_sentences
from sitegen.render.parameter_case import Case, cases, worst_first
from tests.render import samples
from tests.render.statistics_samples import concerned


def case(
    parameter: Parameter = samples.VTH,
    outcomes: dict[str, int] | None = None,
    counts: dict[str, int] | None = None,
    **changes: Any,
) -> Case:
    """A parameter under its first condition; counts: of values that are in no verdict."""
    one = parameter.model_copy(update={"conditions": ("room",)})
    found = replace(
        samples.parameter_result("VTH", "room"),
        summary=samples.summary(**changes),
        outcomes={} if outcomes is None else outcomes,
    )
    results = samples.campaign_results(
        context=samples.context(samples.campaign_record(parameters=(one,))),
        parameters=(found,),
        concerned=() if counts is None else (beside(counts),),
    )
    return cases(one, results)[0]


def beside(counts: dict[str, int]) -> ConcernedDies:
    """Counts of values, none of them listed."""
    return concerned(counts=counts, dies=0, listed=(), reasons={})


def plain(text: object) -> str:
    """Without markup and special spaces."""
    return str(Markup(text).striptags()).replace("\u202f", " ")


GUARDED = "under the guarded rule (w = U, k = 2)"


@pytest.mark.parametrize(
    ("outcomes", "changes", "text"),
    [
        ({}, {"n": 0}, "No value was measured."),
        ({}, {"n": 0, "without_standing": 3}, "No value has standing; three are without."),
        ({"not assessable": 4}, {"n": 0, "missing": 4}, "No value could be determined."),
        (
            {"within": 8},
            {},
            f"All 8 values that could be judged are within their limits {GUARDED}.",
        ),
        (
            {"outside": 8},
            {},
            f"None of 8 values that could be judged is within its limits {GUARDED}; 8 are outside.",
        ),
        (
            {"within": 1, "outside": 7},
            {},
            f"1 of 8 values that could be judged is within its limits {GUARDED}; 7 are outside.",
        ),
        (
            {"within": 1},
            {"n": 1},
            f"The one value that could be judged is within its limits {GUARDED}.",
        ),
        (
            {"not refuted": 1},
            {"n": 1},
            f"The one value that could be judged is not within its limits {GUARDED};"
            " 1 is not refuted.",
        ),
        (
            {"within": 4, "not proven": 1, "not refuted": 2, "outside": 1},
            {},
            f"4 of 8 values that could be judged are within their limits {GUARDED}; 1 is not"
            " proven, 2 are not refuted and 1 is outside.",
        ),
        ({"not assessable": 8}, {}, f"No value could be judged {GUARDED}."),
    ],
)
def test_how_a_parameter_came_out(
    outcomes: dict[str, int], changes: dict[str, Any], text: str
) -> None:
    number, told = parameter_sentences.outcome(case(outcomes=outcomes, **changes))
    assert plain(f"{number} {told}") == text


def test_without_limits_nothing_is_judged() -> None:
    free = samples.VTH.model_copy(update={"lower": None, "upper": None})
    number, told = parameter_sentences.outcome(case(free, {"no limits": 8}))
    assert plain(f"{number} {told}") == (
        "No limits are specified, so nothing is judged; eight values with standing are summarised."
    )


@pytest.mark.parametrize(
    ("outcomes", "counts", "changes", "text"),
    [
        ({"within": 8}, {}, {"missing": 0}, ""),
        (
            {"within": 6, "outside": 2, "not assessable": 2},
            {"not measured": 2, "not assessable": 1, "not determined": 1, "outside": 2},
            {"missing": 3, "without_standing": 1, "not_closed": 1},
            "Beside them 2 were not measured, 1 could not be assessed, 1 could not be determined"
            " and 1 is without standing. One of the values with standing is not closed.",
        ),
        (
            {"not assessable": 4},
            {"not determined": 4},
            {"n": 0, "missing": 4},
            "Of its values 4 could not be determined.",
        ),
        ({}, {"not measured": 9}, {"n": 0, "missing": 9}, ""),
        (
            {"within": 8},
            None,
            {"missing": 2, "without_standing": 3},
            "Beside them 2 have no number and 3 are without standing.",
        ),
    ],
)
def test_what_is_in_no_verdict(
    outcomes: dict[str, int], counts: dict[str, int] | None, changes: dict[str, Any], text: str
) -> None:
    found = parameter_sentences.left_out(case(outcomes=outcomes, counts=counts, **changes))
    assert plain(found) == text


RANGE = "from −2.670 V to −2.540 V (5 % to 95 %)"
CENSORED = {
    "median": None,
    "q05": None,
    "q95": 2e-3,
    "maximum": 2.1e-3,
    "below": ("median", "q05"),
    "highest_floor": 1.5e-3,
}


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"n": 263}, f"Median −2.605 V over 263 values with standing, {RANGE}."),
        ({"n": 1}, "One value with standing, −2.605 V."),
        (
            {**CENSORED, "below_floor": 5},
            "Median below the floor (< 1.50 mV) over 8 values with standing, 5 of them below the"
            " floor, from below the floor (< 1.50 mV) to 2.000 mV (5 % to 95 %).",
        ),
        (
            {**CENSORED, "below_floor": 8},
            "All 8 values with standing lie below the floor (< 1.50 mV).",
        ),
        ({"not_reached": 8}, "None of the 8 values with standing was reached."),
        ({"n": 0, "without_standing": 3}, "No value has standing."),
        ({"n": 0}, "No value was measured."),
    ],
)
def test_the_value_of_a_parameter(changes: dict[str, Any], text: str) -> None:
    assert plain(parameter_sentences.value(case(**changes))) == text


@pytest.mark.parametrize(
    ("changes", "sources", "text"),
    [
        (
            {"n": 263},
            ({"absolute": 0.002},),
            "4.0 mV is the expanded uncertainty U of the median's value (k = 2), as declared",
        ),
        (
            {},
            ({"absolute": 0.003}, {"relative": 0.0015355086}),
            "10 mV is the expanded uncertainty U of the median's value (k = 2), as declared",
        ),
        ({}, (), "No U is stated: neither propagated from the measurement nor declared"),
        (
            {"n": 1},
            ({"absolute": 0.002},),
            "4.0 mV is the expanded uncertainty U (k = 2), as declared",
        ),
        (
            CENSORED,
            ({"absolute": 0.002},),
            "No U is stated of a median that is not a number",
        ),
        ({"n": 0, "without_standing": 3}, ({"absolute": 0.002},), "No value has standing"),
        (
            {"u": 0.0021, "budget": {"u_own": 0.00165, "u_instrument": 0.0013}},
            (),
            "4.2 mV is the median expanded uncertainty U (k = 2); 2.6 mV of it is shared by the"
            " values of a wafer and does not average out over its dies",
        ),
        (
            {"u": 0.0021, "budget": {"u_own": 0.0021}},
            (),
            "4.2 mV is the median expanded uncertainty U (k = 2); nothing of it is shared by the"
            " values of a wafer",
        ),
        (
            {"u": 0.005, "budget": {"u_own": 0.003}},
            ({"absolute": 0.004, "common": True},),
            "10 mV is the median expanded uncertainty U (k = 2); 8.0 mV of it is shared by the"
            " values of a wafer and does not average out over its dies",
        ),
    ],
)
def test_how_sure_a_value_is(
    changes: dict[str, Any], sources: tuple[dict[str, Any], ...], text: str
) -> None:
    """The uncertainties by JCGM 100:2008, equation 10, worked by hand: 0.003 V and 0.004 V."""
    declared = tuple(UncertaintySource.model_validate({"source": "s", **each}) for each in sources)
    number, told, shared = parameter_sentences.sure(
        case(samples.VTH.model_copy(update={"uncertainty": declared}), **changes)
    )
    assert plain(f"{number} {told}{'; ' + shared if shared else ''}") == text


def test_the_condition_that_came_out_worst_goes_first() -> None:
    three = samples.VTH.model_copy(update={"conditions": ("room", "hot", "bv")})
    base = samples.parameter_result("VTH", "room")
    found = (
        replace(base, outcomes={"within": 8}),
        replace(base, condition="hot", outcomes={"within": 2, "outside": 6}),
        replace(base, condition="bv", outcomes={"not assessable": 8}),
    )
    results = samples.campaign_results(
        context=samples.context(samples.campaign_record(parameters=(three,))), parameters=found
    )
    ordered = [one.condition for one in worst_first(cases(three, results))]
    assert ordered == ["hot", "room", "bv"]
