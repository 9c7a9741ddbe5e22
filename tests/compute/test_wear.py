"""Contacts as the latest calibration that states them has them."""

from dataclasses import replace
from typing import Any

from sitegen.compute.wear import wear_of
from sitegen.model.calibration import ProbeUse
from sitegen.model.event_results import CalibrationResult
from tests.compute.events import calibration, station


def counted(
    name: str, at_hour: float, contacts: int | None, *uses: dict[str, Any]
) -> CalibrationResult:
    made = calibration(name, at_hour)
    substrate = made.record.substrate.model_copy(update={"contacts": contacts})
    probes = tuple(ProbeUse.model_validate({"port": 1, "probe": "P1", **one}) for one in uses)
    changes = {"substrate": substrate, "probe_use": probes}
    return replace(made, record=made.record.model_copy(update=changes))


def test_the_latest_that_states_them_counts() -> None:
    known = [
        counted("CAL-1", 0, 7, {"contacts": 70}),
        counted("CAL-2", 1, None, {}),
    ]
    probe, substrate = sorted(wear_of(station(), known), key=lambda one: one.subject)
    assert (substrate.contacts, substrate.source) == (7, "CAL-1")
    assert (probe.contacts, probe.source) == (70, "CAL-1")
    later = [*known, counted("CAL-3", 2, 9, {"contacts": 90})]
    assert {(one.contacts, one.source) for one in wear_of(station(), later)} == {
        (9, "CAL-3"),
        (90, "CAL-3"),
    }


def test_what_no_calibration_states_is_not_listed() -> None:
    assert wear_of(station(), [counted("CAL-1", 0, None, {})]) == ()


def test_a_resistance_without_contacts_is_listed_with_none() -> None:
    (probe,) = wear_of(station(), [counted("CAL-1", 0, None, {"contact_resistance_ohm": 0.1})])
    assert (probe.contacts, probe.contact_resistance_ohm) == (None, 0.1)
