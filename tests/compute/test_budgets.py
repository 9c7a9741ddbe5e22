"""Budgets hold every source once, and simulated calibrations spread as they say."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.budgets import with_budgets
from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.monte_carlo import normalised_square
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.propagation import Perturbation
from sitegen.compute.rf.terms import OnePortTerms
from sitegen.model.event_results import Budget, MonteCarloCheck
from tests.compute import simulated_calibration as sc
from tests.compute.events import instrument
from tests.compute.rf import forward as fw

BAND_HZ = np.linspace(10e9, 110e9, 11)
USUAL = replace(sc.USUAL, load_ph=0.0)


def solved_with(
    method: str, sizes: sc.Sizes, *, draws: int | None = None, name: str = "CAL-1"
) -> SolvedCalibration:
    of = sc.calibration(
        method, fw.station(3, BAND_HZ), BAND_HZ, sizes, np.random.default_rng(1), id=name
    )
    assert of.record.uncertainty is not None
    stated = of.record.uncertainty.model_copy(update={"monte_carlo_draws": draws})
    of = replace(of, record=of.record.model_copy(update={"uncertainty": stated}))
    return with_budgets(with_uncertainty(solve(of, instrument())))


def budget_of(solved: SolvedCalibration, device: str, parameter: str) -> Budget:
    (found,) = [
        one for one in solved.result.budgets if (one.device, one.parameter) == (device, parameter)
    ]
    return found


def check_of(solved: SolvedCalibration) -> MonteCarloCheck:
    assert solved.result.monte_carlo is not None
    return solved.result.monte_carlo


@pytest.mark.parametrize("method", ["one-port", "SOLT", "LRRM", "TRL"])
def test_sources_add_up_to_groups_and_groups_to_the_whole(method: str) -> None:
    for budget in solved_with(method, USUAL).result.budgets:
        groups = [one for one in budget.lines if not one.name]
        assert len({one.group for one in groups}) == len(groups) >= 8
        assert sum(one.u**2 for one in groups) == pytest.approx(budget.u**2, nan_ok=True)
        for group in groups:
            mine = [one.u**2 for one in budget.lines if one.group == group.group and one.name]
            assert sum(mine) == pytest.approx(group.u**2, nan_ok=True)
        assert 0.5 * budget.covariance[:, :2].sum(axis=-1) == pytest.approx(
            budget.u**2, nan_ok=True
        )


def test_named_devices_of_a_two_port_and_of_a_one_port() -> None:
    named = [(one.device, one.parameter) for one in solved_with("SOLT", USUAL).result.budgets]
    assert named == [
        ("matched load", "s11"),
        ("matched load", "s22"),
        ("short", "s11"),
        ("short", "s22"),
        ("open", "s11"),
        ("open", "s22"),
        ("flush thru", "s21"),
        ("flush thru", "s11"),
        ("attenuator of 20 dB", "s21"),
    ]
    named = [(one.device, one.parameter) for one in solved_with("one-port", USUAL).result.budgets]
    assert named == [("matched load", "s11"), ("short", "s11"), ("open", "s11")]


def test_the_touchdown_enters_a_matched_load_as_declared_and_once() -> None:
    budget = budget_of(solved_with("SOLT", sc.Sizes(contact=1e-3)), "matched load", "s11")
    own = [one for one in budget.lines if one.group == "contact of the touchdown"]
    assert [one.name for one in own] == ["", "reflection at port 1"]
    for one in own:
        assert one.u == pytest.approx(1e-3, rel=1e-6)


def test_a_load_of_uncertain_resistance_moves_a_matched_load_by_half_its_share() -> None:
    """dG = dR/(2 Z0) at the load itself: 0.1 ohm of 50 are .001, in one direction."""
    budget = budget_of(solved_with("SOLT", sc.Sizes(load_ohm=0.1)), "matched load", "s11")
    total = budget.covariance[:, 0] + budget.covariance[:, 1]
    assert np.sqrt(total[:2]) == pytest.approx(1e-3, rel=0.02)
    assert budget.u[:2] == pytest.approx(1e-3 / np.sqrt(2), rel=0.02)


def test_without_uncertainty_there_is_no_budget() -> None:
    of = sc.calibration("SOLT", fw.station(3, BAND_HZ), BAND_HZ, USUAL, np.random.default_rng(1))
    of = replace(of, record=of.record.model_copy(update={"uncertainty": None}))
    assert with_budgets(with_uncertainty(solve(of, instrument()))).result.budgets == ()


@pytest.mark.parametrize("method", ["one-port", "SOLT", "LRRM", "TRL"])
def test_simulated_calibrations_spread_as_propagated(method: str) -> None:
    """400 draws give a spread to 2.5 %: the ratio of each frequency is held to four of that."""
    check = check_of(solved_with(method, USUAL, draws=400))
    assert (check.draws, check.device, check.parameter) == (400, "short", "s11")
    known = np.isfinite(check.ratio)
    assert known.sum() >= 10
    assert np.abs(check.ratio[known] - 1.0).max() < 0.1
    assert 0.925 <= check.inside <= 0.975
    assert "400 simulated calibrations" in check.text


def test_draws_depend_on_the_record_alone() -> None:
    one, again = (check_of(solved_with("one-port", USUAL, draws=100)) for _ in range(2))
    other = check_of(solved_with("one-port", USUAL, draws=100, name="CAL-2"))
    assert (one.ratio == again.ratio).all()
    assert (one.ratio != other.ratio).any()


def test_drift_is_drawn_from_a_rectangular_distribution() -> None:
    """Alone, none of it lies beyond sqrt(3) standard uncertainties, and its spread is one."""
    solved = solved_with("one-port", sc.Sizes(noise_floor=1e-9), draws=400)
    assert solved.uncertainty is not None and isinstance(solved.terms, OnePortTerms)
    drifted = replace(solved.terms, directivity=solved.terms.directivity + 1e-3)
    drift = Perturbation("drift", "to CAL-2", "circular", drifted)
    uncertainty = replace(
        solved.uncertainty, perturbations=(*solved.uncertainty.perturbations, drift)
    )
    check = check_of(with_budgets(replace(solved, uncertainty=uncertainty)))
    assert np.abs(check.ratio - 1.0).max() < 0.1
    assert check.inside > 0.97  # of a square of half side sqrt(3), the circle of 2.45 holds all


def test_a_normalised_square_is_that_of_the_inverse_covariance() -> None:
    covariance = np.array([[4.0, 1.0, 1.2]])
    deviation = np.array([[1.0 + 0.5j], [-2.0 + 1.0j]])
    inverse = np.linalg.inv([[4.0, 1.2], [1.2, 1.0]])
    expected = [d @ inverse @ d for d in ([1.0, 0.5], [-2.0, 1.0])]
    assert normalised_square(deviation, covariance)[:, 0] == pytest.approx(expected)
    assert np.isnan(normalised_square(deviation, np.array([[4.0, 1.0, 2.0]]))).all()
