"""Contacts of sets of standards and of probes, as the latest calibrations state them."""

from collections.abc import Iterable

from sitegen.compute.observations import standard_set
from sitegen.model.campaign import Station
from sitegen.model.event_results import CalibrationResult
from sitegen.model.followed_results import Wear


def wear_of(station: Station, calibrations: Iterable[CalibrationResult]) -> tuple[Wear, ...]:
    """One for each set and each probe, sets first; calibrations in time order.

    A calibration that does not state the contacts of its set, or of a probe neither contacts nor
    contact resistance, leaves what an earlier one stated; what none states is not listed.
    """
    bounds = {probe.id: probe.contacts_max for probe in station.probes}
    sets: dict[str, Wear] = {}
    probes: dict[str, Wear] = {}
    for result in calibrations:
        record = result.record
        subject = standard_set(record)
        if record.substrate.contacts is not None:
            sets[subject] = Wear(
                subject,
                result.made_at,
                record.id,
                record.substrate.contacts,
                record.substrate.contacts_max,
            )
        for use in record.probe_use:
            if use.contacts is None and use.contact_resistance_ohm is None:
                continue
            probes[use.probe] = Wear(
                f"probe {use.probe}",
                result.made_at,
                record.id,
                use.contacts,
                bounds.get(use.probe),
                use.contact_resistance_ohm,
                use.contact_resistance_max_ohm,
            )
    return (*(sets[name] for name in sorted(sets)), *(probes[name] for name in sorted(probes)))
