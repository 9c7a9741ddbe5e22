"""Definitions of standards and models of references in words."""

from collections.abc import Iterator

from pydantic import BaseModel

from sitegen import units
from sitegen.model.calibration import Offset
from sitegen.render.phrases import figure_of

FIELDS = {
    "inductance_ph": ("L", "pH"),
    "capacitance_ff": ("C", "fF"),
    "resistance_ohm": ("R", "Ω"),
    "delay_ps": ("delay", "ps"),
    "z0_ohm": ("Z₀", "Ω"),
    "loss_gohm_per_s": ("loss", "GΩ/s"),
    "attenuation_db": ("attenuation", "dB"),
    "length_um": ("length", "µm"),
}
"""Field of a definition -> what it is called on a page, and its unit."""
UNCERTAINTIES = {
    "inductance_u_ph": ("L", "pH"),
    "capacitance_u_ff": ("C", "fF"),
    "resistance_u_ohm": ("R", "Ω"),
    "delay_u_ps": ("delay", "ps"),
    "z0_u_ohm": ("Z₀", "Ω"),
    "loss_u_gohm_per_s": ("loss", "GΩ/s"),
    "length_u_um": ("length", "µm"),
}
"""The same for standard uncertainties; of a polynomial that of its first coefficient."""
POWERS = ("", "/GHz", "/GHz²", "/GHz³")


def defined(definition: BaseModel) -> str:
    """'L 3.3 pH; behind an offset: delay 3 ps, ...'; what is zero in a polynomial is left out."""
    return "; ".join(_parts(definition))


def uncertain(definition: BaseModel) -> str:
    """'R 0.05 Ω; of the offset: delay 0.01 ps'; empty where none is stated."""
    return "; ".join(_uncertain_parts(definition))


def _uncertain_parts(definition: BaseModel) -> Iterator[str]:
    for name, value in definition:
        if isinstance(value, Offset):
            inside = ", ".join(_uncertain_parts(value))
            if inside:
                yield f"of the offset: {inside}"
        elif name in UNCERTAINTIES and value:
            symbol, unit = UNCERTAINTIES[name]
            yield f"{symbol} {figure_of(value)}{units.THIN}{unit}"


def _parts(definition: BaseModel) -> Iterator[str]:
    for name, value in definition:
        if name == "near":
            yield f"unknown, the same at both ports, near a{'n' * (value == 'open')} {value}"
        if isinstance(value, Offset):
            if value.delay_ps:
                yield f"behind an offset: {', '.join(_parts(value))}"
        elif name in FIELDS:
            symbol, unit = FIELDS[name]
            yield f"{symbol} {_polynomial(value, unit)}"


def _polynomial(value: object, unit: str) -> str:
    coefficients = value if isinstance(value, tuple) else (value,)
    terms = [
        f"{figure_of(each)}{units.THIN}{unit}{power}"
        for each, power in zip(coefficients, POWERS, strict=False)
        if each
    ]
    return " + ".join(terms) or f"0{units.THIN}{unit}"
