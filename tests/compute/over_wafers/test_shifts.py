"""What stresses did: what cancels, what is taken off, what is lost, and whether intervals hold."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from scipy import stats as reference

from sitegen.compute.over_wafers import shift_means
from sitegen.compute.over_wafers.paired_dies import PairedDies, pair_dies
from sitegen.compute.over_wafers.shift_identity import exchanged_wafers
from sitegen.compute.over_wafers.shift_means import Measured, over_wafers
from sitegen.compute.over_wafers.shifts import Shifts, shifts
from sitegen.compute.rows import rows_of
from sitegen.compute.uncertainty_parts import Carried, carried_by_mean, u_of_differences
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Remeasured, Stress
from sitegen.model.remeasured import contradiction, takes_part
from sitegen.model.shift_results import Lost, Shift
from sitegen.model.wafer import WaferRecord
from tests.compute.over_wafers.sample_data import PITCH_MM, grid
from tests.compute.settings import AT, parameter, setting
from tests.compute.test_differences import rows as rows_of_wafer

RNG = np.random.default_rng(2026)
GRID = grid(4)
"""49 dies."""


def record(name: str, days: float, wafer: str = "", **changes: Any) -> WaferRecord:
    given: dict[str, Any] = {
        "id": name,
        "identity_read": wafer or name,
        "lot": "L",
        "station": "S",
        "by": "engineer",
        "started": AT + timedelta(days=days),
        "finished": AT + timedelta(days=days, hours=1),
        "ambient_c": 23.0,
        "dc_instrument": "SMU",
    }
    return WaferRecord.model_validate({**given, **changes})


def campaign(
    wafers: int = 1, controls: int = 0, rule: str = "simple", **of_parameter: Any
) -> tuple[CampaignRecord, tuple[WaferRecord, ...]]:
    """Wafers A1, A2, ... and C1, C2, ..., each with a record '...-after' a day later."""
    stressed = [f"A{place}" for place in range(1, wafers + 1)]
    beside = [f"C{place}" for place in range(1, controls + 1)]

    def pairs(names: Sequence[str]) -> tuple[Remeasured, ...]:
        return tuple(Remeasured(before=name, after=f"{name}-after") for name in names)

    stress = Stress(id="X", name="a stress", pairs=pairs(stressed), controls=pairs(beside))
    made = setting(parameter("P", **of_parameter), rule=rule).campaign
    records = [
        one
        for name in (*stressed, *beside)
        for one in (record(name, 0), record(f"{name}-after", 1, name))
    ]
    return made.model_copy(update={"stresses": (stress,)}), tuple(records)


def rows(
    wafer: str, value: npt.ArrayLike, dies: npt.NDArray[np.int64] | None = None, **columns: Any
) -> pd.DataFrame:
    """Results of one wafer; dies row by row of the grid where none are given."""
    values = np.atleast_1d(np.asarray(value, dtype=np.float64))
    places = GRID[: len(values)] if dies is None else dies
    given = {
        "die_x": places[:, 0],
        "die_y": places[:, 1],
        "x_mm": places[:, 0] * PITCH_MM,
        "y_mm": places[:, 1] * PITCH_MM,
        "site": "",
        "standing_reasons": "",
        "outcome_reason": "",
        **columns,
    }
    return rows_of_wafer(wafer, values, **given)


def changed(table: pd.DataFrame, row: int, **entries: Any) -> pd.DataFrame:
    """The table with other entries in one row."""
    columns = {str(name): table[name].tolist() for name in table}
    for name, entry in entries.items():
        columns[name][row] = entry
    return pd.DataFrame(columns)


def found(
    tables: Sequence[pd.DataFrame], made: tuple[CampaignRecord, tuple[WaferRecord, ...]]
) -> Shifts:
    return shifts(pd.concat(tables, ignore_index=True), *made)


def one_shift(
    tables: Sequence[pd.DataFrame], made: tuple[CampaignRecord, tuple[WaferRecord, ...]]
) -> Shift:
    (only,) = found(tables, made).found
    return only


def test_of_one_wafer_it_is_the_paired_t() -> None:
    before = RNG.normal(1, 0.2, 49)
    after = before + RNG.normal(0.1, 0.05, 49)
    shuffled = RNG.permutation(49)
    one = one_shift(
        [rows("A1", before), rows("A1-after", after[shuffled], GRID[shuffled])], campaign()
    )
    expected = reference.ttest_rel(after, before)
    ends = expected.confidence_interval(0.95)
    assert (one.had, one.n, one.dies, one.wafers, one.lost) == (49, 49, 49, 1, ())
    assert one.mean.value == pytest.approx(np.mean(after - before))
    assert (one.mean.lower, one.mean.upper) == pytest.approx((ends.low, ends.high))
    assert one.p_value == one.adjusted_p == pytest.approx(expected.pvalue)
    assert one.standard_deviation == pytest.approx(np.std(after - before, ddof=1))
    assert one.median.value == pytest.approx(np.median(after - before))
    assert one.sign_p == pytest.approx(reference.binomtest(int((after > before).sum()), 49).pvalue)
    assert (one.resolved, one.u, one.expanded) == ("not stated", None, None)
    assert one.reason == shift_means.NOT_MEASURED and not one.of_process


def test_a_shared_error_cancels_where_one_instrument_measured_both() -> None:
    before, after = RNG.normal(1, 0.2, 49), RNG.normal(1.1, 0.2, 49)

    def u(**columns: Any) -> float:
        tables = [rows("A1", before, **columns), rows("A1-after", after, **columns)]
        shared = one_shift(tables, campaign()).u_shared
        assert shared is not None
        return shared

    assert u(u_instrument=0.3) == pytest.approx(0, abs=1e-12), "one instrument, one station"
    same = {"u_common": 0.3, "u_calibration": 0.3, "calibration": "K1"}
    assert u(**same) == pytest.approx(0, abs=1e-12), "one calibration"
    assert u(u_temperature=0.3) == pytest.approx(0.3 * np.sqrt(2)), "placed anew"
    apart, wafers = campaign()
    moved = (wafers[0], wafers[1].model_copy(update={"station": "T"}))
    tables = [rows(name, before, u_instrument=0.3) for name in ("A1", "A1-after")]
    assert one_shift(tables, (apart, moved)).u_shared == pytest.approx(0.3 * np.sqrt(2))


def test_a_shift_below_its_own_uncertainty_is_not_resolved() -> None:
    before = RNG.normal(1, 0.2, 49)
    for size, word in ((0.5, "not resolved"), (1.5, "resolved"), (-1.5, "resolved")):
        after = before + size + RNG.normal(0, 0.01, 49)
        tables = [
            rows(name, value, u_temperature=0.4, u_own=0.01)
            for name, value in (("A1", before), ("A1-after", after))
        ]
        one = one_shift(tables, campaign())
        assert one.expanded == pytest.approx(2 * np.hypot(0.4 * 2**0.5, 0.01 * (2 / 49) ** 0.5))
        assert one.resolved == word
        assert one.mean.lower is not None and one.mean.value is not None
        assert one.mean.value - one.mean.lower == pytest.approx(1.96 * 0.4 * 2**0.5, rel=0.01)


def test_what_control_wafers_shift_by_is_taken_off_and_shared_errors_with_it() -> None:
    """All that was measured after stands on one calibration, which errs by 0.3."""
    tables = []
    for name in ("A1", "A2", "C1"):
        before = RNG.normal(1, 0.2, 49)
        shift = (0.5 if name[0] == "A" else 0.0) + 0.3
        common: dict[str, Any] = {"u_common": 0.2, "u_calibration": 0.2}
        tables += [
            rows(name, before, calibration="K1", **common),
            rows(
                f"{name}-after", before + shift + RNG.normal(0, 0.01, 49), calibration="K2",
                **common,
            ),
        ]  # fmt: skip
    one = one_shift(tables, campaign(2, 1))
    assert one.control_mean == pytest.approx(0.3, abs=0.01)
    assert one.mean.value == pytest.approx(0.5, abs=0.01)
    assert one.u_shared == pytest.approx(0, abs=1e-12)
    assert (one.wafers, one.controls, one.n) == (2, 1, 98)
    assert one.pairs[0].mean.value == pytest.approx(0.8, abs=0.01), "as measured"
    assert one.pairs[0].u_shared == pytest.approx(0.2 * np.sqrt(2))
    assert [pair.control for pair in one.pairs] == [False, False, True]
    assert one.sign_p is None


def test_lost_values_are_counted_by_reason_devices_first() -> None:
    n = 8
    after = rows("A1-after", np.ones(n))
    after = changed(after, 0, value=np.nan, outcome="not assessable", outcome_reason="no crossing")
    after = changed(after, 1, below_floor=True, floor=0.1)
    after = changed(after, 2, not_reached=True)
    after = changed(after, 3, standing="without standing", standing_reasons="floor missing")
    after = changed(after, 4, value=np.nan, outcome="not measured", standing="")
    after = after.drop(index=5)
    other = rows("A1-after", np.ones(1), GRID[4:5], parameter="Q")
    before = rows("A1", np.ones(n))
    before = changed(before, 7, below_floor=True)
    made = campaign()
    made = (
        made[0].model_copy(
            update={"parameters": setting(parameter("P"), parameter("Q")).campaign.parameters}
        ),
        made[1],
    )
    one = next(one for one in found([before, after, other], made).found if one.parameter == "P")
    assert one.had == 7 and one.n == 1
    assert one.lost == (
        Lost("no value", "no value, though the die was measured", 1),
        Lost("no value", "no value: no crossing", 1),
        Lost("censored", "below the floor", 1),
        Lost("censored", "not reached", 1),
        Lost("without standing", "without standing: floor missing", 1),
        Lost("not measured", "not measured", 1),
    )
    assert (one.lost_devices, one.lost_total) == (4, 6)
    assert one.appeared == (("below the floor", 1),)
    dies = found([before, after, other], made).dies
    assert list(dies.loc[dies["parameter"] == "P", "state"]).count("paired") == 1
    assert len(dies[dies["parameter"] == "P"]) == one.had, "no die vanishes from the record"


def test_each_die_is_judged_with_the_uncertainty_of_its_own_difference() -> None:
    shift = np.array([0.0, 0.5, 0.85, 0.99, 1.01, -1.01, -0.2])
    before = np.full(7, 5.0)
    tables = [
        rows(name, value, u_own=0.05)
        for name, value in (("A1", before), ("A1-after", before + shift))
    ]
    u = 0.05 * np.sqrt(2)
    made = campaign(rule="guarded", shift_max=1.0)
    one = one_shift(tables, made)
    assert one.u_die == pytest.approx(u)
    assert one.outcomes == {"within": 4, "not proven": 1, "outside": 2}, "1 - 2 u = 0.859"
    assert one.beyond == 2
    bare = one_shift([rows("A1", before), rows("A1-after", before + shift)], made)
    assert bare.outcomes == {"not assessable": 7}, "no uncertainty for a guarded rule"
    assert one_shift(tables, campaign(rule="simple", shift_max=1.0)).outcomes == {
        "within": 5,
        "outside": 2,
    }
    assert one_shift(tables, campaign()).outcomes == {}


def test_the_uncertainty_of_differences_is_that_of_means_of_one() -> None:
    """A law: of a single value the mean's rules and these are the same, control taken off too."""
    made, wafers = campaign(1, 1)
    devices = {one.id: one for one in made.devices}
    instruments = {one.id: f"{one.station}/{one.dc_instrument}" for one in wafers}

    def single(wafer: str, calibration: str) -> Any:
        parts = dict(zip(
            ("u_common", "u_own", "u_instrument", "u_temperature", "u_misfit"),
            RNG.uniform(0.1, 1, 5), strict=True,
        ))  # fmt: skip
        parts |= {"u_calibration": 0.9 * parts["u_common"], "u_definitions": 0.05}
        table = rows(wafer, 1.0, calibration=calibration, **parts)
        return rows_of(table, [*table.columns])

    own = made.parameters[0]
    one, other, third, fourth = (
        single(*names)
        for names in (("A1", "K1"), ("A1-after", "K2"), ("C1", "K1"), ("C1-after", "K2"))
    )

    def carried(given: Any) -> Carried:
        told = carried_by_mean(given, own, devices, instruments)
        assert told is not None
        return told

    alone = u_of_differences(other, one, own, devices, instruments)
    assert alone[0] == pytest.approx(carried(other).minus(carried(one)).u)
    control = carried(fourth).minus(carried(third))
    less = u_of_differences(other, one, own, devices, instruments, control)
    assert less[0] == pytest.approx(carried(other).minus(carried(one)).minus(control).u)
    unstated = {**one, "u": np.array([np.nan])}
    assert np.isnan(u_of_differences(other, unstated, own, devices, instruments)[0])


