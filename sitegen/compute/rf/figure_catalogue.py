"""The catalogue of figures: for each its quantity, its estimator and its source."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from sitegen.compute.rf import gains, passive, small_signal
from sitegen.compute.rf.cutoff import cutoff
from sitegen.compute.rf.estimates import at_point, level, zero_crossing
from sitegen.compute.rf.figure_records import Advise, Estimator, Figure, Quantity, Slope
from sitegen.compute.rf.passive import BETWEEN, ONE_SIDED, TO_GROUND, Branch
from sitegen.compute.rf.seen import Seen
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import FIGURE_TEXTS, FigureName


def _figure(
    key: FigureName,
    name: str,
    source: str,
    quantity: Quantity,
    slope: Slope,
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
    return key, Figure(
        key, name, text.unit, text.formula, source, quantity, slope, estimate, followed, advise
    )


def _of_branch(
    key: FigureName,
    name: str,
    source: str,
    branch: Branch,
    quantity: Callable[[ComplexArray, FloatArray], FloatArray],
    by_y: Callable[[ComplexArray, FloatArray], ComplexArray],
    estimate: Estimator | None = None,
    *,
    sign: float = 1.0,
    advise: Advise | None = None,
) -> tuple[str, Figure]:
    """A figure of one branch's admittance."""
    return _figure(
        key,
        name,
        source,
        lambda at: sign * quantity(branch.y(at), at.angular),
        lambda at: branch.by_s(at, sign * by_y(branch.y(at), at.angular)),
        estimate,
        advise=advise,
    )


def _scattering(key: str, place: int) -> tuple[tuple[str, Figure], ...]:
    """Magnitude in dB and phase in degrees of one S-parameter, by its place among the entries."""
    name = key.upper()
    zero = f"{name} is zero"

    def phase_deg(at: Seen) -> FloatArray:
        s = at.s[place]
        return np.where(s == 0, np.nan, np.degrees(np.angle(s)))

    def relative(at: Seen, scale: complex) -> ComplexArray:
        found = np.zeros_like(at.s)
        found[place] = scale / at.s[place]
        return found

    magnitude, phase = f"{key} magnitude", f"{key} phase"
    return (
        _figure(
            magnitude,  # type: ignore[arg-type]  # a name made of its parts
            f"|{name}|",
            "definition",
            lambda at: gains.decibel(at.s[place]),
            lambda at: relative(at, gains.DB_PER_NEPER),
            undefined=zero,
        ),
        _figure(
            phase,  # type: ignore[arg-type]  # a name made of its parts
            f"phase of {name}",
            "definition",
            phase_deg,
            lambda at: relative(at, -1j * 180.0 / np.pi),
            undefined=zero,
        ),
    )


_INDUCTORS = (
    _of_branch(
        "inductance",
        "effective inductance",
        "common practice: the inductance seen at port 1 with port 2 shorted",
        ONE_SIDED,
        passive.inductance_h,
        passive.by_inductance_h,
        advise=passive.near_self_resonance(ONE_SIDED),
    ),
    _of_branch(
        "inductor quality",
        "inductor quality factor",
        "common practice: zero at self-resonance; counts shunt capacitance as lost storage",
        ONE_SIDED,
        passive.quality,
        passive.by_quality,
        sign=-1.0,
    ),
    _of_branch(
        "series inductance",
        "series inductance between the ports",
        "common practice: the series branch of the pi equivalent; shunt branches do not enter",
        BETWEEN,
        passive.inductance_h,
        passive.by_inductance_h,
        advise=passive.near_self_resonance(BETWEEN),
    ),
    _of_branch(
        "series inductor quality",
        "quality factor of the series inductance",
        "common practice: of the series branch of the pi equivalent",
        BETWEEN,
        passive.quality,
        passive.by_quality,
        sign=-1.0,
    ),
    _of_branch(
        "self-resonance",
        "self-resonant frequency",
        "common practice: where the inductance seen at port 1 falls to zero",
        ONE_SIDED,
        passive.resonant_susceptance,
        passive.by_resonant_susceptance,
        zero_crossing,
    ),
)

_CAPACITORS_AND_RESISTORS = (
    _of_branch(
        "capacitance",
        "series capacitance between the ports",
        "common practice: the series branch of the pi equivalent as a capacitor with a "
        "resistor in series; shunt branches at the ports do not enter",
        BETWEEN,
        passive.capacitance_f,
        passive.by_capacitance_f,
    ),
    _of_branch(
        "shunt capacitance",
        "shunt capacitance at port 1",
        "common practice: the branch at port 1 of the pi equivalent",
        TO_GROUND,
        passive.parallel_capacitance_f,
        passive.by_parallel_capacitance_f,
    ),
    _of_branch(
        "capacitor quality",
        "quality factor of the series capacitance",
        "common practice: of the series branch of the pi equivalent",
        BETWEEN,
        passive.quality,
        passive.by_quality,
    ),
    _of_branch(
        "shunt capacitor quality",
        "quality factor of the shunt capacitance",
        "common practice: of the branch at port 1 of the pi equivalent",
        TO_GROUND,
        passive.quality,
        passive.by_quality,
    ),
    _of_branch(
        "equivalent series resistance",
        "equivalent series resistance",
        "common practice: of the series branch of the pi equivalent",
        BETWEEN,
        passive.resistance_ohm,
        passive.by_resistance_ohm,
    ),
    _of_branch(
        "series resistance",
        "series resistance between the ports",
        "common practice: of the series branch of the pi equivalent",
        BETWEEN,
        passive.resistance_ohm,
        passive.by_resistance_ohm,
    ),
    _of_branch(
        "shunt resistance",
        "resistance at port 1",
        "common practice: seen at port 1 with port 2 shorted",
        ONE_SIDED,
        passive.resistance_ohm,
        passive.by_resistance_ohm,
    ),
)

