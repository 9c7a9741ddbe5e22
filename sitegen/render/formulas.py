"""Formulas of figures as they are declared, set for reading: 'Im(1/Y11)' with its index set low."""

import re

from markupsafe import Markup, escape

_INDEXED = re.compile(r"([YZSh])(11|12|21|22)(?!\d)|([A-Za-z])_([A-Za-z]+)|(log)(10)(?!\d)")
_MINUS = re.compile(r"(?<![A-Za-z])-(?=[\dA-Za-z(|])|(?<=\d)-(?=[A-Z])|(?<= )-(?= )")
_SIGNS = (
    (re.compile(r"\bpi\b"), "π"),
    (re.compile(r"\bgamma\b"), "γ"),
    (re.compile(r"(?<=/)w\b"), "ω"),
    (re.compile(r"\bsqrt\b"), "√"),
    (re.compile(r"\^2"), "²"),
    (re.compile(r">="), "≥"),
    (_MINUS, "−"),
)


def formula_text(formula: str) -> Markup:
    """A formula as HTML, with signs and indices as they are printed."""
    for pattern, sign in _SIGNS:
        formula = pattern.sub(sign, formula)
    parts, end = [], 0
    for found in _INDEXED.finditer(formula):
        letter, index = (one for one in found.groups() if one is not None)
        parts += [
            escape(formula[end : found.start()]),
            Markup("{}<sub>{}</sub>").format(letter, index),
        ]
        end = found.end()
    return Markup("").join([*parts, escape(formula[end:])])
