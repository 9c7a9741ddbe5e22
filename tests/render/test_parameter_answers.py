"""The five answers of a parameter's page, in the odd cases too: none, one, all, nothing stated."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen.model.campaign import Parameter
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.results import CampaignResults
from sitegen.model.space_results import Patterns
from sitegen.model.statistics import Estimate
from sitegen.render import parameter
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_parameter_sentences import plain

QUESTIONS = ("good", "sure", "spread", "measurement", "dies")
NOBODY = given.concerned(counts={}, dies=0, listed=(), reasons={})


def answers(results: CampaignResults) -> dict[str, str]:
    """Each question's answer as a reader sees it, of the first parameter."""
    view = parameter.view(results.context.record.parameters[0], results, {})
    return {one.href.removeprefix("#"): plain(f"{one.number} {one.text}") for one in view.answers}


def with_statistics(*found: Any, **changes: Any) -> CampaignResults:
    return given.results(
        statistics=CampaignStatistics(tuple(found), given.NO_YIELDS, ()), **changes
    )


def one_parameter(results: CampaignResults, **changes: Any) -> CampaignResults:
    """The same with another declaration of the parameter."""
    declared: Parameter = results.context.record.parameters[0].model_copy(update=changes)
    record = samples.campaign_record(parameters=(declared,))
    return replace(results, context=samples.context(record))


def test_everything_that_three_wafers_allow() -> None:
    told = answers(given.results())
    assert told["good"] == (
        "89 of 91 values that could be judged are within their limits under the guarded rule"
        " (w = U, k = 2); 1 is not proven and 1 is outside. Ppk is 0.83 (0.69 to 0.97), by the"
        " upper limit. At least 95 % of such dies lie between −2.690 V and −2.510 V with 95 %"
        " confidence, inside the limits."
    )
    assert told["sure"] == (
        "4.2 mV is the median expanded uncertainty U (k = 2), 2.10 % of the tolerance (Cm = 23.8);"
        " 2.4 mV of it is shared by the values of a wafer and does not average out over its dies."
        " Each value that lies within its limits conforms with a probability of at least 97.72 %."
        " Beside them 4 were not measured and 2 are without standing."
    )
    assert told["spread"] == (
        "77.6 % of the variance lies between the dies of a wafer (36.0 mV; 27.0 mV to 45.0 mV),"
        " 22.1 % between wafers (19 mV; interval: needs 5 wafers, there are 3) and 0.3 % between"
        " the touchdowns of a die (2.20 mV; 1.65 mV to 2.75 mV). One of the two wafers shows a"
        " pattern, W1: rises to the right by 62 mV over the diameter (adjusted p < 0.001)."
        " During the measurement values move on W2 by −1.2 mV an hour since calibration"
        " (adjusted p = 0.0016)."
    )
    assert told["measurement"] == (
        "0.2 % (0.2 % to 0.3 %) of the variance of a wafer's dies is the measurement's own"
        " uncertainty (1.7 mV of 36 mV); the dies themselves spread by 36.0 mV (31.4 mV to 42.1"
        " mV). Errors that the values of a wafer share (1.2 mV) make no spread on it but stay in"
        " its mean; between wafers they alone would make 0.90 mV of the 19 mV seen."
    )
    assert told["dies"] == (
        "5 dies ask for a look. One lies outside its limits: W1 (3, −2) by 3.8 mV. One lies"
        " between its limits, inside a guard band: W1 (−1, 4). Two stand out, which is no"
        " verdict (0.02 expected of clean data): W2 (0, 4). Two are without standing"
        " (verification failed 1, expired by time 1)."
    )


def test_without_statistics_each_answer_says_what_it_can() -> None:
    told = answers(given.results(statistics=None))
    assert "Ppk" not in told["good"] and told["good"].startswith("89 of 91 values")
    assert told["spread"] == (
        "40 mV is the standard deviation of all values with standing; its sources are not stated:"
        " no statistics were computed."
    )
    assert told["measurement"] == (
        "Not stated is how much of the spread the measurement makes: no statistics were computed."
    )
    assert told["dies"].startswith("4 dies ask for a look. One lies outside its limits: W1 (3,")


EMPTY: dict[str, Any] = {
    "n": 0,
    "mean": None,
    "standard_deviation": None,
    "median": None,
    "q05": None,
    "q95": None,
    "u": None,
    "budget": {},
    "outcomes": {},
}


def test_nothing_was_measured() -> None:
    told = answers(
        with_statistics(
            given.nothing("VTH", "room"),
            parameters=(given.result(missing=9, without_standing=0, **EMPTY),),
            concerned=(replace(NOBODY, counts={"not measured": 9}),),
        )
    )
    assert told == {"dies": "No die has a value to look at."}


