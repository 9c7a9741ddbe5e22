"""What each calibration method needs of its record: every lack is told, one by one."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sitegen.model.calibration import CalibrationRecord, LineDefinition, StandardDefinition
from sitegen.model.campaign import Station
from sitegen.read.files import Intake
from sitegen.read.references import is_known
from sitegen.read.words import choices, counted, quoted

_KNOWN = ("short", "open", "load")
_AT_PORT: Mapping[str, tuple[str, ...]] = {
    "one-port": _KNOWN,
    "SOLT": _KNOWN,
    "SOLR": _KNOWN,
    "LRRM": _KNOWN,
    "LRM": (*_KNOWN, "reflect"),
    "TRL": (*_KNOWN, "reflect"),
    "multiline TRL": (*_KNOWN, "reflect"),
}
_UNKNOWN = ("reflect", "short", "open")
_TRL = ("TRL", "multiline TRL")
_REFLECTS_NEEDED = 3


@dataclass(frozen=True)
class _Lack:
    """What a method needs and the record has not."""

    place: str
    found: str
    expected: str
    remedy: str


def check_method(intake: Intake, file: str, record: CalibrationRecord, missing: list[str]) -> None:
    """Whether ports, contacts and standards are those that the method needs.

    What keeps the calibration from being solved is added to `missing`; what the method merely
    has no use for is a fault only.
    """
    known = _check_ports(intake, file, record, missing)
    known &= _check_contacts(intake, file, record, missing)
    lacks = list(_lacks(record)) if known else []
    missing.extend(f"it has {lack.found}" for lack in lacks)
    for lack in (*lacks, *_out_of_place(record)):
        intake.tell(file, lack.place, found=lack.found, expected=lack.expected, remedy=lack.remedy)


def _check_ports(intake: Intake, file: str, record: CalibrationRecord, missing: list[str]) -> bool:
    """A two-port method needs two ports, one-port one of them; ports are numbered 1 and 2."""
    allowed = ((1,), (2,)) if record.method == "one-port" else ((1, 2),)
    if record.ports in allowed:
        return True
    expected = "[1] or [2]" if record.method == "one-port" else "[1, 2]"
    found = "[" + ", ".join(str(port) for port in record.ports) + "]"
    missing.append(f"the method {record.method} does not go with the ports {found}")
    intake.tell(
        file,
        "ports",
        found=found,
        expected=f"{expected} for the method {record.method}",
        remedy="Correct the ports or the method.",
    )
    return False


def _check_contacts(
    intake: Intake, file: str, record: CalibrationRecord, missing: list[str]
) -> bool:
    """What each sweep contacts must be defined, at a port that is calibrated, of a fitting kind."""
    all_known = True
    for number, sweep in enumerate(record.sweeps, 1):
        for key in ("port_1", "port_2", "between"):
            name: str | None = getattr(sweep, key)
            if name is None:
                continue
            place = f"sweeps[{number}].{key}"
            if not _is_contacted_rightly(intake, file, record, place, key, name):
                missing.append(f"{place} names {name}, which is no {_what(record, key)}")
                all_known = False
    return all_known


def _is_contacted_rightly(
    intake: Intake, file: str, record: CalibrationRecord, place: str, key: str, name: str
) -> bool:
    kinds = _kinds(record, key)
    if not kinds:
        intake.tell(
            file,
            place,
            found=quoted(name),
            expected=f"no standard there: the method {record.method} calibrates port "
            f"{record.ports[0]} only",
            remedy="Correct what the sweep contacts, or the method and its ports.",
        )
        return False
    definition = record.definitions.get(name)
    if definition is None or definition.kind in kinds:
        fitting = [k for k, v in record.definitions.items() if v.kind in kinds]
        remedy = f"Add [definitions.{name}] of that kind to the record."
        return is_known(intake, file, place, name, fitting, _what(record, key), remedy)
    intake.tell(
        file,
        place,
        found=f"{quoted(name)}, a standard of the kind {quoted(definition.kind)}",
        expected=f"the kind {choices(kinds)} for the method {record.method}",
        remedy="Correct what the sweep contacts, the kind of the definition, or the method.",
    )
    return False


def _kinds(record: CalibrationRecord, key: str) -> tuple[str, ...]:
    if key != "between":
        one_port = record.method == "one-port" and record.ports in ((1,), (2,))
        other = one_port and key != f"port_{record.ports[0]}"
        return () if other else _AT_PORT[record.method]
    if record.method == "one-port":
        return ()
    return ("line",) if record.method in _TRL else ("thru",)


def _what(record: CalibrationRecord, key: str) -> str:
    if key != "between":
        return "definition of a reflect"
    return "definition of a line" if record.method in _TRL else "definition of a thru"


def _lacks(record: CalibrationRecord) -> Iterator[_Lack]:
    match record.method:
        case "one-port" | "SOLT" | "SOLR":
            yield from _few_reflects(record)
        case "LRRM":
            yield from _no_pair(record, ("short",))
            yield from _no_pair(record, ("open",))
            if not _names(record, "port_1", "load") and not _names(record, "port_2", "load"):
                yield _no_sweep(record, "a load at port 1 or port 2")
        case "LRM":
            yield from _no_pair(record, _UNKNOWN)
            for port in record.ports:
                if not _names(record, f"port_{port}", "load"):
                    yield _no_sweep(record, f"a load at port {port}")
        case "TRL" | "multiline TRL":
            yield from _no_pair(record, _UNKNOWN)
            yield from _no_lines(record)
    if record.method not in ("one-port", *_TRL) and not _names(record, "between", "thru"):
        yield _no_sweep(record, "a thru between the ports")
    yield from _which_load(record)


def _which_load(record: CalibrationRecord) -> Iterator[_Lack]:
    """The resistance measured that day belongs to one load at its port."""
    for port in (1, 2):
        place = f"load_resistance_port_{port}_ohm"
        loads = sorted(set(_names(record, f"port_{port}", "load")))
        if getattr(record.substrate, place) is not None and len(loads) != 1:
            yield _Lack(
                f"substrate.{place}",
                f"a load's resistance of the day and {counted(len(loads), 'load')} at port {port}",
                "one load that it belongs to",
                "Remove it; put what was measured that day into the definitions.",
            )


def _few_reflects(record: CalibrationRecord) -> Iterator[_Lack]:
    for port in record.ports:
        names = sorted(set(_names(record, f"port_{port}", *_KNOWN)))
        if len(names) < _REFLECTS_NEEDED:
            yield _Lack(
                "sweeps",
                f"{counted(len(names), 'known standard')} at port {port}"
                + (f": {', '.join(quoted(name) for name in names)}" if names else ""),
                f"at least {_REFLECTS_NEEDED} for the method {record.method}, such as a short, an"
                " open and a load",
                "Add the raw sweeps that are missing, or correct the method.",
            )


def _no_pair(record: CalibrationRecord, kinds: tuple[str, ...]) -> Iterator[_Lack]:
    """A reflect at both ports; one of unknown value must be the same definition at both."""
    for kind in kinds:
        one, other = (set(_names(record, f"port_{port}", kind)) for port in (1, 2))
        if (one & other) if kind == "reflect" else (one and other):
            return
    if kinds == _UNKNOWN:
        yield _no_sweep(record, "the same reflect (or a short, or an open) at both ports")
    else:
        yield _no_sweep(record, f"{'an' if kinds[0] == 'open' else 'a'} {kinds[0]} at both ports")


def _no_lines(record: CalibrationRecord) -> Iterator[_Lack]:
    if record.line_medium is None:
        yield _Lack(
            "line_medium",
            "no line_medium",
            "the lines' approximate permittivity and their capacitance per metre: without it"
            f" {record.method} stays in the lines' own impedance",
            "Add the table [line_medium] with the source of its values.",
        )
    names = _names(record, "between", "line")
    lengths_um = sorted({_length_um(record.definitions[name]) for name in names})
    if len(lengths_um) < 2:
        known = f", {lengths_um[0]:g} µm" if lengths_um else ""
        yield _Lack(
            "sweeps",
            f"lines of {counted(len(lengths_um), 'length')}{known}",
            f"lines of at least 2 different lengths for the method {record.method}",
            "Add the raw sweep of another line, or correct the lengths.",
        )


def _length_um(definition: StandardDefinition) -> float:
    assert isinstance(definition, LineDefinition)
    return definition.length_um


def _no_sweep(record: CalibrationRecord, what: str) -> _Lack:
    return _Lack(
        "sweeps",
        f"no sweep of {what}",
        f"{what} for the method {record.method}",
        "Add the raw sweep, or correct the method.",
    )


def _names(record: CalibrationRecord, key: str, *kinds: str) -> list[str]:
    """The definitions of these kinds that sweeps contact there."""
    named = (getattr(sweep, key) for sweep in record.sweeps)
    return [
        name
        for name in named
        if name in record.definitions and record.definitions[name].kind in kinds
    ]


def _out_of_place(record: CalibrationRecord) -> Iterator[_Lack]:
    """What the record states and the method cannot take."""
    is_trl = record.method in _TRL
    remove = "Remove it, or correct the method."
    if record.line_medium is not None and not is_trl:
        yield _Lack("line_medium", f"lines for the method {record.method}", "TRL only", remove)
    if "load_fit" in record.model_fields_set and record.method != "LRRM":
        yield _Lack(
            "load_fit",
            f"{quoted(record.load_fit)} for the method {record.method}",
            "LRRM only: no other method finds anything of its load",
            remove,
        )
    if is_trl and record.wave_definition == "travelling":
        yield _Lack(
            "wave_definition",
            f'"travelling" for the method {record.method}',
            '"pseudo" or "power": its results are moved from the lines\' impedance to the'
            " declared one",
            "Correct it.",
        )
    least, largest = record.bounds.line_phase_min_deg, record.bounds.line_phase_max_deg
    if not least < largest < 180.0:
        yield _Lack(
            "bounds.line_phase_min_deg",
            f"phases from {least:g} to {largest:g} degrees",
            "an interval that lies between 0 and 180 degrees",
            "Correct line_phase_min_deg and line_phase_max_deg.",
        )


def check_probe_use(intake: Intake, file: str, record: CalibrationRecord, station: Station) -> None:
    """Probes must be the station's and those of the state, each at a port that was calibrated."""
    seen: set[int] = set()
    for number, use in enumerate(record.probe_use, 1):
        place = f"probe_use[{number}]"
        listed = tuple(probe.id for probe in station.probes)
        remedy = f"Declare it in campaign.toml, at station {quoted(station.id)}."
        if (
            is_known(intake, file, f"{place}.probe", use.probe, listed, "probe", remedy)
            and use.probe not in record.state.probes
        ):
            intake.tell(
                file,
                f"{place}.probe",
                found=f"{quoted(use.probe)}, which the state does not name",
                expected=choices(record.state.probes),
                remedy="Correct it, or state.probes.",
            )
        if use.port not in record.ports or use.port in seen:
            intake.tell(
                file,
                f"{place}.port",
                found=f"{use.port}" + (", which has its probe already" if use.port in seen else ""),
                expected="each port that was calibrated, once: "
                + ", ".join(str(port) for port in record.ports),
                remedy="Correct the port, or the ports of the record.",
            )
        seen.add(use.port)
