"""Likely causes: named where the numbers show them, and never of plausible numbers.

The two laws behind each test: what a mistake makes of healthy numbers is recognised whatever the
numbers are, and healthy numbers, dead devices included, are never taken for a mistake.
"""

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.model.campaign import Layout
from sitegen.model.geometry import full_dies
from sitegen.model.loaded import Transform
from sitegen.read.likely_bias import other_bias
from sitegen.read.likely_dies import other_numbers
from sitegen.read.likely_files import kind_of_bytes
from sitegen.read.likely_names import blank_in, slip_of
from sitegen.read.likely_scales import (
    Range,
    frequency_unit,
    limit_range,
    possible_range,
    scale_off,
    steps_off,
    temperature_unit,
    unit_after,
)
from sitegen.read.likely_sweeps import exchanged_ports
from sitegen.read.likely_texts import header_rows, slip_of_text, slip_of_times
from sitegen.read.likely_twins import twin_dies, twins

SAME = Transform(((1, 0), (0, 1)), (0, 0))
QUICK = settings(max_examples=60, deadline=None, derandomize=True)
SEEDS = st.integers(0, 2**32 - 1)


def layout(**changes: object) -> Layout:
    """A wafer of 100 mm with dies of 12 mm by 9 mm, not centred on a die."""
    fields: dict[str, object] = {
        "diameter_mm": 100.0,
        "orientation_mark": "flat",
        "orientation_mark_angle_deg": 270.0,
        "die_pitch_x_mm": 12.0,
        "die_pitch_y_mm": 9.0,
        "x_increases": "right",
        "y_increases": "up",
        "origin_die": (0, 0),
        "origin_die_center_x_mm": 3.0,
        "origin_die_center_y_mm": -2.0,
        "edge_exclusion_mm": 3.0,
    }
    return Layout.model_validate({**fields, **changes})


def columns(dies: object) -> tuple[np.ndarray, np.ndarray]:
    array = np.array(dies, dtype=np.int64).reshape(-1, 2)
    return array[:, 0], array[:, 1]


WHOLE = np.array(full_dies(layout()))


# scales


@given(SEEDS, st.floats(1e-9, 1e6), st.floats(0.02, 0.5), st.sampled_from([1e3, 1e-3, 1e6, 1e-6]))
@QUICK
def test_values_off_by_a_prefix_are_recognised_and_others_are_not(
    seed: int, middle: float, half: float, wrong: float
) -> None:
    """Values between their limits, a tenth of them dead: only the wrong unit is a cause."""
    random = np.random.default_rng(seed)
    lower, upper = middle * (1 - half), middle * (1 + half)
    values = random.uniform(lower, upper, 40)
    values[:3] = middle * random.choice([1e-5, 1e5, 0.0], 3)
    possible = possible_range(None, None, lower, upper)
    aim = limit_range(lower, upper)
    assert scale_off(values, possible, aim) is None
    told = scale_off(values * wrong, possible, aim)
    assert told is not None and told == pytest.approx(1 / wrong)


@given(SEEDS, st.floats(0.35, 2.9))
@QUICK
def test_a_process_that_is_off_as_a_whole_is_no_other_unit(seed: int, off: float) -> None:
    values = np.random.default_rng(seed).normal(100.0 * off, 0.5, 30)
    assert scale_off(values, possible_range(None, None, 98.0, 102.0), None) is None


def test_one_limit_or_limits_far_apart_say_nothing_of_the_unit() -> None:
    """A leakage a thousand times too large is a leakage."""
    leaky = np.full(20, 1e-5)
    for lower, upper in ((None, 1e-8), (1e-12, 1e-8), (-1e-8, 1e-8), (0.0, 1e-8), (None, None)):
        assert scale_off(leaky, possible_range(None, None, lower, upper), None) is None


def test_a_plausible_range_alone_names_the_nearest_prefix() -> None:
    millivolts = np.array([412.0, 409.0, 415.0])
    possible = possible_range(-2.0, 2.0, None, None)
    assert possible == Range(-2.0, 2.0)
    assert scale_off(millivolts, possible, None) == 1e-3
    assert scale_off(millivolts[:2], possible, None) is None  # too few
    assert scale_off(millivolts, possible_range(None, 2.0, None, None), None) is None
    assert scale_off(np.array([1.0, 5.0, 9.0]), Range(10.0, 20.0), None) is None
    assert scale_off(np.array([]), possible, None) is None
    assert scale_off(np.zeros(5), Range(1.0, 2.0), None) is None
    assert scale_off(np.full(5, np.nan), possible, None) is None


