"""Names of the figures that a parameter can take from corrected sweeps, with unit and formula."""

from dataclasses import dataclass
from typing import Literal, get_args

FigureName = Literal[
    "inductance",
    "inductor quality",
    "series inductance",
    "series inductor quality",
    "self-resonance",
    "capacitance",
    "shunt capacitance",
    "capacitor quality",
    "shunt capacitor quality",
    "equivalent series resistance",
    "series resistance",
    "shunt resistance",
    "h21 magnitude",
    "unilateral gain",
    "stability factor K",
    "stability factor mu",
    "maximum stable gain",
    "maximum available gain",
    "transit frequency by Im(1/h21)",
    "transit frequency by extrapolation",
    "maximum frequency of oscillation from U",
    "maximum frequency of oscillation from MAG",
    "transconductance",
    "output conductance",
    "gate-source capacitance",
    "gate-drain capacitance",
    "drain-source capacitance",
    "gate resistance",
    "attenuation per length",
    "effective permittivity",
    "characteristic impedance",
    "s11 magnitude",
    "s21 magnitude",
    "s12 magnitude",
    "s22 magnitude",
    "s11 phase",
    "s21 phase",
    "s12 phase",
    "s22 phase",
]

Place = Literal["frequency", "window", "whole"]


@dataclass(frozen=True)
class FigureText:
    """What a figure is, in words and signs."""

    unit: str
    """In which it is computed; a parameter's own unit must be convertible to it."""
    formula: str
    places: tuple[Place, ...] = ("frequency",)
    """Where it can be taken: at one frequency, over a window, over the whole sweep."""
    two_port: bool = True
    """Whether it needs a sweep of two ports."""


def _scattering() -> dict[str, FigureText]:
    texts: dict[str, FigureText] = {}
    for name in ("S11", "S21", "S12", "S22"):
        two_port = name != "S11"
        texts[f"{name.lower()} magnitude"] = FigureText(
            "dB", f"20 log10 |{name}|", two_port=two_port
        )
        texts[f"{name.lower()} phase"] = FigureText("deg", f"arg {name}", two_port=two_port)
    return texts


_ELEMENT: tuple[Place, ...] = ("frequency", "window")
_CUTOFF = "where {gain} falls to 1, along -20 dB per decade fitted over the window"

FIGURE_TEXTS: dict[str, FigureText] = {
    "inductance": FigureText("H", "Im(1/Y11) / (2 pi f)", two_port=False),
    "inductor quality": FigureText("1", "-Im(Y11) / Re(Y11)", two_port=False),
    "series inductance": FigureText("H", "Im(-1/Y12) / (2 pi f)"),
    "series inductor quality": FigureText("1", "Im(-1/Y12) / Re(-1/Y12)"),
    "self-resonance": FigureText(
        "Hz", "lowest f at which Im(1/Y11) falls through 0", ("whole", "window"), two_port=False
    ),
    "capacitance": FigureText("F", "-1 / (2 pi f Im(Z)) with Z = 1/(-Y12)"),
    "shunt capacitance": FigureText("F", "Im(Y11 + Y12) / (2 pi f)", two_port=False),
    "capacitor quality": FigureText("1", "-Im(Z) / Re(Z) with Z = 1/(-Y12)"),
    "shunt capacitor quality": FigureText("1", "Im(Y11 + Y12) / Re(Y11 + Y12)", two_port=False),
    "equivalent series resistance": FigureText("ohm", "Re(Z) with Z = 1/(-Y12)"),
    "series resistance": FigureText("ohm", "Re(-1/Y12)", _ELEMENT),
    "shunt resistance": FigureText("ohm", "Re(1/Y11)", _ELEMENT, two_port=False),
    "h21 magnitude": FigureText("dB", "20 log10 |Y21/Y11|"),
    "unilateral gain": FigureText(
        "dB", "10 log10 of |Y21-Y12|^2 / (4 (Re Y11 Re Y22 - Re Y12 Re Y21))"
    ),
    "stability factor K": FigureText("1", "(1 - |S11|^2 - |S22|^2 + |D|^2) / (2 |S12 S21|)"),
    "stability factor mu": FigureText("1", "(1 - |S11|^2) / (|S22 - D S11*| + |S12 S21|)"),
    "maximum stable gain": FigureText("dB", "10 log10 |S21/S12|"),
    "maximum available gain": FigureText(
        "dB", "10 log10 of |S21/S12| (K - sqrt(K^2 - 1)), for K >= 1 and |D| < 1"
    ),
    "transit frequency by Im(1/h21)": FigureText("Hz", "f / Im(1/h21)", _ELEMENT),
    "transit frequency by extrapolation": FigureText(
        "Hz", _CUTOFF.format(gain="|h21|"), ("window",)
    ),
    "maximum frequency of oscillation from U": FigureText(
        "Hz", _CUTOFF.format(gain="U"), ("window",)
    ),
    "maximum frequency of oscillation from MAG": FigureText(
        "Hz", _CUTOFF.format(gain="MAG"), ("window",)
    ),
    "transconductance": FigureText("S", "|y_m| with y_m = Y21 - Y12, of the inner Y", _ELEMENT),
    "output conductance": FigureText("S", "Re(Y22 + Y12), of the inner Y", _ELEMENT),
    "gate-source capacitance": FigureText("F", "Im(Y11 + Y12)/w, of the inner Y", _ELEMENT),
    "gate-drain capacitance": FigureText("F", "-Im(Y12)/w, of the inner Y", _ELEMENT),
    "drain-source capacitance": FigureText("F", "Im(Y22 + Y12)/w, of the inner Y", _ELEMENT),
    "gate resistance": FigureText("ohm", "Re(1/Y11)", _ELEMENT),
    "attenuation per length": FigureText("dB/m", "20 log10(e) Re(gamma l) / l"),
    "effective permittivity": FigureText("1", "-Re((c gamma l / (2 pi f l))^2)"),
    "characteristic impedance": FigureText("ohm", "Re sqrt(B/C) of the chain matrix"),
    **_scattering(),
}
"""Every figure by the name that a parameter's record uses."""

LEVEL_OVER_A_WINDOW = "the mean of the middle half of the window's points, in order of size"
"""What a figure that is also taken at one frequency is over a window."""

FIGURE_UNITS = {name: text.unit for name, text in FIGURE_TEXTS.items()}
FIGURE_FORMULAS = {name: text.formula for name, text in FIGURE_TEXTS.items()}
FIGURE_PLACES: dict[str, tuple[Place, ...]] = {
    name: text.places for name, text in FIGURE_TEXTS.items()
}
TWO_PORT_ONLY = frozenset(name for name, text in FIGURE_TEXTS.items() if text.two_port)
"""Figures that need a sweep of two ports."""
FIGURE_NAMES: tuple[FigureName, ...] = get_args(FigureName)
