"""calibrations/ID/record.toml: one calibration at the probe tips, raw sweeps included."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import FileName, Identifier, Instant, NotNegative, Positive, Record, Text
from sitegen.model.station_state import StationState

Coefficients = Annotated[tuple[float, ...], Field(min_length=1, max_length=4)]


class Offset(Record):
    """The piece of line in front of a standard."""

    delay_ps: NotNegative = Field(default=0.0, description="one-way delay, in picoseconds")
    z0_ohm: Positive = Field(default=50.0, description="its characteristic impedance, in ohms")
    loss_gohm_per_s: NotNegative = Field(
        default=0.0, description="its loss at 1 GHz, in gigaohms per second, growing with sqrt(f)"
    )


class ShortDefinition(Record):
    """A short: series inductance behind an offset."""

    kind: Literal["short"]
    inductance_ph: Coefficients = Field(
        default=(0.0,), description="L0 to L3: pH, pH/GHz, pH/GHz², pH/GHz³"
    )
    offset: Offset = Offset()


class OpenDefinition(Record):
    """An open: shunt capacitance behind an offset."""

    kind: Literal["open"]
    capacitance_ff: Coefficients = Field(
        default=(0.0,), description="C0 to C3: fF, fF/GHz, fF/GHz², fF/GHz³"
    )
    offset: Offset = Offset()


class LoadDefinition(Record):
    """A load: resistance and inductance in series, shunted by a capacitance, behind an offset."""

    kind: Literal["load"]
    resistance_ohm: Positive
    inductance_ph: float = 0.0
    capacitance_ff: float = 0.0
    offset: Offset = Offset()


class ThruDefinition(Record):
    """A thru or line between the two ports."""

    kind: Literal["thru"]
    delay_ps: NotNegative
    z0_ohm: Positive = 50.0
    loss_gohm_per_s: NotNegative = 0.0


StandardDefinition = Annotated[
    ShortDefinition | OpenDefinition | LoadDefinition | ThruDefinition,
    Field(discriminator="kind"),
]


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
    contacts: int = Field(ge=0, description="contacts of this set so far")
    contacts_max: int = Field(ge=1, description="bound on the contacts of a set")
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
    substrate_change_c: Positive


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
        default=None, description="greatest | |Γ| - 1 | of the solved short (LRRM)"
    )
    reported_terms_difference: Positive | None = Field(
        default=None, description="greatest difference from the terms that the instrument reported"
    )


class CalibrationRecord(Record):
    """record.toml of a calibration as a whole."""

    id: Identifier
    station: Identifier
    instrument: Identifier = Field(description="the analyser; its clock stamped 'at'")
    at: Instant
    by: Text
    method: Literal["one-port", "SOLT", "LRRM"]
    ports: tuple[int, ...] = Field(default=(1, 2), description="ports that were calibrated")
    reference_impedance_ohm: Positive
    reference_plane: Text = Field(description="where the corrected sweeps refer to")
    wave_definition: Literal["power", "travelling", "pseudo"]
    frequency_start_hz: Positive
    frequency_stop_hz: Positive
    frequency_points: int = Field(ge=1)
    averaging: int = Field(ge=1)
    ambient_c: float
    substrate_c: float
    overtravel_um: NotNegative
    probe_spacing_um: NotNegative
    state: StationState
    substrate: Substrate
    definitions: dict[str, StandardDefinition] = Field(min_length=1)
    sweeps: tuple[RawSweep, ...] = Field(min_length=1)
    switch_terms: SwitchTerms | None = None
    reported_terms: FileName | None = Field(
        default=None,
        description="Parquet table of the error terms that the instrument reported:"
        " frequency_hz, term, re, im",
    )
    validity: Validity
    bounds: CheckBounds = CheckBounds()
