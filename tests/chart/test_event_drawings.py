"""Which drawings a verification's and an acceptance's page have."""

from dataclasses import replace

import numpy as np

from sitegen.chart.verification import acceptance_drawings, verification_drawings
from tests.render.event_samples import acceptance_result, guarded_verification


def test_every_mask_and_every_sweep_of_a_verification_is_drawn() -> None:
    drawn = verification_drawings(guarded_verification(), 2.0)
    assert set(drawn) == {"line-0", "line-s21-normalised", "short-line-0"}
    assert drawn["line-0"].address == "verifications/VER-2/line-0.svg"
    assert drawn["line-0"].description == (
        "not proven; 100 frequencies judged; guard band around it."
    )
    assert drawn["short-line-0"].title == (
        "S11 of short-line: deviation of the magnitude against its mask"
    )
    assert drawn["short-line-0"].description.endswith("no uncertainty stated.")
    assert "a sweep that agrees exceeds 1.31" in drawn["line-s21-normalised"].description


def test_every_difference_of_an_acceptance_is_drawn() -> None:
    drawn = acceptance_drawings(acceptance_result(), 2.0)
    assert set(drawn) == {"0", "0-normalised"}
    assert len({one.address for one in drawn.values()}) == 2
    assert "S21 − factory" in drawn["0"].svg
    assert drawn["0-normalised"].description.startswith("shown, not judged.")


def test_what_could_not_be_compared_is_not_drawn() -> None:
    (difference,) = acceptance_result().differences
    nothing = np.empty(0)
    mask = replace(
        difference.mask,
        frequency_hz=nothing,
        deviation=nothing,
        limit=nothing,
        u=None,
        guard=None,
        worst_frequency_hz=None,
        worst_ratio=None,
        outcome="not assessable",
    )
    dark = replace(difference, mask=mask, agreement=None)
    assert acceptance_drawings(acceptance_result(differences=(dark,)), 2.0) == {}
