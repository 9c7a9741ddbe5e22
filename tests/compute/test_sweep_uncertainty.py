"""What a calibration's uncertainty makes of sweeps and figures, against simulated calibrations.

The simulation perturbs the error terms themselves and corrects anew; nothing of the propagation
is used in it. k = 2.45 for 95 % of two components: chi-square with two degrees of freedom, 5.991.
"""

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.correction import applicable
from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.figures import FIGURES, Surroundings, figure_at
from sitegen.compute.rf.propagated import Propagated, Swept, propagate
from sitegen.compute.rf.propagation import CalibrationUncertainty, Perturbation, SweepErrors
from sitegen.compute.rf.taken import DEVICE, Corrected, Wanted, take
from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms
from sitegen.compute.sweep_uncertainty import covariance_of, deviations_of, sources_for
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import FIGURE_PLACES

FREQUENCY_HZ = np.array([1e9, 2e9, 3e9])
NAMES = [one.name for one in fields(DrivenTerms)]
OWN = SweepErrors(noise_floor=2e-4, trace_noise=5e-4, contact=8e-4, linearity=3e-4, cable=4e-4)


def driven(rng: np.random.Generator, size: float) -> dict[str, ComplexArray]:
    return {
        name: np.asarray(size * (rng.normal(size=3) + 1j * rng.normal(size=3)), np.complex128)
        for name in NAMES
    }


def some_terms() -> TwoPortTerms:
    rng = np.random.default_rng(1)
    sides = []
    for _ in range(2):
        side = driven(rng, 0.1)
        side["reflection_tracking"] = side["reflection_tracking"] + 0.9
        side["transmission_tracking"] = side["transmission_tracking"] + 0.8j
        side["isolation"] = 1e-4 * side["isolation"]
        sides.append(DrivenTerms(**side))
    return TwoPortTerms(FREQUENCY_HZ, 50.0, *sides)


def moved(terms: TwoPortTerms, by: list[dict[str, ComplexArray]], factor: complex) -> TwoPortTerms:
    forward, reverse = (
        DrivenTerms(**{name: getattr(side, name) + factor * change[name] for name in NAMES})
        for side, change in zip((terms.forward, terms.reverse), by, strict=True)
    )
    return replace(terms, forward=forward, reverse=reverse)


TERMS = some_terms()
CHANGES = [[driven(np.random.default_rng(10 * k + j), 6e-4) for j in (0, 1)] for k in range(4)]


def uncertainty(size: float) -> CalibrationUncertainty:
    """Every source at a share of its size."""
    perturbations = tuple(
        Perturbation(
            "definitions" if k < 2 else "noise",
            f"source {k}",
            "real" if k < 2 else "circular",
            moved(TERMS, change, size),
        )
        for k, change in enumerate(CHANGES)
    )
    own = SweepErrors(**{one.name: size * getattr(OWN, one.name) for one in fields(OWN)})
    return CalibrationUncertainty(perturbations, own, ())


UNCERTAINTY, TINY = uncertainty(1.0), uncertainty(1e-3)
"""As declared, and so small that the first order is all there is."""
AMPLIFIER = np.array([[0.3 + 0.2j, 0.05j], [1.8 - 1.1j, 0.4 - 0.3j]])
S = np.broadcast_to(AMPLIFIER, (1, 3, 2, 2)).copy()


PASSIVE = np.broadcast_to(
    np.array([[0.3 + 0.2j, 0.5 - 0.4j], [0.45 - 0.4j, 0.2 - 0.3j]]), S.shape
).copy()
"""For figures that the amplifier does not have, or only lost in uncertainty."""


@cache
def simulated(draws: int, own: bool, passive: bool = False) -> ComplexArray:
    """The device corrected by `draws` calibrations whose sources are drawn, (draws, 3, 2, 2)."""
    rng = np.random.default_rng(77)
    s = (PASSIVE if passive else S)[0]
    raw = uncorrect(TERMS, s)
    found = []
    for _ in range(draws):
        terms = TERMS
        for k, change in enumerate(CHANGES):
            factor = rng.normal() + (1j * rng.normal() if k >= 2 else 0.0)
            terms = moved(terms, change, factor)
        seen = raw
        contact: ComplexArray = np.zeros((3, 2, 2), np.complex128)
        if own:
            path = [1 + OWN.cable * (rng.normal() + 1j * rng.normal()) for _ in range(2)]
            for i in (0, 1):
                for j in (0, 1):
                    z = rng.normal(size=(3, 2)) @ np.array([1, 1j])
                    level = 1 + OWN.linearity * (rng.normal() + 1j * rng.normal())
                    sigma = np.hypot(OWN.noise_floor, OWN.trace_noise * np.abs(raw[:, i, j]))
                    seen = seen.copy()
                    seen[:, i, j] = raw[:, i, j] * level * path[i] * path[j] + sigma * z
            d = OWN.contact * (rng.normal(size=3) + 1j * rng.normal(size=3))
            contact[:, 0, 0], contact[:, 1, 1] = d[:2]
            contact[:, 0, 1], contact[:, 1, 0] = d[2] * s[:, 0, 1], d[2] * s[:, 1, 0]
        found.append(correct(terms, seen) + contact)
    return np.array(found)


