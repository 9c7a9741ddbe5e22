"""Verifications and acceptances over simulated calibrations: verdicts, refusals, error rates.

Calibrations, sweeps and references come from the forward model of `simulated_calibration`, each
source drawn from its declared distribution.
"""

from dataclasses import replace
from functools import cache
from typing import Any, Literal

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.acceptance import judge_acceptance
from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.structure_judgement import worst_of
from sitegen.compute.verification import judge_verification
from sitegen.model.acceptance import AcceptanceRecord
from sitegen.model.decision import Decision
from sitegen.model.event_results import (
    AcceptanceResult,
    Judged,
    StructureResult,
    VerificationResult,
)
from sitegen.model.loaded import (
    LoadedAcceptance,
    LoadedCalibration,
    LoadedStructure,
    LoadedVerification,
    Sweep,
)
from sitegen.model.verification import Structure, VerificationRecord
from tests.compute.events import STATE, hour, instrument
from tests.compute.rf import forward as fw
from tests.compute.simulated_calibration import (
    USUAL,
    Sizes,
    calibration,
    measured,
    propagation_per_m,
)

FREQUENCY_HZ = np.linspace(1e9, 60e9, 21)
STATION = fw.station(3, FREQUENCY_HZ)
LENGTH_M = 1.1e-3
QUIET = Sizes(noise_floor=1e-9, contact=1e-9)
GUARDED = Decision(rule="guarded")
SIMPLE = Decision(rule="simple")
Case = Literal["raw", "corrected"]


def the_line() -> fw.Array:
    """The structure that is verified: a mismatched line with losses."""
    gamma_l = propagation_per_m(FREQUENCY_HZ) * LENGTH_M
    return fw.line_s(FREQUENCY_HZ, gamma_l, np.full(len(FREQUENCY_HZ), 46.0 + 0j))


def solved(
    sizes: Sizes = USUAL, seed: int = 1, method: str = "SOLT", **changes: Any
) -> SolvedCalibration:
    rng = np.random.default_rng(seed)
    drawn = calibration(method, STATION, FREQUENCY_HZ, sizes, rng, **changes)
    return with_uncertainty(solve(drawn, instrument()))


@cache
def usual(seed: int = 1) -> SolvedCalibration:
    return solved(seed=seed)


@cache
def without_statement() -> SolvedCalibration:
    """A calibration whose record states no uncertainty."""
    rng = np.random.default_rng(1)
    loaded: LoadedCalibration = calibration("SOLT", STATION, FREQUENCY_HZ, QUIET, rng)
    record = loaded.record.model_copy(update={"uncertainty": None})
    return with_uncertainty(solve(replace(loaded, record=record), instrument()))


def mask(limit: float, parameter: str = "s21", quantity: str = "complex deviation") -> Any:
    return {
        "parameter": parameter,
        "quantity": quantity,
        "points": ((float(FREQUENCY_HZ[0]), limit), (float(FREQUENCY_HZ[-1]), limit)),
    }


def structure(**changes: Any) -> Structure:
    return Structure.model_validate(
        {
            "id": "line",
            "description": "a line",
            "file": "line.s2p",
            "sweep": "raw",
            "reference": {
                "kind": "measured",
                "file": "reference.s2p",
                "standard_uncertainty": 1e-4,
                "measured_on": "acceptance",
            },
            "masks": (mask(0.05),),
            **changes,
        }
    )


def loaded(
    one: Structure,
    sizes: Sizes = USUAL,
    seed: int = 2,
    device: fw.Array | None = None,
    repeats: int = 0,
) -> LoadedStructure:
    """The structure as it was measured, against the truth as its reference."""
    rng = np.random.default_rng(seed)
    true = the_line() if device is None else device
    sweeps = [
        Sweep("line.s2p", FREQUENCY_HZ, measured(STATION, true, sizes, rng), 50.0)
        for _ in range(1 + repeats)
    ]
    noise = rng.normal(size=true.shape) + 1j * rng.normal(size=true.shape)
    reference = Sweep("reference.s2p", FREQUENCY_HZ, the_line() + 1e-4 * noise, 50.0)
    is_measured = one.reference.kind == "measured"
    return LoadedStructure(one, sweeps[0], reference if is_measured else None, tuple(sweeps[1:]))


