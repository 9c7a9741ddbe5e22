"""A verification's page: every structure with what it was judged by."""

from dataclasses import replace

import numpy as np

from sitegen import addresses, render
from sitegen.model.event_results import VerificationResult
from tests.render import samples
from tests.render.event_samples import guarded_verification, line_result
from tests.render.test_pages import outline, text_of


def page_of(result: VerificationResult) -> render.Page:
    results = samples.campaign_results(verifications=(result,))
    drawings = {
        key: samples.drawing(addresses.drawing(addresses.verification("VER-2"), key), key)
        for key in ("line-0", "line-s21-normalised")
    }
    return render.verification_page(result, results, drawings)


def test_the_structures_stand_beside_each_other_and_lead_to_their_sections() -> None:
    page = page_of(guarded_verification())
    text = text_of(page)
    assert "line line of 900 µm not proven 110 % S21 100 GHz 1.20" in text
    assert "short-line line of 200 µm passed 2.4 % S11 100 GHz –" in text
    found = outline(page)
    assert {"structure-line", "structure-short-line"} <= set(found.ids)
    assert "#structure-short-line" in found.targets
    assert "Structures" not in text_of(page_of(guarded_verification(structures=(line_result(),))))


def test_a_reference_is_told_with_what_it_shares() -> None:
    text = text_of(page_of(guarded_verification()))
    assert "measured with the same standards' definitions, whose errors are common" in text
    assert "Reference plane of the reference probe tips" in text
    assert "standard uncertainty 0.001 of each real and imaginary part" in text
    assert "none stated: the model is taken as exact" in text
    assert "Contacts three" in text
    assert "0.00171, pooled standard deviation of an S-parameter over three contacts" in text


def test_deviation_stands_with_its_uncertainty_and_its_guard_band() -> None:
    text = text_of(page_of(guarded_verification()))
    assert "S21, complex deviation not proven 100 GHz 0.012 ± 0.010 0.0200 110 % 0.00800" in text
    assert "51 GHz 0.00612 0.0051 0.0051 0.0200 56.1 %" in text


def test_a_sweep_rule_has_its_figure_limit_and_false_alarm_rate() -> None:
    text = text_of(page_of(guarded_verification()))
    assert "S21 passed greatest value 1.20 1.31 5.0 %" in text
    assert "a sweep that agrees exceeds 1.31 in 5 % of cases" in text


def test_a_line_has_its_quantities_with_signed_normalised_error() -> None:
    text = text_of(page_of(guarded_verification()))
    assert "effective permittivity 40 GHz passed 5.236 ± 0.080 5.200 ± 0.040 0.0360 0.3 0.402" in (
        text
    )
    assert "attenuation per length 40 GHz not assessable the line is too short – 0.2100 dB/mm" in (
        text
    )


def test_passivity_and_reciprocity_are_told() -> None:
    text = text_of(page_of(guarded_verification()))
    assert "passivity: greatest singular value less 1 passed −0.00200 3 GHz 0.01" in text
    assert "reciprocity: greatest |S21 − S12| passed 0.00210 98 GHz 0.01" in text


def test_causes_are_ranked_and_none_is_a_fact() -> None:
    causes = ("the probe of port 2 was lifted", "the load is worn")
    text = text_of(page_of(guarded_verification(outcome="failed", candidates=causes)))
    assert "most likely first; none of them is established" in text
    assert text.index(causes[0]) < text.index(causes[1])
    assert "Likely causes" not in text_of(page_of(guarded_verification()))


def test_a_structure_that_was_not_judged_says_why() -> None:
    dark = replace(
        line_result("not assessable"),
        masks=(),
        agreements=(),
        line_quantities=(),
        physical=(),
        repeatability=None,
        reason="line.s2p could not be read",
    )
    result = guarded_verification(
        outcome="not assessable", reason="line.s2p could not be read", structures=(dark,)
    )
    text = text_of(page_of(result))
    assert "not assessable : line.s2p could not be read" in text or (
        "not assessable: line.s2p could not be read" in text
    )
    assert "Nothing was judged under a mask." in text


def test_of_many_frequencies_a_table_shows_some_with_the_worst_and_those_beyond() -> None:
    line = line_result("failed")
    f = np.linspace(1e9, 100e9, 1001)
    measured = np.full(f.size, 0.001)
    measured[333], measured[777] = 0.03, 0.04
    mask = replace(
        line.masks[0],
        frequency_hz=f,
        deviation=measured,
        limit=np.full(f.size, 0.02),
        u=None,
        guard=None,
        worst_frequency_hz=float(f[777]),
    )
    page = page_of(guarded_verification(structures=(replace(line, masks=(mask,)),)))
    text = text_of(page)
    assert "one frequency in 20, the worst and those beyond the mask; all 1 001 are in" in text
    assert "33.97 GHz 0.0300 0.0200 150 %" in text and "77.92 GHz 0.0400 0.0200 200 %" in text
    assert page.html.count('class="beyond"') == 2
    assert page.html.count(">0.00100<") == 51