EMPTY = rows_of(rows("A1", np.zeros(0)), ["die_x"])
NO_DIES = PairedDies(Remeasured(before="A", after="B"), False, EMPTY, EMPTY, 0, (), (), 0)


def measured(differences: FloatArray, common: dict[tuple[str, Any], float]) -> Measured:
    return Measured(NO_DIES, Carried(common, 0.0), differences)


def coverage(wafers: int, controls: int, draws: int, narrower: float = 1.0) -> float:
    """How often the interval holds the process's shift: wafers of their own, errors of two kinds.

    One calibration serves all wafers after, and each wafer has an error of its own; the program is
    told the size of both. Three dies a wafer, so that the dies' scatter counts too.
    """
    rng = np.random.default_rng(wafers + 100 * controls)
    of_calibration, of_wafer, hits = 0.5, 0.4, 0
    for _ in range(draws):
        calibration = of_calibration * rng.standard_normal()

        def side(
            count: int, shift: float, kind: str, calibration: float = calibration
        ) -> list[Any]:
            return [
                measured(
                    shift + calibration + of_wafer * rng.standard_normal()
                    + 0.3 * rng.standard_normal() + 0.5 * rng.standard_normal(3),
                    {("calibration", "K"): of_calibration, ("temperature", f"{kind}{n}"): of_wafer},
                )
                for n in range(count)
            ]  # fmt: skip

        told = over_wafers(side(wafers, 1.0, "s"), side(controls, 0.0, "c"))
        assert told.of_process
        value, upper = told.estimate.value, told.estimate.upper
        assert value is not None and upper is not None
        hits += abs(value - 1.0) <= narrower * (upper - value)
    return hits / draws