def verified(
    *structures: LoadedStructure,
    by: SolvedCalibration | None = None,
    decision: Decision = GUARDED,
    name: str = "VER-1",
    missing: tuple[str, ...] = (),
    **changes: Any,
) -> VerificationResult:
    calibrated = by or usual()
    record = VerificationRecord.model_validate(
        {
            "id": name,
            "station": "A",
            "instrument": "VNA-1",
            "calibration": calibrated.result.record.id,
            "at": hour(1.0),
            "by": "engineer",
            "ambient_c": 23.0,
            "state": STATE.model_dump(),
            "structures": tuple(one.structure.model_dump() for one in structures),
            **changes,
        }
    )
    event = LoadedVerification(record, structures, missing, None, ())
    known = {calibrated.result.record.id: calibrated}
    return judge_verification(event, known, instrument(), decision)


def judged(one: LoadedStructure, **how: Any) -> StructureResult:
    (result,) = verified(one, **how).structures
    return result


class TestMasks:
    def test_a_guard_band_is_added_and_said(self) -> None:
        result = verified(loaded(structure()))
        (found,) = result.structures[0].masks
        assert result.outcome == "passed" and "JCGM 106" in result.rule
        assert found.u is not None and found.guard is not None and found.worst_ratio is not None
        assert (found.guard >= 2 * found.u * 0.999).all()
        reach = (found.deviation + found.guard) / found.limit
        assert found.worst_ratio == pytest.approx(reach.max())

    def test_between_limit_and_guard_band_it_is_not_proven(self) -> None:
        (wide,) = judged(loaded(structure())).masks
        assert wide.guard is not None
        least, most = wide.deviation.max(), (wide.deviation + wide.guard).max()
        for limit, expected in (
            (1.01 * most, "passed"),
            (0.5 * (least + most), "not proven"),
            (0.99 * least, "failed"),
        ):
            result = verified(loaded(structure(masks=(mask(float(limit)),))))
            assert result.outcome == result.structures[0].outcome == expected
            assert bool(result.reason) == (expected != "passed")

    def test_the_simple_rule_takes_the_deviation_alone(self) -> None:
        (wide,) = judged(loaded(structure())).masks
        one = loaded(structure(masks=(mask(1.01 * float(wide.deviation.max())),)))
        result = verified(one, decision=SIMPLE)
        (found,) = result.structures[0].masks
        assert result.outcome == "passed" and result.rule.startswith("Simple acceptance: ")
        assert found.guard is None and found.u is not None

    def test_without_stated_uncertainty_it_is_the_simple_rule_and_says_so(self) -> None:
        result = verified(loaded(structure(), QUIET), by=without_statement())
        (found,) = result.structures[0].masks
        assert result.outcome == "passed" and "in place of guarded" in result.rule
        assert found.u is None and found.guard is None
        assert result.structures[0].covariance is None
        assert result.structures[0].agreements == ()

    def test_a_guard_band_as_wide_as_the_mask_says_that_nothing_could_pass(self) -> None:
        (wide,) = judged(loaded(structure())).masks
        assert wide.u is not None
        (device,) = [the_line()]
        one = loaded(structure(masks=(mask(float(wide.u.min())),)), replace(USUAL, contact=0.0))
        exact = replace(one, reference=Sweep("r", FREQUENCY_HZ, device, 50.0))
        corrected = judged(exact).corrected
        assert corrected is not None
        same = replace(one, reference=Sweep("r", FREQUENCY_HZ, corrected, 50.0))
        result = judged(same)
        assert result.outcome == "not proven"
        assert "no acceptance is possible" in result.reason

    def test_fields_for_the_pages(self) -> None:
        result = judged(loaded(structure()))
        assert result.frequency_hz is not None and result.corrected is not None
        assert result.covariance is not None and result.reference is not None
        assert result.corrected.shape == result.reference.shape == (21, 2, 2)
        assert result.covariance.shape == (21, 2, 2, 3)
        assert np.abs(result.corrected - the_line()).max() < 0.05


