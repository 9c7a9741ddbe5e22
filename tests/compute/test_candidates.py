"""Likely causes: several, ranked, worded with the port where the evidence has one."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.candidates import candidates
from sitegen.compute.events import Events, solve_events
from sitegen.model.event_results import Check, Comparison
from tests.faults import planted, scenes


def missed(name: str, figure: float = 1.0) -> Check:
    return Check(name, figure, "1", None, 0.1, False, "", "solution")


def met(name: str, figure: float = 0.0) -> Check:
    return replace(missed(name, figure), passed=True)


def raw(word: str, port: int, figure: float) -> Check:
    name = f"raw {word} against the previous calibration, port {port}"
    return missed(name, figure) if figure > 0.1 else met(name, figure)


def difference(*values: float) -> Comparison:
    bound = np.array(values)
    return Comparison("previous calibration", "CAL-1", "", bound, None, None, 0.01, False)


def test_nothing_failed_nothing_is_said() -> None:
    assert candidates([met("fitted load inductance"), met("contacts of probe P1")]) == ()
    assert candidates() == ()


@pytest.mark.parametrize(
    "name",
    [
        "repeatability, load.s2p",
        "noise floor",
        "trace noise",
        "open against short, port 1",
        "fitted load inductance",
        "fitted load capacitance",
        "remainder of the load's fit",
        "magnitude of the solved short",
        "magnitude of the solved reflect",
        "phase of the solved thru",
        "effective permittivity",
        "attenuation",
        "residual of redundant standards, port 2",
        "residual of the load not used, port 2",
        "difference from the terms that the instrument reported",
        "contacts of this set of standards",
        "contacts of probe P1",
        "contact resistance, port 1",
        "load resistance, port 1",
    ],
)
def test_every_check_that_can_be_missed_has_more_than_one_cause(name: str) -> None:
    assert len(candidates([missed(name)])) >= 2


def test_exchanged_at_one_port() -> None:
    checks = [raw("open", 1, 1.9), raw("short", 1, 1.9), raw("open", 2, 0.0), raw("short", 2, 0.0)]
    assert candidates(checks)[0] == "open and short interchanged at port 1"


def test_ports_interchanged_change_both_ports_alike() -> None:
    checks = [raw("open", 1, 1.2), raw("short", 1, 1.0), raw("open", 2, 1.2), raw("short", 2, 1.0)]
    assert candidates(checks)[0].startswith("sweeps stored with their ports interchanged")


def test_one_standard_alone_was_not_contacted_well() -> None:
    checks = [raw("open", 2, 0.0), raw("short", 2, 0.3)]
    assert candidates(checks)[0].startswith("probe at port 2 lifted")


def test_a_difference_that_grows_is_a_path_and_one_that_does_not_a_resistance() -> None:
    grows = candidates(comparisons=[difference(*np.linspace(0.0, 0.1, 20))])
    even = candidates(comparisons=[difference(*np.full(20, 0.05))])
    assert grows[0].startswith("a cable") and "a load of another value than declared" not in grows
    assert even[0].startswith("a load")


def test_a_refused_comparison_is_no_evidence() -> None:
    refused = Comparison("previous calibration", "C", "state", None, None, None, 0.1, None)
    assert candidates(comparisons=[refused]) == ()


def events_of(name: str, size: float) -> Events:
    fault = next(one for one in planted.FAULTS if one.name == name)
    return solve_events(scenes.campaign_of(fault.plant(scenes.sound(0), size), 0))


@pytest.mark.parametrize(
    ("name", "size", "first"),
    [
        ("open and short swapped", 1.0, "open and short interchanged"),
        ("wrong load value", 2.0, "a load"),
        ("probe lifted on the short, port 2", 0.006, "probe"),
        ("reference plane slipped at port 2", 0.06, "probe landed away"),
        ("reference structure slipped", 0.03, "a reference"),
        ("state changed, recorded", 1.0, "the state was changed"),
    ],
)
def test_what_a_verification_says_of_a_planted_fault(name: str, size: float, first: str) -> None:
    (verification,) = events_of(name, size).verifications
    assert verification.candidates[0].startswith(first)
    alone = name == "state changed, recorded"
    assert (len(verification.candidates) == 1) is alone
