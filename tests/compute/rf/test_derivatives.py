"""Closed derivatives of figures, de-embedding and correction against central differences.

Differences are taken of the values alone and share nothing with the derivatives. With a step h a
central difference is off by a share of h^2 times the third derivative, and of 1e-16/h by rounding:
at 1e-6 some 1e-9 of a quantity that does not bend much.
"""

from collections.abc import Callable

import numpy as np
import pytest

from sitegen.compute.rf.access import (
    access_parts,
    access_weights,
    slopes_by_cold,
    slopes_by_whole,
    without_access,
)
from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.correction_derivatives import ENTRIES, back, derivatives, rows_of
from sitegen.compute.rf.deembedding import deembed
from sitegen.compute.rf.entries import as_matrices, by_entry, inverse, product, through
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.pads import DEVICE, Pads, pads
from sitegen.compute.rf.seen import seen
from sitegen.compute.rf.terms import (
    DrivenTerms,
    ErrorTerms,
    OnePortTerms,
    TwoPortTerms,
    terms_from_rows,
)
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod
from tests.compute.device_chain import FREQUENCY_HZ, device_s, through_pads
from tests.compute.rf import forward as fw
from tests.compute.rf.transistors import HybridPi

AROUND = Surroundings(50.0, 700e-6)
STEP = 1e-6


def central(change: Callable[[ComplexArray], ComplexArray], s: ComplexArray) -> ComplexArray:
    """Derivatives of what (n, n_f, p, p) is made into, by each entry in its real direction."""
    n_ports, found = s.shape[-1], []
    for place in range(n_ports**2):
        step = np.zeros(n_ports**2)
        step[place] = STEP
        step = step.reshape(n_ports, n_ports)
        found.append((change(s + step) - change(s - step)) / (2.0 * STEP))
    return np.stack(found)


def central_slopes(quantity: Callable[[ComplexArray], FloatArray], s: ComplexArray) -> ComplexArray:
    """Of a real quantity: c with dv = Re(c dS) from both directions, (e, n, n_f)."""
    along = central(lambda one: quantity(one) + 0j, s)
    return along - 1j * central(lambda one: quantity(s + 1j * (one - s)) + 0j, s)


@pytest.mark.parametrize("name", FIGURES)
def test_slopes_of_every_figure(name: str) -> None:
    """Of passive devices, two transistors and a line, wherever the figure is defined."""
    figure, n_f = FIGURES[name], len(FREQUENCY_HZ)
    some = [device_s(one) for one in ("transistor", "lossy transistor", "line")]
    devices = np.concatenate([fw.passive_devices(5, 3, n_f), some])
    by_s = figure.slopes(seen(devices, FREQUENCY_HZ, AROUND))
    shown = central_slopes(lambda s: figure.quantity(s, FREQUENCY_HZ, AROUND), devices)
    with np.errstate(invalid="ignore"):
        off = np.abs(by_s - shown).max(axis=0) / np.abs(shown).max(axis=0)
    # |y_m| of what is reciprocal has no slope: it is 0 and rises on either side
    known = np.isfinite(shown).all(axis=0) & (figure.quantity(devices, FREQUENCY_HZ, AROUND) != 0)
    assert known.mean() > 0.3
    assert np.median(off[known]) < 1e-8
    assert np.quantile(off[known], 0.9) < 1e-5  # near a pole of the figure differences are off


def derivatives_of(found: Pads, shape: tuple[int, ...]) -> dict[str, ComplexArray]:
    """By part, (e, e, n, n_f) of what comes out by what goes in, from slopes by one entry each."""
    by_out: list[dict[str, ComplexArray]] = []
    for out in range(shape[0]):
        slope = np.zeros(shape, np.complex128)
        slope[out] = 1.0
        by_sweep = dict(found.back(slope))
        for name, by_part in found.shared.items():
            by = by_sweep.pop(name)
            for part, further in by_part.items():
                mine = np.einsum("onf,oif->inf", by, further)
                by_sweep[part] = by_sweep.get(part, 0.0) + mine
        by_out.append(by_sweep)
    return {part: np.stack([one[part] for one in by_out]) for part in by_out[0]}