def test_percent_and_shares() -> None:
    share = limit_range(0.5, 1.0)
    assert scale_off(np.array([93.0, 95.0, 91.0]), share, share, is_share=True) == 1e-2
    assert unit_after("1", 1e-2) == "percent (%)" and unit_after("%", 1e2) == "shares of one (1)"


@pytest.mark.parametrize(
    ("stated", "factor", "told"),
    [
        ("V", 1e-3, "millivolts (mV)"),
        ("A", 1e-6, "microamperes (µA)"),
        ("GHz", 1e-9, "hertz (Hz)"),
        ("ohm", 1e-3, "milliohms (mΩ)"),
        ("mV", 1e3, "volts (V)"),
        ("pF", 1e-3, "femtofarads (fF)"),
        ("mS/mm", 1e3, "S/mm"),
        ("dB", 1e-3, None),
        ("1", 1e3, None),
        ("m", 1e-3, "millimetres (mm)"),
        ("no unit", 1e3, None),
    ],
)
def test_the_unit_that_is_meant_has_its_name(stated: str, factor: float, told: str | None) -> None:
    assert unit_after(stated, factor) == told


@given(SEEDS, st.floats(-60.0, 200.0))
@QUICK
def test_temperatures_in_other_units(seed: int, set_point_c: float) -> None:
    random = np.random.default_rng(seed)
    measured = set_point_c + random.normal(0.0, 1.0, 25)
    wanted = np.full(25, set_point_c)
    assert temperature_unit(measured, wanted) is None
    assert temperature_unit(measured + 273.15, wanted) == "kelvin (K)"
    if abs(1.8 * set_point_c + 32.0 - set_point_c) > 25.0:
        assert temperature_unit(1.8 * measured + 32.0, wanted) == "degrees Fahrenheit (°F)"
    assert temperature_unit(measured + 60.0, wanted) in (None, "degrees Fahrenheit (°F)")


def test_a_chuck_that_never_warmed_up_is_no_other_unit() -> None:
    assert temperature_unit(np.full(9, 25.0), np.full(9, 125.0)) is None
    assert temperature_unit(np.empty(0), np.empty(0)) is None


def test_frequencies_in_gigahertz() -> None:
    assert frequency_unit(np.array([0.01, 110.0])) == "gigahertz (GHz)"
    for healthy in ([1e7, 1.1e11], [9e3, 3e9], [0.0, 1e9], [0.0], [], [np.nan]):
        assert frequency_unit(np.array(healthy)) is None
    usual = np.array([1e9, 2e9])
    assert steps_off(usual / 1e3, usual) == "1000 times too small"
    assert steps_off(usual * 1e9, usual) == "1000000000 times too large"
    assert steps_off(usual * 2, usual) == "" and steps_off(usual[:1], usual) == ""
    assert steps_off(np.zeros(1), usual[:1]) == ""


# dies


@given(st.sampled_from([-1, 1]), st.sampled_from([-1, 1]), st.booleans(), st.integers(20, 90))
@QUICK
def test_dies_from_another_origin_fit_again_once_moved_back(
    mirror_x: int, mirror_y: int, turned: bool, far: int
) -> None:
    """All whole dies under any turn or mirroring and far away: what is told maps them back."""
    moved = WHOLE[:, ::-1] if turned else WHOLE
    moved = moved * (mirror_x, mirror_y) + (far, -far)
    likely = other_numbers(layout(), SAME, moved[:, 0], moved[:, 1], None)
    assert likely is not None and "shifted by (" in likely.found
    assert "reference dies" in likely.remedy


@given(SEEDS, st.integers(1, 60))
@QUICK
def test_dies_on_the_wafer_are_never_from_another_origin(seed: int, number: int) -> None:
    """Any selection of dies of the wafer, under a plan of all dies or one of their own."""
    random = np.random.default_rng(seed)
    chosen = WHOLE[random.permutation(len(WHOLE))[:number]]
    x, y = columns(chosen)
    assert other_numbers(layout(), SAME, x, y, None) is None
    assert other_numbers(layout(), SAME, x, y, frozenset(map(tuple, chosen.tolist()))) is None
    everything = frozenset(map(tuple, WHOLE.tolist()))
    assert other_numbers(layout(), SAME, x, y, everything) is None


