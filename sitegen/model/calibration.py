"""calibrations/ID/record.toml: one calibration at the probe tips, raw sweeps included."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import (
    FileName,
    Identifier,
    Instant,
    NotNegative,
    Positive,
    Record,
    SizeOrZero,
    Text,
)
from sitegen.model.station_state import StationState

Coefficients = Annotated[tuple[float, ...], Field(min_length=1, max_length=4)]


class Offset(Record):
    """The piece of line in front of a standard."""

    delay_ps: NotNegative = Field(default=0.0, description="one-way delay, in picoseconds")
    z0_ohm: Positive = Field(default=50.0, description="its characteristic impedance, in ohms")
    loss_gohm_per_s: NotNegative = Field(
        default=0.0, description="its loss at 1 GHz, in gigaohms per second, growing with sqrt(f)"
    )
    delay_u_ps: SizeOrZero = Field(default=0.0, description="standard uncertainty of its delay")
    z0_u_ohm: SizeOrZero = Field(default=0.0, description="standard uncertainty of its impedance")


class ShortDefinition(Record):
    """A short: series inductance behind an offset."""

    kind: Literal["short"]
    inductance_ph: Coefficients = Field(
        default=(0.0,), description="L0 to L3: pH, pH/GHz, pH/GHz², pH/GHz³"
    )
    inductance_u_ph: SizeOrZero = Field(default=0.0, description="standard uncertainty of L0")
    offset: Offset = Offset()


class OpenDefinition(Record):
    """An open: shunt capacitance behind an offset."""

    kind: Literal["open"]
    capacitance_ff: Coefficients = Field(
        default=(0.0,), description="C0 to C3: fF, fF/GHz, fF/GHz², fF/GHz³"
    )
    capacitance_u_ff: SizeOrZero = Field(default=0.0, description="standard uncertainty of C0")
    offset: Offset = Offset()


class LoadDefinition(Record):
    """A load: resistance and inductance in series, shunted by a capacitance, behind an offset."""

    kind: Literal["load"]
    resistance_ohm: Positive
    inductance_ph: float = 0.0
    capacitance_ff: float = 0.0
    resistance_u_ohm: SizeOrZero = Field(
        default=0.0,
        description="standard uncertainty of its resistance, of the day's where it was measured",
    )
    inductance_u_ph: SizeOrZero = Field(
        default=0.0, description="standard uncertainty of its inductance, where it is not fitted"
    )
    capacitance_u_ff: SizeOrZero = Field(
        default=0.0, description="standard uncertainty of its capacitance, where it is not fitted"
    )
    offset: Offset = Offset()


class ThruDefinition(Record):
    """A thru between the two ports, defined by its delay; of SOLR only roughly."""

    kind: Literal["thru"]
    delay_ps: NotNegative
    z0_ohm: Positive = 50.0
    loss_gohm_per_s: NotNegative = 0.0
    delay_u_ps: SizeOrZero = Field(default=0.0, description="standard uncertainty of its delay")
    z0_u_ohm: SizeOrZero = Field(default=0.0, description="standard uncertainty of its impedance")
    loss_u_gohm_per_s: SizeOrZero = Field(
        default=0.0, description="standard uncertainty of its loss"
    )


class LineDefinition(Record):
    """A line of TRL, defined by its length between the reference planes; the shortest is the thru.

    Length 0 puts the planes into the middle of the thru.
    """

    kind: Literal["line"]
    length_um: NotNegative
    length_u_um: SizeOrZero = Field(default=0.0, description="standard uncertainty of its length")


class ReflectDefinition(Record):
    """A reflect that is equal at both ports and otherwise unknown (LRM, TRL)."""

    kind: Literal["reflect"]
    near: Literal["short", "open"] = Field(description="which of the two it resembles")
    offset: Offset = Offset()


StandardDefinition = Annotated[
    ShortDefinition
    | OpenDefinition
    | LoadDefinition
    | ThruDefinition
    | LineDefinition
    | ReflectDefinition,
    Field(discriminator="kind"),
]
"""Ports that name the same definition share its error; other definitions err independently."""


class LineMedium(Record):
    """What is known of the lines of TRL: the way from their impedance to the declared one."""

    effective_permittivity: Positive = Field(description="approximate; chooses between two roots")
    capacitance_pf_per_m: Positive = Field(description="of the line, declared or measured")
    capacitance_u_pf_per_m: SizeOrZero = Field(
        default=0.0, description="standard uncertainty of the capacitance"
    )
    source: Text = Field(description="where the capacitance comes from")


class SweepUncertainty(Record):
    """What sweeps can be off by beside their definitions; each a standard uncertainty (k = 1)."""

    noise_floor: NotNegative | None = Field(
        default=None,
        description="of each real and imaginary part of a raw S-parameter, whatever its size;"
        " none: estimated from the repeats",
    )
    trace_noise: NotNegative | None = Field(
        default=None,
        description="of each part, as a share of |S|; none: estimated from the repeats",
    )
    contact_repeatability: NotNegative = Field(
        default=0.0,
        description="of each real and imaginary part of a reflection at the probe tips from one"
        " contact to the next, and of a transmission as a share of it, the same over frequency",
    )
    linearity: NotNegative = Field(
        default=0.0, description="of a raw S-parameter, as a share of it, the same over frequency"
    )
    cable: NotNegative = Field(
        default=0.0,
        description="change of a path, as a share in each part, when the probes are moved;"
        " a reflection sees it twice",
    )
    monte_carlo_draws: int | None = Field(
        default=None,
        ge=100,
        le=20000,
        description="check the propagation with so many simulated calibrations",
    )


class ProbeUse(Record):
    """A probe at the time of the calibration."""

    port: int = Field(ge=1)
    probe: Identifier
    contacts: int | None = Field(
        default=None, ge=0, description="contacts of this probe so far; none: not stated"
    )
    contact_resistance_ohm: NotNegative | None = Field(
        default=None, description="measured on a short that day"
    )
    contact_resistance_max_ohm: Positive | None = Field(
        default=None, description="bound on it; none: shown, not judged"
    )


class RawSweep(Record):
    """The raw sweep of standards, as the analyser gave it without correction."""

    file: FileName = Field(description="Touchstone file")
    repeats: tuple[FileName, ...] = Field(
        default=(), description="further raw sweeps of the same contact, without lifting"
    )
    port_1: Identifier | None = Field(default=None, description="definition that port 1 contacts")
    port_2: Identifier | None = Field(default=None, description="definition that port 2 contacts")
    between: Identifier | None = Field(
        default=None, description="definition of the thru between the ports"
    )

    @model_validator(mode="after")
    def _something_contacted(self) -> Self:
        one_port = self.port_1 is not None or self.port_2 is not None
        if one_port == (self.between is not None):
            raise ValueError("give either 'between' (a thru) or 'port_1' and 'port_2' (reflects)")
        return self


class SwitchTerms(Record):
    """The analyser's switch terms, each a one-port Touchstone file."""

    forward: FileName = Field(description="a2/b2 while port 1 is driven")
    reverse: FileName = Field(description="a1/b1 while port 2 is driven")


