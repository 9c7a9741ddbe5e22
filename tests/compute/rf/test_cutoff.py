"""Extrapolation along -20 dB per decade: what it does with noise, wild points and wrong laws."""

import time

import numpy as np
import pytest

from sitegen.compute.rf.cutoff import cutoff
from sitegen.compute.rf.estimates import level, scatter
from sitegen.compute.rf.figure_records import Estimate
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.model.arrays import FloatArray
from sitegen.model.figures import FIGURE_PLACES
from sitegen.units import number
from tests.compute.rf.transistors import HybridPi

F_HZ = np.linspace(10e9, 40e9, 61)
LAW_DB = -20.0 * np.log10(F_HZ / 150e9)
estimate = cutoff("not there", "nowhere there")


def taken(gain_db: FloatArray, frequency_hz: FloatArray = F_HZ) -> Estimate:
    return estimate(np.atleast_2d(gain_db), frequency_hz, "window")


def noisy(sweeps: int, rms_db: float, slope: float = -20.0) -> FloatArray:
    rng = np.random.default_rng(20)
    law = slope * np.log10(F_HZ / 150e9)
    return np.asarray(law + rms_db * rng.normal(size=(sweeps, len(F_HZ))))


def test_the_law_itself_comes_back_without_uncertainty() -> None:
    found = taken(LAW_DB)
    assert found.value[0] == pytest.approx(150e9, rel=1e-12)
    assert found.u_extraction[0] < 1e-9 * 150e9
    assert found.remarks[0] == "extrapolated beyond the last point, 40\u202fGHz"
    assert found.details["extrapolated_decades"][0] == pytest.approx(np.log10(150 / 40))


def test_inside_the_window_nothing_is_extrapolated() -> None:
    f = np.linspace(100e9, 200e9, 41)
    found = taken(-20.0 * np.log10(f / 150e9), f)
    assert found.remarks[0] == "" and found.details["extrapolated_decades"][0] == 0.0


@pytest.mark.parametrize("slope", [-17.0, -12.0, -24.0])
def test_a_wrong_slope_is_said_and_covered(slope: float) -> None:
    """The gain would meet 0 dB at 150 GHz along its own slope."""
    found = taken(noisy(20, 0.05, slope))
    for text, seen in zip(found.remarks, found.details["slope_db_per_decade"], strict=True):
        assert f"slope found {number(seen, 3)} dB per decade, \u221220 taken" in text
        assert seen == pytest.approx(slope, abs=0.2)
    off_law = np.abs(found.value - 150e9)
    assert (off_law < 2.0 * found.u_extraction).all()


@pytest.mark.parametrize("slope", [-20.0, -17.0, -24.0])
def test_a_departure_changes_with_its_points_as_stated(slope: float) -> None:
    """Against differences: every point moved by itself, none left out."""
    gain_db = noisy(1, 0.05, slope)
    moved = gain_db + 1e-5 * np.eye(len(F_HZ))
    at, near = taken(gain_db).departure, taken(moved).departure
    assert at is not None and near is not None
    assert (near.value - at.value) / 1e-5 == pytest.approx(at.weights[0], rel=1e-3, abs=1e5)
    assert np.abs(at.weights).max() > 1e7


def test_of_a_departure_counts_what_is_not_explained() -> None:
    found = taken(noisy(1, 0.05, -17.0))
    departure = found.departure
    assert departure is not None
    size = abs(departure.value[0])
    assert departure.square()[0] == pytest.approx(size**2 / 3.0 + departure.u_scatter[0] ** 2)
    within = departure.square((size / 1.9) ** 2)[0]
    assert within == 0.0
    half = (0.5 * size / 1.96) ** 2
    assert departure.square(half)[0] == pytest.approx(0.75 * size**2 / 3.0)


def test_a_departure_that_is_assumed_is_not_explained() -> None:
    """Two points have no slope; one off by 2 dB per decade takes its place."""
    found = taken(LAW_DB[[0, -1]], F_HZ[[0, -1]])
    assert found.departure is not None and not found.departure.weights.any()
    assert found.departure.value[0] > 0.1 * found.value[0]