def test_some_dies_off_the_wafer_are_single_mistakes() -> None:
    dies = WHOLE.copy()
    dies[: len(dies) // 3] += 40
    assert other_numbers(layout(), SAME, *columns(dies), None) is None


def test_few_dies_or_dies_on_a_line_fix_no_origin() -> None:
    assert other_numbers(layout(), SAME, *columns([(50, 50), (51, 50), (50, 51)]), None) is None
    line = [(50 + step, 50) for step in range(6)]
    assert other_numbers(layout(), SAME, *columns(line), None) is None
    assert other_numbers(layout(), SAME, *columns([]), None) is None
    scattered = [(99 * k, 70 * k * k) for k in range(8)]
    assert other_numbers(layout(), SAME, *columns(scattered), None) is None


def test_the_shift_is_told_in_the_numbers_of_the_table() -> None:
    """A frame turned by a quarter: (x, y) of the layout is (10 - y, 5 + x) in it."""
    frame = Transform(((0, 1), (-1, 0)), (-5, 10))
    in_frame = np.column_stack([10 - WHOLE[:, 1], 5 + WHOLE[:, 0]])
    moved = in_frame + np.array([30, 4])
    likely = other_numbers(layout(), frame, moved[:, 0], moved[:, 1], None)
    assert likely is not None and "shifted by (-30, -4)" in likely.found


def test_a_mirrored_map_beside_a_plan() -> None:
    """An L of dies left of the origin, planned right of it: only a mirroring fits."""
    planned = [(0, -2), (0, -1), (0, 0), (0, 1), (1, -2), (2, -2)]
    mirrored = [(-x, y) for x, y in planned]
    likely = other_numbers(layout(), SAME, *columns(mirrored), frozenset(planned))
    # the stem lies on the axis: only two of six dies are off the plan, which can be meant
    assert likely is None
    planned = [(1, -2), (1, -1), (1, 0), (1, 1), (2, -2), (3, -2)]
    mirrored = [(-x, y) for x, y in planned]
    likely = other_numbers(layout(), SAME, *columns(mirrored), frozenset(planned))
    assert likely is not None
    assert likely.found.startswith("dies that fit the plan if mirrored left to right")


# names


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("W1 ", ', which is "W1" with a blank at its end'),
        (" W1", ', which is "W1" with a blank at its beginning'),
        ("w1", ', which is "W1" in other capitals'),
        ("W 1", ', which is "W1" with a blank inside'),
        ("Wl", ', which is "W1" with another letter or digit that looks alike'),
        ("L0T-7", ', which is "LOT-7" with another letter or digit that looks alike'),
        ("LOT–7", ', which is "LOT-7" with other dashes'),
        ("W1", ""),
        ("W2", ""),
        ("", ""),
    ],
)
def test_slips_of_names(name: str, told: str) -> None:
    assert slip_of(name, ["W1", "LOT-7"]) == told


def test_blanks_of_ids() -> None:
    assert blank_in(" W1 ") == ", with a blank at both ends"
    assert blank_in("W1") == "" == blank_in("") == blank_in("  ")


# types


def test_what_text_holds() -> None:
    def slip(texts: list[str | None], wants_time: bool = False) -> str | None:
        found = slip_of_text(pa.chunked_array([pa.array(texts, pa.string())]), wants_time)
        return None if found is None else found.cause

    assert slip(["1", " -2.5e-3 ", None]) == "Numbers written as text"
    assert slip(["0,4123", "1", "2,5e3"]) == "Decimal commas"
    assert slip(["1.5", "n/a"]) is None and slip([None]) is None and slip([]) is None
    assert slip(["2026-03-02 08:30", "2026-03-02T08:31:00Z"], True) == "Times"
    assert slip(["02.03.2026"], True) is None