def test_the_95_percent_region_holds_95_percent_of_simulated_calibrations() -> None:
    covariance = covariance_of(uncorrect(TERMS, S), TERMS, UNCERTAINTY, 1)[0].astype(np.float64)
    drawn = simulated(4000, own=True) - S[0]
    for i in (0, 1):
        for j in (0, 1):
            var_re, var_im, both = covariance[0, i, j]
            inverse = np.linalg.inv([[var_re, both], [both, var_im]])
            d = np.stack([drawn[:, 0, i, j].real, drawn[:, 0, i, j].imag])
            inside = np.mean(np.einsum("in,ij,jn->n", d, inverse, d) <= stats.chi2.ppf(0.95, 2))
            assert 0.94 <= inside <= 0.96, (i, j, inside)  # 4000 draws: 95 % +- 2.9 sigma
            narrow = np.mean(np.einsum("in,ij,jn->n", d, inverse / 0.81, d) <= 5.991)
            assert narrow < 0.94  # every u a tenth too small is noticed


LENGTH_M = 200e-6
AT_ONE = [name for name in FIGURES if "frequency" in FIGURE_PLACES[name]]


def propagated(
    name: str,
    at_hz: float = 2e9,
    s: ComplexArray = S,
    stated: CalibrationUncertainty = UNCERTAINTY,
) -> Propagated:
    wanted = Wanted(FIGURES[name], "frequency", Surroundings(50.0, LENGTH_M), at_hz)
    taken = take(wanted, FREQUENCY_HZ, s)
    assert taken is not None
    swept = Swept(FREQUENCY_HZ, Corrected(s), {DEVICE: "CAL"})
    return propagate(wanted, taken, swept, {"CAL": sources_for(TERMS, stated, 2, 1)}, False)


def by_moving(name: str, at_hz: float, s: ComplexArray) -> dict[bool, FloatArray]:
    """Variances by moving every source by itself, both ways: the same law without derivatives."""
    total: dict[bool, FloatArray] = {True: np.zeros(len(s)), False: np.zeros(len(s))}
    for common, one in deviations_of(s, TERMS, TINY, 1):
        for turn in (1.0, 1j) if one.kind == "circular" else (1.0,):
            ahead, behind = (
                figure_at(FIGURES[name], s + change, FREQUENCY_HZ, at_hz, 50.0, LENGTH_M)
                for change in (turn * one.values, -turn * one.values)
            )
            total[common] += (0.5 * (ahead - behind)) ** 2
    return total


@pytest.mark.parametrize("name", AT_ONE)
def test_slopes_carried_back_are_what_moving_each_source_shows(name: str) -> None:
    s = S
    if np.isnan(figure_at(FIGURES[name], S, FREQUENCY_HZ, 2e9, 50.0, LENGTH_M)).any():
        s = PASSIVE
    found, shown = propagated(name, 2e9, s, TINY), by_moving(name, 2e9, s)
    assert found.calibration == pytest.approx(shown[True], rel=1e-4)
    assert found.own == pytest.approx(shown[False], rel=1e-4)


@pytest.mark.parametrize("name", AT_ONE)
def test_a_figure_s_uncertainty_is_the_spread_of_simulated_calibrations(name: str) -> None:
    passive = not propagated(name).stated.all()
    whole = propagated(name, s=PASSIVE if passive else S)
    for own, variance in ((False, whole.calibration), (True, whole.calibration + whole.own)):
        drawn = simulated(1500, own, passive)
        values = figure_at(FIGURES[name], drawn, FREQUENCY_HZ, 2e9, 50.0, LENGTH_M)
        # the standard deviation of 1500 draws has a relative standard uncertainty of 1.8 %
        assert np.std(values, ddof=1) == pytest.approx(np.sqrt(variance[0]), rel=0.075)


def test_a_level_lost_in_uncertainty_has_no_stated_u() -> None:
    small = S.copy()
    small[..., 0, 1] = 1e-3
    lost = propagated("s12 magnitude", s=small)
    assert not lost.stated.any()
    assert lost.remarks[0].startswith("uncertainty not stated: too large")
    assert not propagated("s12 phase", s=small).stated.any()
    assert propagated("s21 magnitude", s=small).stated.all()


def test_between_two_points_both_are_moved_and_each_has_its_own_noise() -> None:
    between = propagated("inductance", 2.5e9, S, TINY)
    together = by_moving("inductance", 2.5e9, S)
    assert between.calibration == pytest.approx(together[True], rel=1e-4)
    # moved together, the noise of two points would count as (1/2 + 1/2)^2, not as 1/4 + 1/4
    noise = between.groups["noise of the sweep"]
    assert between.own + noise == pytest.approx(together[False], rel=0.1)


def test_a_one_port_device_takes_its_port_s_part() -> None:
    s = S[:, :, 1:, 1:]
    by_port = [
        uncorrect(applicable(TERMS, 1, port), s[..., 0, 0])[..., None, None] for port in (1, 2)
    ]
    found = covariance_of(by_port[1], TERMS, UNCERTAINTY, 2)
    assert found.shape == (1, 3, 1, 1, 3)
    assert (found[..., :2] > 0).all()
    other = covariance_of(by_port[0], TERMS, UNCERTAINTY, 1)
    assert not np.allclose(found, other)
