"""Unit symbols and SI prefixes: converting what is read, writing what is shown.

Numbers inside the program are in the parameter's declared unit; prefixes are chosen only here,
where text is made. Rounding follows the GUM (JCGM 100:2008, 7.2.6): an uncertainty has two
significant digits, and its value ends at the same decimal place.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

MISSING = "–"
"""What stands where there is no number."""
THIN = "\u202f"
"""Narrow no-break space between number and unit."""
MINUS = "\u2212"


class UnknownUnit(ValueError):
    """The text names no unit that is known here."""


class NotConvertible(ValueError):
    """Two units measure different things."""


@dataclass(frozen=True)
class Unit:
    """A unit: its canonical symbol, what it measures, and its size in that quantity's base unit."""

    symbol: str
    quantity: str
    factor: float
    offset: float = 0.0
    """Added after the factor; only temperatures have one."""


PREFIXES: dict[str, int] = {
    "f": -15,
    "p": -12,
    "n": -9,
    "µ": -6,
    "m": -3,
    "": 0,
    "k": 3,
    "M": 6,
    "G": 9,
    "T": 12,
}
_PREFIXED = {
    "V": "voltage",
    "A": "current",
    "Ω": "resistance",
    "S": "conductance",
    "F": "capacitance",
    "H": "inductance",
    "W": "power",
    "Hz": "frequency",
    "s": "time",
    "m": "length",
    "V/dec": "voltage per decade",
    "A/V": "conductance",
    "Ω/sq": "sheet resistance",
    "Ω·m": "resistivity",
    "F/m²": "capacitance per area",
    "A/m": "current per width",
    "Ω·mm": "resistance times width",
    "F/m": "capacitance per length",
    "H/m": "inductance per length",
    "A/mm": "current per millimetre",
    "S/mm": "conductance per millimetre",
    "V/V": "ratio of voltages",
}
_PLAIN = {
    "1": Unit("1", "number", 1.0),
    "%": Unit("%", "number", 0.01),
    "dB": Unit("dB", "level", 1.0),
    "dBm": Unit("dBm", "level of power", 1.0),
    "dB/m": Unit("dB/m", "level per length", 1.0),
    "dB/mm": Unit("dB/mm", "level per length", 1e3),
    "deg": Unit("°", "angle", 1.0),
    "rad": Unit("rad", "angle", 180.0 / math.pi),
    "°C": Unit("°C", "temperature", 1.0),
    "K": Unit("K", "temperature", 1.0, -273.15),
    "V/µm": Unit("V/µm", "field", 1.0),
    "Å": Unit("Å", "length", 1e-10),
}
_SPELLINGS = {
    "": "1",
    "ohm": "Ω",
    "Ohm": "Ω",
    "ohms": "Ω",
    "degC": "°C",
    "C": "°C",
    "°": "deg",
    "degree": "deg",
    "angstrom": "Å",
    "A/V": "S",
    "ratio": "1",
}


def known() -> tuple[tuple[str, str, bool], ...]:
    """Every unit: its symbol, what it measures, and whether it takes a prefix of `PREFIXES`."""
    return (
        *((symbol, quantity, True) for symbol, quantity in _PREFIXED.items()),
        *((symbol, unit.quantity, False) for symbol, unit in _PLAIN.items()),
    )


def _canonical(text: str) -> str:
    cleaned = text.strip().replace("\u03bc", "µ").replace("\u2126", "Ω")
    if cleaned in _SPELLINGS:
        return _SPELLINGS[cleaned]
    for spelling in ("ohms", "ohm", "Ohm"):
        cleaned = cleaned.replace(spelling, "Ω")
    if cleaned.startswith("u") and cleaned[1:] in _PREFIXED:
        cleaned = "µ" + cleaned[1:]
    return cleaned


def parse(text: str) -> Unit:
    """The unit that `text` names.

    Raises UnknownUnit with a sentence where it names none.
    """
    symbol = _canonical(text)
    if symbol in _PLAIN:
        return _PLAIN[symbol]
    if symbol in _PREFIXED:
        return Unit(symbol, _PREFIXED[symbol], 1.0)
    if symbol[:1] in PREFIXES and symbol[1:] in _PREFIXED:
        return Unit(symbol, _PREFIXED[symbol[1:]], 10.0 ** PREFIXES[symbol[0]])
    raise UnknownUnit(f"{text!r} is no unit known here")


def normalise(text: str) -> str:
    """The canonical spelling of a unit; raises UnknownUnit."""
    return parse(text).symbol


def conversion(from_unit: str, to_unit: str) -> float:
    """The factor that turns a number in `from_unit` into one in `to_unit`.

    Raises UnknownUnit, or NotConvertible where the two measure different things. Temperatures in
    kelvin and degrees Celsius differ by an offset and are refused: a factor would be wrong.
    """
    source, target = parse(from_unit), parse(to_unit)
    if source.quantity != target.quantity or source.offset != target.offset:
        raise NotConvertible(f"{from_unit!r} cannot be converted to {to_unit!r}")
    return source.factor / target.factor


