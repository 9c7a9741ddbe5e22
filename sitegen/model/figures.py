"""Names of the figures that a parameter can take from a corrected sweep at one frequency."""

from typing import Literal

FigureName = Literal[
    "inductance",
    "inductor quality",
    "capacitance",
    "h21 magnitude",
    "s11 magnitude",
    "s21 magnitude",
    "s12 magnitude",
    "s22 magnitude",
    "s11 phase",
    "s21 phase",
    "s12 phase",
    "s22 phase",
]

FIGURE_UNITS: dict[FigureName, str] = {
    "inductance": "H",
    "inductor quality": "1",
    "capacitance": "F",
    "h21 magnitude": "dB",
    "s11 magnitude": "dB",
    "s21 magnitude": "dB",
    "s12 magnitude": "dB",
    "s22 magnitude": "dB",
    "s11 phase": "deg",
    "s21 phase": "deg",
    "s12 phase": "deg",
    "s22 phase": "deg",
}
"""The unit in which each figure is computed; a parameter's own unit must be convertible to it."""

TWO_PORT_ONLY: frozenset[FigureName] = frozenset(
    {
        "capacitance",
        "h21 magnitude",
        "s21 magnitude",
        "s12 magnitude",
        "s22 magnitude",
        "s21 phase",
        "s12 phase",
        "s22 phase",
    }
)
"""Figures that need a sweep of two ports."""

FIGURE_FORMULAS: dict[FigureName, str] = {
    "inductance": "Im(1/Y11) / (2 pi f)",
    "inductor quality": "-Im(Y11) / Re(Y11)",
    "capacitance": "-1 / (2 pi f Im(Z)) with Z = 1/(-Y12)",
    "h21 magnitude": "20 log10 |Y21/Y11|",
    "s11 magnitude": "20 log10 |S11|",
    "s21 magnitude": "20 log10 |S21|",
    "s12 magnitude": "20 log10 |S12|",
    "s22 magnitude": "20 log10 |S22|",
    "s11 phase": "arg S11",
    "s21 phase": "arg S21",
    "s12 phase": "arg S12",
    "s22 phase": "arg S22",
}
"""How each figure follows from the corrected S- or Y-parameters at one frequency."""
