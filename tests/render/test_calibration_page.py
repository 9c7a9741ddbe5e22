"""A calibration's page: its evidence in words, tables and drawings, whole in odd cases too."""

import re
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from sitegen import render
from sitegen.chart.calibration import calibration_drawings
from sitegen.model.calibration import LineDefinition, LoadDefinition, Offset
from sitegen.model.event_results import CalibrationResult, Curve, VerificationResult
from sitegen.model.results import Drawing
from sitegen.render import calibration_budget
from sitegen.render.calibration_sentences import evidence
from sitegen.render.frequencies import stretches
from sitegen.render.page import Page
from sitegen.render.standards import uncertain
from tests.render import calibration_samples as full
from tests.render import samples
from tests.render.test_pages import outline, text_of
from tests.render.test_sentences import said


def page_of(result: CalibrationResult, drawn: Mapping[str, Drawing] | None = None) -> Page:
    """The page; its drawings are circles unless they are given."""
    results = samples.campaign_results(calibrations=(result,))
    return render.calibration_page(result, results, circles(result) if drawn is None else drawn)


def circles(result: CalibrationResult) -> Mapping[str, Drawing]:
    """A circle for each drawing of a solved calibration."""
    parts = {
        "curve": result.curves,
        "comparison": [one for one in result.comparisons if not one.refused],
        "budget": result.budgets,
    }
    names = [f"{part}-{place}" for part, items in parts.items() for place, _ in enumerate(items)]
    return {name: samples.drawing(f"calibrations/CAL-1/{name}.svg", name) for name in names}


PAGES = {
    "full": full.evident(),
    "nothing determined": full.evident(
        determined=np.zeros(full.FREQUENCY_HZ.size, bool), condition=None
    ),
    "no uncertainty": full.evident(sources=(), budgets=(), monte_carlo=None),
    "plain": samples.calibration_result(),
    "not solved": samples.calibration_result(
        outcome="not solved", unsolved="The thru is missing.", terms=(), checks=()
    ),
}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_whole_and_leads_to_its_own_places(name: str) -> None:
    page = page_of(PAGES[name])
    found = outline(page)
    assert found.wrong == []
    assert found.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(found.headings))
    assert len(found.ids) == len(set(found.ids))
    for target in found.targets:
        assert not re.match(r"[a-z]+:|/", target)
        if target.startswith("#"):
            assert target[1:] in found.ids, target
    assert "None" not in text_of(page).replace("None of", "")
    assert "nan" not in text_of(page)


def test_every_drawing_is_on_the_page_and_has_words_for_those_who_cannot_see_it() -> None:
    result = full.evident()
    drawings = calibration_drawings(result)
    page = page_of(result, drawings)
    for drawing in drawings.values():
        name = drawing.address.rsplit("/", 1)[1]
        assert page.html.count(f'<img loading="lazy" src="{name}"') == 1
        assert drawing.title and drawing.description


def test_the_verdict_is_followed_by_what_it_rests_on() -> None:
    result = full.evident()
    use = samples.calibration_use(failed_by="")
    text = said(evidence(result, [], use, "calibrations/CAL-1/index.html"))
    assert text == (
        "It is not determined at 500 MHz and from 60 GHz to 64 GHz. From CAL-0, the calibration"
        " before it, it differs by no more than 0.0310 (at 110 GHz) for any passive device, where"
        " 0.02 is allowed; up to 0.0190 of it remains as drift. From the terms that the instrument"
        " reported it differs by no more than"
        " 1.20×10⁻⁵ (at 110 GHz) for any passive device. Seven sources of uncertainty are carried"
        " through it; in its budgets u is at most 0.0064, of S11 of the short at the tips at"
        " 110 GHz; 88.6 % of the variance there is from definitions. No verification has held it"
        " against structures that took no part in it."
    )


def verified(name: str, outcome: str) -> VerificationResult:
    return samples.verification_result(name, outcome=outcome)


@pytest.mark.parametrize(
    ("outcomes", "failed_by", "expected"),
    [
        (("passed", "passed"), "", "Both verifications of it passed."),
        (("passed",), "", "The one verification of it passed."),
        (("failed",), "VER-0", ""),
        (("failed", "passed"), "VER-0", "The one other verification of it passed."),
        (("passed", "not proven"), "", "One verification of it passed; VER-1 proved nothing."),
        (("not assessable",), "", "VER-0 could not be assessed."),
    ],
)
def test_verifications_are_counted_and_the_failed_one_is_not_told_twice(
    outcomes: tuple[str, ...], failed_by: str, expected: str
) -> None:
    result = samples.calibration_result()
    held = [verified(f"VER-{place}", outcome) for place, outcome in enumerate(outcomes)]
    text = said(evidence(result, held, samples.calibration_use(failed_by=failed_by), ""))
    assert text == f"The uncertainty of what it corrects is not stated. {expected}".strip()