def test_nothing_has_standing() -> None:
    lost = tuple(replace(given.LOST, die=(x, 0)) for x in range(3))
    told = answers(
        with_statistics(
            given.nothing("VTH", "room"),
            parameters=(given.result(missing=0, without_standing=3, **EMPTY),),
            concerned=(
                replace(
                    NOBODY,
                    counts={"without standing": 3},
                    dies=3,
                    listed=lost,
                    reasons={"verification failed": 3},
                ),
            ),
        )
    )
    assert told == {"dies": "3 dies ask for a look: without standing (verification failed)."}


def test_one_value() -> None:
    reason = "needs 2 values, there is one"
    alone = given.statistics(
        distribution=given.no_distribution(1, reason),
        by_wafer=(),
        capability=given.no_capability("both", reason),
        variation=given.no_variation(reason),
        studies=(),
        patterns=(),
        outliers=given.NO_OUTLIERS,
        trends=(),
        comparisons=(),
    )
    told = answers(
        with_statistics(
            alone,
            parameters=(given.result(n=1, missing=0, without_standing=0, outcomes={"within": 1}),),
            concerned=(NOBODY,),
        )
    )
    assert told["good"] == (
        "The one value that could be judged is within its limits under the guarded rule (w = U,"
        f" k = 2). Ppk is not stated: {reason}. Nor is a tolerance interval."
    )
    assert "The value within its limits conforms with a probability of 97.72 %." in told["sure"]
    assert told["spread"] == "One value has no spread."
    assert told["measurement"] == "One value shows no spread that could be parted."
    assert told["dies"] == (
        "No die lies outside its limits or in a guard band, is without standing or stands out from"
        " the others."
    )


def test_all_values_are_equal() -> None:
    flat = given.variation(
        components=(given.component("die", 0.0, 0.0),),
        measured=given.measured(
            spread=0.0, share_measured=given.not_stated(), spread_of_dies=Estimate(0.0)
        ),
    )
    told = answers(
        with_statistics(
            given.statistics(variation=flat, studies=()),
            parameters=(given.result(standard_deviation=0.0),),
        )
    )
    assert told["spread"] == "None of the values differs: all 91 are equal."
    assert told["measurement"].startswith("Not stated is ")


def test_all_values_lie_below_the_floor() -> None:
    hidden: dict[str, Any] = {**EMPTY, "n": 91, "below_floor": 91, "highest_floor": 6e-3}
    hidden |= {"below": ("median", "q05", "q95"), "outcomes": {"within": 91}}
    reason = "every value lies below the floor"
    told = answers(
        with_statistics(given.nothing("VTH", "room", reason), parameters=(given.result(**hidden),))
    )
    assert told["good"].endswith(f" Ppk is not stated: {reason}. Nor is a tolerance interval.")
    assert told["sure"].startswith("No U is stated of a median that is not a number.")
    assert told["spread"] == "Not stated is any spread: no value is a number of its own."
    assert told["measurement"] == (
        f"Not stated is how much of the spread the measurement makes: {reason}."
    )


def test_without_limits_and_without_uncertainty() -> None:
    reason = "no uncertainty is stated"
    off = given.not_stated(reason)
    free = given.statistics(
        risks=replace(given.NO_RISKS, reason="there are no limits"),
        capability=given.no_capability(),
        variation=given.variation(
            measured=given.measured(
                u_own=None, u_shared=None, share_measured=off, spread_of_dies=off, reason=reason
            )
        ),
        outliers=replace(given.outliers(), flagged=()),
    )
    found = with_statistics(
        free,
        parameters=(given.result(u=None, budget={}, outcomes={"no limits": 91}),),
        concerned=(replace(NOBODY, counts={"without standing": 2}),),
    )
    told = answers(one_parameter(found, lower=None, upper=None, uncertainty=()))
    assert told["good"] == (
        "No limits are specified, so nothing is judged; 91 values with standing are summarised. At"
        " least 95 % of such dies lie between −2.690 V and −2.510 V with 95 % confidence."
    )
    assert told["sure"] == (
        "No U is stated: neither propagated from the measurement nor declared. Beside them 2 are"
        " without standing."
    )
    assert told["measurement"] == (
        f"Not stated is how much of the spread the measurement makes: {reason}. In study OP-1"
        " (three operators, ten dies and three repeats) repeatability and reproducibility together"
        " are 940 µV; six times that is 2.83 % of the tolerance."
    )


