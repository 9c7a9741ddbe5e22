"""verifications/ID/record.toml: structures that took no part in the calibration, measured again."""

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import (
    FileName,
    Identifier,
    Instant,
    NotNegative,
    Positive,
    Record,
    Size,
    SizeOrZero,
    Text,
)
from sitegen.model.calibration import LoadDefinition, OpenDefinition, ShortDefinition
from sitegen.model.station_state import StationState


class LineModel(Record):
    """A matched or mismatched line."""

    kind: Literal["line"]
    delay_ps: NotNegative
    z0_ohm: Positive = 50.0
    loss_gohm_per_s: NotNegative = 0.0


class AttenuatorModel(Record):
    """A matched attenuator without delay."""

    kind: Literal["attenuator"]
    attenuation_db: NotNegative


class MeasuredReference(Record):
    """What the structure showed when the system was accepted."""

    kind: Literal["measured"]
    file: FileName = Field(description="Touchstone file of the corrected sweep at acceptance")
    standard_uncertainty: Size = Field(
        description="of each real and imaginary part, linear magnitude, without what it shares"
        " with the verification"
    )
    shares: Literal["nothing", "definitions"] = Field(
        default="nothing",
        description="'definitions': it was measured with the same standards' definitions, whose"
        " errors are common to both and leave their difference",
    )
    reference_plane: Text | None = Field(
        default=None, description="where it refers to; none: the calibration's reference plane"
    )
    measured_on: Text = Field(description="when and where, with its certificate or record")


Reference = Annotated[
    MeasuredReference
    | LineModel
    | AttenuatorModel
    | ShortDefinition
    | OpenDefinition
    | LoadDefinition,
    Field(discriminator="kind"),
]

MaskPoint = tuple[float, float]


class Mask(Record):
    """The greatest accepted deviation over frequency, linear between its points."""

    parameter: Literal["s11", "s21", "s12", "s22"]
    quantity: Literal["complex deviation", "magnitude db", "phase deg"]
    points: tuple[MaskPoint, ...] = Field(
        min_length=1, description="[frequency_hz, limit] with increasing frequency"
    )

    @model_validator(mode="after")
    def _points_in_order(self) -> Self:
        frequencies = [point[0] for point in self.points]
        if any(later <= earlier for earlier, later in pairwise(frequencies)):
            raise ValueError("the mask's frequencies must increase")
        if any(point[1] <= 0 for point in self.points):
            raise ValueError("the mask's limits must be greater than zero")
        return self


class LineQuantity(Record):
    """A quantity of a line at one frequency, held against its reference."""

    quantity: Literal["effective permittivity", "attenuation db per mm", "phase deg per mm"]
    frequency_hz: Positive
    reference: float
    reference_u: SizeOrZero = Field(
        default=0.0, description="standard uncertainty of the reference"
    )
    tolerance: Positive = Field(description="greatest accepted difference from the reference")


class Structure(Record):
    """One structure of a verification."""

    id: Identifier
    description: Text
    file: FileName = Field(description="Touchstone file")
    repeats: tuple[FileName, ...] = Field(
        default=(), description="further sweeps of it, lifted and contacted again"
    )
    sweep: Literal["raw", "corrected"]
    reference: Reference
    reference_u: SizeOrZero = Field(
        default=0.0,
        description="standard uncertainty of each part of a modelled reference",
    )
    masks: tuple[Mask, ...] = Field(min_length=1)
    length_um: Positive | None = Field(default=None, description="of a line")
    line_quantities: tuple[LineQuantity, ...] = ()
    agreement: Literal["shown", "share of points", "greatest value"] = Field(
        default="shown",
        description="rule by which the normalised deviation of the whole sweep is judged",
    )
    false_alarm_rate: Annotated[float, Field(gt=0, le=0.5)] = Field(
        default=0.05, description="chance that the rule refuses a sweep that agrees"
    )
    passive: bool = Field(default=False, description="true: judged for passivity")
    reciprocal: bool = Field(default=False, description="true: judged for reciprocity")
    passivity_tolerance: NotNegative = Field(
        default=0.01, description="how far the largest singular value may exceed 1"
    )
    reciprocity_tolerance: Positive = Field(
        default=0.01, description="greatest accepted |S21 - S12|"
    )

    @model_validator(mode="after")
    def _line_has_length(self) -> Self:
        if self.line_quantities and self.length_um is None:
            raise ValueError("quantities of a line need its 'length_um'")
        return self


class VerificationRecord(Record):
    """record.toml of a verification as a whole."""

    id: Identifier
    campaign: Identifier | None = Field(
        default=None, description="id of the campaign it belongs to; another one is a fault"
    )
    station: Identifier
    instrument: Identifier
    calibration: Identifier
    at: Instant
    by: Text
    ambient_c: float
    substrate_c: float | None = Field(
        default=None, description="contact substrate's temperature, in °C; none: not stated"
    )
    state: StationState
    structures: tuple[Structure, ...] = Field(min_length=1)
