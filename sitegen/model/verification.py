"""verifications/ID/record.toml: structures that took no part in the calibration, measured again."""

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import FileName, Identifier, Instant, NotNegative, Positive, Record, Text
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
    standard_uncertainty: Positive = Field(
        description="of each real and imaginary part, linear magnitude"
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


class Structure(Record):
    """One structure of a verification."""

    id: Identifier
    description: Text
    file: FileName = Field(description="Touchstone file")
    sweep: Literal["raw", "corrected"]
    reference: Reference
    masks: tuple[Mask, ...] = Field(min_length=1)


class VerificationRecord(Record):
    """record.toml of a verification as a whole."""

    id: Identifier
    station: Identifier
    instrument: Identifier
    calibration: Identifier
    at: Instant
    by: Text
    ambient_c: float
    substrate_c: float | None = None
    state: StationState
    structures: tuple[Structure, ...] = Field(min_length=1)