def test_header_rows_need_all_columns_of_text() -> None:
    def table(**texts: list[str | None]) -> dict[str, pa.ChunkedArray]:
        return {name: pa.chunked_array([pa.array(one)]) for name, one in texts.items()}

    assert header_rows(table(device=["FET", "device"], value=["1", " value "])) == [2]
    assert header_rows(table(device=["FET", "device"], value=["1", "2"])) == []
    assert header_rows(table(device=["device"])) == []
    assert header_rows({}) == []


@given(st.datetimes(datetime(2002, 1, 1), datetime(2060, 1, 1)))
@QUICK
def test_counts_of_days_and_seconds_are_told_with_the_time_that_they_mean(at: datetime) -> None:
    at = at.replace(tzinfo=UTC, microsecond=0)
    days = (at - datetime(1899, 12, 30, tzinfo=UTC)).total_seconds() / 86400
    found = slip_of_times(pa.chunked_array([pa.array([days, days + 0.01])]))
    assert found is not None and "spreadsheet" in found.found
    assert at.strftime("%Y-%m-%d") in found.found
    for word, a_second in (("seconds", 1.0), ("milliseconds", 1e3), ("nanoseconds", 1e9)):
        found = slip_of_times(pa.chunked_array([pa.array([at.timestamp() * a_second])]))
        assert found is not None and f"look like {word} since 1970" in found.found
        assert at.strftime("%Y-%m-%d") in found.found


def test_other_numbers_are_no_times() -> None:
    for numbers in ([1.0], [], [None], [np.nan], [46000.0, 1e9]):
        assert slip_of_times(pa.chunked_array([pa.array(numbers, pa.float64())])) is None


def test_kinds_of_bytes() -> None:
    assert "end is missing" in kind_of_bytes(b"PAR1" + bytes(40))
    assert "spreadsheet" in kind_of_bytes(b"PK\x03\x04")
    assert kind_of_bytes("die_x;Wert µA\n1;2\n".encode()).startswith("text")
    assert kind_of_bytes(b"") == "" == kind_of_bytes(bytes(range(256)))
    assert kind_of_bytes(b"PAR1" + bytes(40) + b"PAR1") == ""


# bias

SET_POINTS: Mapping[str, Mapping[str, float]] = {
    "sat": {"vgs_v": 0.6, "vds_v": 1.2},
    "lin": {"vgs_v": 0.6, "vds_v": 0.05},
    "none": {},
}


def bias(vgs: float, vds: float, condition: str = "sat", n: int = 6) -> tuple[object, ...]:
    conditions = np.full(n, condition, dtype=object)
    return conditions, {"vgs_v": np.full(n, vgs), "vds_v": np.full(n, vds)}, SET_POINTS


def test_bias_of_another_condition() -> None:
    (found,) = other_bias(*bias(0.6, 0.0503))  # type: ignore[arg-type]
    assert (found.condition, found.other, found.looks) == ("sat", "lin", "")
    assert found.rows.all()
    (found,) = other_bias(*bias(-0.6, -1.2))  # type: ignore[arg-type]
    assert (found.other, found.looks) == ("", "of the opposite sign")
    (found,) = other_bias(*bias(600.0, 1200.0))  # type: ignore[arg-type]
    assert found.looks == "that looks like millivolts (mV)"


def test_bias_that_is_right_lost_in_the_leads_or_wrong_for_no_known_reason() -> None:
    for vgs, vds in ((0.6, 1.2), (0.6, 1.13), (0.59, 1.15), (0.7, 0.9), (np.nan, 0.05)):
        assert other_bias(*bias(vgs, vds)) == ()  # type: ignore[arg-type]
    assert other_bias(*bias(0.6, 0.05, "none")) == ()  # type: ignore[arg-type]
    conditions, measured, known = bias(0.6, 1.2)
    measured["vds_v"][:2] = 0.05  # type: ignore[index]
    assert other_bias(conditions, measured, known) == ()  # type: ignore[arg-type]


# sweeps


def amplifier(seed: int, n: int = 12, points: int = 21) -> np.ndarray:
    """One-way devices with unequal ports, noise, and two dead ones that pass nothing."""
    random = np.random.default_rng(seed)
    turn = np.exp(-1j * np.linspace(0.1, 2.0, points))
    s = np.empty((n, points, 2, 2), np.complex128)
    s[:, :, 0, 0], s[:, :, 1, 1] = 0.8 * turn, 0.3 * turn**2
    s[:, :, 1, 0], s[:, :, 0, 1] = 4.0 * turn, 0.05 * turn
    s[:2, :, 1, 0] = s[:2, :, 0, 1] = 0.01 * turn
    noise = random.normal(0, 1e-3, s.shape) + 1j * random.normal(0, 1e-3, s.shape)
    return np.asarray(s + noise)


