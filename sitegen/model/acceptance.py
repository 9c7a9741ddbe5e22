"""acceptances/ID/record.toml: what was shown where the system was built, and where it stands."""

from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Identifier, Instant, Positive, Record, Text
from sitegen.model.verification import Mask


class DeclaredPerformance(Record):
    """A figure that the supplier declared: the greatest deviation of a structure's sweep."""

    name: Text
    structure: Identifier
    parameter: Literal["s11", "s21", "s12", "s22"]
    quantity: Literal["complex deviation", "magnitude db", "phase deg"]
    frequency_start_hz: Positive
    frequency_stop_hz: Positive
    limit: Positive = Field(description="greatest accepted |deviation| from the reference")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.frequency_stop_hz < self.frequency_start_hz:
            raise ValueError("'frequency_stop_hz' must not lie below 'frequency_start_hz'")
        return self


class SiteDifference(Record):
    """How far the site's sweep of a structure may lie from the factory's."""

    structure: Identifier
    mask: Mask


class AcceptanceRecord(Record):
    """record.toml of an acceptance as a whole."""

    id: Identifier
    campaign: Identifier | None = Field(
        default=None, description="id of the campaign it belongs to; another one is a fault"
    )
    title: Text
    station: Identifier
    at: Instant = Field(description="when the record was closed")
    factory: Identifier = Field(description="verification made where the system was built")
    factory_place: Text
    site: Identifier = Field(description="verification made where the system stands")
    site_place: Text
    supplier: Text = Field(description="who hands the system over; signs on paper")
    customer: Text = Field(description="who takes it; signs on paper")
    performance: tuple[DeclaredPerformance, ...] = ()
    differences: tuple[SiteDifference, ...] = ()