def test_one_wafer() -> None:
    alone = given.variation(
        components=(
            replace(
                given.component("wafer", 0.0, 0.0),
                share=None,
                standard_deviation=given.not_stated("needs 2 wafers, there is 1"),
            ),
            given.component("die", 0.036, 1.0),
        ),
        wafer_spread_by_measurement=None,
    )
    told = answers(
        with_statistics(
            given.statistics(variation=alone, patterns=(given.patterns(claimed=False),), trends=()),
            parameters=(given.result(), given.result(wafer="W1")),
        )
    )
    assert told["spread"] == (
        "36.0 mV is the standard deviation between the dies of a wafer (27.0 mV to 45.0 mV). The"
        " spread between wafers is not stated: needs 2 wafers, there is 1. No pattern over the"
        " wafer is shown."
    )
    assert "between wafers" not in told["measurement"]


def test_the_measurement_explains_all_of_it_and_more_than_is_seen_between_wafers() -> None:
    whole = given.variation(
        measured=given.measured(
            u_own=0.036,
            share_measured=Estimate(1.0, 0.8, 1.0),
            spread_of_dies=Estimate(0.0, 0.0, 0.01),
        ),
        wafer_spread_by_measurement=0.03,
    )
    told = answers(with_statistics(given.statistics(variation=whole)))["measurement"]
    assert told.startswith(
        "100 % (80.0 % to 100 %) of the variance of a wafer's dies could be the measurement's own"
        " uncertainty (36 mV): it is no less than the spread seen (36 mV), so that no spread of the"
        " dies themselves is shown (at most 10 mV)."
    )
    assert told.endswith("they alone could make 30 mV, more than is seen (19 mV).")


def test_a_small_share_of_the_measurement_is_no_zero() -> None:
    small = given.variation(
        measured=given.measured(u_own=1e-4, share_measured=Estimate(8e-6, 6e-6, 1e-5))
    )
    told = answers(with_statistics(given.statistics(variation=small)))["measurement"]
    assert told.startswith("Under 0.1 % of the variance of a wafer's dies is the measurement's own")
    assert "(0.10 mV of 36 mV)" in told


@pytest.mark.parametrize(
    ("least", "within", "text"),
    [
        (1.0, 91, " that lies within its limits conforms with a probability of more than 99.99 %."),
        (
            0.9999,
            91,
            " that lies within its limits conforms with a probability of at least 99.99 %.",
        ),
        (0.5, 1, " The value within its limits conforms with a probability of 50.00 %."),
        (0.5, 0, ""),
        (None, 91, ""),
    ],
)
def test_a_probability_of_conformity_is_never_certain(
    least: float | None, within: int, text: str
) -> None:
    found = given.statistics(risks=given.risks(least_probability=least))
    told = answers(with_statistics(found, parameters=(given.result(outcomes={"within": within}),)))[
        "sure"
    ]
    assert ("probability" in told) == bool(text)
    assert text in told


def test_an_uncertainty_beyond_the_tolerance_is_told_as_it_is() -> None:
    found = given.statistics(risks=given.risks(uncertainty_share=1.4, capability_index=0.357))
    told = answers(with_statistics(found))["sure"]
    assert "(k = 2), 140 % of the tolerance (Cm = 0.357); " in told


def test_normality_refuted_takes_the_interval_for_any_distribution() -> None:
    free = given.tolerance("distribution-free", lower=-2.71, upper=-2.49)
    found = given.distribution(
        normality=replace(given.distribution().normality, p_value=0.001),
        tolerance=(given.tolerance(), free),
    )
    told = answers(with_statistics(given.statistics(distribution=found)))["good"]
    assert "between −2.710 V and −2.490 V with 95 % confidence, which reaches beyond" in told
    one_sided = given.distribution(tolerance=(given.tolerance(side="lower", upper=None),))
    told = answers(with_statistics(given.statistics(distribution=one_sided)))["good"]
    assert "such dies lie above −2.690 V with 95 % confidence, inside the limit." in told


def test_an_index_under_a_refused_law_says_so() -> None:
    refused = "the test refuses the normal law (p < 0.001)"
    found = given.capability(
        ppk=Estimate(0.83, reason=given.FIVE_WAFERS),
        reason=f"{refused}; the quantile method needs 2731 values",
        refused=refused,
    )
    told = answers(with_statistics(given.statistics(capability=found)))["good"]
    assert (
        "Ppk is 0.83, by the upper limit, although the test refuses the normal law (p < 0.001); its"
        " interval is not stated: needs 5 wafers, there are 3." in told
    )


def test_an_index_by_quantiles_says_so() -> None:
    refused = "the test refuses the normal law (p < 0.001)"
    quantiles = Estimate(0.83, reason="no interval by quantiles")
    found = given.capability(method="quantile", ppk=quantiles, reason=refused, refused=refused)
    told = answers(with_statistics(given.statistics(capability=found)))["good"]
    assert (
        "Ppk is 0.83, by the upper limit, from quantiles, since the test refuses the normal law (p"
        " < 0.001); such an index has no interval." in told
    )