def test_a_right_slope_in_noise_is_not_called_wrong() -> None:
    found = taken(noisy(400, 0.3))
    said = [text for text in found.remarks if text != found.remarks[0]]
    assert not [text for text in said if "slope" in text or "too low" in text]
    assert not [text for text in said if "resonance" in text]
    share = found.details["share_used"]
    assert share.mean() > 0.998  # of normal noise 6 in 100,000 points lie beyond 4 deviations


def test_a_window_too_low_in_frequency_is_said() -> None:
    """One pole at 12 GHz: the gain is nearly flat at the lower end of 2 to 30 GHz."""
    f = np.linspace(2e9, 30e9, 57)
    found = taken(20.0 * np.log10(12.0 / np.sqrt(1 + (f / 12e9) ** 2)), f)
    assert "window too low in frequency" in found.remarks[0]
    assert "slope found" in found.remarks[0]
    assert abs(found.value[0] - 12.0 * 12e9) < 2.0 * found.u_extraction[0]
    high = np.linspace(60e9, 110e9, 57)
    far = taken(20.0 * np.log10(12.0 / np.sqrt(1 + (high / 12e9) ** 2)), high)
    assert far.remarks[0] == "extrapolated beyond the last point, 110\u202fGHz"


@pytest.mark.parametrize("height_db", [-6.0, -1.0, 2.0, 8.0])
@pytest.mark.parametrize("centre_ghz", [14.0, 25.0, 36.0])
def test_a_resonance_in_the_window_is_said_and_left_out(
    height_db: float, centre_ghz: float
) -> None:
    shape = 1.0 / (1.0 + ((F_HZ / 1e9 - centre_ghz) / 0.8) ** 2)
    found = taken(noisy(20, 0.03) + height_db * shape)
    for text in found.remarks:
        assert "resonance inside the window" in text and "off the course of the others" in text
    # Its tails reach over the whole window; of what a plain mean would be off, little is left.
    plain = 150e9 * 10.0 ** (np.mean(height_db * shape) / 20.0)
    off = np.abs(found.value - 150e9)
    assert off.max() < 0.3 * abs(plain - 150e9) + 0.003 * 150e9
    assert (off < 2.0 * found.u_extraction).all()


def test_a_gain_without_any_smooth_course_is_said() -> None:
    wave = 2.0 * np.sin(2 * np.pi * (F_HZ - 10e9) / 12e9)
    found = taken(LAW_DB + wave)
    assert "resonance or step inside the window" in found.remarks[0]
    assert found.u_extraction[0] > 0.1 * found.value[0]


def test_noise_that_rises_to_low_frequencies_is_no_resonance() -> None:
    """U of a measured transistor: S with noise of 0.001, 400 sweeps from 10 to 40 GHz."""
    f = np.arange(10e9, 40e9, 0.55e9)
    rng = np.random.default_rng(5)
    s = HybridPi().s(f)
    noise = rng.normal(size=(400, *s.shape)) + 1j * rng.normal(size=(400, *s.shape))
    moved = s + 1e-3 * noise / np.sqrt(2.0) * np.maximum(1.0, np.abs(s))
    figure = FIGURES["maximum frequency of oscillation from U"]
    found = figure.estimate(figure.quantity(moved, f, Surroundings(50.0)), f, "window")
    assert found.value.mean() == pytest.approx(225.08e9, rel=2e-3)
    for alarm, at_most in (("resonance", 6), ("too low", 12), ("slope found", 2)):
        assert sum(alarm in text for text in found.remarks) <= at_most, alarm


