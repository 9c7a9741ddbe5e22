"""Propagation against the GUM's worked example, the reflectometer's residuals, and its own laws."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.propagation import (
    Deviation,
    Kind,
    Perturbation,
    SweepErrors,
    along,
    common_deviations,
    covariance,
    mean_u,
    own_deviations,
    uncorrelated,
)
from sitegen.compute.rf.sweep_covariance import sweep_covariance
from sitegen.compute.rf.terms import (
    ErrorTerms,
    OnePortTerms,
    term_rows,
    terms_from_rows,
)
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import solt

NONE = SweepErrors(0.0, 0.0, 0.0, 0.0, 0.0)
# JCGM 100:2008, H.2: five simultaneous readings of voltage, current and phase (quoted from memory)
VOLTAGE_V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
CURRENT_A = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE_RAD = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def h2(inputs_covariance: fw.Floats) -> tuple[complex, tuple[Deviation, ...]]:
    """The impedance V/I exp(j phi) and what each uncorrelated source of its inputs does to it."""
    v, i, phi = VOLTAGE_V.mean(), CURRENT_A.mean(), PHASE_RAD.mean()
    z = v / i * np.exp(1j * phi)
    by_input = np.array([z / v, -z / i, 1j * z])
    changes = uncorrelated(inputs_covariance) @ by_input
    return z, tuple(Deviation("definitions", "reading", "real", np.array([one])) for one in changes)


def test_the_gum_example_h2_with_its_correlations() -> None:
    """Values as printed in table H.4 (JCGM 100:2008, H.2.4, quoted from memory)."""
    z, deviations = h2(np.cov([VOLTAGE_V, CURRENT_A, PHASE_RAD]) / 5)
    (var_r, var_x, cov_rx) = covariance(deviations, (1,))[0]
    assert (round(z.real, 3), round(z.imag, 3), round(abs(z), 3)) == (127.732, 219.847, 254.260)
    assert round(np.sqrt(var_r), 3) == 0.071
    assert np.sqrt(var_x) == pytest.approx(0.2956, abs=5e-5)  # printed .295; in full .2956
    direction: fw.Array = np.array([z / abs(z)])
    u_z = along(deviations, direction)[0]
    assert round(u_z, 3) == 0.236
    assert round(cov_rx / np.sqrt(var_r * var_x), 3) == -0.588
    cov_rz = var_r * direction[0].real + cov_rx * direction[0].imag
    cov_xz = cov_rx * direction[0].real + var_x * direction[0].imag
    assert round(cov_rz / np.sqrt(var_r) / u_z, 3) == -0.485
    assert round(cov_xz / np.sqrt(var_x) / u_z, 3) == 0.993


def test_without_its_correlations_h2_gives_something_else() -> None:
    together = np.cov([VOLTAGE_V, CURRENT_A, PHASE_RAD]) / 5
    _, deviations = h2(np.diag(np.diag(together)))
    (var_r, _, _) = covariance(deviations, (1,))[0]
    assert np.sqrt(var_r) > 2.0 * 0.071


def test_uncorrelated_sources_add_up_to_the_covariance() -> None:
    both = np.array([[4.0, -1.9], [-1.9, 1.0]])
    sources = uncorrelated(both)
    assert sum(np.outer(one, one) for one in sources) == pytest.approx(both)
    assert len(uncorrelated(np.array([[4.0, 2.0], [2.0, 1.0]]))) == 1


def test_residual_terms_move_a_reflection_as_the_guides_say() -> None:
    """U = D + T G + M G^2 (EA-10/12; EURAMET cg-12), signs apart: .0175 for .01 each at .5."""
    f = np.array([1e9])
    zero: fw.Array = np.zeros(1, complex)
    one: fw.Array = np.ones(1, complex)
    perfect = OnePortTerms(f, 50.0, zero, zero, one)
    perturbations = [
        Perturbation("definitions", "D", "real", replace(perfect, directivity=one * (0.01 + 0j))),
        Perturbation(
            "definitions", "T", "real", replace(perfect, reflection_tracking=one * (1.01 + 0j))
        ),
        Perturbation("definitions", "M", "real", replace(perfect, source_match=one * (0.01 + 0j))),
    ]
    sizes = [
        abs(found.values[0])
        for found in common_deviations(perfect, perturbations, np.array([0.5 + 0j]))
    ]
    assert sizes == pytest.approx([0.01, 0.005, 0.0025], rel=0.011)
    assert sum(sizes) == pytest.approx(0.0175, rel=0.011)


def changed(terms: ErrorTerms, seed: int, size: float) -> ErrorTerms:
    rows: fw.Array = np.array([row.values for row in term_rows(terms)])
    rng = np.random.default_rng(seed)
    change: fw.Array = rng.normal(size=rows.shape) + 1j * rng.normal(size=rows.shape)
    return terms_from_rows(terms, rows + size * change)


@pytest.mark.parametrize("ports", [1, 2])
def test_the_covariance_of_many_sources_at_once_is_that_of_their_deviations(ports: int) -> None:
    at = fw.station(4)
    terms: ErrorTerms = solt(at, fw.BAND_HZ).terms
    raw = fw.raw_sweep(at, fw.active_devices(5, 40, len(fw.BAND_HZ)))
    if ports == 1:
        assert not isinstance(terms, OnePortTerms)
        driven = terms.forward
        terms = OnePortTerms(
            fw.BAND_HZ,
            50.0,
            driven.directivity,
            driven.source_match,
            driven.reflection_tracking,
        )
        raw = fw.raw_reflection(at.box_1, fw.passive_devices(5, 40, len(fw.BAND_HZ))[..., 0, 0])
    kinds: list[Kind] = ["real", "circular", "real"]
    perturbations = [
        Perturbation("definitions", str(seed), kind, changed(terms, seed, 1e-7))
        for seed, kind in enumerate(kinds)
    ]
    one_by_one = covariance(common_deviations(terms, perturbations, raw), raw.shape)
    at_once = sweep_covariance(terms, perturbations, None, raw)
    size = mean_u(one_by_one)[..., np.newaxis] ** 2
    assert np.abs(at_once - one_by_one).max() > 0.0
    assert np.abs((at_once - one_by_one) / size).max() < 1e-4


def test_without_sources_the_covariance_is_zero() -> None:
    at = fw.station(4)
    terms = solt(at, fw.BAND_HZ).terms
    raw = fw.raw_sweep(at, fw.passive_devices(5, 2, len(fw.BAND_HZ)))
    assert not sweep_covariance(terms, (), None, raw).any()
    assert own_deviations(terms, NONE, raw) == ()


def test_a_circular_source_spreads_alike_in_all_directions_and_a_real_one_does_not() -> None:
    values: fw.Array = np.array([3.0 + 4.0j])
    for angle in (0.0, 0.7, 2.0):
        direction: fw.Array = np.exp(1j * np.array([angle]))
        circular = Deviation("noise", "n", "circular", values)
        assert along([circular], direction) == pytest.approx(5.0)
    real = Deviation("definitions", "n", "real", values)
    assert along([real], values / 5.0) == pytest.approx(5.0)
    assert along([real], 1j * values / 5.0) == pytest.approx(0.0, abs=1e-12)


def test_own_sources_of_a_sweep_through_a_perfect_analyser() -> None:
    """Each as declared: nothing lies between the receivers and the tips."""
    f = np.array([1e9, 2e9])
    zero, one = np.zeros(2, complex), np.ones(2, complex)
    perfect = OnePortTerms(f, 50.0, zero, zero, one)
    raw = np.array([[0.5 + 0j, 0.5j]])
    errors = SweepErrors(noise_floor=3e-4, trace_noise=8e-4, contact=2e-3, linearity=1e-3, cable=0)
    found = {each.group: np.abs(each.values) for each in own_deviations(perfect, errors, raw)}
    assert found["noise of the sweep"] == pytest.approx(5e-4)
    assert found["contact of the touchdown"] == pytest.approx(2e-3)
    assert found["linearity of the sweep"] == pytest.approx(5e-4)
    (cable,) = own_deviations(perfect, replace(NONE, cable=1e-3), raw)
    assert np.abs(cable.values) == pytest.approx(2.0 * 1e-3 * 0.5)


def test_a_moved_path_is_seen_twice_by_a_reflection_and_once_by_a_transmission() -> None:
    at = fw.station(4)
    terms = solt(at, fw.BAND_HZ).terms
    device = fw.passive_devices(5, 1, len(fw.BAND_HZ))
    raw = fw.raw_sweep(at, device)
    share = 1e-6
    found = own_deviations(terms, replace(NONE, cable=share), raw)
    passes = {"path of port 1": [[2, 1], [1, 0]], "path of port 2": [[0, 1], [1, 2]]}
    for one in found:
        moved = correct(terms, raw * (1.0 + share * np.array(passes[one.name])))
        assert one.values == pytest.approx(moved - correct(terms, raw), abs=1e-3 * share)


def test_a_touchdown_changes_a_transmission_as_a_share_of_it() -> None:
    at = fw.station(4)
    terms = solt(at, fw.BAND_HZ).terms
    device = fw.passive_devices(5, 3, len(fw.BAND_HZ))
    found = own_deviations(terms, replace(NONE, contact=1e-3), fw.raw_sweep(at, device))
    by_name = {one.name: one.values for one in found}
    assert by_name["transmission"][..., 1, 0] == pytest.approx(1e-3 * device[..., 1, 0])
    assert by_name["reflection at port 2"][..., 1, 1] == pytest.approx(1e-3)
    assert not by_name["reflection at port 2"][..., 0, 0].any()


def test_what_is_not_determined_has_no_uncertainty() -> None:
    at = fw.station(4)
    terms = solt(at, fw.BAND_HZ).terms
    rows: fw.Array = np.array([row.values for row in term_rows(terms)])
    rows[:, 3] = complex(np.nan, np.nan)
    terms = terms_from_rows(terms, rows)
    raw = fw.raw_sweep(at, fw.passive_devices(5, 2, len(fw.BAND_HZ)))
    perturbations = [Perturbation("definitions", "n", "real", changed(terms, 1, 1e-4))]
    errors = SweepErrors(1e-4, 1e-4, 1e-3, 1e-4, 1e-4)
    for total in (
        sweep_covariance(terms, perturbations, None, raw),
        covariance(own_deviations(terms, errors, raw), raw.shape),
    ):
        assert np.isnan(total[:, 3]).all()
        assert np.isfinite(np.delete(total, 3, axis=1)).all()
