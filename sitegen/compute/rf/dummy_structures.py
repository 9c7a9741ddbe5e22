"""What dummy structures look like as lumped elements, and what is wrong with them.

Every bound is our own choice, none is from a standard.
"""

from collections.abc import Mapping

import numpy as np

from sitegen.compute.rf.checks import largest_singular_value
from sitegen.compute.rf.deembedding import lumped_parts, pad_of_line, pi_of_thru
from sitegen.compute.rf.two_port import admittance, as_two_port, chain, impedance
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import LUMPED, DeembeddingMethod
from sitegen.units import frequency, quantity

Parasitics = Mapping[str, tuple[float, str]]
LEAST = {"F": 0.5e-15, "H": 0.5e-12, "Ω": 0.05}
"""How far below zero a parasitic must lie: less is the calibration's remainder."""
MOST_SINGULAR_VALUE = 1.02
"""A dummy above is active; calibrations leave a percent or so."""
MOST_LEAD_PHASE_RAD = 0.5
"""Of pad and lead together, 2 pi f sqrt(L C): a line so long differs from its L by 4 %, tan(x)/x by
9 %; beyond, pads and leads are no longer lumped."""


@np.errstate(all="ignore")
def parasitics(
    method: DeembeddingMethod,
    dummies: Mapping[str, ComplexArray],
    frequency_hz: FloatArray,
    z_ref_ohm: float,
) -> Parasitics:
    """Medians over dies and the lower half of the frequencies, with their units.

    Pads as a pi: C1 and C2 at the ports, C12 between them; leads as a tee: L1, R1 and L2, R2 at the
    ports, L3, R3 common; C1', C2', C12' beside the device. Of a thru: C1, L1 and R1 of each half.

    Args:
        dummies: (n_set, n_freq, n_port, n_port) each, by part; n_set may differ from part to part
            only where it is one.
    """
    half = frequency_hz <= np.median(frequency_hz)
    omega = 2.0 * np.pi * frequency_hz[half]
    low = {name: _doubled(one[:, half]) for name, one in dummies.items()}
    found: dict[str, tuple[FloatArray, str]] = {}
    if method in LUMPED:
        outside, leads, beside = lumped_parts(method, low, z_ref_ohm)
        found |= _capacitances(outside, omega, "") | _leads(leads, omega)
        found |= _capacitances(beside, omega, "'" if outside.any() else "")
    elif method == "thru":
        shunt, series = pi_of_thru(low["thru"], z_ref_ohm)
        found["C1"] = shunt.imag / omega, "F"
        found["L1"], found["R1"] = (series.imag / omega, "H"), (series.real, "Ω")
    else:
        pad = pad_of_line(chain(low["thru"], z_ref_ohm), chain(low["line"], z_ref_ohm))
        found["C1"] = pad.imag / omega, "F"
    one_port = all(one.shape[-1] == 1 for one in dummies.values())
    return {
        name: (float(_median(values.ravel())), unit)
        for name, (values, unit) in found.items()
        if np.isfinite(values).any() and not (one_port and name.rstrip("'") not in _OF_ONE_PORT)
    }


_OF_ONE_PORT = ("C1", "L1", "R1")


def _capacitances(
    y: ComplexArray, omega: FloatArray, mark: str
) -> dict[str, tuple[FloatArray, str]]:
    if not y.any():
        return {}
    across = -0.5 * (y[..., 0, 1] + y[..., 1, 0])
    return {
        f"C1{mark}": ((y[..., 0, 0] - across).imag / omega, "F"),
        f"C2{mark}": ((y[..., 1, 1] - across).imag / omega, "F"),
        f"C12{mark}": (across.imag / omega, "F"),
    }


def _leads(z: ComplexArray, omega: FloatArray) -> dict[str, tuple[FloatArray, str]]:
    if not z.any():
        return {}
    common = 0.5 * (z[..., 0, 1] + z[..., 1, 0])
    parts = {"1": z[..., 0, 0] - common, "2": z[..., 1, 1] - common, "3": common}
    found: dict[str, tuple[FloatArray, str]] = {}
    for name, part in parts.items():
        found[f"L{name}"] = part.imag / omega, "H"
    for name, part in parts.items():
        found[f"R{name}"] = part.real, "Ω"
    return found


def _median(values: FloatArray) -> FloatArray:
    """Along the first axis, NaN left out."""
    if len(values) == 1:
        return np.asarray(values[0])
    middle = np.median if np.isfinite(values).all() else np.nanmedian
    return np.asarray(middle(values, axis=0))


def _doubled(s: ComplexArray) -> ComplexArray:
    """A one-port dummy as two alike that do not couple; one of two ports as it is."""
    return as_two_port(s, s[..., 0, 0])


