"""The calibration comparison bound: published numbers, and devices that try to exceed it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.rf.comparison import one_port_bound, shown_difference, two_port_bound
from sitegen.compute.rf.definitions import Load
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.terms import OnePortTerms, TwoPortTerms
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    DEFINITIONS,
    LOAD_H,
    direct,
    lrm,
    lrrm,
    multiline_trl,
    reflect_gammas,
    solr,
    solt,
    trl,
)

BAND_HZ = fw.BAND_HZ
N_FREQ = len(BAND_HZ)


def one_port_pair(declared_ohm: float = 50.5) -> tuple[OnePortTerms, OnePortTerms]:
    """Load of 50 ohm taken rightly and declared otherwise, both with 4.5 pH."""
    ideal = reflect_gammas(BAND_HZ)
    declared = ideal.copy()
    declared[2] = fw.load_gamma(BAND_HZ, declared_ohm, LOAD_H)
    raw = fw.raw_reflection(fw.station(3).box_1, ideal)
    right, wrong = (
        solve_one_port(BAND_HZ, 50.0, Reflects(raw, g)).terms for g in (ideal, declared)
    )
    assert isinstance(right, OnePortTerms) and isinstance(wrong, OnePortTerms)
    return right, wrong


class TestOnePort:
    def test_a_wrong_load(self) -> None:
        """Printed to three digits by an independent program: at |G| <= 1 and at G = 0."""
        right, wrong = one_port_pair()
        bound = one_port_bound(right, wrong)
        at = [0, 50, 100]
        assert bound.difference[at].round(5).tolist() == [0.00995, 0.01123, 0.01255]
        centre = np.abs(shown_difference(right, wrong, 0 * bound.device))
        assert centre[at].round(5).tolist() == [0.00498, 0.00499, 0.00504]

    @pytest.mark.parametrize("declared_ohm", [50.5, 60.0, 20.0])
    def test_nothing_exceeds_it_and_its_device_reaches_it(self, declared_ohm: float) -> None:
        right, wrong = one_port_pair(declared_ohm)
        bound = one_port_bound(right, wrong)
        shown = np.abs(shown_difference(right, wrong, bound.device))
        assert np.allclose(shown, bound.difference, rtol=1e-9)
        assert np.allclose(np.abs(bound.device), 1.0)
        rng = np.random.default_rng(4)
        size, angle = np.sqrt(rng.uniform(0, 1, (2000, 1))), rng.uniform(0, 2 * np.pi, (2000, 1))
        size[:1000] = 1.0
        devices = size * np.exp(1j * angle) * np.ones(N_FREQ)
        greatest = np.abs(shown_difference(right, wrong, devices)).max(axis=0)
        assert (greatest <= bound.difference * (1 + 1e-6)).all()
        assert (greatest >= 0.99 * bound.difference).all()

    def test_a_pole_within_the_unit_circle_makes_it_infinite(self) -> None:
        right, _ = one_port_pair()
        absurd = replace(right, source_match=right.source_match + 3.0)
        assert np.isinf(one_port_bound(right, absurd).difference).all()

    def test_not_determined_stays_so(self) -> None:
        right, wrong = one_port_pair()
        directivity = wrong.directivity.copy()
        directivity[7] = np.nan
        bound = one_port_bound(right, replace(wrong, directivity=directivity))
        assert np.flatnonzero(np.isnan(bound.difference)).tolist() == [7]

    def test_other_frequencies_or_impedances_are_refused(self) -> None:
        right, wrong = one_port_pair()
        with pytest.raises(ValueError, match="other frequencies"):
            one_port_bound(right, replace(wrong, frequency_hz=BAND_HZ + 1))
        with pytest.raises(ValueError, match="50 ohm and in 75 ohm"):
            one_port_bound(right, replace(wrong, z_ref_ohm=75.0))
        unknown = replace(right, z_ref_ohm=float("nan"))
        with pytest.raises(ValueError, match="stand in nan ohm"):
            one_port_bound(unknown, unknown)


def two_port(terms: object) -> TwoPortTerms:
    assert isinstance(terms, TwoPortTerms)
    return terms


def drifted(at: fw.Station, by: float) -> fw.Station:
    """Both boxes and a switch term a little changed, at each frequency alike."""
    box_1 = at.box_1 * (1 + by * np.array([[0.7j, 1.0], [0.4 - 1j, -0.8]]))
    box_2 = at.box_2 * (1 - by * np.array([[1.0, 0.5j], [0.9, 0.6 + 0.6j]]))
    return fw.Station(box_1, box_2, at.switch_forward * (1 + by), at.switch_reverse, at.leak)


def wrong_load() -> tuple[TwoPortTerms, TwoPortTerms]:
    declared = replace(DEFINITIONS, match=Load(50.2, LOAD_H))
    at = fw.station(5)
    return two_port(lrrm(at, BAND_HZ).terms), two_port(
        lrrm(at, BAND_HZ, definitions=declared).terms
    )


def lossy_open() -> tuple[TwoPortTerms, TwoPortTerms]:
    at = fw.station(6)
    return two_port(lrrm(at, BAND_HZ).terms), two_port(
        lrrm(at, BAND_HZ, open_magnitude=0.995).terms
    )


def drift() -> tuple[TwoPortTerms, TwoPortTerms]:
    at = fw.station(7, leak=1e-3)
    return two_port(solt(at, BAND_HZ).terms), two_port(solt(drifted(at, 2e-3), BAND_HZ).terms)


Pair = Callable[[], tuple[TwoPortTerms, TwoPortTerms]]


@pytest.mark.parametrize("pair", [wrong_load, lossy_open, drift])
class TestTwoPort:
    def test_a_passive_device_reaches_ninety_percent(self, pair: Pair) -> None:
        first, second = pair()
        bound = two_port_bound(first, second)
        assert np.linalg.norm(bound.device, ord=2, axis=(-2, -1)).max() <= 1.0 + 1e-12
        for i in (0, 1):
            for j in (0, 1):
                shown = np.abs(shown_difference(first, second, bound.device[i, j]))[:, i, j]
                assert (shown >= 0.9 * bound.difference[:, i, j]).all()
                assert (shown >= 0.98 * bound.difference[:, i, j]).mean() > 0.9

    def test_no_passive_device_exceeds_it_but_by_the_second_order(self, pair: Pair) -> None:
        """Random lossless two-ports, where the extremes lie, and random lossy ones."""
        first, second = pair()
        bound = two_port_bound(first, second)
        lossy = fw.passive_devices(8, 300, N_FREQ)
        left, _, right = np.linalg.svd(lossy)
        for devices in (left @ right, lossy):
            shown = np.abs(shown_difference(first, second, devices)).max(axis=0)
            second_order = 10.0 * bound.difference.max(axis=(1, 2), keepdims=True) ** 2
            assert (shown <= bound.difference + second_order).all()

    def test_it_is_the_same_for_exchanged_ports(self, pair: Pair) -> None:
        first, second = pair()
        turned = [replace(t, forward=t.reverse, reverse=t.forward) for t in (first, second)]
        there, back = two_port_bound(first, second), two_port_bound(turned[0], turned[1])
        assert np.allclose(there.difference, back.difference[:, ::-1, ::-1], rtol=1e-6)


class TestTwoPortMore:
    def test_two_solutions_of_the_same_truth_do_not_differ(self) -> None:
        at = fw.station(9, leak=1e-3)
        solutions = [solve(at, BAND_HZ) for solve in (solt, lrrm, direct, solr, lrm)]
        for other in solutions[1:]:
            bound = two_port_bound(two_port(solutions[0].terms), two_port(other.terms))
            assert bound.difference.max() <= 1e-9
        for solve in (trl, multiline_trl):
            solution = solve(at, BAND_HZ)
            in_fifty = replace(two_port(solution.terms), z_ref_ohm=50.0)
            bound = two_port_bound(two_port(solutions[0].terms), in_fifty)
            assert np.nanmax(bound.difference) <= 1e-9
            missing = np.isnan(bound.difference).any(axis=(1, 2))
            assert missing.tolist() == (~solution.determined).tolist()

    def test_it_is_proportional_to_a_small_drift(self) -> None:
        at = fw.station(10)
        first = two_port(solt(at, BAND_HZ).terms)
        one, two = (
            two_port_bound(first, two_port(solt(drifted(at, by), BAND_HZ).terms)).difference
            for by in (1e-5, 2e-5)
        )
        assert np.allclose(two, 2.0 * one, rtol=1e-3)

    def test_for_reflections_it_is_at_least_that_of_one_port(self) -> None:
        """A one-port at the near probe is one of the passive devices."""
        first, second = wrong_load()
        ports = [
            OnePortTerms(
                BAND_HZ,
                50.0,
                terms.forward.directivity,
                terms.forward.source_match,
                terms.forward.reflection_tracking,
            )
            for terms in (first, second)
        ]
        alone = one_port_bound(ports[0], ports[1]).difference
        together = two_port_bound(first, second).difference[:, 0, 0]
        assert (together >= alone * 0.999).all()

    def test_a_changed_load_match_alone_counts(self) -> None:
        """Products of load matches are neglected: with 0.2 at most, up to a fifth or so."""
        first = two_port(solt(fw.station(11), BAND_HZ).terms)
        load = replace(first.forward, load_match=first.forward.load_match + 1e-4j)
        second = replace(first, forward=load)
        bound = two_port_bound(first, second)
        assert bound.difference[:, 0, 0] == pytest.approx(np.full(N_FREQ, 1e-4), rel=1e-6)
        for i in (0, 1):
            shown = np.abs(shown_difference(first, second, bound.device[i, 0]))[:, i, 0]
            assert shown == pytest.approx(bound.difference[:, i, 0], rel=0.35)

    def test_a_changed_leak_shows_in_the_transmission_only(self) -> None:
        at = fw.station(11)
        first = two_port(solt(at, BAND_HZ).terms)
        leak = replace(first.forward, isolation=first.forward.isolation + 1e-4)
        bound = two_port_bound(first, replace(first, forward=leak)).difference
        assert bound[:, [0, 0, 1], [0, 1, 1]].max() <= 1e-12
        assert (bound[:, 1, 0] > 0).all()

    def test_equal_calibrations_differ_by_nothing(self) -> None:
        frequency_hz = np.linspace(10e6, 110e9, 401)
        terms = two_port(solt(fw.station(1, frequency_hz), frequency_hz).terms)
        assert two_port_bound(terms, terms).difference.max() <= 1e-12
