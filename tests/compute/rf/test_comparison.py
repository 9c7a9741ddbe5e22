"""The calibration comparison bound: published numbers, and devices that try to exceed it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from sitegen.compute.rf.comparison import (
    one_port_bound,
    shown_difference,
    two_port_bound,
)
from sitegen.compute.rf.definitions import Load
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.terms import OnePortTerms, TwoPortTerms, term_rows, terms_from_rows
from sitegen.compute.rf.worst_devices import SEARCH_TOLERANCE
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    DEFINITIONS,
    LOAD_H,
    arranged_lrrm,
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


def at_some(terms: TwoPortTerms, places: slice) -> TwoPortTerms:
    rows = np.array([row.values[places] for row in term_rows(terms)])
    return two_port(terms_from_rows(replace(terms, frequency_hz=BAND_HZ[places]), rows))


def lossless(angles: fw.Floats) -> fw.Array:
    """A unitary (1, 2, 2) from four angles."""
    size, one, two, three = angles
    rotation = np.array([[np.cos(size), np.sin(size)], [-np.sin(size), np.cos(size)]])
    left, right = np.diag(np.exp([1j * one, 1j * two])), np.diag(np.exp([0, 1j * three]))
    found: fw.Array = (left @ rotation @ right)[np.newaxis]
    return found


def other_switch_terms() -> tuple[TwoPortTerms, TwoPortTerms]:
    """Boxes and leaks as before, both load matches changed: what no error box explains."""
    at = fw.station(4)
    moved = replace(
        at, switch_forward=at.switch_forward + 6e-3j, switch_reverse=at.switch_reverse - 4e-3
    )
    return two_port(solt(at, BAND_HZ).terms), two_port(solt(moved, BAND_HZ).terms)


@pytest.mark.parametrize("pair", [wrong_load, lossy_open, drift, other_switch_terms])
class TestTwoPort:
    def test_its_device_is_passive_and_shows_it(self, pair: Pair) -> None:
        first, second = pair()
        bound = two_port_bound(first, second)
        assert np.linalg.norm(bound.device, ord=2, axis=(-2, -1)).max() <= 1.0 + 1e-12
        for i in (0, 1):
            for j in (0, 1):
                shown = np.abs(shown_difference(first, second, bound.device[i, j]))[:, i, j]
                assert np.allclose(shown, bound.difference[:, i, j], rtol=1e-9, atol=1e-14)

    def test_none_of_ten_thousand_passive_devices_exceeds_it(self, pair: Pair) -> None:
        """Half of them lossless, where the extremes lie, half of them lossy."""
        places = slice(None, None, 10)
        first, second = (at_some(terms, places) for terms in pair())
        bound = two_port_bound(first, second)
        lossy = fw.passive_devices(8, 5000, len(first.frequency_hz))
        left, _, right = np.linalg.svd(lossy)
        for devices in (left @ right, lossy):
            shown = np.abs(shown_difference(first, second, devices)).max(axis=0)
            assert (shown <= bound.difference * (1 + SEARCH_TOLERANCE) + 1e-14).all()

    def test_a_search_of_its_own_finds_hardly_more(self, pair: Pair) -> None:
        """Lossless devices climbed to from many beginnings by a general optimiser (scipy)."""
        first, second = (at_some(terms, slice(20, None, 40)) for terms in pair())
        bound = two_port_bound(first, second).difference
        rng = np.random.default_rng(12)
        for place in range(len(first.frequency_hz)):
            one, two = (at_some(terms, slice(place, place + 1)) for terms in (first, second))
            for i, j in ((0, 0), (1, 0), (1, 1)):

                def less(
                    angles: fw.Floats,
                    one: TwoPortTerms = one,
                    two: TwoPortTerms = two,
                    element: tuple[int, int] = (i, j),
                ) -> float:
                    shown = shown_difference(one, two, lossless(angles))
                    return -1e2 * float(abs(shown[0][element]))

                found = max(
                    -minimize(less, rng.uniform(0, 2 * np.pi, 4), method="BFGS").fun / 1e2
                    for _ in range(6)
                )
                assert 0.9 * found <= bound[place, i, j]
                assert found <= (1 + SEARCH_TOLERANCE) * bound[place, i, j]

    def test_it_is_the_same_for_exchanged_ports(self, pair: Pair) -> None:
        first, second = pair()
        turned = [replace(t, forward=t.reverse, reverse=t.forward) for t in (first, second)]
        there, back = two_port_bound(first, second), two_port_bound(turned[0], turned[1])
        assert np.allclose(there.difference, back.difference[:, ::-1, ::-1], rtol=1e-6)


class TestTwoPortMore:
    def test_two_solutions_of_the_same_truth_do_not_differ(self) -> None:
        at = fw.station(9, leak=1e-3)
        solutions = [solve(at, BAND_HZ) for solve in (solt, lrrm, arranged_lrrm, solr, lrm)]
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
        """At least as without load matches, and at most by the loop of both of them more."""
        first = two_port(solt(fw.station(11), BAND_HZ).terms)
        load = replace(first.forward, load_match=first.forward.load_match + 1e-4j)
        bound = two_port_bound(first, replace(first, forward=load)).difference[:, 0, 0]
        loops = 1.0 / (1.0 - np.abs(first.forward.load_match))
        assert (bound >= 1e-4 * (1 - 1e-3)).all()
        assert (bound <= 1e-4 * loops * (1 + 1e-3)).all()

    def test_a_changed_leak_shows_in_its_transmission_most(self) -> None:
        """Elsewhere only by way of a load match."""
        at = fw.station(11)
        first = two_port(solt(at, BAND_HZ).terms)
        leak = replace(first.forward, isolation=first.forward.isolation + 1e-4)
        bound = two_port_bound(first, replace(first, forward=leak)).difference
        largest_match = np.abs(first.forward.load_match).max()
        others = bound[:, [0, 0, 1], [0, 1, 1]].max(axis=1)
        assert (others <= 1.5 * largest_match * bound[:, 1, 0]).all()
        assert (bound[:, 1, 0] > 0).all()

    def test_a_port_that_corrects_to_infinity_has_no_bound(self) -> None:
        first = two_port(solt(fw.station(1), BAND_HZ).terms)
        absurd = replace(first.forward, source_match=first.forward.source_match + 3.0)
        assert np.isinf(two_port_bound(first, replace(first, forward=absurd)).greatest).all()

    def test_equal_calibrations_differ_by_nothing(self) -> None:
        frequency_hz = np.linspace(10e6, 110e9, 401)
        terms = two_port(solt(fw.station(1, frequency_hz), frequency_hz).terms)
        assert two_port_bound(terms, terms).difference.max() <= 1e-12
