"""Yields of wafers and of the process, verdicts, and which parameters take dies."""

import re
from collections.abc import Mapping, Sequence
from itertools import product
from time import process_time
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from sitegen.compute.over_wafers.conformity_of_wafers import campaign_verdict, needed, wafer_verdict
from sitegen.compute.over_wafers.yields import process_yield, wafer_yield, yields
from sitegen.compute.stats.intervals import wilson
from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import Verdict
from sitegen.model.declared_statistics import Study
from sitegen.model.plan import Plan, PlannedWafer
from sitegen.model.yield_results import VerdictWord, Yields
from tests.compute.settings import parameter, setting

PARAMETERS = ("A", "B", "C")
FREE = Verdict()


def campaign(planned: Sequence[str] = (), **verdict: Any) -> CampaignRecord:
    """Three parameters with limits under one condition."""
    base = setting(*(parameter(name, lower=0.0, upper=1.0) for name in PARAMETERS)).campaign
    wafers = tuple(PlannedWafer(id=name) for name in planned)
    return base.model_copy(update={"plan": Plan(wafers=wafers), "verdict": Verdict(**verdict)})


def tables(
    wafers: Mapping[str, Sequence[Mapping[str, str]]], conforming: Sequence[str] = ("within",)
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Dies and results: of each wafer's dies the outcomes by parameter; 'lost' has no standing."""
    dies, results = [], []
    for wafer, listed in wafers.items():
        for x, outcomes in enumerate(listed):
            judged = all(word not in ("lost", "not measured") for word in outcomes.values())
            good = judged and all(word in conforming for word in outcomes.values())
            place = {"wafer": wafer, "die_x": x, "die_y": -1}
            dies.append(
                {
                    **place,
                    "judged": judged,
                    "conforming": good,
                    "verdict_depends_on_touchdown": x == 7,
                }
            )
            results += [
                {
                    **place,
                    "parameter": name,
                    "condition": "RT",
                    "site": "",
                    "counts": True,
                    "outcome": "outside" if word == "lost" else word,
                    "standing": "without standing" if word == "lost" else "stands",
                }
                for name, word in outcomes.items()
            ]
    empty: dict[str, list[Any]] = {"wafer": [], "die_x": [], "die_y": []}
    return (
        pd.DataFrame(
            dies or {**empty, "judged": [], "conforming": [], "verdict_depends_on_touchdown": []}
        ),
        pd.DataFrame(
            results
            or {
                **empty,
                **{
                    name: [] for name in ("parameter", "condition", "counts", "outcome", "standing")
                },
            }
        ),
    )


def wafer_of(good: int, *bad: Mapping[str, str]) -> Sequence[Mapping[str, str]]:
    within = dict.fromkeys(PARAMETERS, "within")
    return [within] * good + [{**within, **one} for one in bad]


def of(
    wafers: Mapping[str, Sequence[Mapping[str, str]]], record: CampaignRecord | None = None
) -> Yields:
    record = record or campaign()
    return yields(*tables(wafers, record.verdict.conforming), record, tuple(wafers))


class TestWafers:
    def test_yield_is_conforming_of_judged_with_wilsons_interval(self) -> None:
        """A die with a value without standing belongs to no yield, good or bad."""
        found = of(
            {"W1": wafer_of(8, {"A": "outside"}, {"B": "lost"}, {"A": "outside", "B": "lost"})}
        )
        (one,) = found.wafers
        assert (one.conforming, one.judged) == (8, 9)
        assert one.share.value == 8 / 9
        expected = binomtest(8, 9).proportion_ci(0.95, method="wilson")
        assert (one.share.lower, one.share.upper) == pytest.approx((expected.low, expected.high))

    @pytest.mark.parametrize("dies", [[], wafer_of(0, {"A": "lost"})])
    def test_without_a_judged_die_nothing_is_stated(
        self, dies: Sequence[Mapping[str, str]]
    ) -> None:
        found = of({"W1": dies}, campaign(wafer_least_share=0.5))
        (one,) = found.wafers
        assert one.share.value is one.share.lower is one.share.upper is None
        assert one.share.reason == "no die is judged in full"
        assert one.verdict == found.verdict == "not assessable"
        assert found.process.share.value is None
        assert (found.limiting, found.together) == ((), ())

    def test_declared_outcomes_conform(self) -> None:
        dies = {"W1": wafer_of(3, {"A": "not proven"}, {"A": "not refuted"}, {"A": "outside"})}
        (strict,) = of(dies).wafers
        (lenient,) = of(dies, campaign(conforming=("within", "not proven"))).wafers
        assert (strict.conforming, lenient.conforming, lenient.judged) == (3, 4, 6)

    def test_wafers_that_are_not_asked_for_are_left_out(self) -> None:
        dies, results = tables({"W1": wafer_of(3), "STUDY": wafer_of(9, {"A": "outside"})})
        found = yields(dies, results, campaign(), ("W1",))
        assert [(one.wafer, one.judged) for one in found.wafers] == [("W1", 3)]
        assert found.limiting == ()
        assert found.changed_by_touchdowns == 0

    def test_changed_verdicts_are_counted(self) -> None:
        assert (
            of({"W1": wafer_of(9), "W2": wafer_of(8), "W3": wafer_of(2)}).changed_by_touchdowns == 2
        )


class TestWaferVerdict:
    @pytest.mark.parametrize(
        ("conforming", "judged", "rules", "word"),
        [
            (9, 10, {}, "no limits"),
            (0, 0, {"wafer_least_share": 0.9}, "not assessable"),
            (9, 10, {"wafer_least_share": 0.9}, "within"),
            (8, 10, {"wafer_least_share": 0.9}, "outside"),
            (9, 10, {"wafer_least_share": 0.9, "wafer_by": "lower end"}, "not proven"),
            (8, 10, {"wafer_least_share": 0.9, "wafer_by": "lower end"}, "outside"),
            # Wilson's lower end of 88 of 88 is 0.9582 and of 10 of 10 is 0.7225.
            (88, 88, {"wafer_least_share": 0.958, "wafer_by": "lower end"}, "within"),
            (88, 88, {"wafer_least_share": 0.959, "wafer_by": "lower end"}, "not proven"),
            (10, 10, {"wafer_least_share": 1.0}, "within"),
            (7, 100, {"wafer_least_share": 0.07}, "within"),
        ],
    )
    def test_words(
        self, conforming: int, judged: int, rules: dict[str, Any], word: VerdictWord
    ) -> None:
        found, reason = wafer_verdict(conforming, judged, Verdict(**rules))
        assert found == word
        assert bool(reason) == (word != "within")

    def test_the_reason_says_how_many_dies_would_do(self) -> None:
        _, reason = wafer_verdict(75, 88, Verdict(wafer_least_share=0.9))
        assert reason == "75 of 88 judged dies conform, 80 would have to"
        assert wafer_verdict(80, 88, Verdict(wafer_least_share=0.9))[0] == "within"
        assert wafer_verdict(79, 88, Verdict(wafer_least_share=0.9))[0] == "outside"

    def test_the_lower_end_shows_that_it_lies_below(self) -> None:
        """90 of 100: Wilson's lower end is 0.825634 (scipy)."""
        end = binomtest(90, 100).proportion_ci(method="wilson").low
        for least, told in (
            (0.9, "82.6\u202f%, lies below 90\u202f%"),
            (0.826, "82.56\u202f%, lies below 82.6\u202f%"),
            (0.82564, "82.56\u202f%, lies below 82.564\u202f%"),
        ):
            assert end < least
            rules = Verdict(wafer_least_share=least, wafer_by="lower end")
            assert wafer_verdict(90, 100, rules)[1].endswith(told)

    @pytest.mark.parametrize("digits", range(3, 15))
    def test_the_lower_end_however_near(self, digits: int) -> None:
        end = wilson(90, 100)
        assert end is not None
        least = end.lower * (1.0 + 10.0**-digits)
        reason = wafer_verdict(90, 100, Verdict(wafer_least_share=least, wafer_by="lower end"))[1]
        shown = [float(one) for one in re.findall(r"([\d.]+)\u202f%", reason)]
        assert shown[0] < shown[1]

    def test_a_lower_end_never_reaches_the_whole(self) -> None:
        with pytest.raises(ValueError, match="must be less than 1"):
            Verdict(wafer_least_share=1.0, wafer_by="lower end")

    def test_the_fewest_that_make_up_a_share(self) -> None:
        for share, whole in product((0.07, 0.29, 0.5, 0.9, 1.0), (1, 7, 10, 100, 300)):
            count = needed(share, whole)
            assert count / whole >= share
            assert (count - 1) / whole < share


class TestCampaignVerdict:
    @pytest.mark.parametrize(
        ("words", "unmeasured", "least", "word"),
        [
            ([], 0, 1.0, "not assessable"),
            (["within"] * 3, 0, 1.0, "within"),
            (["within"] * 3 + ["outside"], 0, 1.0, "outside"),
            (["within"] * 3 + ["outside"], 0, 0.75, "within"),
            (["within"] * 3 + ["not proven"], 0, 1.0, "not proven"),
            (["within"] * 3 + ["not assessable"], 0, 1.0, "not assessable"),
            (["within"] * 3, 1, 1.0, "not assessable"),
            (["within"] * 3, 1, 0.75, "within"),
            (["within", "not proven", "not assessable"], 0, 1.0, "not assessable"),
            (["within", "not proven", "not assessable"], 0, 0.6, "not proven"),
            (["within", "not proven", "outside"], 0, 1.0, "outside"),
        ],
    )
    def test_words(
        self, words: list[VerdictWord], unmeasured: int, least: float, word: VerdictWord
    ) -> None:
        rules = Verdict(wafer_least_share=0.9, campaign_least_share=least)
        found, reason = campaign_verdict(words, unmeasured, rules)
        assert found == word
        assert bool(reason) == (word != "within")

    def test_nothing_declared(self) -> None:
        assert campaign_verdict(["no limits"] * 3, 0, FREE)[0] == "no limits"

    def test_planned_wafers_that_were_not_measured_count(self) -> None:
        record = campaign(("W1", "W2"), wafer_least_share=0.5)
        found = of({"W1": wafer_of(4)}, record)
        assert found.verdict == "not assessable"
        assert found.verdict_reason == (
            "1 of 2 wafers conform, 2 would have to; 1 was not measured"
        )

    def test_wafers_measured_for_a_study_do_not(self) -> None:
        """Their record counts: a wafer that a study names and nobody measured is missing."""
        study = Study(id="S", between="operators", wafers=("W2", "W3"))
        record = campaign(("W1", "W2", "W3"), wafer_least_share=0.5)
        record = record.model_copy(update={"studies": (study,)})
        measured = tables({"W1": wafer_of(4)}, record.verdict.conforming)
        assert yields(*measured, record, ("W1",), ("W2", "W3")).verdict == "within"
        missing = yields(*measured, record, ("W1",), ("W2",))
        assert (
            missing.verdict == "not assessable" and "1 was not measured" in missing.verdict_reason
        )


class TestProcess:
    def test_below_five_wafers_the_pooled_share_has_no_interval(self) -> None:
        process = of({f"W{n}": wafer_of(9, {"A": "outside"}) for n in range(3)}).process
        assert process.share.value == 27 / 30
        assert process.share.lower is process.share.upper is None
        assert process.share.reason == "needs 5 wafers, there are 3"
        assert process.intraclass_correlation.value is None
        assert (process.design_effect, process.method) == (None, "")

    def test_wafers_without_judged_dies_do_not_count_among_the_five(self) -> None:
        wafers = {f"W{n}": wafer_of(9) for n in range(4)}
        process = of({**wafers, "W9": wafer_of(0, {"A": "lost"})}).process
        assert process.share.reason == "needs 5 wafers with dies judged in full, there are 4"
        assert process.wafers == 4

    def test_one_wafer(self) -> None:
        assert of({"W": wafer_of(3)}).process.share.reason == "needs 5 wafers, there is 1"

    def test_from_five_wafers_on(self) -> None:
        wafers = [
            wafer_yield(f"W{n}", good, 88, FREE) for n, good in enumerate((82, 84, 75, 80, 88))
        ]
        process = process_yield(wafers)
        assert process.share.value == 409 / 440
        assert process.share.lower is not None and process.share.upper is not None
        pooled = binomtest(409, 440).proportion_ci(0.95, method="wilson")
        assert process.share.lower < pooled.low < pooled.high < process.share.upper
        assert process.intraclass_correlation.value is not None
        assert process.design_effect is not None and process.design_effect > 1
        assert process.share.reason == ""

    def test_where_no_die_fails_the_correlation_is_not_stated(self) -> None:
        process = of({f"W{n}": wafer_of(9) for n in range(5)}).process
        assert process.share.value == process.share.upper == 1.0
        assert process.share.lower is not None and process.share.lower < 0.95
        assert process.intraclass_correlation.reason == "no die fails, which says nothing of it"
        assert process.design_effect is None


class TestLimiting:
    def test_alone_and_together(self) -> None:
        both = {"A": "outside", "B": "not proven"}
        found = of(
            {
                "W1": wafer_of(5, {"A": "outside"}, both, both, {"C": "outside"}),
                "W2": wafer_of(5, {"A": "outside"}, {"B": "lost", "C": "outside"}),
            }
        )
        assert [
            (one.parameter, one.condition, one.outside, one.alone) for one in found.limiting
        ] == [
            ("A", "RT", 4, 2),
            ("B", "RT", 2, 0),
            ("C", "RT", 1, 1),
        ]
        assert [(one.parameters, one.dies) for one in found.together] == [
            ((("A", "RT"),), 2),
            ((("A", "RT"), ("B", "RT")), 2),
            ((("C", "RT"),), 1),
        ]

    def test_what_conforms_takes_no_die(self) -> None:
        record = campaign(conforming=("within", "not proven"))
        found = of({"W1": wafer_of(5, {"A": "not proven", "B": "outside"})}, record)
        assert [one.parameter for one in found.limiting] == ["B"]

    def test_a_touchdown_that_does_not_count_takes_no_die(self) -> None:
        dies, results = tables({"W1": wafer_of(2, {"A": "outside"})})
        other = results.iloc[-2:-1].assign(counts=False, outcome="outside")
        found = yields(dies, pd.concat([results, other]), campaign(), ("W1",))
        assert [one.parameter for one in found.limiting] == ["A"]

    def test_several_sites_take_a_die_once(self) -> None:
        dies, results = tables({"W1": wafer_of(2, {"A": "outside"})})
        bad = results[results["outcome"] == "outside"].assign(site="edge")
        found = yields(dies, pd.concat([results, bad]), campaign(), ("W1",))
        assert [(one.outside, one.alone) for one in found.limiting] == [(1, 1)]

    def test_every_refused_die_is_in_just_one_set(self) -> None:
        """Against counting die by die; and the order of rows says nothing."""
        random = np.random.default_rng(4)
        words = np.array(["within", "within", "not proven", "outside", "lost"])
        wafers = {
            f"W{n}": [
                dict(zip(PARAMETERS, row, strict=True)) for row in random.choice(words, (60, 3))
            ]
            for n in range(3)
        }
        dies, results = tables(wafers)
        found = yields(dies, results, campaign(), tuple(wafers))
        judged = [die for listed in wafers.values() for die in listed if "lost" not in die.values()]
        taken = [
            frozenset(name for name, word in die.items() if word != "within") for die in judged
        ]
        assert sum(one.dies for one in found.together) == sum(1 for names in taken if names)
        for one in found.limiting:
            assert one.outside == sum(one.parameter in names for names in taken)
            assert one.alone == sum(names == {one.parameter} for names in taken)
        for several in found.together:
            names = {parameter for parameter, _ in several.parameters}
            assert several.dies == sum(names == each for each in taken)
        mixed = yields(
            dies.sample(frac=1, random_state=1), results.sample(frac=1, random_state=2),
            campaign(), tuple(wafers),
        )  # fmt: skip
        assert mixed == found


def test_cost_of_a_large_campaign() -> None:
    """24 wafers of 300 dies and 30 parameters in less than a second of processor time."""
    random = np.random.default_rng(5)
    names = [f"P{n}" for n in range(30)]
    die = pd.MultiIndex.from_product(
        [[f"W{n}" for n in range(24)], range(20), range(15)], names=["wafer", "die_x", "die_y"]
    ).to_frame(index=False)
    results = die.merge(pd.DataFrame({"parameter": names, "condition": "RT"}), how="cross")
    bad = random.random(len(results)) < 0.01
    results = results.assign(
        counts=True, standing="stands", outcome=np.where(bad, "outside", "within")
    )
    refused = results.groupby(["wafer", "die_x", "die_y"], sort=False)["outcome"].agg(
        lambda x: "outside" in set(x)
    )
    dies = die.assign(
        judged=True, conforming=~refused.to_numpy(), verdict_depends_on_touchdown=False
    )
    record = setting(*(parameter(name, lower=0.0) for name in names)).campaign
    begin = process_time()
    found = yields(dies, results, record, tuple(die["wafer"].unique()))
    assert process_time() - begin < 1.0
    assert found.process.judged == 7200