@pytest.mark.parametrize(("wafers", "controls"), [(5, 0), (12, 0), (5, 5)])
def test_over_wafers_the_interval_holds_the_processs_shift(wafers: int, controls: int) -> None:
    assert 0.93 <= coverage(wafers, controls, 1_500) <= 0.975


def test_a_narrower_interval_over_wafers_would_be_seen() -> None:
    assert coverage(12, 0, 1_500, 0.85) < 0.93


def test_with_few_wafers_the_interval_is_of_these_wafers_and_says_so() -> None:
    tables = []
    for place in range(1, 6):
        before = RNG.normal(1, 0.2, 20)
        after = before + place + RNG.normal(0, 0.05, 20)
        tables += [rows(f"A{place}", before), rows(f"A{place}-after", after)]
    few = one_shift(tables[:8], campaign(4))
    many = one_shift(tables, campaign(5))
    assert (few.of_process, many.of_process) == (False, True)
    assert few.mean.value == pytest.approx(2.5, abs=0.05)
    assert few.mean.upper is not None and few.mean.upper - 2.5 < 0.1, "of these wafers alone"
    assert many.mean.upper is not None and many.mean.lower is not None
    half = reference.t.ppf(0.975, 4) * np.std(np.arange(1, 6), ddof=1) / np.sqrt(5)
    assert (many.mean.upper - many.mean.lower) / 2 == pytest.approx(half, rel=0.05)