class Substrate(Record):
    """The contact substrate that carries the standards."""

    serial_number: Text
    standard_set: Text = Field(description="which set of standards on it was contacted")
    contacts: int | None = Field(
        default=None, ge=0, description="contacts of this set so far; none: not stated, not judged"
    )
    contacts_max: int | None = Field(
        default=None, ge=1, description="bound on the contacts of a set; none: shown, not judged"
    )
    definitions_source: Text = Field(description="where its definitions come from")
    definitions_version: Text
    load_resistance_port_1_ohm: Positive | None = Field(
        default=None, description="measured through the probe that day"
    )
    load_resistance_port_2_ohm: Positive | None = Field(
        default=None, description="measured through the probe that day"
    )


class Validity(Record):
    """How long a calibration holds, and over which change of temperature."""

    hours: Positive
    ambient_change_c: Positive
    substrate_change_c: Positive | None = Field(
        default=None,
        description="of the contact substrate's temperature, either way; none: not bounded, and no"
        " value loses its standing to it",
    )


class CheckBounds(Record):
    """What the calibration's own checks must meet; a check without a bound is shown, not judged."""

    repeatability: Positive | None = Field(
        default=None, description="greatest |ΔS| between raw sweeps of one contact"
    )
    load_inductance_min_ph: float | None = None
    load_inductance_max_ph: float | None = None
    load_resistance_difference_ohm: Positive | None = Field(
        default=None, description="greatest difference of the day's load resistance from declared"
    )
    residual: Positive | None = Field(
        default=None, description="greatest residual of a redundant standard"
    )
    reflect_magnitude_difference: Positive | None = Field(
        default=None,
        description="greatest | |Γ| - 1 | of the solved reflect that was not assumed lossless",
    )
    reported_terms_difference: Positive | None = Field(
        default=None,
        description="greatest difference that a passive device could see between the terms that"
        " the instrument reported and those solved here",
    )
    noise_floor: Positive | None = Field(
        default=None, description="greatest noise floor estimated from repeats"
    )
    trace_noise: Positive | None = Field(
        default=None, description="greatest trace noise estimated from repeats, as a share of |S|"
    )
    open_short_distance: Positive | None = Field(
        default=None,
        description="greatest distance from -1 of raw open over raw short after their definitions'"
        " phase",
    )
    raw_difference_from_previous: Positive | None = Field(
        default=None,
        description="greatest |ΔS| of raw open and raw short from the station's previous"
        " calibration",
    )
    difference_from_previous: Positive | None = Field(
        default=None,
        description="greatest difference that a passive device could see between this calibration"
        " and the station's previous one",
    )
    load_capacitance_min_ff: float | None = None
    load_capacitance_max_ff: float | None = None
    fit_remainder: Positive | None = Field(
        default=None,
        description="greatest remainder of the load's fit: | |open| - its defined magnitude |",
    )
    thru_phase_difference_deg: Positive | None = Field(
        default=None,
        description="greatest difference of a solved thru's phase from its defined delay",
    )
    line_phase_min_deg: Positive = Field(
        default=20.0,
        description="least phase between line and thru, modulo 180 degrees, at which TRL is"
        " determined (common practice)",
    )
    line_phase_max_deg: Positive = Field(
        default=160.0, description="greatest such phase (common practice)"
    )
    line_u_max: Positive = Field(
        default=0.05,
        description="largest standard uncertainty of a corrected match at which multiline TRL is"
        " determined; an editable default",
    )
    effective_permittivity_min: Positive | None = None
    effective_permittivity_max: Positive | None = None
    attenuation_max_db_per_mm: Positive | None = None