class TestRefusals:
    @pytest.mark.parametrize(
        "changes, words",
        [
            ({"instrument": "VNA-2"}, "instrument: calibrated VNA-1"),
            ({"at": hour(-1.0)}, "dated before"),
            ({"station": "B"}, "another station"),
            ({"calibration": "CAL-9"}, "CAL-9 is not in the record"),
        ],
    )
    def test_another_station_instrument_or_time(self, changes: dict[str, Any], words: str) -> None:
        result = verified(loaded(structure()), **changes)
        assert result.outcome == "not assessable" and words in result.reason

    def test_across_reference_planes(self) -> None:
        reference = structure().reference.model_dump() | {"reference_plane": "end of the pads"}
        result = judged(loaded(structure(reference=reference)))
        assert result.outcome == "not assessable"
        assert "'end of the pads'" in result.reason and "'probe tips'" in result.reason
        same = structure().reference.model_dump() | {"reference_plane": " Probe tips"}
        assert judged(loaded(structure(reference=same))).outcome == "passed"

    def test_across_reference_impedances(self) -> None:
        one = loaded(structure())
        assert one.reference is not None
        result = judged(replace(one, reference=replace(one.reference, z_ref_ohm=75.0)))
        assert result.outcome == "not assessable" and "75 Ω" in result.reason
        came = replace(
            loaded(structure(sweep="corrected")),
            sweep=Sweep("line.s2p", FREQUENCY_HZ, the_line(), 75.0),
        )
        assert "75 Ω" in judged(came).reason

    def test_a_mask_of_two_ports_on_a_sweep_of_one(self) -> None:
        one = loaded(structure(reference={"kind": "load", "resistance_ohm": 50.0}))
        assert one.sweep is not None
        single = Sweep("line.s1p", FREQUENCY_HZ, one.sweep.s[:, :1, :1], 50.0)
        result = judged(replace(one, sweep=single))
        assert result.outcome == "not assessable" and "two-port" in result.reason

    def test_other_frequencies(self) -> None:
        one = loaded(structure())
        assert one.sweep is not None
        other = Sweep("line.s2p", FREQUENCY_HZ[:-1], one.sweep.s[:-1], 50.0)
        result = judged(replace(one, sweep=other))
        assert result.outcome == "not assessable" and "frequency list" in result.reason

    def test_what_is_missing_keeps_it_from_passing(self) -> None:
        result = verified(loaded(structure()), missing=("the sweep x could not be read",))
        assert (result.outcome, result.reason) == (
            "not assessable",
            "the sweep x could not be read",
        )


class TestCorrectedSweeps:
    def test_a_sweep_that_came_corrected_has_the_calibrations_uncertainty(self) -> None:
        raw = judged(loaded(structure()))
        assert raw.corrected is not None and raw.covariance is not None
        came = replace(
            loaded(structure(sweep="corrected")),
            sweep=Sweep("line.s2p", FREQUENCY_HZ, raw.corrected, 50.0),
        )
        result = judged(came)
        assert result.covariance == pytest.approx(raw.covariance, rel=1e-6)
        assert result.outcome == raw.outcome

    def test_on_other_frequencies_it_has_none(self) -> None:
        came = replace(
            loaded(structure(sweep="corrected")),
            sweep=Sweep("line.s2p", FREQUENCY_HZ[::2], the_line()[::2], 50.0),
        )
        result = judged(came)
        assert result.outcome == "passed" and result.covariance is None

    def test_one_port_structures(self) -> None:
        gamma = fw.load_gamma(FREQUENCY_HZ, 30.0, 0.0)
        device = fw.pair(gamma, gamma)
        sweep = measured(STATION, device, USUAL, np.random.default_rng(4))[:, :1, :1]
        one = structure(
            reference={"kind": "load", "resistance_ohm": 30.0},
            masks=(mask(0.05, "s11"),),
            passive=True,
        )
        result = judged(LoadedStructure(one, Sweep("load.s1p", FREQUENCY_HZ, sweep, 50.0), None))
        assert result.outcome == "passed", result.reason
        assert result.corrected is not None and result.corrected.shape == (21, 1, 1)
        assert result.physical[0].property == "passivity"


