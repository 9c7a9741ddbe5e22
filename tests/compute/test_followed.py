"""A station followed over time: series, segments, forecasts, spreads and wear from made events."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from sitegen.compute.followed import follow_station
from sitegen.model.calibration import ProbeUse
from sitegen.model.campaign import Exchange, Probe
from sitegen.model.event_results import (
    Agreement,
    CalibrationResult,
    Check,
    Comparison,
    LineQuantityResult,
    MaskResult,
    StructureResult,
    VerificationResult,
)
from sitegen.model.followed_results import Metric, StationFollowed
from sitegen.model.verification import LineQuantity
from tests.compute import events

RNG = np.random.default_rng(31)


def calibrated(
    figures: Sequence[float | None],
    name: str = "fitted load inductance",
    every_hours: float = 24.0,
    **changes: Any,
) -> list[CalibrationResult]:
    """A calibration for each figure of one check; changes go to its record."""
    made = []
    for number, figure in enumerate(figures):
        one = events.calibration(f"CAL-{number + 1}", every_hours * number)
        check = Check(name, figure, "H", 0.0, 10e-12, None, "", "solution", 0.1e-12)
        record = one.record.model_copy(update=changes)
        made.append(replace(one, checks=(check,), record=record))
    return made


def followed(
    calibrations: Sequence[CalibrationResult] = (),
    verifications: Sequence[VerificationResult] = (),
    exchanges: Sequence[Exchange] = (),
) -> StationFollowed:
    station = events.station().model_copy(update={"exchanges": tuple(exchanges)})
    return follow_station(station, calibrations, verifications)


def only(found: StationFollowed) -> Metric:
    (metric,) = found.metrics
    return metric


def steady(number: int, mean: float = 5e-12) -> list[float | None]:
    return [mean + each for each in RNG.normal(0, 0.1e-12, number).tolist()]


def day_of(days: float) -> datetime:
    return events.hour(24.0 * days)


class TestSeries:
    def test_a_check_becomes_points_in_reference_time(self) -> None:
        made = calibrated([5e-12, 5.1e-12, 4.9e-12])
        found = only(followed(made[::-1]))
        assert [point.source for point in found.points] == ["CAL-1", "CAL-2", "CAL-3"]
        assert [point.at for point in found.points] == [one.made_at for one in made]
        assert (found.unit, found.bound_lower, found.bound_upper) == ("H", 0.0, 10e-12)
        assert (found.points[0].u, found.subject) == (0.1e-12, "set S, 1")
        assert found.address == "over-time-fitted-load-inductance"

    def test_what_was_not_determined_is_left_out_and_counted(self) -> None:
        found = only(followed(calibrated([5e-12, None, 4.9e-12, None])))
        assert (len(found.points), found.left_out) == (2, 2)
        assert "At 2 events it was not determined; they are left out." in found.trend_text

    def test_a_failed_event_is_shown_and_says_nothing_of_how_the_station_usually_is(self) -> None:
        figures = steady(24)
        sound = only(followed(calibrated(figures)))
        made = calibrated([*figures[:10], 9e-12, *figures[10:]])
        made[10] = replace(made[10], outcome="checks failed")
        found = only(followed(made))
        assert found.points[10].signals == ("beyond a limit",)
        assert found.limits is not None and sound.limits is not None
        assert found.limits.centre == pytest.approx(sound.limits.centre)
        assert found.limits.sigma == pytest.approx(sound.limits.sigma)
        assert [*found.ewma[:10], *found.ewma[11:]] == pytest.approx(list(sound.ewma))
        assert found.ewma[10] == found.ewma[9]
        assert "One point is of events that failed" in found.trend_text

    def test_failed_events_alone_have_no_trend(self) -> None:
        made = [replace(one, outcome="checks failed") for one in calibrated([5e-12, 6e-12])]
        found = only(followed(made))
        assert (found.limits, found.trend) == (None, "not judged")

    def test_what_was_never_determined_is_no_metric(self) -> None:
        assert followed(calibrated([None, None])).metrics == ()

    def test_other_stations_do_not_enter(self) -> None:
        other = events.calibration("CAL-9", 5.0, station_id="B")
        check = Check("fitted load inductance", 9e-12, "H", None, None, None, "")
        found = only(followed([*calibrated([5e-12]), replace(other, checks=(check,))]))
        assert len(found.points) == 1

    def test_unlike_events_are_series_of_their_own_with_names_that_tell_them_apart(self) -> None:
        solt = calibrated([5e-12, 5.1e-12])
        lrrm = [
            replace(one, record=one.record.model_copy(update={"method": "LRRM"}))
            for one in calibrated([6e-12, 6.1e-12])
        ]
        found = followed([*solt, *lrrm])
        assert [metric.name for metric in found.metrics] == [
            "fitted load inductance, SOLT",
            "fitted load inductance, LRRM",
        ]
        assert len({metric.address for metric in found.metrics}) == 2

    def test_the_comparison_with_the_calibration_before(self) -> None:
        bound = np.array([0.01, np.nan, 0.03])
        comparison = Comparison("previous calibration", "CAL-1", "", bound, None, None, 0.05, True)
        refused = Comparison("previous calibration", "CAL-1", "planes", None, None, None, 1.0, None)
        made = [
            replace(one, checks=(), comparisons=(each,))
            for one, each in zip(calibrated([1.0, 2.0]), (comparison, refused), strict=True)
        ]
        found = only(followed(made))
        assert [point.value for point in found.points] == [0.03]
        assert found.bound_upper == 0.05

    def test_what_the_method_does_not_make_is_one_series_over_methods(self) -> None:
        made = calibrated([1e-5, 2e-5], name="noise floor")
        made[1] = replace(made[1], record=made[1].record.model_copy(update={"method": "TRL"}))
        assert len(only(followed(made)).points) == 2

    def test_contact_resistance_belongs_to_its_probe(self) -> None:
        def uses(ohm: float) -> tuple[ProbeUse, ...]:
            return (
                ProbeUse(
                    port=1,
                    probe="RF-1",
                    contacts=900,
                    contact_resistance_ohm=ohm,
                    contact_resistance_max_ohm=0.1,
                ),
                ProbeUse(port=2, probe="RF-2", contacts=900),
            )

        made = [calibrated([None], probe_use=uses(ohm))[0] for ohm in (0.05, 0.06)]
        found = only(followed(made))
        assert (found.subject, found.unit, found.bound_upper) == ("probe RF-1", "Ω", 0.1)
        assert [point.value for point in found.points] == [0.05, 0.06]


class TestCharts:
    def test_limits_begin_anew_with_an_exchange(self) -> None:
        """A step of 30 sigma at the exchange is no signal; the same without one is."""
        figures = [*steady(22), *steady(21, 8e-12)]
        exchange = Exchange(at=day_of(22), part="cable of port 1", description="replaced")
        parted = only(followed(calibrated(figures), exchanges=[exchange]))
        assert [(one.first, one.last) for one in parted.segments] == [(0, 21), (22, 42)]
        assert parted.segments[1].exchanged == "cable of port 1: replaced"
        assert parted.limits == parted.segments[1].limits
        assert parted.limits is not None and not parted.limits.provisional
        assert not any("beyond a limit" in point.signals for point in parted.points)
        whole = only(followed(calibrated(figures)))
        assert all("beyond a limit" in point.signals for point in whole.points[22:])
        assert set(range(24, 43)) <= set(whole.ewma_signals)

    def test_exchanges_outside_the_points_part_nothing(self) -> None:
        ends = [
            Exchange(at=day_of(days), part="probe", description="cleaned") for days in (-5, 0, 90)
        ]
        found = only(followed(calibrated(steady(6)), exchanges=ends))
        assert [(one.first, one.last, one.exchanged) for one in found.segments] == [(0, 5, "")]
        assert found.limits is not None and found.limits.provisional

    def test_one_point_after_an_exchange_has_no_limits(self) -> None:
        exchange = Exchange(at=day_of(5), part="probe", description="cleaned")
        found = only(followed(calibrated(steady(6)), exchanges=[exchange]))
        assert found.limits is None
        assert found.segments[0].limits is not None
        assert np.isnan(found.ewma[-1]) and np.isfinite(found.ewma[:-1]).all()


class TestForecast:
    def drifting(self, per_day: float, number: int = 20, noise: float = 0.05e-12) -> Metric:
        values = 5e-12 + per_day * np.arange(number) + RNG.normal(0, noise, number)
        return only(followed(calibrated(values.tolist())))

    def test_a_rise_meets_the_upper_bound(self) -> None:
        found = self.drifting(0.1e-12)
        assert found.trend == "rises" and found.forecast is not None
        forecast = found.forecast
        assert forecast.bound == 10e-12
        assert forecast.at is not None and abs(forecast.at - day_of(50)) < timedelta(days=3)
        assert forecast.earliest is not None and forecast.latest is not None
        assert forecast.earliest < forecast.at < forecast.latest
        assert f"{forecast.at:%Y-%m-%d}" in found.forecast_text

    def test_a_fall_meets_the_lower_bound(self) -> None:
        found = self.drifting(-0.1e-12)
        assert found.trend == "falls"
        assert found.forecast is not None and found.forecast.bound == 0.0

    def test_eight_points_are_needed(self) -> None:
        assert self.drifting(0.1e-12, number=8).forecast is not None
        seven = self.drifting(0.1e-12, number=7)
        assert (seven.forecast, seven.trend) == (None, "not judged")
        assert "judged from 8 points on" in seven.forecast_text

    def test_only_the_points_since_the_exchange_count(self) -> None:
        rising = (5e-12 + 0.1e-12 * np.arange(20)).tolist()
        exchange = Exchange(at=day_of(13), part="probe", description="cleaned")
        found = only(followed(calibrated(rising), exchanges=[exchange]))
        assert found.trend == "not judged"
        assert "7 points since 2026-05-03 (probe: cleaned)" in found.trend_text

    def test_no_trend_no_forecast(self) -> None:
        values = [5e-12 + (-1) ** number * 0.1e-12 for number in range(20)]
        found = only(followed(calibrated(values)))
        assert (found.forecast, found.trend) == (None, "not significant")
        assert found.forecast_text == "None: the slope is not significant."

    def test_an_end_that_is_open_is_printed_so(self) -> None:
        """A slope that is significant at 5 % and not at 1 %: it may never meet the bound."""
        pattern = np.array([0.0, 1.0, -1.0, 0.5, -0.5, 0.3, -0.3, 0.8, -0.6, 0.4])
        x = np.arange(10.0)
        for slope in np.linspace(0.01, 0.6, 60):
            found = only(followed(calibrated((5e-12 + (slope * x + pattern) * 0.1e-12).tolist())))
            if found.forecast is not None and found.forecast.p_value > 0.011:
                break
        assert found.forecast is not None and 0.01 < found.forecast.p_value < 0.05
        assert found.forecast.latest is None
        assert found.forecast_text.endswith("to open.")

    def test_a_date_too_far_away_is_not_named(self) -> None:
        found = self.drifting(0.005e-12, noise=0.001e-12)
        assert found.forecast is not None
        assert (found.forecast.at, found.forecast.latest) == (None, None)
        assert "later than 10 times the 19 days observed" in found.forecast_text

    def test_away_from_a_bound_and_beyond_it(self) -> None:
        made = calibrated((5e-12 + 0.1e-12 * np.arange(20)).tolist())
        lower = [replace(one, checks=(replace(one.checks[0], upper=None),)) for one in made]
        assert "leads away from its bound" in only(followed(lower)).forecast_text
        none = [
            replace(one, checks=(replace(one.checks[0], upper=None, lower=None),)) for one in made
        ]
        assert "it has no bound" in only(followed(none)).forecast_text
        beyond = [replace(one, checks=(replace(one.checks[0], upper=6e-12),)) for one in made]
        assert "beyond its upper bound already" in only(followed(beyond)).forecast_text


FREQUENCY_HZ = np.array([1e9, 2e9])


def verified(
    name: str,
    calibration: str,
    at_hour: float,
    corrected: np.ndarray | None = None,
    repeatability: float | None = None,
    repeats: int = 0,
    **changes: Any,
) -> VerificationResult:
    """A verification of one line whose deviation is half its mask."""
    one = events.verification(name, calibration, at_hour, "passed")
    structure = one.record.structures[0].model_copy(
        update={"repeats": tuple(f"again-{place}.s2p" for place in range(repeats))}
    )
    mask = MaskResult(
        structure.masks[0],
        FREQUENCY_HZ,
        np.array([0.02, 0.05]),
        np.array([0.1, 0.1]),
        "passed",
        "",
        0.5,
        0.05,
        2e9,
        2,
        0,
        u=np.array([0.001, 0.004]),
    )
    result = StructureResult(
        structure,
        (mask,),
        "passed",
        "",
        repeatability=repeatability,
        frequency_hz=FREQUENCY_HZ,
        corrected=corrected,
        **changes,
    )
    return replace(one, structures=(result,))


class TestVerifications:
    CALIBRATIONS = tuple(calibrated([None] * 3))

    def test_deviation_over_mask_is_bounded_by_one(self) -> None:
        found = only(followed(self.CALIBRATIONS, [verified("V-1", "CAL-1", 1.0)]))
        assert found.name == "line, S21: complex deviation over mask"
        assert (found.points[0].value, found.bound_upper) == (0.5, 1.0)
        assert found.points[0].u == pytest.approx(0.04)

    def test_a_structure_that_was_not_judged_is_left_out_and_counted(self) -> None:
        judged = verified("V-1", "CAL-1", 1.0)
        lost = verified("V-2", "CAL-1", 2.0)
        lost = replace(lost, structures=(replace(lost.structures[0], masks=()),))
        assert only(followed(self.CALIBRATIONS, [judged, lost])).left_out == 1

    @pytest.mark.parametrize(
        ("points", "first_told", "second_told"),
        [
            (
                ((1.5e9, 0.1), (2e9, 0.1)),
                "mask from 1\u202fGHz to 2\u202fGHz",
                "mask from 1.5\u202fGHz to 2\u202fGHz",
            ),
            (((1e9, 0.2), (2e9, 0.2)), "since 2026-04-20 09:00", "since 2026-04-20 10:00"),
        ],
        ids=["another range", "another limit"],
    )
    def test_another_mask_is_another_series(
        self, points: tuple[tuple[float, float], ...], first_told: str, second_told: str
    ) -> None:
        first, second = verified("V-1", "CAL-1", 1.0), verified("V-2", "CAL-1", 2.0)
        mask = first.structures[0].masks[0].mask.model_copy(update={"points": points})
        structure = first.structures[0].structure.model_copy(update={"masks": (mask,)})
        changed = replace(second.structures[0].masks[0], mask=mask)
        result = replace(second.structures[0], structure=structure, masks=(changed,))
        found = followed(self.CALIBRATIONS, [first, replace(second, structures=(result,))])
        assert [metric.name for metric in found.metrics] == [
            f"line, S21: complex deviation over mask, {first_told}",
            f"line, S21: complex deviation over mask, {second_told}",
        ]

    def test_the_guard_band_of_the_rule_is_no_part_of_the_ratio(self) -> None:
        one = verified("V-1", "CAL-1", 1.0)
        guarded = replace(one.structures[0].masks[0], worst_ratio=0.9, guard=np.array([0.04, 0.04]))
        one = replace(one, structures=(replace(one.structures[0], masks=(guarded,)),))
        assert only(followed(self.CALIBRATIONS, [one])).points[0].value == 0.5

    def test_quantities_of_lines_and_agreements(self) -> None:
        quantity = LineQuantity(
            quantity="attenuation db per mm", frequency_hz=2e9, reference=0.2, tolerance=0.05
        )
        found_line = LineQuantityResult(quantity, 0.21, 0.01, 0.01, 0.5, "passed", "")
        agreement = Agreement(
            "s21", FREQUENCY_HZ, np.array([0.3, 0.8]), "shown", None, None, 0.05, "passed", ""
        )
        one = verified("V-1", "CAL-1", 1.0, line_quantities=(found_line,), agreements=(agreement,))
        structure = one.structures[0].structure.model_copy(update={"line_quantities": (quantity,)})
        one = replace(one, structures=(replace(one.structures[0], structure=structure),))
        metrics = {metric.name: metric for metric in followed(self.CALIBRATIONS, [one]).metrics}
        line = metrics["line: attenuation at 2\u202fGHz"]
        assert (line.unit, line.bound_lower, line.bound_upper) == (
            "dB/mm",
            0.15000000000000002,
            0.25,
        )
        assert metrics["line, S21: normalised deviation, greatest"].points[0].value == 0.8


def measured(plan: Sequence[tuple[str, int]], seed: int = 41) -> list[VerificationResult]:
    """Verifications drawn from known spreads: contact 0.01, drift 0.03 (later than the first),
    calibrations 0.02 apart, 0.05 from the reference; (calibration, verifications) each."""
    rng = np.random.default_rng(seed)

    def circular(deviation: float) -> np.ndarray:
        parts = rng.normal(0, deviation / np.sqrt(2), (2, 2, 2, 2))
        return np.asarray(parts[0] + 1j * parts[1])

    reference = np.full((2, 2, 2), 0.5 + 0j)
    found = []
    for number, (calibration, several) in enumerate(plan):
        place = reference + 0.05 + circular(0.02)
        for later in range(several):
            moved = place + (0.03j if later else 0.0)
            found.append(
                verified(
                    f"V-{number}-{later}",
                    calibration,
                    24.0 * number + later,
                    corrected=moved + circular(0.01),
                    repeatability=0.01,
                    repeats=2,
                    reference=reference,
                )
            )
    return found


class TestSpreads:
    def test_each_spread_finds_what_was_put_in(self) -> None:
        made = calibrated([None] * 400)
        found = followed(made, measured([(one.record.id, 2) for one in made]))
        assert [spread.parameter for spread in found.spreads] == ["s11", "s21", "s12", "s22"]
        for spread in found.spreads:
            assert spread.repeatability == pytest.approx(0.01)
            assert spread.drift == pytest.approx(0.03, rel=0.06)
            assert spread.reproducibility == pytest.approx(0.02, rel=0.12)
            assert spread.difference == pytest.approx(0.05, rel=0.06)
            assert spread.counts == {
                "repeatability": 1600,
                "drift": 400,
                "reproducibility": 399,
                "difference": 400,
                "left out": 0,
            }

    def test_nothing_beyond_repeatability_is_zero(self) -> None:
        s = np.zeros((2, 2, 2), np.complex128)
        pair = [
            verified(f"V-{n}", "CAL-1", n, corrected=s + 0.001 * n, repeatability=0.01, repeats=1)
            for n in (0, 1)
        ]
        spread = followed(calibrated([None]), pair).spreads[0]
        assert (spread.drift, spread.reproducibility, spread.difference) == (0.0, None, None)

    def test_repeatability_is_pooled_by_its_degrees(self) -> None:
        s = np.zeros((2, 2, 2), np.complex128)
        both = [
            verified("V-1", "CAL-1", 1.0, corrected=s, repeatability=0.01, repeats=3),
            verified("V-2", "CAL-1", 2.0, corrected=s, repeatability=0.03, repeats=1),
            verified("V-3", "CAL-1", 3.0, corrected=s),
        ]
        spread = followed(calibrated([None]), both).spreads[0]
        assert spread.repeatability == pytest.approx(np.sqrt((3 * 0.01**2 + 0.03**2) / 4))
        assert spread.counts["repeatability"] == 4

    def test_what_cannot_be_compared_is_left_out_and_counted(self) -> None:
        made = calibrated([None] * 3)
        planes = [
            *made[:2],
            replace(
                made[2], record=made[2].record.model_copy(update={"reference_plane": "connector"})
            ),
        ]
        found = followed(planes, measured([("CAL-1", 1), ("CAL-2", 1), ("CAL-3", 1)]))
        assert {spread.counts["left out"] for spread in found.spreads} == {1}
        assert {spread.counts["reproducibility"] for spread in found.spreads} == {1}

    def test_a_frequency_that_is_not_determined_does_not_spoil_the_others(self) -> None:
        s = np.zeros((2, 2, 2), np.complex128)
        later = s + 0.01
        later[0] = np.nan
        pair = [
            verified("V-1", "CAL-1", 1.0, corrected=s),
            verified("V-2", "CAL-1", 2.0, corrected=later),
        ]
        assert followed(calibrated([None]), pair).spreads[0].drift == pytest.approx(0.01)


def test_wear_is_the_latest_of_each_set_and_probe() -> None:
    station = events.station().model_copy(
        update={
            "probes": (Probe(id="RF-1", kind="rf", serial_number="1", contacts_max=1000),),
        }
    )
    made = calibrated([None] * 2)
    for number, contacts in ((0, 10), (1, 25)):
        record = made[number].record
        made[number] = replace(
            made[number],
            record=record.model_copy(
                update={
                    "substrate": record.substrate.model_copy(update={"contacts": contacts}),
                    "probe_use": (ProbeUse(port=1, probe="RF-1", contacts=contacts * 10),),
                }
            ),
        )
    found = follow_station(station, made[::-1], ()).wear
    assert [(one.subject, one.contacts, one.contacts_max, one.source) for one in found] == [
        ("set S, 1", 25, 10, "CAL-2"),
        ("probe RF-1", 250, 1000, "CAL-2"),
    ]


def test_nothing_is_followed_of_a_station_without_events() -> None:
    assert followed() == StationFollowed("A", (), ())