@pytest.mark.parametrize("method", DUMMIES_OF)
@pytest.mark.parametrize("shared", ["each", "shared", "once"])
def test_derivatives_of_every_deembedding(method: DeembeddingMethod, shared: str) -> None:
    """Each of 3 devices with dummies of its own, or all with the same, worked out once or not."""
    rng = np.random.default_rng(4)
    names = DUMMIES_OF[method]
    whole = through_pads(device_s("lossy transistor"))
    pad = as_matrices(0.9 * by_entry(whole["open"]))
    line = fw.line_s(FREQUENCY_HZ, (0.02 + 1j * FREQUENCY_HZ / 60e9), 55.0)
    thru = fw.line_s(FREQUENCY_HZ, (0.01 + 1j * FREQUENCY_HZ / 200e9), 55.0)
    like = {"open": whole["open"], "short": whole["short"], "pad": pad, "thru": thru, "line": line}
    s = np.stack([whole["device"]] * 3) * rng.normal(1.0, 0.02, size=(3, 1, 1, 1))
    scale = rng.normal(1.0, 0.02, size=(3 if shared == "each" else 1, 1, 1, 1))
    dummies = {name: like[name] * scale for name in names}
    off = pads(method, s, dummies, 50.0, once=names if shared == "once" else ())
    assert bool(off.shared) == (shared == "once")
    found = derivatives_of(off, (4, 3, len(FREQUENCY_HZ)))
    assert set(found) == {DEVICE, *names}
    for part, given in {DEVICE: s, **dummies}.items():

        def inner(one: ComplexArray, part: str = part) -> ComplexArray:
            there = {**dummies, part: one}
            return deembed(method, there.pop(DEVICE, s), there, 50.0)

        shown = np.stack([by_entry(one) for one in central(inner, given)], axis=1)
        size = np.abs(shown).max(axis=(0, 1))
        apart = np.abs(found[part] - shown).max(axis=(0, 1)) / size
        # closed ones as well as differences can; those by differences to their step
        assert apart.max() < (1e-7 if method in LUMPED else 1e-4), part


@pytest.mark.parametrize("method", sorted(LUMPED))
def test_derivatives_of_one_port_devices(method: DeembeddingMethod) -> None:
    whole = through_pads(device_s("lossy shunt"))
    pick = {name: one[np.newaxis, :, :1, :1] for name, one in whole.items()}
    pick["pad"] = 0.9 * pick["open"]
    dummies = {name: pick[name] for name in DUMMIES_OF[method]}
    off = pads(method, pick["device"], dummies, 50.0)
    found = derivatives_of(off, (1, 1, len(FREQUENCY_HZ)))
    shown = central(lambda s: deembed(method, s, dummies, 50.0), pick["device"])
    assert found[DEVICE].shape == (1, 1, 1, len(FREQUENCY_HZ))
    assert found[DEVICE][0, 0] == pytest.approx(shown[0, ..., 0, 0], rel=1e-7)


def test_what_is_not_known_has_no_derivative() -> None:
    whole = through_pads(device_s("transistor"))
    s = whole["device"][np.newaxis].copy()
    s[0, 3] = np.nan
    dummies = {name: whole[name][np.newaxis] for name in ("open", "short")}
    found = derivatives_of(pads("open-short", s, dummies, 50.0), (4, 1, len(FREQUENCY_HZ)))
    for one in found.values():
        assert not one[:, :, 0, 3].any() and np.isfinite(one).all() and one[:, :, 0, 4].any()


def terms(n_ports: int) -> ErrorTerms:
    """Error terms of a station at three frequencies."""
    rng = np.random.default_rng(6)
    n_term = 3 if n_ports == 1 else 12
    rows = 0.1 * (rng.normal(size=(n_term, 3)) + 1j * rng.normal(size=(n_term, 3)))
    for place in (2,) if n_ports == 1 else (2, 4, 8, 10):
        rows[place] += 0.8
    frequency_hz = np.array([1e9, 2e9, 3e9])
    if n_ports == 1:
        return OnePortTerms(frequency_hz, 50.0, *rows)
    return TwoPortTerms(frequency_hz, 50.0, DrivenTerms(*rows[:6]), DrivenTerms(*rows[6:]))


def corrected_of(at: ErrorTerms, raw: ComplexArray) -> ComplexArray:
    if raw.shape[-1] == 2:
        return correct(at, raw)
    return correct(at, raw[..., 0, 0])[..., np.newaxis, np.newaxis]