class TestWholeSweeps:
    def test_shown_prints_the_greatest_value(self) -> None:
        (found,) = judged(loaded(structure())).agreements
        assert (found.parameter, found.rule, found.limit) == ("s21", "shown", None)
        assert found.figure == pytest.approx(np.nanmax(found.normalised))
        assert "lie above 1" in found.text

    @pytest.mark.parametrize("rule", ["share of points", "greatest value"])
    def test_the_false_alarm_rate_over_simulated_calibrations(self, rule: str) -> None:
        """Everything drawn anew: calibration, touchdown, noise, reference."""
        trials, rate = 100, 0.1
        masks = tuple(mask(0.5, parameter) for parameter in ("s11", "s21", "s12", "s22"))
        one = structure(agreement=rule, false_alarm_rate=rate, masks=masks)
        alarms = 0
        for seed in range(trials):
            result = judged(loaded(one, seed=1000 + seed), by=usual(seed))
            assert {each.outcome for each in result.agreements} <= {"passed", "failed"}
            alarms += result.outcome == "failed"
        low, high = stats.binom.interval(0.999, trials, rate)
        assert (0 if rule == "share of points" else low) <= alarms <= high

    def test_a_structure_that_changed_is_refused_inside_a_wide_mask(self) -> None:
        changed = the_line() * np.exp(0.05j)
        one = structure(agreement="greatest value", masks=(mask(0.5),))
        result = verified(loaded(one, device=changed))
        assert result.outcome == "failed" and result.candidates
        assert result.structures[0].masks[0].outcome == "passed"
        assert result.structures[0].agreements[0].outcome == "failed"

    def test_definitions_that_the_reference_shares_leave_it(self) -> None:
        shared = structure().reference.model_dump() | {"shares": "definitions"}
        alone, common = (judged(loaded(one)) for one in (structure(), structure(reference=shared)))
        assert alone.masks[0].u is not None and common.masks[0].u is not None
        assert (common.masks[0].u < alone.masks[0].u).all()
        assert common.agreements[0].normalised.mean() > alone.agreements[0].normalised.mean()
        assert common.covariance == pytest.approx(alone.covariance)

    def test_a_judged_rule_without_uncertainty_is_not_assessable(self) -> None:
        one = structure(agreement="greatest value")
        result = verified(loaded(one, QUIET), by=without_statement())
        assert result.outcome == "not assessable"
        assert "No uncertainty" in result.structures[0].agreements[0].text

    def test_the_same_verification_always_has_the_same_limits(self) -> None:
        one = loaded(structure(agreement="greatest value"))
        first, second = (judged(one).agreements[0].limit for _ in range(2))
        assert first == second


