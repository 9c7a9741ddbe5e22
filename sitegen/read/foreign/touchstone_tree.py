"""Touchstone files of a source to sweeps: parts of the frequency range joined, one-port files of
both ports combined, ports reordered, as the source declares it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.loaded import MappedFile, Sweep
from sitegen.model.mapping import MAPPING_FILE, Source
from sitegen.read.files import Asked, Intake
from sitegen.read.touchstone import file_sweep
from sitegen.read.words import counted, frequency, quoted

MOST_STEP = 0.05
"""Most |ΔS| by which two parts may differ at the frequency that they share (common practice)."""
MOST_GAP = 3.0
"""Most steps, of the larger one beside it, between the ends of two parts (common practice)."""
_SAME_FREQUENCY = 1e-9
"""Relative difference of two frequencies that are one, written with other digits."""
_EXPORT = "Export the files again, or correct the mapping."


@dataclass(frozen=True, eq=False)
class _Part:
    """One file's sweep and what its name or its lines say of it."""

    sweep: Sweep
    says: Mapping[str, str]


def mapped_sweep(intake: Intake, source: Source, mapped: MappedFile) -> Sweep | None:
    """The sweep that the files of `mapped` make together, or None and faults.

    Files that say one `port` are parts of the frequency range, joined in the order of frequency:
    they must have the same ports and reference impedance. Two parts may share one frequency, at
    which they must agree within `MOST_STEP` in |ΔS|; it is kept from the lower part. Otherwise they
    must not overlap, and the step between them must be at most `MOST_GAP` times the larger
    neighbouring one.

    With `source.one_port_pairs` the one-port sweeps of ports 1 and 2, on one frequency list, make
    two ports without transmission. Then the file's port k becomes the device's `source.ports[k]`.
    Files of corrected sweeps must state the source's reference impedance. `Sweep.file` is the first
    file.
    """
    parts = _read(intake, source, mapped)
    if parts is None:
        return None
    by_port = _by_port(intake, source, parts)
    if by_port is None:
        return None
    joined = {port: _joined(intake, group) for port, group in by_port.items()}
    whole = {port: sweep for port, sweep in joined.items() if sweep is not None}
    if len(whole) < len(joined):
        return None
    if source.one_port_pairs is None:
        (sweep,) = whole.values()
    else:
        paired = _paired(intake, whole[1], whole[2])
        if paired is None:
            return None
        sweep = paired
    return _reordered(intake, source, replace(sweep, file=mapped.files[0]))


def _read(intake: Intake, source: Source, mapped: MappedFile) -> list[_Part] | None:
    """Every file's sweep; None where one cannot be used."""
    asked = Asked(MAPPING_FILE, f"sources (id {quoted(source.id)})")
    parts = []
    for file, said in zip(mapped.files, mapped.says, strict=True):
        content = intake.read(file, asked, "a Touchstone file")
        sweep = None if content is None else file_sweep(intake, file, content)
        if sweep is None or not _has_stated_impedance(intake, source, sweep):
            continue
        says = {field: source.rename.get(field, {}).get(text, text) for field, text in said}
        parts.append(_Part(sweep, says))
    return parts if len(parts) == len(mapped.files) else None


def _has_stated_impedance(intake: Intake, source: Source, sweep: Sweep) -> bool:
    """Whether a corrected sweep has the reference impedance of its source; told where not."""
    stated_ohm = source.reference_impedance_ohm
    if source.sweep != "corrected" or sweep.z_ref_ohm == stated_ohm:
        return True
    intake.tell(
        sweep.file,
        "option line",
        found=f"a reference resistance of {sweep.z_ref_ohm:g} Ω",
        expected=f"{stated_ohm:g} Ω, as source {quoted(source.id)} of {MAPPING_FILE} states",
        remedy="Export the sweep again at that impedance, or correct 'reference_impedance_ohm'.",
    )
    return False