@pytest.mark.parametrize("n_ports", [1, 2])
def test_derivatives_of_the_correction(n_ports: int) -> None:
    """By raw S and by every term; and the same carried back from slopes by corrected S."""
    at = terms(n_ports)
    s = fw.active_devices(3, 5, 3)[..., :n_ports, :n_ports]
    flat = uncorrect(at, s if n_ports == 2 else s[..., 0, 0])
    raw = flat if n_ports == 2 else flat[..., np.newaxis, np.newaxis]
    by_raw, by_term, corrected = derivatives(at, raw)
    e = n_ports**2
    for place, (i, j) in enumerate(ENTRIES[:e]):
        np.testing.assert_allclose(corrected[..., place].T, s[..., i, j], rtol=1e-10)
    shown = central(lambda one: corrected_of(at, one), raw)
    for into in range(e):
        for out, (i, j) in enumerate(ENTRIES[:e]):
            off = np.abs(by_raw[..., out, into].T - shown[into][..., i, j])
            assert off.max() < 1e-8 * np.abs(shown).max()
    rows, slope = rows_of(at), np.random.default_rng(7).normal(size=(e, *s.shape[:2])) + 0.5j
    way = back(rows, by_entry(s))
    assert way.raw == pytest.approx(by_entry(raw), rel=1e-12)
    into_raw, into_waves = way.slopes(slope)
    assert into_raw == pytest.approx(np.einsum("asf,fsab->bsf", slope, by_raw), rel=1e-10)
    for place in range(len(rows)):
        step = np.zeros_like(rows)
        step[place] = STEP
        ahead, behind = (
            corrected_of(terms_from_rows(at, rows + sign * step), raw) for sign in (1.0, -1.0)
        )
        shown = (ahead - behind) / (2.0 * STEP)
        for out, (i, j) in enumerate(ENTRIES[:e]):
            off = np.abs(by_term[..., out, place].T - shown[..., i, j])
            assert off.max() < 1e-8 * max(np.abs(shown).max(), 1e-3)
    match = (1,) if n_ports == 1 else (1, 9, 3, 7)
    for entry, place in enumerate(match):
        whole = np.einsum("asf,fsa->sf", slope, by_term[..., place])
        assert into_waves[entry] * way.waves[entry] == pytest.approx(whole, rel=1e-10)


def test_slopes_through_access_resistances() -> None:
    """By the whole sweep, by each resistance, and by the cold sweep that they are taken from."""
    f = np.linspace(2e9, 40e9, 12)
    hot, cold = (
        HybridPi(gm=gm, rs=2.0, rd=3.0).s(f)[np.newaxis] * np.ones((2, 1, 1, 1))
        for gm in (0.1, 0.0)
    )
    ohm = np.array([[5.0, 2.0, 3.0], [4.0, 1.0, 2.5]])
    slope = np.random.default_rng(9).normal(size=(4, 2, 12)) + 0.3j
    by_s, by_ohm = slopes_by_whole(hot, ohm, slope, 50.0)
    shown = np.stack(
        [
            (slope * by_entry(one)).sum(axis=0)
            for one in central(lambda s: without_access(s, ohm, 50.0), hot)
        ]
    )
    assert by_s == pytest.approx(shown, abs=1e-8 * np.abs(shown).max())
    for place in range(3):
        step = np.zeros(3)
        step[place] = 1e-3
        ahead, behind = (by_entry(without_access(hot, ohm + one, 50.0)) for one in (step, -step))
        change = (slope * (ahead - behind)).real.sum(axis=(0, 2)) / 2e-3
        assert by_ohm[:, place] == pytest.approx(change, rel=1e-7)
    of_cold = slopes_by_cold(cold, f, by_ohm, 50.0)
    weights = [access_weights(part, f) for part in access_parts(cold, 50.0)]

    def value(s: ComplexArray) -> FloatArray:
        """Pointwise, with the choice of points held."""
        parts = access_parts(s, 50.0)
        each = zip(parts, weights, by_ohm.T, strict=True)
        return np.asarray(sum(part * weight * by[:, np.newaxis] for part, weight, by in each))

    shown = central_slopes(value, cold)
    assert of_cold == pytest.approx(shown, abs=1e-7 * np.abs(shown).max())


@pytest.mark.parametrize("n_ports", [1, 2])
def test_matrices_by_entry_are_those_of_matrix_algebra(n_ports: int) -> None:
    rng = np.random.default_rng(2)
    a, b = (
        rng.normal(size=(3, 5, n_ports, n_ports)) + 1j * rng.normal(size=(3, 5, n_ports, n_ports))
        for _ in range(2)
    )
    one, other = by_entry(a), by_entry(b)
    assert as_matrices(one) == pytest.approx(a, rel=0)
    assert as_matrices(product(one, other)) == pytest.approx(a @ b, rel=1e-13)
    assert as_matrices(inverse(one)) @ a == pytest.approx(
        np.broadcast_to(np.eye(n_ports), a.shape), abs=1e-12
    )
    if n_ports == 2:
        change = np.asarray(rng.normal(size=a.shape), np.complex128)
        slope = np.asarray(rng.normal(size=one.shape), np.complex128)
        back = (through(one, slope, other) * by_entry(change)).sum(axis=0)
        assert back == pytest.approx((slope * by_entry(a @ change @ b)).sum(axis=0), rel=1e-12)
