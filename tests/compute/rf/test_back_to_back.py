"""What two calibrations made back to back would show: held against simulated ones."""

from dataclasses import replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.back_to_back import REPEATABLE, Repeatable, repeatable_difference
from sitegen.compute.rf.comparison import bound_between
from sitegen.compute.rf.propagation import Perturbation
from sitegen.compute.rf.terms import OnePortTerms
from tests.faults import scenes

FREQUENCY_HZ = np.linspace(1e9, 10e9, 10)
SEEDS = 20


def one_port(directivity: complex = 0.0) -> OnePortTerms:
    flat = np.ones(len(FREQUENCY_HZ), np.complex128)
    return OnePortTerms(FREQUENCY_HZ, 50.0, directivity * flat, 0.0 * flat, flat)


def test_one_circular_source_of_each_calibration_has_the_quantile_of_rayleigh() -> None:
    """Two directivities that each differ by u in both parts: |difference| is Rayleigh with
    sigma = sqrt(2) u, whose 95 % quantile is sigma sqrt(-2 ln 0.05)."""
    u = 1e-4
    moved = Perturbation("noise", "S11 of short.s1p", "circular", one_port(u))
    found = repeatable_difference(Repeatable(one_port(), [moved]), Repeatable(one_port(), [moved]))
    expected = np.sqrt(2.0) * u * np.sqrt(-2.0 * np.log(0.05))
    assert np.allclose(found, expected, rtol=0.08)


def test_without_sources_nothing_would_show() -> None:
    alone = Repeatable(one_port(), [])
    assert (repeatable_difference(alone, alone) == 0).all()


def test_simulated_pairs_stay_within_it_as_often_as_it_says() -> None:
    """The same path, standards contacted and swept anew: noise and contacts as declared.

    Per frequency 95 %; the share over 20 pairs has a standard deviation of a few per cent, since
    a contact is the same over frequency.
    """
    inside, ratios = [], []
    for seed in range(SEEDS):
        plan = scenes.sound(seed)
        path = plan.before[0].path
        again = replace(
            plan, calibration=tuple(replace(step, path=path) for step in plan.calibration)
        )
        campaign = scenes.campaign_of(again, seed)
        analyser = campaign.record.stations[0].instruments[0]
        pair = [with_uncertainty(solve(one, analyser)) for one in campaign.calibrations]
        first, second = (_repeatable(one) for one in pair)
        bound = bound_between(first.terms, second.terms).greatest
        limit = repeatable_difference(first, second)
        inside.append(float(np.mean(bound <= limit)))
        ratios.append(float(np.median(bound / limit)))
    assert 0.88 <= np.mean(inside) <= 0.995
    assert 0.4 <= np.mean(ratios) <= 0.8


def _repeatable(one: SolvedCalibration) -> Repeatable:
    assert one.terms is not None and one.uncertainty is not None
    return Repeatable(
        one.terms, [each for each in one.uncertainty.perturbations if each.group in REPEATABLE]
    )