def _by_port(
    intake: Intake, source: Source, parts: Iterable[_Part]
) -> Mapping[int, list[Sweep]] | None:
    """The sweeps by the port at which they were taken; under 0 where no pairs are declared."""
    pairs = source.one_port_pairs is not None
    by_text: dict[str, list[Sweep]] = {}
    for part in parts:
        text = part.says.get("port", str(source.constants.get("port", "")))
        by_text.setdefault(text.strip(), []).append(part.sweep)
    first = next(iter(by_text.values()))[0]
    if not pairs:
        if len(by_text) == 1:
            return {0: next(iter(by_text.values()))}
        found = f"one of {counted(len(by_text), 'file')} of one sweep that name different ports"
        remedy = 'Add one_port_pairs = "no transmission" to the source, or correct its pattern.'
        intake.tell(first.file, "", found=found, expected="files of one port", remedy=remedy)
        return None
    by_port: dict[int, list[Sweep]] = {}
    for text, sweeps in by_text.items():
        if not (text.isascii() and text.isdigit() and int(text) in (1, 2)):
            found = f"the port {quoted(text)}" if text else "no port in the name"
            remedy = "Correct the source's pattern, or rename the port with 'rename'."
            intake.tell(sweeps[0].file, "", found=found, expected="port 1 or 2", remedy=remedy)
            return None
        by_port.setdefault(int(text), []).extend(sweeps)
    two_port = [one for group in by_port.values() for one in group if one.s.shape[-1] != 1]
    for sweep in two_port:
        found = counted(sweep.s.shape[-1], "port")
        expected = "one port, as one file of a one-port pair"
        intake.tell(sweep.file, "", found=found, expected=expected, remedy=_EXPORT)
    if len(by_port) == 1:
        (port,) = by_port
        found = f"a sweep of port {port} without one of port {3 - port}"
        remedy = "Bring the other file, or take 'one_port_pairs' out of the source."
        intake.tell(first.file, "", found=found, expected="files of both ports", remedy=remedy)
    return None if two_port or len(by_port) == 1 else by_port


def _joined(intake: Intake, sweeps: Iterable[Sweep]) -> Sweep | None:
    """Parts of the frequency range as one sweep, or None and a fault that names the upper part."""
    whole: Sweep | None = None
    below = ""
    for part in sorted(sweeps, key=lambda sweep: float(sweep.frequency_hz[0])):
        if whole is None:
            whole, below = part, part.file
            continue
        added = _added(intake, whole, below, part)
        if added is None:
            return None
        whole, below = added, part.file
    return whole


def _added(intake: Intake, lower: Sweep, below: str, upper: Sweep) -> Sweep | None:
    """The lower sweep, which ends with the file `below`, with the next part added."""
    other = quoted(below.rpartition("/")[2])
    trouble = _trouble_of_kind(lower, upper, other) or _trouble_of_place(lower, upper, other)
    if trouble is not None:
        found, expected, remedy = trouble
        intake.tell(upper.file, "", found=found, expected=expected, remedy=remedy)
        return None
    start = int(_is_shared(lower.frequency_hz, upper.frequency_hz))
    return replace(
        lower,
        frequency_hz=np.concatenate([lower.frequency_hz, upper.frequency_hz[start:]]),
        s=np.concatenate([lower.s, upper.s[start:]]),
    )


def _trouble_of_kind(lower: Sweep, upper: Sweep, other: str) -> tuple[str, str, str] | None:
    """Why two parts are not of one kind, as found, expected and remedy."""
    ports, below_ports = upper.s.shape[-1], lower.s.shape[-1]
    if ports != below_ports:
        expected = f"{counted(below_ports, 'port')}, as {other} has, which it is joined to"
        return counted(ports, "port"), expected, _EXPORT
    if upper.z_ref_ohm != lower.z_ref_ohm:
        found = f"a reference resistance of {upper.z_ref_ohm:g} Ω"
        return found, f"{lower.z_ref_ohm:g} Ω, as {other} has, which it is joined to", _EXPORT
    return None


