"""The views of devices, de-embedding, fits, means, control dies and censored values."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from sitegen import render
from sitegen.chart.control_dies import control_die_drawing
from sitegen.chart.device_bands import band_drawing
from sitegen.device_drawings import device_drawings
from sitegen.model.curve_figures import CURVE_FIGURE_FORMULAS
from sitegen.model.device import Deembedding
from sitegen.model.device_results import (
    Band,
    ControlReading,
    ControlResult,
    DummyUse,
    HandedOver,
    QualityCount,
)
from sitegen.model.extraction import FromSweep, Handover
from sitegen.model.figures import FIGURE_FORMULAS, FIGURE_TEXTS
from sitegen.model.results import CampaignResults
from sitegen.model.trust import Control
from sitegen.model.wafer_means import WaferDifference, WaferMean
from sitegen.render import controls, estimators, method
from sitegen.render.formulas import formula_text
from tests.render import samples
from tests.render.test_pages import outline, text_of

FT = samples.H21.model_copy(
    update={
        "id": "FT",
        "symbol": "f_T",
        "name": "transit frequency",
        "unit": "GHz",
        "lower": None,
        "from_sweep": FromSweep(figure="transit frequency by extrapolation", window_hz=(5e9, 40e9)),
    }
)
DEEMBEDDED = samples.DEVICE.model_copy(
    update={
        "deembedding": Deembedding(
            method="open-short",
            taken_from="one die of the wafer",
            open="dummy-open",
            short="dummy-short",
            condition="room",
            upper_hz=50e9,
        )
    }
)
FILES = (("hemt under room", "data/a.s2p", 9),)
F_HZ = np.geomspace(1e9, 100e9, 21)


def band(wafer: str, condition: str, n: int, **changes: Any) -> Band:
    """|h21| falling by 20 dB per decade from 40 dB."""
    gain = 40.0 - 20.0 * np.log10(F_HZ / 1e9)
    fields: dict[str, Any] = {
        "wafer": wafer,
        "device": "hemt",
        "condition": condition,
        "quantity": "short-circuit current gain |h21|",
        "unit": "dB",
        "x": F_HZ,
        "x_unit": "Hz",
        "median": gain,
        "lower": gain - 1,
        "upper": gain + 1,
        "n": n,
        "deembedded": True,
    }
    return Band(**{**fields, **changes})


def results(**changes: Any) -> CampaignResults:
    """A campaign whose transistor has de-embedded sweeps, fits, means and differences."""
    record = samples.campaign_record(
        devices=(DEEMBEDDED,),
        parameters=(samples.VTH, FT),
        handover=Handover(parameter="FT", condition="room"),
    )
    summary = samples.summary(
        median=81.9, mean=82.0, u=0.15, budget={"u_common": 0.07, "u_calibration": 0.07}
    )
    found = replace(samples.parameter_result("FT", "room"), summary=summary)
    fields: dict[str, Any] = {
        "context": samples.context(record),
        "parameters": tuple(replace(found, wafer=wafer) for wafer in ("", "W1", "W2")),
        "budgets": {("W1", "FT", "room"): {"definitions": 0.06, "dummy structures": 0.03}},
        "fits": {
            ("W1", "FT", "room"): {
                "points": 63.0,
                "share_used": 0.97,
                "slope_db_per_decade": -18.6,
                "remainder_db": 0.04,
                "extrapolated_decades": 0.32,
            }
        },
        "means": tuple(
            WaferMean("FT", "room", wafer, 8, mean, 0.075, 0.07, 0.027, 0.15, (("CAL-1", 8),), "")
            for wafer, mean in (("W1", 81.9), ("W2", 84.4))
        ),
        "differences": (
            WaferDifference(
                "FT", "room", "W1", "W2", 8, 8, -2.5, 0.038, 0.0, 0.038, 0.076, 1.0, ""
            ),
        ),
        "dummies": (
            DummyUse(
                "hemt",
                "open-short",
                "one die of the wafer",
                "W1",
                (0, 4),
                8,
                1,
                50e9,
                {"C1": (2.5e-14, "F")},
                ("The short dummy looks like an open.",),
                {},
            ),
        ),
        "sweep_quality": (QualityCount("W1", "hemt", 9, {"noise": {"sound": 7, "suspect": 2}}),),
        "handed_over": (
            HandedOver(
                "W1", "wafer", "most typical", (0, 0), 81.9, (("hemt under room", "data/a.s2p", 9),)
            ),
        ),
        "bands": (band("W1", "room", 8), band("W2", "room", 8), band("W1", "hot", 3)),
    }
    return samples.campaign_results(**{**fields, **changes})


def test_a_device_shows_its_dummies_quality_and_courses_and_folds_the_lesser_conditions() -> None:
    found = results()
    drawings = device_drawings(DEEMBEDDED, found)
    assert list(drawings) == [
        "frequency-room-short-circuit-current-gain--h21",
        "further-hot-short-circuit-current-gain--h21",
    ]
    page = render.device_page(DEEMBEDDED, found, drawings)
    text = text_of(page)
    assert "the lumped form is declared to hold up to 50 GHz" in text
    assert "For one sweep no dummies served; their figures are not assessable." in text
    assert "Wafer W1: The short dummy looks like an open." in text
    assert "25.00 fF" in text and "To distributed" not in text
    assert "At least 2 of nine sweeps have a quality that is suspect." in text
    assert "a.s2p" in page.html
    assert page.html.index("<details>") < page.html.index("further-hot")
    found_outline = outline(page)
    assert found_outline.wrong == [] and len(found_outline.ids) == len(set(found_outline.ids))


def test_gains_stand_over_a_logarithm_of_frequency_with_their_unit_beside_the_axis() -> None:
    first = next(iter(device_drawings(DEEMBEDDED, results()).values()))
    assert ">dB<" in first.svg and "frequency / GHz" in first.svg
    assert all(f">{label}<" in first.svg for label in ("1", "2", "5", "10", "20", "50", "100"))


def test_steps_of_a_curve_have_one_key_a_wafer_and_no_band_between_them() -> None:
    swept = np.linspace(0.0, 2.0, 5)
    steps = tuple(
        band(
            wafer,
            "room",
            8,
            quantity="output",
            unit="A",
            x=swept,
            x_unit="V",
            median=(1 + place) * 0.01 * swept,
            lower=(1 + place) * 0.009 * swept,
            upper=(1 + place) * 0.011 * swept,
            stepped=float(place),
            deembedded=False,
        )
        for wafer in ("W1", "W2")
        for place in (0, 1)
    )
    drawn = band_drawing(address="d.svg", title="t", bands=steps, heading="id", x_name="vds")
    assert drawn.svg.count(">W1<") == drawn.svg.count(">W2<") == 1
    assert "5 % to 95 %" not in drawn.svg and "vds / V" in drawn.svg


def test_a_parameter_from_sweeps_shows_its_budget_its_fits_and_its_wafers_means() -> None:
    page = render.parameter_page(FT, results(), {})
    text = text_of(page)
    assert "transit frequency by extrapolation over 5 GHz to 40 GHz, open-short" in text
    assert "Calibration, shared by all its values 70 MHz" in text.replace("70.0", "70")
    assert "Uncertainty by source" in text
    assert "Definitions Standards' definitions and the reference lines' lengths. 60.0" in text
    assert "Dummy structures Noise and contacts of the dummies' own sweeps. 30.0" in text
    assert "−18.6 dB per decade" in text and "97.0 %" in text and "0.32 decades" in text
    assert "81.90 ± 0.15" in text and "−2.500 ± 0.076" in text
    assert "the calibration's part cancels for the share of values on the same" in text
    assert "0.14 GHz of it is shared by the values of a wafer" in text
    found = outline(page)
    assert found.wrong == [] and len(found.ids) == len(set(found.ids))


def test_without_a_calibration_in_common_nothing_of_it_cancels() -> None:
    apart = replace(results().differences[0], same_calibration=0.0)
    text = text_of(render.parameter_page(FT, results(differences=(apart,)), {}))
    assert "No two of these wafers stand on the same calibration" in text


def test_of_many_pairs_those_farthest_apart_are_shown() -> None:
    one = results().differences[0]
    many = tuple(
        replace(one, second=f"X{place}", difference=float(place)) for place in range(1, 40)
    )
    text = text_of(render.parameter_page(FT, results(differences=many), {}))
    assert "The 12 of 39 differences of wafers that are largest" in text
    assert "W1 − X39" in text and "W1 − X27 " not in text


def test_a_mean_that_is_not_stated_says_why() -> None:
    why = "5 of 8 values are below the floor or were not reached"
    first, second = results().means
    refused = replace(
        second, mean=None, u=None, expanded_uncertainty=None, u_common=None, reason=why
    )
    text = text_of(render.parameter_page(FT, results(means=(first, refused)), {}))
    assert f"W2 8 – – CAL-1 {why}" in text


def test_values_not_reached_read_as_beyond_and_their_estimator_is_named() -> None:
    summary = samples.summary(
        median=98.4,
        q95=None,
        maximum=None,
        robust_spread=None,
        not_reached=2,
        least_reached=102.0,
        beyond=("q95", "maximum"),
        estimator="Kaplan-Meier",
    )
    low = replace(samples.parameter_result("BV", "bv"), summary=summary)
    drawn = {"by-wafer-bv": samples.drawing("parameters/by-wafer-bv.svg")}
    found = samples.campaign_results(parameters=(low, replace(low, wafer="W1")))
    text = text_of(render.parameter_page(samples.BV, found, drawn))
    assert "2 of them not reached, from" in text and "to not reached (> 102 V)" in text
    assert text.count("> 102") >= 3 and "Not reached" in text
    assert "Mean and s of all wafers and W1: Kaplan-Meier." in text
    assert "Wafer by wafer. Values not reached are drawn at what was reached." in text


def test_the_uncertainty_of_a_curve_s_figure_is_stated_without_a_declared_source() -> None:
    summary = samples.summary(u=0.5, budget={"u_instrument": 0.3, "u_extraction": 0.4})
    found = replace(samples.parameter_result("BV", "bv"), summary=summary)
    text = text_of(
        render.parameter_page(samples.BV, samples.campaign_results(parameters=(found,)), {})
    )
    assert "median expanded uncertainty U (k = 2); 0.60 V of it is shared" in text
    assert "Instrument's accuracy, shared by its readings 300 mV" in text


@pytest.mark.parametrize(
    ("formula", "html"),
    [
        ("Im(-1/Y12) / (2 pi f)", "Im(−1/Y<sub>12</sub>) / (2 π f)"),
        ("20 log10 |Y21/Y11|", "20 log<sub>10</sub> |Y<sub>21</sub>/Y<sub>11</sub>|"),
        ("K >= 1 and |D| < 1", "K ≥ 1 and |D| &lt; 1"),
        ("-Im(Y12)/w, of the inner Y", "−Im(Y<sub>12</sub>)/ω, of the inner Y"),
        ("V_GS - I_D/g_m", "V<sub>GS</sub> − I<sub>D</sub>/g<sub>m</sub>"),
        ("the self-resonance, -20 dB", "the self-resonance, −20 dB"),
    ],
)
def test_formulas_are_set_for_reading(formula: str, html: str) -> None:
    assert formula_text(formula) == html


def test_the_method_page_lists_every_figure_with_its_place_and_unit() -> None:
    view = method.view(samples.campaign_results())
    assert len(view.sweep_figures) == len(FIGURE_TEXTS)
    assert len(view.curve_figures) == len(CURVE_FIGURE_FORMULAS)
    text = text_of(render.method_page(samples.campaign_results()))
    assert "in Hz, over a window" in text and "in Hz, at one frequency or over a window" in text
    for formula in FIGURE_FORMULAS.values():
        assert "_" not in formula_text(formula)
    assert "Kaplan and Meier" in text and "IEEE 370" in text


def test_an_estimator_does_not_say_a_parameter_s_name_twice() -> None:
    record = results().context.record
    assert estimators.estimator(FT, record).startswith("transit frequency by extrapolation over 5")
    shown = text_of(render.device_page(DEEMBEDDED, results(), {}))
    assert "transit frequency by extrapolation over 5 GHz to 40 GHz" in shown
    assert "transit frequency transit frequency" not in shown


def test_a_level_over_a_window_is_said_to_be_one() -> None:
    sweep = FT.from_sweep
    assert sweep is not None
    gm = sweep.model_copy(update={"figure": "transconductance"})
    told = estimators.formula(FT.model_copy(update={"from_sweep": gm}))
    assert "the mean of the middle half of the window" in told
    assert "middle half" not in estimators.formula(FT)


def control(*differences: float, **changes: Any) -> ControlResult:
    """Readings of a control die an hour apart, accepted within 15 mV."""
    start = datetime(2026, 4, 21, 6, tzinfo=UTC)
    fields: dict[str, Any] = {
        "record": Control(
            id="vt", wafer="W1", die=(0, 0), parameter="VTH", condition="room", bound=0.015
        ),
        "station": "PS-A",
        "unit": "V",
        "reference": -2.6 if differences else None,
        "readings": tuple(
            ControlReading(
                start + timedelta(hours=place),
                place + 1,
                -2.6 + difference,
                None,
                difference,
                "good" if abs(difference) <= 0.015 else "out of bound",
            )
            for place, difference in enumerate(differences)
        ),
        "lower": None,
        "upper": None,
        "reproducibility": None,
        "drift_per_hour": None,
        "drift_p": None,
        "drifting": False,
        "lost_after": None,
        "failed_at": None,
    }
    return ControlResult(**{**fields, **changes})


def told(one: ControlResult) -> str:
    """What the station's page says of a control die."""
    (view,) = controls.control_views("PS-A", samples.campaign_results(controls=(one,)), {})
    return " ".join(str(each) for each in view.lead)


def test_a_control_die_says_what_its_failure_took() -> None:
    failed = datetime(2026, 4, 21, 8, tzinfo=UTC)
    after = control(0.0, 0.001, 0.03, failed_at=failed, lost_after=failed - timedelta(hours=1))
    assert "values of the station taken after 2026-04-21 07:00:00 UTC have lost" in told(after)
    never = replace(after, lost_after=datetime.min.replace(tzinfo=UTC))
    assert ": all values of the station have lost their standing." in told(never)
    assert "has no reading with standing" in told(control())


def test_a_control_die_is_drawn_from_its_reference() -> None:
    assert control_die_drawing(control(0.0, 0.001), "threshold") is None
    drawn = control_die_drawing(control(0.0, 0.001, -0.002), "threshold voltage")
    assert drawn is not None
    assert "from the reference / mV" in drawn.svg and "bound" in drawn.svg