def test_checks_stand_in_their_groups_with_uncertainty_bound_and_verdict() -> None:
    text = text_of(page_of(full.evident()))
    places = [text.index(f" {title} ") for title in ("Before solving", "Solution")]
    assert places == sorted(places)
    assert "repeatability, load.s2p 0.000210 ± 0.000060 ≤ 0.002 met 3 raw sweeps" in text
    assert "fitted load inductance 4.60 ± 0.22 pH 0 to 12 met Load at port 1" in text
    assert "fitted load capacitance – F – not determined It cannot be told" in text
    assert "difference from CAL-0 0.0310 ≤ 0.02 missed" in text
    assert "contacts of probe RF-1 40 213 – shown, not judged At port 1." in text
    assert "frequencies determined 209 of 220" in text
    html = page_of(full.evident()).html
    wear = html[html.index('id="checks-wear"') : html.index('id="determined"')]
    assert "contacts of this set" in wear and "fitted load" not in wear


def test_a_group_without_a_check_says_so() -> None:
    text = text_of(page_of(full.evident(checks=())))
    assert "The raw sweeps allow no check before solving" in text
    assert "No check compares it with another calibration" in text


def test_causes_are_ranked_and_never_a_fact() -> None:
    text = text_of(page_of(full.evident()))
    heading = text.index("Likely causes, most likely first")
    assert heading < text.index("The cable of port 2 moved.") < text.index("The load's contact")
    assert "None of them is proven" in text
    assert "Likely causes" not in text_of(page_of(full.evident(candidates=())))


def test_ranges_that_are_not_determined_are_named_where_they_are_drawn_as_gaps() -> None:
    result = full.evident()
    text = text_of(page_of(result))
    assert (
        "The error terms are not determined at 10 of 220 frequencies, at 500 MHz and from 60 GHz"
        " to 64 GHz." in text
    )
    assert "the condition number of the equations is at most 210 (at 59.5 GHz)" in text
    assert "the fit over all of them is used. Not determined at 500 MHz and from 60 GHz" in text
    assert "From the propagation constant. It is not determined at any frequency." in text
    assert "attenuation of the line dB/mm not determined not determined" in text
    whole = full.evident(determined=np.ones(full.FREQUENCY_HZ.size, bool))
    assert "determined at all 220 frequencies." in text_of(page_of(whole))


def test_quantities_have_decimals_that_tell_their_values_apart() -> None:
    """From −0.01° to −25.3° one place, around 1 six, thousandths where all are small."""
    rising = np.linspace(0.0, 1.0, full.FREQUENCY_HZ.size)
    quantities = {
        "phase": ("deg", -0.01 - 25.3 * rising),
        "magnitude": ("1", 1.0 - 3e-4 * rising),
        "remainder": ("1", 1e-5 + 4e-4 * rising),
    }
    curves = tuple(
        Curve(name, unit, values, None, None, None, None, "")
        for name, (unit, values) in quantities.items()
    )
    text = text_of(page_of(full.evident(curves=curves)))
    assert "phase ° 0.0 −6.4 −12.7 −19.0 −25.3" in text
    assert "magnitude 1.000000 0.999925 0.999849 0.999775 0.999700" in text
    assert "remainder 10 −3 0.010 0.110 0.211 0.310 0.410" in text


def test_many_stretches_are_counted() -> None:
    where = np.arange(40) % 2 == 0
    text = str(stretches(np.linspace(1e9, 40e9, 40), where.tolist()))
    assert text.endswith("at 15\u202fGHz and twelve more stretches")


def test_without_redundancy_no_residual_is_promised() -> None:
    none = text_of(page_of(full.evident(redundancy=0, redundancy_of="equations")))
    assert "Its redundancy is 0 (equations)" in none
    assert "No residual is shown, since it would be zero even with a standard mistaken" in none
    some = text_of(page_of(full.evident()))
    assert "Its redundancy is 2 (reflection standards, both ports together)" in some
    assert "what it leaves over is not stated" in some
    residual = replace(full.CHECKS[1], name="residual of load, port 1", group="solution")
    shown = text_of(page_of(full.evident(checks=(residual,))))
    assert "What the solution leaves of it stands among the checks" in shown