@pytest.mark.parametrize("pole_ghz", [2.0, 8.0, 20.0])
@pytest.mark.parametrize("first_ghz", [0.05, 0.5])
def test_a_wide_window_over_one_pole_is_no_resonance(pole_ghz: float, first_ghz: float) -> None:
    f = np.geomspace(first_ghz, 110.0, 150) * 1e9
    found = taken(-10.0 * np.log10(1e-4 * (1.0 + (f / (pole_ghz * 1e9)) ** 2)), f)
    assert "window too low in frequency" in found.remarks[0]
    assert "resonance" not in found.remarks[0] and "left out" not in found.remarks[0]
    assert abs(found.value[0] - 100e9 * pole_ghz) < 2.0 * found.u_extraction[0]


def test_wild_points_are_left_out_and_counted() -> None:
    gain_db = noisy(1, 0.02)
    gain_db[0, [5, 30, 51]] += [9.0, -4.0, 25.0]
    gain_db[0, 10] = np.nan
    found = taken(gain_db)
    assert (
        "57 of 61 points used (1 left out, not there and 3 left out, off the course of the others)"
        in found.remarks[0]
    )
    assert found.value[0] == pytest.approx(150e9, rel=2e-3)
    assert found.details["share_used"][0] == 57 / 61
    assert not found.weights[0, [5, 10, 30, 51]].any()


def test_nothing_to_fit() -> None:
    found = taken(np.full((2, 61), np.nan))
    assert np.isnan(found.value).all() and (found.no_value == "nowhere there").all()
    none = taken(np.empty((2, 0)), F_HZ[:0])
    assert np.isnan(none.value).all() and (none.no_value == "nowhere there").all()


def test_noise_of_the_level_is_the_spread_of_repeated_sweeps() -> None:
    found = taken(noisy(600, 0.3))
    spread = found.value.std(ddof=1)
    # the robust scatter of 61 points is uncertain itself; its mean square is what is to agree
    u = np.sqrt(np.mean(found.details["u_noise"] ** 2))
    assert spread == pytest.approx(u, rel=0.12)


@pytest.mark.parametrize("points", [12, 61, 201])
def test_noise_of_a_level_over_a_window(points: int) -> None:
    """The interquartile mean's spread is 1.09 times the mean's for normal noise."""
    rng = np.random.default_rng(4)
    q = 5.0 + 0.1 * rng.normal(size=(1500, points))
    found = level("not defined")(q, np.linspace(1e9, 9e9, points), "window")
    assert found.value.mean() == pytest.approx(5.0, abs=0.005)
    spread = found.value.std(ddof=1)
    assert spread == pytest.approx(1.09 * 0.1 / np.sqrt(points), rel=0.08)
    u = np.sqrt(np.mean(found.details["u_noise"] ** 2))
    assert u == pytest.approx(0.1 / np.sqrt(points), rel=0.15)
    q[:, : points // 5] += 40.0
    wild = level("not defined")(q, np.linspace(1e9, 9e9, points), "window")
    assert wild.value.mean() == pytest.approx(5.0, abs=0.06)


def test_scatter_tells_noise_from_course() -> None:
    rng = np.random.default_rng(6)
    wave = np.sqrt(2.0) * np.sin(np.linspace(0.0, 12.0, 400))
    noise, course = scatter(np.stack([wave, rng.normal(size=400)]))
    assert noise[0] < 0.002 and course[0] > 0.8
    assert noise[1] == pytest.approx(1 / 20.0, rel=0.15) and course[1] < 0.5


def test_all_figures_of_300_sweeps_are_quick() -> None:
    """Less than a loop of small matrix inversions over the same sweeps, measured in this run."""
    f = np.linspace(1e9, 110e9, 201)
    rng = np.random.default_rng(7)
    s = HybridPi().s(f) * (1 + 1e-3 * rng.normal(size=(300, 201, 1, 1)))
    around = Surroundings(50.0, 1e-3)
    start = time.process_time()
    for name, figure in FIGURES.items():
        quantity = figure.quantity(s, f, around)
        figure.estimate(quantity, f, FIGURE_PLACES[name][-1])
    ours = time.process_time() - start
    start = time.process_time()
    for one in s:
        for _ in FIGURES:
            np.linalg.inv(one)
    loop = time.process_time() - start
    assert ours < loop, (ours, loop)