@given(SEEDS, st.integers(2, 11))
@QUICK
def test_one_sweep_with_its_ports_exchanged_is_found(seed: int, which: int) -> None:
    s = amplifier(seed)
    assert not exchanged_ports(s).any()
    s[which] = s[which, :, ::-1, ::-1].copy()
    assert np.flatnonzero(exchanged_ports(s)).tolist() == [which]


def test_reciprocal_devices_and_few_sweeps_show_no_ports() -> None:
    s = amplifier(1)
    s[..., 0, 1] = s[..., 1, 0]
    s[3] = s[3, :, ::-1, ::-1].copy()
    assert not exchanged_ports(s).any()
    few = amplifier(2)[2:6]
    few[0] = few[0, :, ::-1, ::-1].copy()
    assert not exchanged_ports(few).any()
    assert exchanged_ports(s[:0]).shape == (0,)
    assert not exchanged_ports(np.zeros((9, 4, 2, 2), np.complex128)).any()


def test_half_the_sweeps_the_other_way_is_no_single_mistake() -> None:
    s = amplifier(3)[2:]
    s[::2] = s[::2, :, ::-1, ::-1].copy()
    assert not exchanged_ports(s).any()


# twins


@given(SEEDS)
@QUICK
def test_noise_makes_no_twins(seed: int) -> None:
    random = np.random.default_rng(seed)
    rows = random.normal(size=(30, 24)).astype(np.float32).astype(np.float64)
    dies = np.column_stack([np.arange(30), np.zeros(30, np.int64)])
    assert (twins(rows, dies) == -1).all()
    rows[17] = rows[4]
    found = twins(rows, dies)
    assert found[17] == 4 and found[4] == 17 and (np.delete(found, [4, 17]) == -1).all()
    dies[17] = dies[4]  # a repeat on one die is that die's own matter
    assert (twins(rows, dies) == -1).all()


def test_constant_rows_and_rows_of_few_readings_are_no_twins() -> None:
    dies = np.array([[0, 0], [1, 0], [2, 0]])
    assert (twins(np.zeros((3, 40)), dies) == -1).all()
    assert (twins(np.tile([1.0, 2.0, 3.0, 1.0], (3, 9)), dies) == -1).all()
    assert twins(np.empty((0, 9)), np.empty((0, 2), np.int64)).shape == (0,)


@given(SEEDS, st.integers(8, 40), st.integers(3, 6))
@QUICK
def test_values_of_two_dies_agree_by_no_chance(seed: int, dies: int, parameters: int) -> None:
    random = np.random.default_rng(seed)
    values = np.round(random.normal(100.0, 5.0, (dies, parameters)), 9)
    values[:, 0] = 1.0  # a grade that all dies share tells nothing
    where = np.repeat(np.column_stack([np.arange(dies), np.ones(dies, np.int64)]), parameters, 0)
    items = np.tile(np.arange(parameters), dies)
    assert (twin_dies(where, items, values.ravel())[0] == -1).all()
    values[5] = values[2]
    other, first = twin_dies(where, items, values.ravel())
    told = other.reshape(dies, parameters)
    if parameters > 3:
        assert (told[5] == 2).all() and (told[2] == 5).all()
        assert where[first[2]].tolist() == [2, 1]
        told = np.delete(told, [2, 5], axis=0)
    assert (told == -1).all()


def test_readings_of_few_digits_are_no_twins() -> None:
    random = np.random.default_rng(7)
    values = random.integers(0, 4, (60, 8)).astype(np.float64)
    values[9] = values[30]
    where = np.repeat(np.column_stack([np.arange(60), np.zeros(60, np.int64)]), 8, axis=0)
    other, _ = twin_dies(where, np.tile(np.arange(8), 60), values.ravel())
    assert (other == -1).all()
    empty = np.empty((0, 2), np.int64)
    assert twin_dies(empty, np.empty(0, np.int64), np.empty(0))[0].shape == (0,)