@pytest.mark.parametrize("n", [1, 2, 5])
def test_few_dies_say_what_they_need(n: int) -> None:
    before = np.arange(n, dtype=np.float32).astype(np.float64)
    one = one_shift([rows("A1", before), rows("A1-after", before + 1 + 0.1 * before)], campaign())
    assert (one.n, one.mean.value is not None) == (n, True)
    assert one.median.reason == f"needs 6 dies, there are {n}"
    assert (one.mean.reason == "needs 2 dies on each wafer, there is 1") == (n == 1)
    assert (one.mean.lower is None) == (n == 1)


def test_nothing_and_all_equal() -> None:
    made = campaign(shift_max=1.0, rule="guarded")
    assert found([rows("A1", np.zeros(0))], made).found == ()
    assert len(found([rows("A1", np.zeros(0))], made).dies) == 0
    alone = one_shift([rows("A1", np.ones(9))], made)
    assert (alone.had, alone.n, alone.lost_total, alone.outcomes) == (9, 0, 9, {})
    assert alone.mean.value is None and alone.mean.reason == shift_means.NOTHING_PAIRED
    equal = one_shift([rows("A1", np.ones(9)), rows("A1-after", np.full(9, 2.0))], made)
    assert equal.mean.value == 1.0 and equal.mean.reason == shift_means.NO_SPREAD
    assert equal.dependence.value is None and equal.dependence.reason
    censored = rows("A1-after", np.ones(9), below_floor=True, floor=1.0)
    gone = one_shift([rows("A1", np.ones(9)), censored], made)
    assert gone.lost == (Lost("censored", "below the floor", 9),)
    both = one_shift([censored.assign(wafer="A1"), rows("A1-after", np.ones(9))], made)
    assert both.had == 0 and both.appeared == (("below the floor", 9),)


