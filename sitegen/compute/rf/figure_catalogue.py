"""The catalogue of figures: for each its quantity, its estimator and its source."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from sitegen.compute.rf import passive, small_signal
from sitegen.compute.rf.cutoff import cutoff
from sitegen.compute.rf.estimates import at_point, level, zero_crossing
from sitegen.compute.rf.figure_records import (
    Advise,
    Estimator,
    Figure,
    Quantity,
    Surroundings,
    Texts,
)
from sitegen.compute.rf.gains import (
    current_gain,
    decibel,
    maximum_available_gain,
    maximum_stable_gain,
    stability_k,
    stability_mu,
    unilateral_gain,
)
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import FIGURE_TEXTS, FigureName

Branch = Callable[[ComplexArray, Surroundings], ComplexArray]
"""S to an admittance in siemens."""


def _figure(
    key: FigureName,
    name: str,
    source: str,
    quantity: Quantity,
    estimate: Estimator | None = None,
    *,
    undefined: str = "not defined by the measured S-parameters",
    followed: bool = False,
    advise: Advise | None = None,
) -> tuple[str, Figure]:
    """An entry of the catalogue; without an estimator one at a point or level over a window."""
    text = FIGURE_TEXTS[key]
    if estimate is None:
        estimate = level(undefined) if "window" in text.places else at_point(undefined)

    def quiet(s: ComplexArray, frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
        with np.errstate(all="ignore"):
            values = quantity(s, frequency_hz, around)
        return np.where(np.isfinite(values), values, np.nan)

    return key, Figure(
        key, name, text.unit, text.formula, source, quiet, estimate, followed, advise
    )


def _near_resonance(branch: Branch) -> Advise:
    def advise(
        s: ComplexArray, frequency_hz: FloatArray, at_hz: float, around: Surroundings
    ) -> Texts:
        with np.errstate(all="ignore"):
            return passive.near_self_resonance(branch(s, around), frequency_hz, at_hz)

    return advise


def _scattering(key: str, i: int, j: int) -> tuple[tuple[str, Figure], ...]:
    """Magnitude in dB and phase in degrees of one S-parameter."""
    name = key.upper()
    zero = f"{name} is zero"

    def phase_deg(s: ComplexArray, f: FloatArray, around: Surroundings) -> FloatArray:
        return np.where(s[..., i, j] == 0, np.nan, np.degrees(np.angle(s[..., i, j])))

    magnitude, phase = f"{key} magnitude", f"{key} phase"
    return (
        _figure(
            magnitude,  # type: ignore[arg-type]  # a name made of its parts
            f"|{name}|",
            "definition",
            lambda s, f, around: decibel(s[..., i, j]),
            undefined=zero,
        ),
        _figure(
            phase,  # type: ignore[arg-type]  # a name made of its parts
            f"phase of {name}",
            "definition",
            phase_deg,
            undefined=zero,
        ),
    )


_ONE_SIDED, _BETWEEN, _TO_GROUND = passive.one_sided, passive.between, passive.to_ground

_INDUCTORS = (
    _figure(
        "inductance",
        "effective inductance",
        "common practice: the inductance seen at port 1 with port 2 shorted",
        lambda s, f, around: passive.inductance_h(_ONE_SIDED(s, around), f),
        advise=_near_resonance(_ONE_SIDED),
    ),
    _figure(
        "inductor quality",
        "inductor quality factor",
        "common practice: zero at self-resonance; counts shunt capacitance as lost storage",
        lambda s, f, around: -passive.quality(_ONE_SIDED(s, around)),
    ),
    _figure(
        "series inductance",
        "series inductance between the ports",
        "common practice: the series branch of the pi equivalent; shunt branches do not enter",
        lambda s, f, around: passive.inductance_h(_BETWEEN(s, around), f),
        advise=_near_resonance(_BETWEEN),
    ),
    _figure(
        "series inductor quality",
        "quality factor of the series inductance",
        "common practice: of the series branch of the pi equivalent",
        lambda s, f, around: -passive.quality(_BETWEEN(s, around)),
    ),
    _figure(
        "self-resonance",
        "self-resonant frequency",
        "common practice: where the inductance seen at port 1 falls to zero",
        lambda s, f, around: passive.resonant_susceptance(_ONE_SIDED(s, around), f),
        zero_crossing,
    ),
)

_CAPACITORS_AND_RESISTORS = (
    _figure(
        "capacitance",
        "series capacitance between the ports",
        "common practice: the series branch of the pi equivalent as a capacitor with a "
        "resistor in series; shunt branches at the ports do not enter",
        lambda s, f, around: passive.capacitance_f(_BETWEEN(s, around), f),
    ),
    _figure(
        "shunt capacitance",
        "shunt capacitance at port 1",
        "common practice: the branch at port 1 of the pi equivalent",
        lambda s, f, around: passive.parallel_capacitance_f(_TO_GROUND(s, around), f),
    ),
    _figure(
        "capacitor quality",
        "quality factor of the series capacitance",
        "common practice: of the series branch of the pi equivalent",
        lambda s, f, around: passive.quality(_BETWEEN(s, around)),
    ),
    _figure(
        "shunt capacitor quality",
        "quality factor of the shunt capacitance",
        "common practice: of the branch at port 1 of the pi equivalent",
        lambda s, f, around: passive.quality(_TO_GROUND(s, around)),
    ),
    _figure(
        "equivalent series resistance",
        "equivalent series resistance",
        "common practice: of the series branch of the pi equivalent",
        lambda s, f, around: passive.resistance_ohm(_BETWEEN(s, around)),
    ),
    _figure(
        "series resistance",
        "series resistance between the ports",
        "common practice: of the series branch of the pi equivalent",
        lambda s, f, around: passive.resistance_ohm(_BETWEEN(s, around)),
    ),
    _figure(
        "shunt resistance",
        "resistance at port 1",
        "common practice: seen at port 1 with port 2 shorted",
        lambda s, f, around: passive.resistance_ohm(_ONE_SIDED(s, around)),
    ),
)

_NO_U = "U is not above 0"
_NO_MAG = "K is below 1: MAG is undefined, the maximum stable gain holds"


def _h21_db(s: ComplexArray, frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    return decibel(current_gain(s))


def _u_db(s: ComplexArray, frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    gain = unilateral_gain(s)
    return 10.0 * np.log10(np.where(gain > 0, gain, np.nan))


def _mag_db(s: ComplexArray, frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    return 10.0 * np.log10(maximum_available_gain(s))


_GAINS = (
    _figure(
        "h21 magnitude",
        "short-circuit current gain |h21|",
        "two-port theory: h21 = I2/I1 with port 2 shorted",
        _h21_db,
        undefined="|h21| has no level",
    ),
    _figure("unilateral gain", "unilateral gain U", "Mason 1954", _u_db, undefined=_NO_U),
    _figure(
        "stability factor K",
        "stability factor K",
        "Rollett 1962",
        lambda s, f, around: stability_k(s),
        undefined="S12 S21 is zero: K is infinite",
    ),
    _figure(
        "stability factor mu",
        "stability factor mu",
        "Edwards and Sinsky 1992",
        lambda s, f, around: stability_mu(s),
    ),
    _figure(
        "maximum stable gain",
        "maximum stable gain MSG",
        "Rollett 1962",
        lambda s, f, around: 10.0 * np.log10(maximum_stable_gain(s)),
        undefined="S12 or S21 is zero",
    ),
    _figure(
        "maximum available gain",
        "maximum available gain MAG",
        "Rollett 1962",
        _mag_db,
        undefined=_NO_MAG,
    ),
    _figure(
        "transit frequency by Im(1/h21)",
        "transit frequency fT = f/Im(1/h21)",
        "Gummel 1969",
        lambda s, f, around: small_signal.transit_frequency_hz(s, f),
        undefined="Im(1/h21) is zero or not known",
    ),
    _figure(
        "transit frequency by extrapolation",
        "transit frequency fT from |h21|",
        "common practice: -20 dB per decade, mean over the window",
        _h21_db,
        cutoff("|h21| not known there", "|h21| is not known at any point of the window"),
    ),
    _figure(
        "maximum frequency of oscillation from U",
        "maximum frequency of oscillation fmax from U",
        "common practice: -20 dB per decade, mean over the window",
        _u_db,
        cutoff(f"{_NO_U} there", f"{_NO_U} at any point of the window"),
    ),
    _figure(
        "maximum frequency of oscillation from MAG",
        "maximum frequency of oscillation fmax from MAG",
        "common practice: -20 dB per decade, mean over the window",
        _mag_db,
        cutoff(
            "K below 1 there, where MAG is undefined",
            f"at every point of the window {_NO_MAG}",
        ),
    ),
)

_ELEMENTS = "common-source hybrid-pi, Minasian 1977"
_TRANSISTOR = (
    _figure(
        "transconductance",
        "transconductance gm",
        _ELEMENTS,
        lambda s, f, around: small_signal.transconductance_s(s, around),
    ),
    _figure(
        "output conductance",
        "output conductance gds",
        _ELEMENTS,
        lambda s, f, around: small_signal.output_conductance_s(s, around),
    ),
    _figure(
        "gate-source capacitance",
        "gate-source capacitance Cgs",
        _ELEMENTS,
        small_signal.gate_source_capacitance_f,
    ),
    _figure(
        "gate-drain capacitance",
        "gate-drain capacitance Cgd",
        _ELEMENTS,
        small_signal.gate_drain_capacitance_f,
    ),
    _figure(
        "drain-source capacitance",
        "drain-source capacitance Cds",
        _ELEMENTS,
        small_signal.drain_source_capacitance_f,
    ),
    _figure(
        "gate resistance",
        "gate resistance Rg",
        _ELEMENTS,
        lambda s, f, around: small_signal.gate_resistance_ohm(s, around),
    ),
)

_UNDETERMINED = (
    "the line is too near a multiple of 180 degrees, or its length is not stated, or frequencies"
    " lie too far apart to count its turns"
)
_LINES = (
    _figure(
        "attenuation per length",
        "attenuation per length",
        "Eisenstadt and Eo 1992",
        passive.attenuation_db_per_m,
        undefined=_UNDETERMINED,
    ),
    _figure(
        "effective permittivity",
        "effective permittivity",
        "Eisenstadt and Eo 1992",
        passive.effective_permittivity,
        undefined=_UNDETERMINED,
        followed=True,
    ),
    _figure(
        "characteristic impedance",
        "characteristic impedance, real part",
        "Eisenstadt and Eo 1992",
        lambda s, f, around: passive.characteristic_impedance_ohm(s, around),
        undefined="the line's shunt admittance is not seen",
    ),
)

FIGURES: Mapping[str, Figure] = MappingProxyType(
    dict(
        (
            *_INDUCTORS,
            *_CAPACITORS_AND_RESISTORS,
            *_GAINS,
            *_TRANSISTOR,
            *_LINES,
            *_scattering("s11", 0, 0),
            *_scattering("s21", 1, 0),
            *_scattering("s12", 0, 1),
            *_scattering("s22", 1, 1),
        )
    )
)
"""Every figure by the key that a parameter's record names."""
