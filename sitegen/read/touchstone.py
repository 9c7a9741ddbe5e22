"""Touchstone files to sweeps. The only module that uses scikit-rf, where a file is not plain."""

import io
from collections.abc import Sequence
from typing import cast

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.loaded import Sweep
from sitegen.problems import Fault
from sitegen.read.files import Asked, Intake
from sitegen.read.touchstone_formats import meaning, other_format
from sitegen.read.touchstone_numbers import Numbers, plain_numbers
from sitegen.read.touchstone_text import CheckedText, Header, check_text
from sitegen.read.words import counted, frequency


def read_touchstone(
    intake: Intake, file: str, asked: Asked, ports: Sequence[int], z_ref_ohm: float | None
) -> Sweep | None:
    """The sweep of a Touchstone file, or None and a fault.

    `file` is relative to the campaign's folder; `ports` are the accepted numbers of ports;
    `z_ref_ohm` is the reference impedance that the record states, None where it states none.
    """
    content = intake.read(file, asked, "the name of a Touchstone file")
    if content is None:
        return None
    converted, faults = _converted(file, content)
    intake.faults.extend(faults)
    if converted is None:
        return None
    header, sweep = converted
    found_ports = sweep.s.shape[-1]
    if found_ports not in ports:
        intake.tell(
            file,
            "",
            found=counted(found_ports, "port"),
            expected=" or ".join(counted(number, "port") for number in ports),
            remedy="Export the sweep with the ports that the record is about.",
        )
        return None
    if z_ref_ohm is not None and sweep.z_ref_ohm != z_ref_ohm:
        intake.tell(
            file,
            f"line {header.option_line}",
            found=f"a reference resistance of {sweep.z_ref_ohm:g} Ω",
            expected=f"{z_ref_ohm:g} Ω, as the record's reference impedance",
            remedy="Export the sweep again at that impedance, or correct the record.",
        )
        return None
    return sweep


def file_sweep(intake: Intake, file: str, content: bytes) -> Sweep | None:
    """The sweep of a Touchstone file's bytes, of one port or of two, or None and faults.

    `file` is told in faults, and its extension says how many ports it has; the reference impedance
    is the one that the file states.

    Besides what the format forbids, numbers are refused that cannot be what the option line says,
    such as dB and angle under RI; `touchstone_formats` states the rule.
    """
    converted, faults = _converted(file, content)
    intake.faults.extend(faults)
    return None if converted is None else converted[1]


def _converted(file: str, content: bytes) -> tuple[tuple[Header, Sweep] | None, list[Fault]]:
    """The header and the sweep, or None and faults."""
    plain = plain_numbers(file, content)
    if plain is not None:
        with np.errstate(over="ignore", invalid="ignore"):
            return _if_possible(file, plain, _s_of_pairs(plain))
    checked, faults = check_text(file, _text(content))
    if checked is None:
        return None, faults
    numbers = np.array(checked.records, dtype=np.float64)[:, 1:]
    read = Numbers(checked.header, checked.frequency_hz, numbers.reshape(len(numbers), -1, 2))
    with np.errstate(over="ignore", invalid="ignore"):
        return _if_possible(file, read, _s_by_library(checked))


def _text(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")  # comments only: anything else is refused as no number


def _if_possible(
    file: str, read: Numbers, s: ComplexArray
) -> tuple[tuple[Header, Sweep] | None, list[Fault]]:
    """The sweep, unless its numbers cannot be what the option line says."""
    header = read.header
    place = f"line {header.option_line}"
    expected = f"{meaning(header.format)}, as the option line states"
    looks = other_format(header.format, read.pairs)
    if looks is not None:
        remedy = "Correct the option line to what the numbers are, or export the sweep again."
        return None, [Fault(file, place, looks, expected, remedy)]
    infinite = ~np.isfinite(s).all(axis=(1, 2))
    if infinite.any():
        at = frequency(float(read.frequency_hz[np.argmax(infinite)]))
        found = f"a number beyond all bounds at {at}"
        remedy = "Take the sweep again, or correct the option line."
        return None, [Fault(file, place, found, expected, remedy, count=int(infinite.sum()))]
    s.flags.writeable = False
    return (header, Sweep(file, read.frequency_hz, s, header.references[0])), []


def _s_of_pairs(read: Numbers) -> ComplexArray:
    """Shape (n_freq, n_port, n_port), receiving port first, of a full matrix."""
    header, pairs = read.header, read.pairs
    first, second = pairs[..., 0], pairs[..., 1]
    if header.format == "ri":
        flat: ComplexArray = np.ascontiguousarray(pairs).view(np.complex128)[..., 0]
    else:
        size: FloatArray = first if header.format == "ma" else 10 ** (first / 20.0)
        flat = size * np.exp(1j * second * np.pi / 180)
    ports = header.ports or 0
    s = flat.reshape(-1, ports, ports)
    by_column = ports == 2 and (not header.version_2 or header.order == "21_12")
    return s.transpose(0, 2, 1).copy() if by_column else s


def _s_by_library(checked: CheckedText) -> ComplexArray:
    """Shape (n_freq, n_port, n_port), receiving port first.

    scikit-rf gets the text written anew from what was checked, so that neither comments that it
    takes for keywords nor noise data can change what it reads. It is imported here, since most
    files do without it.
    """
    from skrf.io.touchstone import Touchstone

    header = checked.header
    lines = [f"# {header.unit} S {header.format} R {header.references[0]!r}"]
    if header.version_2:
        lines = [
            "[Version] 2.0",
            *lines,
            f"[Number of Ports] {header.ports}",
            f"[Two-Port Data Order] {header.order or '21_12'}",
            f"[Number of Frequencies] {len(checked.records)}",
            f"[Matrix Format] {header.matrix}",
            "[Network Data]",
        ]
    lines.extend(" ".join(words) for words in checked.records)
    stream = io.StringIO("\n".join(lines) + "\n")
    stream.name = "sweep.ts" if header.version_2 else f"sweep.s{header.ports}p"
    return cast(ComplexArray, np.asarray(Touchstone(stream).s, dtype=np.complex128))