def test_sites_of_a_die_are_averaged_first() -> None:
    places = np.repeat(GRID[:10], 2, axis=0)
    site = ["a", "b"] * 10
    difference = np.repeat(RNG.normal(0, 1, 10), 2) + np.tile([0.2, -0.2], 10)
    one = one_shift(
        [
            rows("A1", np.zeros(20), places, site=site),
            rows("A1-after", difference, places, site=site),
        ],
        campaign(),
    )
    expected = reference.ttest_1samp(difference[::2] - 0.2, 0)
    assert (one.n, one.dies) == (20, 10)
    assert one.p_value == pytest.approx(expected.pvalue)


def test_where_the_shifts_lie_is_told() -> None:
    before = RNG.normal(1, 0.2, 49)
    after = before + 0.1 * GRID[:, 0] + RNG.normal(0, 0.05, 49)
    one = one_shift([rows("A1", before), rows("A1-after", after)], campaign(lower=0.9, upper=1.1))
    (pattern,) = one.patterns
    plane = next(test for test in pattern.tests if test.kind == "plane")
    assert pattern.wafer == "A1-after" and "to the right" in plane.text


def test_p_values_are_adjusted_over_the_parameters_of_a_stress() -> None:
    names = ("P", "Q", "R")
    made, wafers = campaign()
    declared = setting(*(parameter(name) for name in names)).campaign.parameters
    before = RNG.normal(1, 0.2, 20)
    tables = [
        rows(wafer, before + (0.03 if wafer != "A1" else 0) * RNG.normal(1, 1, 20), parameter=name)
        for name in names
        for wafer in ("A1", "A1-after")
    ]
    told = found(tables, (made.model_copy(update={"parameters": declared}), wafers)).found
    smallest = min(told, key=lambda one: one.p_value or 1.0)
    assert smallest.p_value is not None
    assert smallest.adjusted_p == pytest.approx(min(1.0, 3 * smallest.p_value))