def test_a_comparison_is_judged_split_into_what_repeats_and_drift_and_says_its_order() -> None:
    text = text_of(page_of(full.evident()))
    assert "greater than 0.0310 between the two (at 110 GHz; the comparison bound)" in text
    assert "The record allows 0.02: missed." in text
    assert "(95 %), up to 0.0190 remains as drift (at 110 GHz)" in text
    assert "exact in the differences of the error terms" in text
    assert "Comparison bound not determined 0.00864" in text
    one_port = full.evident(
        record=full.evident().record.model_copy(update={"ports": (1,), "method": "one-port"})
    )
    assert "For one port the bound is exact." in text_of(page_of(one_port))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"refused": "another reference plane", "bound": None},
            "It is not compared with CAL-0: another reference plane.",
        ),
        ({"repeatable": None, "drift": None}, "none of it can be called drift"),
        ({"drift": np.zeros(full.FREQUENCY_HZ.size)}, "nothing remains as drift"),
        ({"limit": None, "passed": None}, "does not say how great it may be"),
        (
            {"bound": np.full(full.FREQUENCY_HZ.size, np.nan)},
            "The two are determined together at no frequency.",
        ),
    ],
)
def test_a_comparison_in_odd_cases(changes: dict[str, object], expected: str) -> None:
    result = full.evident(comparisons=(full.comparison(**changes),))
    assert expected in text_of(page_of(result))


def test_sources_stand_with_size_basis_and_how_they_enter() -> None:
    twice = tuple(
        replace(full.SOURCES[3], group=group) for group in ("noise", "noise of the sweep")
    )
    text = text_of(page_of(full.evident(sources=(full.SOURCES[0], *twice))))
    assert "Resistance of load 0.05 Ω declared definitions –" in text
    assert "Noise floor 2×10⁻⁵ estimated from repeats noise noise of the sweep" in text
    assert "Receivers' linearity" not in text, "only groups that are there are explained"
    without = text_of(page_of(PAGES["no uncertainty"]))
    assert "No uncertainty of sweeps corrected with this calibration is stated" in without
    assert "The uncertainty of what it corrects is not stated." in without


def test_a_budget_adds_in_quadrature_and_ends_with_its_region() -> None:
    """At 28 GHz: 1.62, 2.00, 0.20 and 0.03 thousandths are 2.6 together (GUM, equation 10)."""
    place = int(np.argmin(np.abs(full.FREQUENCY_HZ - 28e9)))
    one = full.budget()
    groups = [float(line.u[place]) for line in one.lines if not line.name]
    assert float(one.u[place]) == pytest.approx(np.sqrt(np.sum(np.square(groups))))
    text = text_of(page_of(full.evident()))
    assert "Definitions not determined 1.6" in text
    assert f"Combined, u of a part not determined {one.u[place] * 1e3:.1f}" in text
    assert "Smaller: noise not determined 0.030" in text
    assert "Inductance of short definitions not determined" in text
    assert text.index("Definitions not determined") < text.index("Contact repeatability not det")


def test_the_region_s_greatest_half_axis() -> None:
    """A covariance turned by any angle keeps its axes: 95 % of two components, root of 5.991."""
    for angle in (0.0, 0.4, np.pi / 4, 2.0):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        matrix = turn @ np.diag([9.0, 1.0]) @ turn.T
        packed = np.array([[matrix[0, 0], matrix[1, 1], matrix[0, 1]]])
        assert calibration_budget.half_axis(packed) == pytest.approx(np.sqrt(5.991) * 3, rel=1e-4)


def test_definitions_lines_and_probes_are_in_the_record() -> None:
    text = text_of(page_of(full.evident()))
    assert "line line length 2000 µm length 0.5 µm" in text
    assert "reflect reflect unknown, the same at both ports, near an open none stated" in text
    assert "Lines: capacitance per length 173 pF/m" in text
    assert "50 Ω, real; moved there from the lines' own impedance, which stands" in text
    assert "RF-1 1 40 213 0.031 0.1" in text
    assert "RF-2 2 1 200 – –" in text
    assert "The record does not say how the probes were used." in text_of(page_of(PAGES["plain"]))


def test_uncertainties_of_definitions_in_words() -> None:
    load = LoadDefinition(
        kind="load", resistance_ohm=50.0, resistance_u_ohm=0.05, offset=Offset(delay_u_ps=0.01)
    )
    assert uncertain(load) == "R 0.05\u202fΩ; of the offset: delay 0.01\u202fps"
    assert uncertain(LineDefinition(kind="line", length_um=1.0)) == ""