class TestLinesAndPhysics:
    def line_structure(self, **changes: Any) -> Structure:
        quantities = tuple(
            {
                "quantity": name,
                "frequency_hz": 40e9,
                "reference": reference,
                "reference_u": u,
                "tolerance": tolerance,
            }
            for name, reference, u, tolerance in (
                ("effective permittivity", 5.2, 0.01, 0.4),
                ("attenuation db per mm", 0.11, 0.005, 0.08),
                ("phase deg per mm", 109.5, 0.1, 4.0),
            )
        )
        return structure(
            length_um=1e6 * LENGTH_M,
            line_quantities=quantities,
            masks=(mask(0.5),),
            **changes,
        )

    def test_quantities_of_a_line(self) -> None:
        result = judged(loaded(self.line_structure()))
        assert [one.outcome for one in result.line_quantities] == ["passed"] * 3
        for one in result.line_quantities:
            assert one.value is not None and one.u is not None and one.normalised is not None
            assert one.difference == pytest.approx(one.value - one.declared.reference)
            # E_n with its sign, k = 2 (ISO 13528).
            assert one.normalised == pytest.approx(
                one.difference / (2 * np.hypot(one.u, one.declared.reference_u))
            )
            assert abs(one.value - one.declared.reference) < 4 * np.hypot(
                one.u, one.declared.reference_u
            )

    def test_a_tolerance_narrower_than_its_guard_bands_is_not_assessable(self) -> None:
        one = self.line_structure()
        narrow = one.line_quantities[0].model_copy(update={"tolerance": 1e-3})
        result = judged(loaded(one.model_copy(update={"line_quantities": (narrow,)})))
        (found,) = result.line_quantities
        assert found.u is not None and found.u > 1e-3
        assert found.outcome in ("not assessable", "failed")

    def test_a_normalised_error_beyond_1_is_judged_with_the_rule_of_agreement(self) -> None:
        one = self.line_structure()
        off = one.line_quantities[2].model_copy(update={"reference": 112.6, "tolerance": 10.0})
        for rule, expected in (("shown", "passed"), ("greatest value", "failed")):
            changed = one.model_copy(update={"line_quantities": (off,), "agreement": rule})
            (found,) = judged(loaded(changed)).line_quantities
            assert found.normalised is not None and found.normalised < -1
            assert found.outcome == expected

    def test_near_half_a_turn_it_is_not_determined(self) -> None:
        one = self.line_structure()
        near = one.line_quantities[0].model_copy(update={"frequency_hz": 59.9e9})
        result = judged(loaded(one.model_copy(update={"line_quantities": (near,)})))
        (found,) = result.line_quantities
        assert found.value is None and "180°" in found.reason
        assert result.outcome == "not assessable"

    def test_passivity_is_the_largest_singular_value(self) -> None:
        # Each column has a power of 0.72 and looks passive; the largest singular value is 1.2.
        device = np.full((21, 2, 2), 0.6 + 0j)
        one = structure(masks=(mask(5.0),), passive=True, reciprocal=True)
        result = judged(loaded(one, QUIET, device=device), by=solved(QUIET), decision=SIMPLE)
        passivity, reciprocity = result.physical
        assert passivity.outcome == result.outcome == "failed"
        assert passivity.figure == pytest.approx(0.2, abs=1e-6)
        assert reciprocity.outcome == "passed"

    def test_a_device_of_one_direction_is_not_reciprocal(self) -> None:
        device = the_line()
        device[:, 0, 1] = 0.9 * device[:, 0, 1]
        one = structure(masks=(mask(5.0),), reciprocal=True, reciprocity_tolerance=0.05)
        (found,) = judged(loaded(one, device=device)).physical
        assert found.outcome == "failed" and found.figure is not None and found.figure > 0.05


class TestRepeats:
    def test_pooled_over_contacts(self) -> None:
        sizes = replace(USUAL, noise_floor=0.0, trace_noise=0.0, linearity=0.0, cable=0.0)
        found = [
            judged(loaded(structure(), sizes, seed=seed, repeats=5)).repeatability
            for seed in range(40)
        ]
        # A contact moves each reflection by 1e-3 in each part and each transmission by that
        # share: of the four, sqrt(2) 1e-3 sqrt((1 + |S21|^2)/2) on average.
        share = np.mean(np.abs(the_line()[:, 1, 0]) ** 2)
        expected = np.sqrt(2) * 1e-3 * np.sqrt((1 + share) / 2)
        squares = [one**2 for one in found if one is not None]
        assert np.sqrt(np.mean(squares)) == pytest.approx(expected, rel=0.1)

    def test_none_without_repeats(self) -> None:
        assert judged(loaded(structure())).repeatability is None