_NO_U = "U is not above 0"
_NO_MAG = "K is below 1: MAG is undefined, the maximum stable gain holds"
_H21_DB = (gains.current_gain_db, gains.by_current_gain_db)
_U_DB = (gains.unilateral_gain_db, gains.by_unilateral_gain_db)
_MAG_DB = (gains.available_gain_db, gains.by_available_gain_db)

_GAINS = (
    _figure(
        "h21 magnitude",
        "short-circuit current gain |h21|",
        "two-port theory: h21 = I2/I1 with port 2 shorted",
        *_H21_DB,
        undefined="|h21| has no level",
    ),
    _figure("unilateral gain", "unilateral gain U", "Mason 1954", *_U_DB, undefined=_NO_U),
    _figure(
        "stability factor K",
        "stability factor K",
        "Rollett 1962",
        gains.stability_k,
        gains.by_stability_k,
        undefined="S12 S21 is zero: K is infinite",
    ),
    _figure(
        "stability factor mu",
        "stability factor mu",
        "Edwards and Sinsky 1992",
        gains.stability_mu,
        gains.by_stability_mu,
    ),
    _figure(
        "maximum stable gain",
        "maximum stable gain MSG",
        "Rollett 1962",
        gains.stable_gain_db,
        gains.by_stable_gain_db,
        undefined="S12 or S21 is zero",
    ),
    _figure(
        "maximum available gain",
        "maximum available gain MAG",
        "Rollett 1962",
        *_MAG_DB,
        undefined=_NO_MAG,
    ),
    _figure(
        "transit frequency by Im(1/h21)",
        "transit frequency fT = f/Im(1/h21)",
        "Gummel 1969",
        small_signal.transit_frequency_hz,
        small_signal.by_transit_frequency_hz,
        undefined="Im(1/h21) is zero or not known",
    ),
    _figure(
        "transit frequency by extrapolation",
        "transit frequency fT from |h21|",
        "common practice: -20 dB per decade, mean over the window",
        *_H21_DB,
        cutoff("|h21| not known there", "|h21| is not known at any point of the window"),
    ),
    _figure(
        "maximum frequency of oscillation from U",
        "maximum frequency of oscillation fmax from U",
        "common practice: -20 dB per decade, mean over the window",
        *_U_DB,
        cutoff(f"{_NO_U} there", f"{_NO_U} at any point of the window"),
    ),
    _figure(
        "maximum frequency of oscillation from MAG",
        "maximum frequency of oscillation fmax from MAG",
        "common practice: -20 dB per decade, mean over the window",
        *_MAG_DB,
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
        small_signal.transconductance_s,
        small_signal.by_transconductance_s,
    ),
    _figure(
        "output conductance",
        "output conductance gds",
        _ELEMENTS,
        small_signal.output_conductance_s,
        small_signal.by_output_conductance_s,
    ),
    _figure(
        "gate-source capacitance",
        "gate-source capacitance Cgs",
        _ELEMENTS,
        small_signal.gate_source_capacitance_f,
        small_signal.by_gate_source_capacitance_f,
    ),
    _figure(
        "gate-drain capacitance",
        "gate-drain capacitance Cgd",
        _ELEMENTS,
        small_signal.gate_drain_capacitance_f,
        small_signal.by_gate_drain_capacitance_f,
    ),
    _figure(
        "drain-source capacitance",
        "drain-source capacitance Cds",
        _ELEMENTS,
        small_signal.drain_source_capacitance_f,
        small_signal.by_drain_source_capacitance_f,
    ),
    _figure(
        "gate resistance",
        "gate resistance Rg",
        _ELEMENTS,
        small_signal.gate_resistance_ohm,
        small_signal.by_gate_resistance_ohm,
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
        passive.by_attenuation_db_per_m,
        undefined=_UNDETERMINED,
    ),
    _figure(
        "effective permittivity",
        "effective permittivity",
        "Eisenstadt and Eo 1992",
        passive.effective_permittivity,
        passive.by_effective_permittivity,
        undefined=_UNDETERMINED,
        followed=True,
    ),
    _figure(
        "characteristic impedance",
        "characteristic impedance, real part",
        "Eisenstadt and Eo 1992",
        passive.characteristic_impedance_ohm,
        passive.by_characteristic_impedance_ohm,
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
            *_scattering("s11", 0),
            *_scattering("s21", 2),
            *_scattering("s12", 1),
            *_scattering("s22", 3),
        )
    )
)
"""Every figure by the key that a parameter's record names."""
