"""Which raw sweep of a calibration contacts what: standards are found by kind, in any order."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.solution import CalibrationNotSolvable, Port
from sitegen.compute.standards import at_port
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray
from sitegen.model.loaded import LoadedCalibration, LoadedStandard

PORTS: tuple[Port, Port] = (1, 2)
ReflectKind = (
    type[records.ShortDefinition]
    | type[records.OpenDefinition]
    | type[records.LoadDefinition]
    | type[records.ReflectDefinition]
)
UNKNOWN_REFLECTS: tuple[ReflectKind, ...] = (
    records.ReflectDefinition,
    records.ShortDefinition,
    records.OpenDefinition,
)
"""What LRM and TRL take as their reflect, the first that there is."""


@dataclass(frozen=True, eq=False)
class Contact:
    """A standard at one port: its raw sweep and its definition's name."""

    standard: LoadedStandard
    name: str
    port: Port

    @property
    def raw(self) -> ComplexArray:
        """Raw reflection at the port, (n_freq,)."""
        return at_port(self.standard.sweep.s, self.port)


@dataclass(frozen=True, eq=False)
class Pair:
    """The same kind of one-port at both ports, from one sweep or from one for each port."""

    port_1: Contact
    port_2: Contact

    @property
    def raw(self) -> ComplexArray:
        """(n_freq, 2, 2); transmissions are zero where the ports come from two sweeps."""
        if self.port_1.standard is self.port_2.standard:
            return self.port_1.standard.sweep.s
        return _apart(self.port_1.raw, self.port_2.raw)

    @property
    def files(self) -> frozenset[str]:
        """The names of its sweeps."""
        return files_of((self.port_1.standard, self.port_2.standard))


def files_of(standards: Iterable[LoadedStandard]) -> frozenset[str]:
    """The names of sweeps, as the record has them."""
    return frozenset(one.contact.file for one in standards)


def contacts_at(loaded: LoadedCalibration, port: Port) -> tuple[Contact, ...]:
    """Every one-port standard that was contacted at a port, in the record's order."""
    named = (
        (one, one.contact.port_1 if port == 1 else one.contact.port_2) for one in loaded.standards
    )
    return tuple(Contact(one, name, port) for one, name in named if name is not None)


def pair_of(loaded: LoadedCalibration, *kinds: ReflectKind) -> Pair | None:
    """A reflect at both ports, of the first of these kinds that there is.

    One sweep with both ports goes before two sweeps, one definition before two. A reflect of
    unknown value must be the same definition at both.
    """
    definitions = loaded.record.definitions
    for kind in kinds:
        one, other = (
            [each for each in contacts_at(loaded, port) if isinstance(definitions[each.name], kind)]
            for port in PORTS
        )
        pairs = [
            Pair(first, second)
            for first in one
            for second in other
            if kind is not records.ReflectDefinition or first.name == second.name
        ]
        if pairs:
            return min(pairs, key=_unlikeness)
    return None


def _unlikeness(pair: Pair) -> tuple[bool, bool]:
    return (
        pair.port_1.standard is not pair.port_2.standard,
        pair.port_1.name != pair.port_2.name,
    )


def load_at(loaded: LoadedCalibration, port: Port) -> Contact | None:
    """The first load that was contacted at a port."""
    definitions = loaded.record.definitions
    return next(
        (
            one
            for one in contacts_at(loaded, port)
            if isinstance(definitions[one.name], records.LoadDefinition)
        ),
        None,
    )


def two_port_raw(contact: Contact) -> ComplexArray:
    """The sweep of a one-port standard as (n_freq, 2, 2), whatever its file has."""
    s = contact.standard.sweep.s
    if s.shape[-1] == 2:
        return s
    nothing = np.zeros_like(contact.raw)
    return _apart(*((contact.raw, nothing) if contact.port == 1 else (nothing, contact.raw)))


def thru_of(loaded: LoadedCalibration) -> tuple[LoadedStandard, records.ThruDefinition]:
    """The first sweep that connects the ports through a thru."""
    for standard in loaded.standards:
        definition = loaded.record.definitions.get(standard.contact.between or "")
        if isinstance(definition, records.ThruDefinition):
            return standard, definition
    raise CalibrationNotSolvable("no sweep connects the ports through a thru")


def lines_of(
    loaded: LoadedCalibration,
) -> tuple[tuple[LoadedStandard, records.LineDefinition], ...]:
    """Every sweep of a line, the shortest first."""
    found = []
    for standard in loaded.standards:
        definition = loaded.record.definitions.get(standard.contact.between or "")
        if isinstance(definition, records.LineDefinition):
            found.append((standard, definition))
    return tuple(sorted(found, key=lambda one: one[1].length_um))


def _apart(raw_1: ComplexArray, raw_2: ComplexArray) -> ComplexArray:
    raw = np.zeros((len(raw_1), 2, 2), np.complex128)
    raw[:, 0, 0], raw[:, 1, 1] = raw_1, raw_2
    return raw