def test_values_without_a_number_are_the_reason_once() -> None:
    reason = "12 values have no number (below the floor or not reached)"
    tests = tuple(
        replace(one, p_value=None, adjusted_p=None, reason=reason.replace("12", "2"))
        for one in given.patterns().tests
    )
    found = given.statistics(
        variation=given.no_variation(reason), patterns=(replace(given.patterns(), tests=tests),)
    )
    hidden = given.result(below_floor=12), given.result(wafer="W1", below_floor=2)
    told = answers(with_statistics(found, parameters=hidden))["spread"]
    assert told.count("no number") == 1
    assert "Nor was a pattern over a wafer looked for." in told


def test_a_pattern_with_a_caveat_is_told_without_its_p_value() -> None:
    zones = given.pattern("zones", 1e-6, 0.6, "highest in the edge; its p-value is too small")
    caveat = replace(zones, caveat="; its p-value is too small")
    found = replace(given.patterns("W1"), tests=(caveat, given.patterns("W1").tests[1]))
    told = answers(
        with_statistics(
            given.statistics(patterns=(found,), trends=()),
            parameters=(given.result(), given.result(wafer="W1")),
        )
    )["spread"]
    assert told.endswith(" W1 shows a pattern: highest in the edge.")


def untested(wafer: str) -> Patterns:
    """A wafer with too few dies for any test."""
    found = given.patterns(wafer)
    tests = tuple(
        replace(one, p_value=None, adjusted_p=None, reason="needs 7 dies, there are 5")
        for one in found.tests
    )
    return replace(found, n=5, tests=tests)


@pytest.mark.parametrize(
    ("tested", "claimed", "left", "text"),
    [
        (2, 0, 0, "No pattern over any of the two wafers is shown."),
        (2, 0, 1, "No pattern over any of the two wafers that could be tested is shown."),
        (1, 0, 1, "No pattern over the one wafer that could be tested is shown."),
        (1, 1, 1, "W1, the one wafer that could be tested, shows a pattern: rises"),
        (2, 1, 1, "One of the two wafers that could be tested shows a pattern, W1: rises"),
        (3, 2, 0, "Two of the three wafers show a pattern, most clearly W1: rises"),
        (3, 3, 2, "All three wafers that could be tested show a pattern, most clearly W1: rises"),
        (0, 0, 2, "No pattern over a wafer was looked for: needs 7 dies, there are 5."),
    ],
)
def test_wafers_that_could_not_be_tested_are_not_counted_among_those_without_a_pattern(
    tested: int, claimed: int, left: int, text: str
) -> None:
    names = [f"W{place + 1}" for place in range(tested + left)]
    found = tuple(
        given.patterns(name, claimed=place < claimed) if place < tested else untested(name)
        for place, name in enumerate(names)
    )
    told = answers(
        with_statistics(
            given.statistics(patterns=found, trends=()),
            parameters=(given.result(), *(given.result(wafer=name) for name in names)),
        )
    )["spread"]
    assert text in told


def test_more_dies_than_are_kept_are_said_to_be_more() -> None:
    listed = tuple(given.value("outside", (x, 0)) for x in range(200))
    many = given.concerned(counts={"outside": 300}, dies=280, listed=listed, reasons={})
    found = given.statistics(outliers=replace(given.outliers(), flagged=()))
    told = answers(
        with_statistics(
            found,
            concerned=(many,),
            parameters=(given.result(without_standing=0, outcomes={"outside": 300}),),
        )
    )["dies"]
    assert told.startswith("At least 280 dies ask for a look. 300 lie outside their limits: W1 (0,")
    assert told.endswith(" and 297 more.")


def test_several_conditions_answer_for_the_worst_and_list_the_others() -> None:
    hot = given.statistics(condition="hot", capability=given.no_capability("both", "no spread"))
    found = with_statistics(
        given.statistics(),
        hot,
        parameters=(
            given.result("room"),
            given.result("hot", outcomes={"within": 1, "outside": 3}),
        ),
        concerned=(given.concerned(), replace(NOBODY, condition="hot")),
    )
    results = one_parameter(found, conditions=("room", "hot"))
    view = parameter.view(results.context.record.parameters[0], results, {})
    assert plain(view.value).startswith("Under hot, that came out worst: median −2.605 V over 91")
    assert view.answers[0].number == "1 of 4"
    assert view.others is not None
    row = view.others.rows[0]
    assert row.head.text == "room"
    assert [plain(cell.text) for cell in row.cells] == [
        "−2.605 V (−2.670 V to −2.540 V)",
        "89 of 91",
        "4.2 mV",
        "77.6 % between the dies of a wafer",
        "0.2 %",
        "5 dies",
    ]