def test_the_worst_outcome_counts() -> None:
    order: list[Judged] = ["failed", "not assessable", "not proven", "passed"]
    for place, one in enumerate(order):
        assert worst_of(order[place:]) == one
    assert worst_of([]) == "not assessable"


@cache
def elsewhere(seed: int = 7, **changes: Any) -> SolvedCalibration:
    """The factory's calibration, an earlier one."""
    return solved(seed=seed, id="CAL-F", **changes)


def accepted(
    factory: LoadedStructure,
    site: LoadedStructure,
    by: SolvedCalibration | None = None,
    on_site: SolvedCalibration | None = None,
    limit: float = 0.05,
    changes: dict[str, Any] | None = None,
) -> AcceptanceResult:
    first, second = by or elsewhere(), on_site or usual()
    record = AcceptanceRecord.model_validate(
        {
            "id": "ACC-1",
            "title": "acceptance",
            "station": "A",
            "at": hour(5.0),
            "factory": "VER-F",
            "factory_place": "hall",
            "site": "VER-S",
            "site_place": "room",
            "supplier": "supplier",
            "customer": "customer",
            "performance": (
                {
                    "name": "transmission of the line",
                    "structure": "line",
                    "parameter": "s21",
                    "quantity": "complex deviation",
                    "frequency_start_hz": 1e9,
                    "frequency_stop_hz": 30e9,
                    "limit": limit,
                },
            ),
            "differences": ({"structure": "line", "mask": mask(limit)},),
            **(changes or {}),
        }
    )
    results = {
        "VER-F": verified(factory, by=first, name="VER-F"),
        "VER-S": verified(site, by=second, name="VER-S"),
    }
    known = {one.result.record.id: one for one in (first, second)}
    return judge_acceptance(LoadedAcceptance(record, None, ()), results, known, GUARDED)