class CalibrationRecord(Record):
    """record.toml of a calibration as a whole."""

    id: Identifier
    campaign: Identifier | None = Field(
        default=None, description="id of the campaign it belongs to; another one is a fault"
    )
    station: Identifier
    instrument: Identifier = Field(description="the analyser; its clock stamped 'at'")
    at: Instant
    by: Text
    method: Literal["one-port", "SOLT", "SOLR", "LRM", "LRRM", "TRL", "multiline TRL"]
    load_fit: Literal["none", "inductance", "inductance and capacitance"] = Field(
        default="inductance", description="what LRRM finds of its load from the open"
    )
    ports: tuple[int, ...] = Field(default=(1, 2), description="ports that were calibrated")
    reference_impedance_ohm: Positive
    reference_plane: Text = Field(description="where the corrected sweeps refer to")
    wave_definition: Literal["power", "travelling", "pseudo"]
    frequency_start_hz: Positive
    frequency_stop_hz: Positive
    frequency_points: int = Field(ge=1)
    averaging: int | None = Field(
        default=None, ge=1, description="sweeps that were averaged; none: not stated"
    )
    ambient_c: float
    substrate_c: float | None = Field(
        default=None,
        description="contact substrate's temperature, in °C; none: not stated, and its change is"
        " not checked",
    )
    overtravel_um: NotNegative | None = Field(
        default=None, description="overtravel after first contact, in µm; none: not stated"
    )
    probe_spacing_um: NotNegative | None = Field(
        default=None, description="distance between the probes' tips, in µm; none: not stated"
    )
    state: StationState
    substrate: Substrate
    definitions: dict[str, StandardDefinition] = Field(min_length=1)
    line_medium: LineMedium | None = Field(default=None, description="needed by TRL")
    probe_use: tuple[ProbeUse, ...] = ()
    uncertainty: SweepUncertainty | None = Field(
        default=None, description="none: no uncertainty of corrected sweeps is stated"
    )
    sweeps: tuple[RawSweep, ...] = Field(min_length=1)
    switch_terms: SwitchTerms | None = None
    reported_terms: FileName | None = Field(
        default=None,
        description="Parquet table of the error terms that the instrument reported:"
        " frequency_hz, term, re, im",
    )
    validity: Validity
    bounds: CheckBounds = CheckBounds()