def _trouble_of_place(lower: Sweep, upper: Sweep, other: str) -> tuple[str, str, str] | None:
    """Why two parts cannot stand beside each other on the frequency axis."""
    below_hz, above_hz = lower.frequency_hz, upper.frequency_hz
    end, start = frequency(float(below_hz[-1])), frequency(float(above_hz[0]))
    if _is_shared(below_hz, above_hz):
        step = float(np.abs(upper.s[0] - lower.s[-1]).max())
        if step <= MOST_STEP:
            return None
        found = f"|ΔS| = {step:.3g} from {other} at {start}, which both have"
        remedy = "Look at which part is wrong: another device, state or calibration, or ports."
        return found, f"at most {MOST_STEP:g}", remedy
    if above_hz[0] < below_hz[-1]:
        found = f"a part from {start} on, joined to {other}, which reaches up to {end}"
        expected = "parts of the frequency range that share at most one frequency"
        return found, expected, "Leave one of them out, or cut the overlap."
    steps = [*np.diff(below_hz[-2:]), *np.diff(above_hz[:2])]
    gap = float(above_hz[0] - below_hz[-1])
    if not steps or gap <= MOST_GAP * max(steps):
        return None
    found = f"a gap of {frequency(gap)} after {other}, from {end} to {start}"
    expected = f"at most {MOST_GAP:g} times the steps beside it, {frequency(float(max(steps)))}"
    return found, expected, "Bring the part that lies between, or correct the mapping."


def _is_shared(below_hz: FloatArray, above_hz: FloatArray) -> bool:
    """Whether the upper part begins with the lower one's last frequency."""
    return bool(abs(above_hz[0] - below_hz[-1]) <= _SAME_FREQUENCY * abs(below_hz[-1]))


def _paired(intake: Intake, first: Sweep, second: Sweep) -> Sweep | None:
    """Two ports without transmission from a one-port sweep of each."""
    other = quoted(first.file.rpartition("/")[2])
    n_first, n_second = len(first.frequency_hz), len(second.frequency_hz)
    found = expected = ""
    if second.z_ref_ohm != first.z_ref_ohm:
        found = f"a reference resistance of {second.z_ref_ohm:g} Ω"
        expected = f"{first.z_ref_ohm:g} Ω, as {other} has, the file of the other port"
    elif n_first != n_second:
        found = counted(n_second, "frequency", "frequencies")
        expected = f"{n_first}, as {other} has, the file of the other port"
    else:
        apart = np.abs(second.frequency_hz - first.frequency_hz)
        differs = apart > _SAME_FREQUENCY * first.frequency_hz
        if differs.any():
            at = int(np.argmax(differs))
            found = f"the frequency {frequency(float(second.frequency_hz[at]))}"
            expected = (
                f"{frequency(float(first.frequency_hz[at]))}, as {other} has, the file of the"
                " other port"
            )
    if found:
        intake.tell(second.file, "", found=found, expected=expected, remedy=_EXPORT)
        return None
    s = np.zeros((n_first, 2, 2), np.complex128)
    s[:, 0, 0] = first.s[:, 0, 0]
    s[:, 1, 1] = second.s[:, 0, 0]
    return replace(first, s=s)


def _reordered(intake: Intake, source: Source, sweep: Sweep) -> Sweep | None:
    """With the device's ports in place of the file's."""
    ports, n_ports = source.ports, sweep.s.shape[-1]
    if not ports:
        return sweep
    if sorted(ports) != list(range(1, n_ports + 1)):
        intake.tell(
            sweep.file,
            "",
            found=counted(n_ports, "port"),
            expected=f"{counted(len(ports), 'port')}, as 'ports' of source {quoted(source.id)} has",
            remedy=f"Correct 'ports' in {MAPPING_FILE}, or give such files a source of their own.",
        )
        return None
    of_file = np.argsort(ports)
    return replace(sweep, s=sweep.s[:, of_file[:, None], of_file])
