"""Calibration records that lack something their method needs: one sentence for each."""

import shutil
from collections.abc import Callable
from pathlib import Path

from tests.campaigns import line as matched_line
from tests.campaigns import raw, write_touchstone
from tests.campaigns_broken.cases import CALIBRATION, Case, append, both, replace

FOLDER = "calibrations/CAL1"
THRU = 'thru = { kind = "thru", delay_ps = 1.0 }\n'
THRU_SWEEP = '[[sweeps]]\nfile = "thru.s2p"\nbetween = "thru"\n'
SHORT_PORTS = 'file = "short.s2p"\nport_1 = "short"\nport_2 = "short"'
LOAD_PORTS = 'port_1 = "load"\nport_2 = "load"'
MEDIUM = """
[line_medium]
effective_permittivity = 5.2
capacitance_pf_per_m = 152.0
source = "declared with the substrate (invented)"
"""
DAY = "load_resistance_port_2_ohm = 50.2\n"
PROBE = '\n[[probe_use]]\nport = 1\nprobe = "P1"\ncontacts = 12\n'


def method(name: str) -> Callable[[Path], object]:
    """The tiny calibration by another method that the same standards serve."""
    return replace(CALIBRATION, 'method = "SOLT"', f'method = "{name}"')


def lrm_with_reflect(folder: Path) -> None:
    """LRM whose reflect is unknown."""
    method("LRM")(folder)
    replace(
        CALIBRATION,
        'short = { kind = "short", inductance_ph = [5.0] }',
        'short = { kind = "reflect", near = "short" }',
    )(folder)


def trl(folder: Path, line_um: float = 450.0, medium: str = MEDIUM, name: str = "TRL") -> None:
    """TRL from a thru of no length and a line."""
    write_touchstone(folder / FOLDER / "line.s2p", raw(matched_line(4.4)))
    lines = 'thru = { kind = "line", length_um = 0.0 }\n'
    lines += f'line = {{ kind = "line", length_um = {line_um} }}\n'
    method(name)(folder)
    replace(CALIBRATION, THRU, lines)(folder)
    replace(CALIBRATION, THRU_SWEEP, THRU_SWEEP + THRU_SWEEP.replace("thru", "line"))(folder)
    append(CALIBRATION, medium)(folder)


def one_port_file(folder: Path) -> None:
    """The short at port 1 from a one-port file; another sweep still has it at port 2."""
    shutil.copy(folder / FOLDER / "short.s2p", folder / FOLDER / "short-2.s2p")
    lines = (folder / FOLDER / "short.s2p").read_text().splitlines()
    kept = [" ".join(line.split()[:3]) if line[:1] not in "#!" else line for line in lines]
    (folder / FOLDER / "short.s1p").write_text("\n".join(kept) + "\n")
    (folder / FOLDER / "short.s2p").unlink()
    replace(
        CALIBRATION,
        SHORT_PORTS,
        'file = "short.s1p"\nport_1 = "short"\n[[sweeps]]\nfile = "short-2.s2p"\nport_2 = "short"',
    )(folder)


HEALTHY: dict[str, Callable[[Path], object]] = {
    "SOLR": method("SOLR"),
    "LRRM": method("LRRM"),
    "LRM": method("LRM"),
    "LRM, unknown reflect": lrm_with_reflect,
    "TRL": trl,
    "multiline TRL": lambda folder: trl(folder, name="multiline TRL"),
    "a one-port file": one_port_file,
    "a probe's use": append(CALIBRATION, PROBE),
}
"""Other calibrations of the tiny campaign that nothing is wrong with."""


def _lack(
    name: str, broken_by: Callable[[Path], object], place: str, *words: str, missing: bool = True
) -> Case:
    found, expected, remedy = words
    return Case(
        name, broken_by, CALIBRATION, place, found, expected, remedy, missing=found * missing
    )


