"""Calibrations against their neighbours in time, on simulated stations (`tests.faults.scenes`)."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.history import NAME, with_history
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.comparison import bound_between
from sitegen.compute.rf.terms import ErrorTerms, term_rows
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Exchange, Station
from sitegen.model.event_results import Check, Comparison
from sitegen.model.loaded import Campaign, LoadedCalibration
from tests.faults import scenes


@cache
def campaign() -> Campaign:
    """Two calibrations of a station a day apart, with so much drift that it shows."""
    plan = scenes.sound(3)
    moved = tuple(
        replace(step, path=replace(step.path, box_1=step.path.box_1 * (1 + 0.004j)))
        for step in plan.calibration
    )
    return scenes.campaign_of(replace(plan, calibration=moved), 3)


def third() -> LoadedCalibration:
    """One more, as the first, a day after the second."""
    first = campaign().calibrations[0]
    later = first.record.at + timedelta(days=2)
    return changed(first, id="CAL-3", at=later)


def changed(loaded: LoadedCalibration, **fields: object) -> LoadedCalibration:
    return replace(loaded, record=loaded.record.model_copy(update=fields))


def solved(
    *loaded: LoadedCalibration,
    station: Station | None = None,
    stated: bool = True,
    failed: tuple[str, ...] = (),
) -> tuple[SolvedCalibration, ...]:
    place = campaign().record.stations[0]
    alone = [solve(one, place.instruments[0], place.probes) for one in loaded]
    return with_history(
        [with_uncertainty(one) if stated else one for one in alone], [station or place], failed
    )


def previous(one: SolvedCalibration) -> list[Comparison]:
    return [each for each in one.result.comparisons if each.kind == "previous calibration"]


def check(one: SolvedCalibration, name: str) -> Check:
    (found,) = [each for each in one.result.checks if each.name == name]
    return found


def rows(terms: ErrorTerms | None) -> np.ndarray:
    assert terms is not None
    return np.array([row.values for row in term_rows(terms)])


class TestDifference:
    def test_it_is_the_comparison_bound_and_judged(self) -> None:
        first, second = solved(*campaign().calibrations)
        assert previous(first) == []
        (found,) = previous(second)
        assert found.other == "CAL-1" and found.refused == ""
        assert first.terms is not None and second.terms is not None
        bound = bound_between(first.terms, second.terms).greatest
        assert found.bound is not None and np.array_equal(found.bound, bound)
        assert check(second, NAME).figure == pytest.approx(bound.max())
        assert found.passed is check(second, NAME).passed is True
        assert found.limit == scenes.BOUNDS["difference_from_previous"]

    def test_the_order_is_that_of_reference_time(self) -> None:
        second, first = solved(*reversed(campaign().calibrations))
        assert previous(first) == []
        assert [one.other for one in previous(second)] == ["CAL-1"]

    def test_raw_open_and_short_are_held_against_those_before(self) -> None:
        one, other = campaign().calibrations
        _, second = solved(one, other)
        by_name = {each.contact.file: each.sweep.s for each in one.standards}
        now = {each.contact.file: each.sweep.s for each in other.standards}
        for port in (1, 2):
            for word in ("open", "short"):
                found = check(second, f"raw {word} against the previous calibration, port {port}")
                apart = np.abs(now[f"{word}.s2p"] - by_name[f"{word}.s2p"])[:, port - 1, port - 1]
                assert found.figure == pytest.approx(apart.max())
                assert found.group == "before solving" and found.passed is True

    def test_a_calibration_that_failed_by_itself_is_no_measure_of_others(self) -> None:
        one, other = campaign().calibrations
        strict = other.record.bounds.model_copy(update={"repeatability": 1e-9})
        _, second, last = solved(one, changed(other, bounds=strict), third())
        assert second.result.outcome == "checks failed"
        assert [each.other for each in previous(last)] == ["CAL-1"]


Change = Callable[[CalibrationRecord], dict[str, object]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda r: {"reference_plane": "thru centre"},
            "reference plane: then probe tips, now thru",
        ),
        (lambda r: {"wave_definition": "pseudo"}, "wave definition: then power, now pseudo"),
        (
            lambda r: {"reference_impedance_ohm": 75.0},
            "reference impedance: then 50 Ω, now 75 Ω",
        ),
        (
            lambda r: {"state": r.state.model_copy(update={"attenuator_db": 20.0})},
            "attenuator: then 10, now 20",
        ),
    ],
)
def test_what_cannot_be_compared_is_refused_in_words(change: Change, words: str) -> None:
    one, other = campaign().calibrations
    _, second = solved(one, changed(other, **change(other.record)))
    (found,) = previous(second)
    assert words in found.refused
    assert found.bound is None and found.passed is None
    assert not [each for each in second.result.checks if "previous calibration" in each.name]


def test_an_exchanged_part_is_no_drift_and_the_one_before_it_no_measure() -> None:
    one, other = campaign().calibrations
    place = campaign().record.stations[0]
    exchange = Exchange(
        at=one.record.at + timedelta(hours=3), part="cable of port 1", description="exchanged"
    )
    _, second = solved(one, other, station=place.model_copy(update={"exchanges": (exchange,)}))
    (found,) = previous(second)
    assert found.refused == "between them cable of port 1: exchanged"
    assert any("drift is not stated" in note for note in second.result.notes)


def test_past_a_refusal_the_latest_comparable_one_is_taken() -> None:
    one, other = campaign().calibrations
    state = other.record.state.model_copy(update={"attenuator_db": 20.0})
    *_, last = solved(one, changed(other, state=state), third())
    refused, compared = previous(last)
    assert (refused.other, compared.other) == ("CAL-2", "CAL-1")
    assert refused.refused == "attenuator: then 20, now 10"
    assert compared.bound is not None and np.nanmax(compared.bound) < 1e-12


class TestDrift:
    def test_what_remains_beyond_back_to_back_until_the_next_one(self) -> None:
        first, second = solved(*campaign().calibrations)
        (found,) = previous(second)
        assert found.bound is not None and found.drift is not None
        assert found.repeatable is not None and found.drift.max() > 0
        assert np.allclose(found.drift, np.maximum(found.bound - found.repeatable, 0.0))
        assert first.uncertainty is not None
        (drift,) = [one for one in first.uncertainty.perturbations if one.group == "drift"]
        assert (drift.kind, drift.name) == ("real", "until CAL-2")
        change = rows(second.terms) - rows(first.terms)
        expected = change * found.drift / found.bound / np.sqrt(3.0)
        assert np.allclose(rows(drift.terms) - rows(first.terms), expected, atol=1e-14)
        figure = first.uncertainty.sources[-1]
        assert (figure.group, figure.basis) == ("drift", "from CAL-2")
        assert figure in first.result.sources

    def test_of_the_last_one_the_stations_history_is_pooled(self) -> None:
        *_, last = solved(*campaign().calibrations, third())
        assert last.uncertainty is not None
        pooled = [one for one in last.uncertainty.perturbations if one.group == "drift"]
        assert [one.kind for one in pooled] == ["circular", "circular"]
        basis = "pooled from 2 pairs of calibrations, provisional below 5"
        assert last.uncertainty.sources[-1].basis == basis
        # two pairs, there and back: a part has the variance of one change as a rectangle's
        first, second, _ = solved(*campaign().calibrations, third())
        (found,) = previous(second)
        assert found.drift is not None and found.bound is not None
        change = np.abs(rows(second.terms) - rows(first.terms)) * found.drift / found.bound
        per_part = sum(np.abs(rows(one.terms) - rows(last.terms)) ** 2 for one in pooled)
        assert np.allclose(2.0 * per_part, change**2 / 3.0, rtol=0.05, atol=1e-9)

    def test_a_step_that_a_verification_saw_is_no_drift(self) -> None:
        first, second, last = solved(*campaign().calibrations, third(), failed=("CAL-1",))
        for one in (first, second, last):
            assert one.uncertainty is not None
            named = {each.name for each in one.uncertainty.perturbations if each.group == "drift"}
            assert not any("CAL-1" in name for name in named)
        assert first.uncertainty is not None
        assert first.uncertainty.sources[-1].basis == (
            "pooled from 1 pair of calibrations, provisional below 5; a verification failed before"
            " the next one"
        )
        (found,) = previous(second)
        assert found.bound is not None and found.drift is not None  # compared all the same

    def test_between_methods_an_error_of_definitions_is_no_drift(self) -> None:
        """One truth, one path: LRRM, then SOLT, with a thru longer by one u than declared."""
        plan = scenes.sound(3)
        plan = replace(
            plan,
            calibration=tuple(replace(step, path=plan.before[0].path) for step in plan.calibration),
        )
        one, other = scenes.campaign_of(plan, 3).calibrations
        thru = other.record.definitions["thru"]
        longer = thru.model_copy(update={"delay_ps": scenes.THRU_PS - 0.03, "delay_u_ps": 0.03})
        definitions = {**other.record.definitions, "thru": longer}
        lrrm = changed(one, definitions=definitions)
        solt = changed(other, definitions=definitions, method="SOLT")
        (across,) = previous(solved(lrrm, solt)[1])
        (alike,) = previous(solved(lrrm, changed(other, definitions=definitions))[1])
        assert across.bound is not None and across.repeatable is not None
        assert alike.repeatable is not None
        assert np.nanmax(across.bound) > 2.0 * np.nanmax(alike.repeatable)  # the methods do differ
        assert across.drift is not None and np.nanmax(across.drift) == 0.0

    def test_a_single_calibration_has_none_and_says_so(self) -> None:
        (only,) = solved(campaign().calibrations[0])
        assert only.uncertainty is not None
        assert not [one for one in only.uncertainty.perturbations if one.group == "drift"]
        assert only.result.notes[-1].startswith("drift is not stated")

    def test_without_stated_uncertainty_there_is_a_difference_and_no_drift(self) -> None:
        _, second = solved(*campaign().calibrations, stated=False)
        (found,) = previous(second)
        assert found.bound is not None
        assert found.repeatable is None and found.drift is None
        assert second.uncertainty is None