class TestAcceptance:
    def test_both_places_and_their_difference(self) -> None:
        result = accepted(loaded(structure(), seed=8), loaded(structure(), seed=9))
        assert (result.outcome, result.reason) == ("passed", "")
        (performance,) = result.performance
        (difference,) = result.differences
        assert performance.factory is not None and performance.site is not None
        assert performance.factory_u is not None and performance.site_u is not None
        assert performance.factory_outcome == performance.site_outcome == "passed"
        assert difference.structure == "line" and difference.mask.u is not None
        assert difference.agreement is not None and difference.agreement.rule == "shown"

    def test_the_figure_is_the_greatest_deviation_in_its_range(self) -> None:
        result = accepted(loaded(structure(), seed=8), loaded(structure(), seed=9))
        (mask_result,) = judged(loaded(structure(), seed=9)).masks
        inside = FREQUENCY_HZ <= 30e9
        assert result.performance[0].site == pytest.approx(mask_result.deviation[inside].max())

    def test_definitions_in_common_leave_the_difference(self) -> None:
        sweeps = loaded(structure(), seed=8), loaded(structure(), seed=9)
        shared = accepted(*sweeps).differences[0]
        substrate = elsewhere().result.record.substrate.model_dump() | {"serial_number": "other"}
        other = elsewhere_with(substrate=substrate)
        apart = accepted(*sweeps, by=other).differences[0]
        assert shared.mask.u is not None and apart.mask.u is not None
        assert (shared.mask.u < apart.mask.u).all()

    def test_a_structure_that_changed_on_the_way(self) -> None:
        moved = the_line() * np.exp(0.06j)
        wide = structure(masks=(mask(0.5),))
        result = accepted(loaded(wide, seed=8), loaded(wide, seed=9, device=moved))
        assert result.outcome == "failed"
        assert result.performance[0].factory_outcome == "passed"
        assert "line differs too much between the factory and the site" in result.reason

    def test_a_failed_verification_is_not_accepted(self) -> None:
        strict = structure(masks=(mask(1e-6),))
        result = accepted(loaded(structure(), seed=8), loaded(strict, seed=9))
        assert result.outcome == "failed"
        assert "the site's verification VER-S failed" in result.reason

    def test_not_proven_stays_not_proven(self) -> None:
        result = accepted(loaded(structure(), seed=8), loaded(structure(), seed=9), limit=0.0071)
        assert result.outcome == "not proven", result.reason

    @pytest.mark.parametrize(
        "changes, words",
        [
            ({"reference_plane": "end of the pads"}, "reference planes"),
            ({"reference_impedance_ohm": 75.0}, "reference impedances"),
        ],
    )
    def test_nothing_is_compared_across_planes_and_impedances(
        self, changes: dict[str, Any], words: str
    ) -> None:
        sweeps = loaded(structure(), seed=8), loaded(structure(), seed=9)
        record = elsewhere().result.record.model_copy(update=changes)
        other = replace(elsewhere(), result=replace(elsewhere().result, record=record))
        result = accepted(*sweeps, by=other)
        assert result.outcome == "not assessable" and words in result.reason
        assert result.differences[0].mask.outcome == "not assessable"
        assert result.differences[0].agreement is None

    def test_a_calibration_that_failed_its_own_checks(self) -> None:
        sweeps = loaded(structure(), seed=8), loaded(structure(), seed=9)
        other = replace(elsewhere(), result=replace(elsewhere().result, outcome="checks failed"))
        result = accepted(*sweeps, by=other)
        assert result.outcome == "not assessable" and "checks failed" in result.reason

    def test_nothing_declared_or_nothing_there(self) -> None:
        sweeps = loaded(structure(), seed=8), loaded(structure(), seed=9)
        nothing = accepted(*sweeps, changes={"performance": (), "differences": ()})
        assert (nothing.outcome, nothing.reason) == ("not assessable", "nothing is declared")
        unknown = accepted(*sweeps, changes={"site": "VER-9"})
        assert unknown.outcome == "not assessable" and "VER-9" in unknown.reason

    def test_without_uncertainty_the_simple_rule(self) -> None:
        sweeps = loaded(structure(), seed=8), loaded(structure(), seed=9)
        bare = replace(elsewhere(), uncertainty=None)
        result = accepted(*sweeps, by=bare)
        assert result.outcome == "passed"
        assert result.performance[0].factory_u is None
        assert result.performance[0].site_u is not None
        assert result.differences[0].mask.u is None and result.differences[0].agreement is None


def elsewhere_with(**changes: Any) -> SolvedCalibration:
    return solved(seed=7, id="CAL-F", **changes)


def test_95_percent_of_differences_between_places_agree() -> None:
    """Both calibrations, both touchdowns and all definitions drawn anew, on two substrates."""
    inside = []
    for seed in range(100):
        result = accepted(
            loaded(structure(), seed=3000 + seed),
            loaded(structure(), seed=5000 + seed),
            by=_on_another_substrate(usual((seed + 1) % 100)),
            on_site=usual(seed),
        )
        agreement = result.differences[0].agreement
        assert agreement is not None
        inside.append(np.mean(agreement.normalised <= 1))
    # Points of one sweep go together: the spread of the mean is taken from the sweeps.
    spread = float(np.std(inside)) / np.sqrt(len(inside))
    assert abs(np.mean(inside) - 0.95) < 3.3 * spread


def _on_another_substrate(one: SolvedCalibration) -> SolvedCalibration:
    """The same under another name, with standards that err by themselves."""
    record = one.result.record
    substrate = record.substrate.model_copy(update={"serial_number": "another"})
    renamed = record.model_copy(update={"id": "CAL-F", "substrate": substrate})
    return replace(one, result=replace(one.result, record=renamed))