CALIBRATION_CASES = (
    _lack(
        "two reflects at a port",
        replace(CALIBRATION, LOAD_PORTS, 'port_2 = "load"'),
        "sweeps",
        '2 known standards at port 1: "open", "short"',
        "at least 3 for the method SOLT",
        "Add the raw sweeps",
    ),
    _lack(
        "SOLR without a thru",
        both(
            method("SOLR"),
            replace(CALIBRATION, THRU_SWEEP, ""),
            lambda folder: (folder / FOLDER / "thru.s2p").unlink(),
        ),
        "sweeps",
        "no sweep of a thru between the ports",
        "a thru between the ports for the method SOLR",
        "Add the raw sweep",
    ),
    _lack(
        "LRRM with a short at one port",
        both(method("LRRM"), replace(CALIBRATION, SHORT_PORTS, SHORT_PORTS.rpartition("\n")[0])),
        "sweeps",
        "no sweep of a short at both ports",
        "for the method LRRM",
        "Add the raw sweep",
    ),
    _lack(
        "LRRM without a load",
        both(method("LRRM"), replace(CALIBRATION, LOAD_PORTS, 'port_1 = "open"')),
        "sweeps",
        "no sweep of a load at port 1 or port 2",
        "for the method LRRM",
        "Add the raw sweep",
    ),
    _lack(
        "LRM with a load at one port",
        both(method("LRM"), replace(CALIBRATION, LOAD_PORTS, 'port_2 = "load"')),
        "sweeps",
        "no sweep of a load at port 1",
        "a load at port 1 for the method LRM",
        "Add the raw sweep",
    ),
    _lack(
        "LRM with a reflect at one port",
        both(
            lrm_with_reflect,
            replace(CALIBRATION, SHORT_PORTS, SHORT_PORTS.rpartition("\n")[0]),
            replace(CALIBRATION, 'port_1 = "open"\nport_2 = "open"', 'port_1 = "open"'),
        ),
        "sweeps",
        "no sweep of the same reflect (or a short, or an open) at both ports",
        "for the method LRM",
        "Add the raw sweep",
    ),
    _lack(
        "TRL without its medium",
        lambda folder: trl(folder, medium=""),
        "line_medium",
        "no line_medium",
        "TRL stays in the lines' own impedance",
        "Add the table [line_medium]",
    ),
    _lack(
        "TRL with lines of one length",
        lambda folder: trl(folder, line_um=0.0),
        "sweeps",
        "lines of 1 length, 0 µm",
        "at least 2 different lengths for the method TRL",
        "Add the raw sweep of another line",
    ),
    Case(
        "a line in SOLT",
        replace(CALIBRATION, THRU, 'thru = { kind = "line", length_um = 200.0 }\n'),
        CALIBRATION,
        "sweeps[4].between",
        '"thru", a standard of the kind "line"',
        'the kind "thru" for the method SOLT',
        "or the method",
        missing="which is no definition of a thru",
    ),
    Case(
        "an unknown reflect in SOLT",
        both(
            replace(CALIBRATION, THRU, THRU + 'other = { kind = "reflect", near = "open" }\n'),
            replace(CALIBRATION, 'port_1 = "open"', 'port_1 = "other"'),
        ),
        CALIBRATION,
        "sweeps[2].port_1",
        '"other", a standard of the kind "reflect"',
        'the kind "short", "open" or "load" for the method SOLT',
        "or the method",
        missing="which is no definition of a reflect",
    ),
    _lack(
        "a resistance of the day and no load",
        both(
            method("LRRM"),
            replace(CALIBRATION, LOAD_PORTS, 'port_1 = "load"'),
            replace(CALIBRATION, "contacts = 3\n", "contacts = 3\n" + DAY),
        ),
        "substrate.load_resistance_port_2_ohm",
        "a load's resistance of the day and 0 loads at port 2",
        "one load that it belongs to",
        "Remove it",
    ),
    _lack(
        "a resistance of the day and two loads",
        both(
            replace(CALIBRATION, "contacts = 3\n", "contacts = 3\n" + DAY),
            replace(CALIBRATION, THRU, THRU + 'half = { kind = "load", resistance_ohm = 25.0 }\n'),
            append(CALIBRATION, '\n[[sweeps]]\nfile = "open.s2p"\nport_2 = "half"\n'),
        ),
        "substrate.load_resistance_port_2_ohm",
        "a load's resistance of the day and 2 loads at port 2",
        "one load that it belongs to",
        "put what was measured that day into the definitions",
    ),
    _lack(
        "a medium without lines",
        append(CALIBRATION, MEDIUM),
        "line_medium",
        "lines for the method SOLT",
        "TRL only",
        "Remove it",
        missing=False,
    ),
    _lack(
        "a load's fit in SOLT",
        replace(CALIBRATION, "averaging = 1\n", 'averaging = 1\nload_fit = "none"\n'),
        "load_fit",
        '"none" for the method SOLT',
        "LRRM only",
        "Remove it",
        missing=False,
    ),
    _lack(
        "TRL in travelling waves",
        both(trl, replace(CALIBRATION, '"power"', '"travelling"')),
        "wave_definition",
        '"travelling" for the method TRL',
        "moved from the lines' impedance",
        "Correct it",
        missing=False,
    ),
    _lack(
        "phase bounds reversed",
        replace(CALIBRATION, "repeatability = 0.001", "line_phase_min_deg = 160.0"),
        "bounds.line_phase_min_deg",
        "phases from 160 to 160 degrees",
        "between 0 and 180 degrees",
        "Correct line_phase_min_deg",
        missing=False,
    ),
    _lack(
        "unknown probe in use",
        append(CALIBRATION, PROBE.replace("P1", "Q9")),
        "probe_use[1].probe",
        'the unknown probe "Q9"',
        '"P1" or "P2"',
        "Declare it in campaign.toml",
        missing=False,
    ),
    _lack(
        "two probes at a port",
        append(CALIBRATION, PROBE + PROBE.replace("P1", "P2")),
        "probe_use[2].port",
        "1, which has its probe already",
        "each port that was calibrated, once: 1, 2",
        "Correct the port",
        missing=False,
    ),
    _lack(
        "a probe at a port that was not calibrated",
        append(CALIBRATION, PROBE.replace("port = 1", "port = 3")),
        "probe_use[1].port",
        "3",
        "once: 1, 2",
        "Correct the port",
        missing=False,
    ),
)