def doubts(
    found: Parasitics,
    method: DeembeddingMethod,
    dummies: Mapping[str, ComplexArray],
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    upper_hz: float | None,
) -> tuple[str, ...]:
    """What is wrong with the dummies of one wafer, a sentence each.

    Args:
        found: their `parasitics`, of the arguments that follow.
    """
    told = [*_exchanged(dummies), *_active(dummies, frequency_hz)]
    told += [
        f"{name} is negative, {quantity(value, unit)}: the dummies do not fit the method"
        f" '{method}', or their sweeps are wrong."
        for name, (value, unit) in found.items()
        if value < -LEAST[unit]
    ]
    told += _resonant(dummies, frequency_hz, z_ref_ohm)
    if method in LUMPED:
        told += _not_lumped(found, frequency_hz, upper_hz)
    return tuple(told)


def _exchanged(dummies: Mapping[str, ComplexArray]) -> list[str]:
    """By the sign of the reflection at the lowest frequencies, where pads turn it least."""
    told = []
    for part, sign, other in (
        ("open", 1.0, "a short"),
        ("pad", 1.0, "a short"),
        ("short", -1.0, "an open"),
    ):
        if part not in dummies:
            continue
        s = _doubled(dummies[part][:, : max(1, dummies[part].shape[1] // 10)])
        reflected = float(_median(0.5 * (s[..., 0, 0] + s[..., 1, 1]).real.ravel()))
        if sign * reflected < 0.0:
            told.append(
                f"The {part} dummy looks like {other}: its reflection is {reflected:+.2f} at the"
                " lowest frequencies; it is the wrong structure, or was not contacted."
            )
    return told


@np.errstate(all="ignore")
def _active(dummies: Mapping[str, ComplexArray], frequency_hz: FloatArray) -> list[str]:
    told = []
    for part, s in dummies.items():
        gain = np.abs(s[..., 0, 0]) if s.shape[-1] == 1 else largest_singular_value(s)
        typical = _median(gain)
        if not np.isfinite(typical).any():
            continue
        at = int(np.nanargmax(typical))
        if typical[at] > MOST_SINGULAR_VALUE:
            told.append(
                f"The {part} dummy is not passive: its greatest singular value is"
                f" {typical[at]:.3f} at {frequency(float(frequency_hz[at]))}."
            )
    return told


@np.errstate(all="ignore")
def _resonant(
    dummies: Mapping[str, ComplexArray], frequency_hz: FloatArray, z_ref_ohm: float
) -> list[str]:
    """Where a capacitance or an inductance turns negative that is positive below."""
    told = []
    for part, s in dummies.items():
        if part not in ("open", "pad", "short"):
            continue
        form = impedance if part == "short" else admittance
        matrix = form(_doubled(s), z_ref_ohm)
        for port in (0, 1):
            element = _median(matrix[..., port, port].imag)
            at = _turned(element)
            if at is not None:
                told.append(
                    f"The {part} dummy resonates inside the band: its"
                    f" {'inductance' if part == 'short' else 'capacitance'} at port {port + 1}"
                    f" turns negative at {frequency(float(frequency_hz[at]))}."
                )
    return told


def _turned(element: FloatArray) -> int | None:
    """First of three points below zero in a row, where the lower half is above zero."""
    if not _median(element[: (len(element) + 1) // 2]) > 0.0:
        return None
    below = element < 0.0
    runs = np.flatnonzero(below[:-2] & below[1:-1] & below[2:])
    after = runs[runs >= len(element) // 10]
    return int(after[0]) if len(after) else None


def _not_lumped(found: Parasitics, frequency_hz: FloatArray, upper_hz: float | None) -> list[str]:
    highest_hz = lumped_up_to_hz(found)
    wanted_hz = upper_hz if upper_hz is not None else float(frequency_hz[-1])
    if highest_hz is None or wanted_hz <= highest_hz:
        return []
    declared = (
        f"the declared upper frequency is {frequency(wanted_hz)}"
        if upper_hz is not None
        else f"no upper frequency is declared and the sweeps reach {frequency(wanted_hz)}"
    )
    return [
        "Pads and leads are lumped elements up to about"
        f" {frequency(float(f'{highest_hz:.2g}'))} only, where they turn the phase by"
        f" {MOST_LEAD_PHASE_RAD:g} rad; {declared}."
    ]


def lumped_up_to_hz(found: Parasitics) -> float | None:
    """Frequency at which the longer of pad and lead has `MOST_LEAD_PHASE_RAD`; None: not known."""
    phases = [
        np.sqrt(found[f"L{port}"][0] * found[f"C{port}"][0])
        for port in (1, 2)
        if f"L{port}" in found
        and f"C{port}" in found
        and found[f"L{port}"][0] > 0.0
        and found[f"C{port}"][0] > 0.0
    ]
    return MOST_LEAD_PHASE_RAD / (2.0 * np.pi * float(max(phases))) if phases else None
