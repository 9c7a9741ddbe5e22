"""Touchstone files to sweeps. The only module that uses scikit-rf."""

import io
from collections.abc import Sequence
from typing import cast

import numpy as np
from skrf.io.touchstone import Touchstone

from sitegen.model.arrays import ComplexArray
from sitegen.model.loaded import Sweep
from sitegen.read.files import Asked, Intake
from sitegen.read.touchstone_text import CheckedText, check_text
from sitegen.read.words import counted


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
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")  # comments only: anything else is refused as no number
    checked, faults = check_text(file, text)
    intake.faults.extend(faults)
    if checked is None:
        return None
    found_ports, reference = checked.header.ports or 0, checked.header.references[0]
    if found_ports not in ports:
        intake.tell(
            file,
            "",
            found=counted(found_ports, "port"),
            expected=" or ".join(counted(number, "port") for number in ports),
            remedy="Export the sweep with the ports that the record is about.",
        )
        return None
    if z_ref_ohm is not None and reference != z_ref_ohm:
        intake.tell(
            file,
            f"line {checked.header.option_line}",
            found=f"a reference resistance of {reference:g} Ω",
            expected=f"{z_ref_ohm:g} Ω, as the record's reference impedance",
            remedy="Export the sweep again at that impedance, or correct the record.",
        )
        return None
    return Sweep(file, checked.frequency_hz, _s_parameters(checked), reference)


def _s_parameters(checked: CheckedText) -> ComplexArray:
    """Shape (n_freq, n_port, n_port), receiving port first.

    scikit-rf gets the text written anew from what was checked, so that neither comments that it
    takes for keywords nor noise data can change what it reads.
    """
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
    s = np.asarray(Touchstone(stream).s, dtype=np.complex128)
    s.flags.writeable = False
    return cast(ComplexArray, s)