def shown_unit(values: Iterable[float | None], unit: str) -> tuple[float, str]:
    """Factor and symbol that suit a column of numbers in `unit`.

    The prefix is the one that puts the median magnitude between 1 and 1000; a unit that takes no
    prefix stays as it is. Multiply by the factor, then print the symbol.
    """
    parsed = parse(unit)
    base = _base(parsed)
    magnitudes = sorted(
        abs(value) for value in values if value is not None and math.isfinite(value) and value
    )
    if base is None or not magnitudes:
        return 1.0, "" if parsed.symbol == "1" else parsed.symbol
    size = magnitudes[len(magnitudes) // 2] * parsed.factor
    exponent = min(max(3 * math.floor(math.log10(size) / 3 + 1e-12), -15), 12)
    prefix = next(name for name, power in PREFIXES.items() if power == exponent)
    return parsed.factor / 10.0**exponent, prefix + base


def _base(parsed: Unit) -> str | None:
    if parsed.symbol in _PREFIXED:
        return parsed.symbol
    if parsed.symbol[1:] in _PREFIXED and parsed.symbol[:1] in PREFIXES:
        return parsed.symbol[1:]
    return None


def _places(number: float, digits: int) -> int:
    """Decimal places that show `number` with `digits` significant digits (may be negative)."""
    exact = Decimal(repr(abs(float(number))))
    exponent = exact.adjusted()
    rounded = exact.quantize(Decimal(1).scaleb(exponent - digits + 1), ROUND_HALF_EVEN)
    return digits - 1 - rounded.adjusted()


def _fixed(number: float, places: int) -> str:
    exact = Decimal(repr(float(number))).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    text = f"{exact + 0:f}"
    if float(exact) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def number(value: float | None, digits: int = 4) -> str:
    """A number with `digits` significant digits, without a unit."""
    if value is None or not math.isfinite(value):
        return MISSING
    value = float(value)
    if value == 0:
        return "0"
    if not 1e-4 <= abs(value) < 1e7:
        mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
        return f"{mantissa}×10{_superscript(int(exponent))}".replace("-", MINUS, 1)
    return _fixed(value, max(_places(value, digits), 0))


def _superscript(power: int) -> str:
    return str(power).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


def percent(share: float | None) -> str:
    """'93.2 %': a share of a whole; one that is not whole never reads 0 or 100."""
    if share is None or not math.isfinite(share):
        return MISSING
    if share in {0.0, 1.0}:
        return f"{share * 100 + 0:.0f}{THIN}%"
    return f"{min(max(share * 100, 0.1), 99.9):.1f}{THIN}%"


def percent_over(ratio: float | None) -> str:
    """'2.10 %', '140 %': a ratio in percent that is no share of a whole and may exceed one."""
    return MISSING if ratio is None else f"{number(ratio * 100, 3)}{THIN}%"


NEAREST = 1e-4
"""Probabilities nearer to 0 or 1 than this are told as below or above it."""


def probability(p: float | None) -> str:
    """'97.72 %', at the ends '< 0.01 %' and '> 99.99 %': none is told as certain or impossible."""
    if p is None or not math.isfinite(p):
        return MISSING
    if p > 1.0 - NEAREST:
        return f"> 99.99{THIN}%"
    return f"< 0.01{THIN}%" if p < NEAREST else f"{100 * p:.2f}{THIN}%"


def with_uncertainty(value: float | None, expanded: float | None, digits: int = 2) -> str:
    """'412.3 ± 1.2': value and expanded uncertainty, rounded by the GUM's rule, without a unit."""
    if value is None or not math.isfinite(value):
        return MISSING
    if expanded is None or not math.isfinite(expanded) or expanded <= 0:
        return number(value)
    if not 1e-6 <= expanded < 1e7 or abs(value) >= 1e9:
        return f"{number(value, 6)} ± {number(expanded, digits)}"
    places = _places(expanded, digits)
    return f"{_fixed(value, places)} ± {_fixed(expanded, places)}"


def to_place_of(value: float, expanded: float) -> str:
    """'412.3': the value alone, to the decimal place that `with_uncertainty` gives it."""
    return with_uncertainty(value, expanded).partition(" ±")[0]


def quantity(value: float | None, unit: str, expanded: float | None = None) -> str:
    """'(412.3 ± 1.2) mV', '412.3 mV', or the sign for missing: one number alone in a sentence."""
    if value is None or not math.isfinite(value):
        return MISSING
    factor, symbol = shown_unit([max(abs(value), expanded or 0.0)], unit)
    text = with_uncertainty(value * factor, None if expanded is None else expanded * factor)
    if not symbol:
        return text
    space = "" if symbol == "°" else THIN
    return f"({text}){space}{symbol}" if "±" in text else f"{text}{space}{symbol}"


def axis_title(name: str, symbol: str) -> str:
    """'threshold voltage / mV': name and unit by ISO 80000-1's quotient; a number has no unit."""
    return f"{name} / {symbol}" if symbol not in {"", "1"} else name


def frequency(frequency_hz: float) -> str:
    """'40 GHz', '10 MHz'."""
    factor, symbol = shown_unit([frequency_hz], "Hz")
    return f"{frequency_hz * factor:.5g}{THIN}{symbol}"


def count(number_of: int, singular: str, plural: str | None = None) -> str:
    """'no die', '1 die', '3 dies': a count with its noun."""
    noun = singular if number_of == 1 else (plural or singular + "s")
    return f"{'no' if number_of == 0 else f'{number_of:,}'.replace(',', THIN)} {noun}"