def test_scale_and_order_of_dies_change_nothing() -> None:
    before, after = RNG.normal(1, 0.2, 49), RNG.normal(1.2, 0.3, 49)
    plain = one_shift([rows("A1", before), rows("A1-after", after)], campaign())
    order = RNG.permutation(49)
    scaled = one_shift(
        [rows("A1", 1e-3 * before[order], GRID[order]), rows("A1-after", 1e-3 * after)], campaign()
    )
    for name in ("value", "lower", "upper"):
        assert getattr(scaled.mean, name) == pytest.approx(1e-3 * getattr(plain.mean, name))
        assert getattr(scaled.dependence, name) == pytest.approx(getattr(plain.dependence, name))
    assert scaled.p_value == pytest.approx(plain.p_value)


def test_records_that_contradict_each_other_are_not_compared() -> None:
    made, (before, after) = campaign()
    tables = [rows("A1", np.ones(9)), rows("A1-after", np.full(9, 2.0))]
    for wrong, word in (
        ({"started": AT - timedelta(days=3)}, "begun after A1 was finished"),
        ({"lot": "M"}, '"L", as A1 has'),
        ({"identity_read": "A7"}, '"A1", as A1 has'),
    ):
        against = contradiction(before, after.model_copy(update=wrong))
        assert against is not None and word in against.expected
        told = found(tables, (made, (before, after.model_copy(update=wrong)))).found
        assert told == (), "nothing is paired"
    assert contradiction(before, after.model_copy(update={"started": None})) is None
    assert found(tables[:1], (made, (before,))).found == (), "the record after is not there"


@pytest.mark.parametrize(
    ("exchanged", "turned", "told"),
    [
        (False, False, ""),
        (True, False, "agrees with A2 better than with A1 as recorded"),
        (False, True, "agrees with its own record before when turned by 180 degrees better than"),
    ],
)
def test_exchanged_and_turned_wafers_are_told(exchanged: bool, turned: bool, told: str) -> None:
    made, _ = campaign(2)
    values = {name: RNG.normal(1, 0.2, 49) for name in ("A1", "A2")}
    places = -GRID if turned else GRID
    tables = []
    for name, other in (("A1", "A2"), ("A2", "A1")):
        seen = values[other if exchanged else name]
        after = seen - 0.1 - 0.02 * (GRID**2).sum(axis=1) + RNG.normal(0, 0.05, 49)
        tables += [rows(name, values[name]), rows(f"{name}-after", after, places)]
    findings = exchanged_wafers(pd.concat(tables, ignore_index=True), made)
    assert len(findings) == (2 if told else 0)
    assert all(one.weight == "decision" for one in findings)
    assert not told or told in findings[0].text


def test_a_record_after_takes_no_part_in_the_statistics() -> None:
    made, (before, after) = campaign()
    assert takes_part(before, made) and not takes_part(after, made)
    assert not takes_part(before.model_copy(update={"only_for_study": True}), made)
    assert takes_part(after, made.model_copy(update={"stresses": ()}))


def test_pairs_keep_their_order_and_partner() -> None:
    table = rows("A1", np.arange(9.0))
    mixed = RNG.permutation(9)
    other = rows("A1-after", 10 + mixed.astype(float), GRID[mixed])
    before, after = (rows_of(one, [*one.columns]) for one in (table, other))
    paired = pair_dies(Remeasured(before="A1", after="A1-after"), False, before, after)
    assert list(paired.difference) == [10.0] * 9
    ordered = list(zip(paired.before["die_y"], paired.before["die_x"], strict=True))
    assert ordered == sorted(ordered)
