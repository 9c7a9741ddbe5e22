"""Checks of what contacts wear: the set of standards, the probes, the day's loads."""

from collections.abc import Iterator, Sequence

from sitegen.compute.checks.judge import judged
from sitegen.compute.contacts import PORTS, load_at
from sitegen.compute.rf.solution import Port
from sitegen.model import calibration as records
from sitegen.model.campaign import Probe
from sitegen.model.event_results import Check, CheckGroup
from sitegen.model.loaded import LoadedCalibration

GROUP: CheckGroup = "wear"


def checks_of_wear(loaded: LoadedCalibration, probes: Sequence[Probe]) -> Iterator[Check]:
    """Contacts of the set and of each probe, contact resistances, loads measured that day."""
    substrate = loaded.record.substrate
    yield _contacts(
        "contacts of this set of standards",
        substrate.contacts,
        substrate.contacts_max,
        f"Set {substrate.standard_set} on substrate {substrate.serial_number}.",
    )
    most = {probe.id: probe.contacts_max for probe in probes}
    for use in loaded.record.probe_use:
        yield _contacts(
            f"contacts of probe {use.probe}",
            use.contacts,
            most.get(use.probe),
            f"At port {use.port}.",
        )
    for use in loaded.record.probe_use:
        if use.contact_resistance_ohm is not None:
            yield judged(
                GROUP,
                f"contact resistance, port {use.port}",
                use.contact_resistance_ohm,
                f"Of probe {use.probe}, measured on a short that day.",
                unit="Ω",
                upper=use.contact_resistance_max_ohm,
            )
    for port in PORTS:
        yield from _load_resistance(loaded, port)


def _contacts(name: str, contacts: int | None, bound: int | None, text: str) -> Check:
    """Contacts so far against their bound; without a count nothing is judged, and that is said."""
    if contacts is None:
        text += " Not judged: the record does not state the contacts so far."
    return judged(
        GROUP,
        name,
        None if contacts is None else float(contacts),
        text,
        upper=None if bound is None else float(bound),
    )


def _load_resistance(loaded: LoadedCalibration, port: Port) -> Iterator[Check]:
    """The day's load resistance against the definition contacted there."""
    record, contact = loaded.record, load_at(loaded, port)
    substrate = record.substrate
    measured = (
        substrate.load_resistance_port_1_ohm if port == 1 else substrate.load_resistance_port_2_ohm
    )
    declared = None if contact is None else record.definitions[contact.name]
    if measured is None or not isinstance(declared, records.LoadDefinition):
        return
    bound = record.bounds.load_resistance_difference_ohm
    used = port == 1 or record.method != "LRRM" or load_at(loaded, 1) is None
    told = "the measured one is used" if used else "this port's load is not used by LRRM"
    yield judged(
        GROUP,
        f"load resistance, port {port}",
        measured - declared.resistance_ohm,
        f"Measured {measured:g} Ω through the probe that day, declared"
        f" {declared.resistance_ohm:g} Ω; {told}.",
        unit="Ω",
        lower=None if bound is None else -bound,
        upper=bound,
        u=declared.resistance_u_ohm or None,
    )
