"""campaign.toml: who asked, with what, on which wafers, for which parameters, by which rule."""

from datetime import date
from statistics import mean, stdev
from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import (
    Identifier,
    Instant,
    NotNegative,
    Positive,
    Record,
    Signed,
    Size,
    SizeOrZero,
    Text,
    is_blank,
)
from sitegen.model.decision import Decision, Prior, Verdict
from sitegen.model.declared_statistics import Pair, Reticle, Split, Stress, Study
from sitegen.model.device import Device, Die
from sitegen.model.extraction import Curve, FromCurve, FromSweep, Handover
from sitegen.model.plan import Plan
from sitegen.model.trust import Agreement, ContactCheck, Control


class Identity(Record):
    """Who the record belongs to and who answers for it."""

    id: Identifier = Field(description="identity of the campaign, printed on every page")
    title: Text = Field(description="what the campaign is about, in one line")
    simulated: bool = Field(description="true: every page says that the data are simulated")
    requested_by: Text = Field(description="who asked for the measurements")
    responsible: Text = Field(description="who is responsible for the measurements")
    authorised_by: Text = Field(description="who authorised this edition")
    laboratory: Text = Field(description="name of the laboratory")
    place: Text = Field(description="where the measurements were made")
    edition: int = Field(ge=1, description="number of this edition")
    edition_reason: Text = Field(description="why this edition was issued")
    issued: date | None = Field(default=None, description="date of issue of this edition")


class Instrument(Record):
    """An instrument of a station, its certificate and its clock."""

    id: Identifier
    kind: Literal["vna", "smu", "lcr meter", "thermometer", "other"]
    model: Text = Field(description="maker's designation")
    serial_number: Text
    certificate: Text = Field(description="number of the calibration certificate")
    due: date | None = Field(
        default=None,
        description="last day on which the certificate holds; without it the instrument's values"
        " have no standing",
    )
    clock_offset_s: float | None = Field(
        default=None, description="instrument's clock minus reference time, in seconds"
    )
    clock_offset_u_s: SizeOrZero | None = Field(
        default=None,
        description="standard uncertainty of the clock offset, in seconds; without both the order"
        " of its times and of another clock's is not known",
    )

    @property
    def holds_until(self) -> date | None:
        """The last day of its certificate; None where certificate or day is not stated."""
        return None if is_blank(self.certificate) else self.due


class Probe(Record):
    """A probe of a station."""

    id: Identifier
    kind: Literal["rf", "dc"]
    port: int | None = Field(default=None, ge=1, description="port of the analyser it serves")
    pitch_um: Positive | None = Field(default=None, description="pitch of its tips, in micrometres")
    serial_number: Text
    contacts_max: int | None = Field(
        default=None, ge=1, description="bound on its number of contacts"
    )


class Part(Record):
    """A cable, a switch path or a bias tee of a station."""

    id: Identifier
    description: Text
    resistance_ohm: NotNegative | None = Field(
        default=None, description="its resistance to direct current, on the way of the bias"
    )
    loss_db: NotNegative | None = Field(
        default=None, description="what it takes from the source's power on the way to the tip"
    )
    serial_number: Text | None = None


class Floor(Record):
    """The smallest current that a path can tell from none, from its open-circuit readings."""

    instrument: Identifier
    range: Text = Field(description="measuring range as written in the tables")
    path: Text = Field(description="path to the pads as written in the tables")
    floor_a: Positive | None = Field(
        default=None, description="decision limit of the current, in amperes"
    )
    open_readings_a: tuple[float, ...] = Field(
        default=(),
        description="readings with the circuit open, instead of 'floor_a': the floor is the size of"
        " their mean plus 'multiple' times their standard deviation",
    )
    multiple: Positive = Field(default=3.0, description="of the open readings' standard deviation")
    integration_s: Positive | None = Field(
        default=None, description="holds for this integration time only"
    )
    temperature_c: float | None = Field(
        default=None, description="holds for conditions at this set point only"
    )
    voltage_v: float | None = Field(
        default=None, description="bias on the open circuit while the floor was found"
    )
    measured_on: date
    basis: Text = Field(description="how it was found, for example mean plus three times spread")

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.floor_a is None) == (not self.open_readings_a):
            raise ValueError("exactly one of 'floor_a' and 'open_readings_a' must be given")
        if self.open_readings_a and len(self.open_readings_a) < 3:
            raise ValueError("'open_readings_a' needs at least three readings")
        return self

    @property
    def decision_limit_a(self) -> float:
        """The size of the open readings' mean plus `multiple` times their standard deviation."""
        if self.floor_a is not None:
            return self.floor_a
        return abs(mean(self.open_readings_a)) + self.multiple * stdev(self.open_readings_a)


class Accuracy(Record):
    """What an instrument's readings can be off by on one range, as its certificate states."""

    instrument: Identifier
    quantity: Literal["current", "voltage"] = Field(description="what the readings are of")
    range: Text = Field(description="measuring range as written in the tables")
    relative_u: SizeOrZero = Field(
        description="standard uncertainty as a share of the reading, common to all readings"
    )
    offset_u: SizeOrZero = Field(
        description="standard uncertainty of the offset in A or V, common to all readings"
    )
    basis: Text = Field(description="where it is stated, for example a certificate")


class Exchange(Record):
    """A part that was replaced, cleaned or serviced: a step in what is followed over time."""

    at: Instant
    part: Text
    description: Text
    kind: Literal["exchanged", "cleaned", "serviced"] = "exchanged"


Hazard = Literal["hazardous voltage", "cryogen", "light source", "heavy test head"]


class Station(Record):
    """A probe station with everything between the chuck and the numbers."""

    id: Identifier
    name: Text
    place: Text
    instruments: tuple[Instrument, ...] = Field(min_length=1)
    probes: tuple[Probe, ...] = ()
    cables: tuple[Part, ...] = ()
    switch_paths: tuple[Part, ...] = ()
    bias_tees: tuple[Part, ...] = ()
    floors: tuple[Floor, ...] = ()
    accuracies: tuple[Accuracy, ...] = Field(
        default=(), description="what the instruments' readings can be off by, by range"
    )
    exchanges: tuple[Exchange, ...] = Field(
        default=(), description="parts exchanged, cleaned or serviced, each with its time"
    )
    hazards: tuple[Hazard, ...] = Field(
        default=(), description="hazards whose cautions the pages show"
    )


class Layout(Record):
    """Where the dies lie on the wafer, seen on its front side. Nothing is guessed."""

    diameter_mm: Positive
    orientation_mark: Literal["notch", "flat"]
    orientation_mark_angle_deg: float = Field(
        description="direction of the mark from the wafer's centre, counter-clockwise from the"
        " right; 270 is down"
    )
    die_pitch_x_mm: Positive
    die_pitch_y_mm: Positive
    x_increases: Literal["right", "left"] = Field(description="sense of die_x")
    y_increases: Literal["up", "down"] = Field(description="sense of die_y")
    origin_die: Die = Field(description="the die whose centre's position is given below")
    origin_die_center_x_mm: float = Field(
        description="its centre right of the wafer's centre, in millimetres"
    )
    origin_die_center_y_mm: float = Field(
        description="its centre above the wafer's centre, in millimetres"
    )
    edge_exclusion_mm: NotNegative
    reticle: Reticle | None = Field(
        default=None, description="dies of one exposure; without it no effect of it is looked for"
    )


class Condition(Record):
    """A declared set point of bias and temperature."""

    id: Identifier
    description: Text
    temperature_c: float = Field(description="set point at the wafer's surface, in °C")
    temperature_tolerance_c: Positive | None = Field(
        default=None, description="greatest accepted distance of the measured temperature, in °C"
    )
    bias: dict[str, float] = Field(
        default_factory=dict,
        description="set points by name; each name ends in _v (volts) or _a (amperes)",
    )


class UncertaintySource(Record):
    """One source of standard uncertainty of a parameter; sources add in quadrature."""

    source: Text = Field(description="where it comes from")
    absolute: Size | None = Field(
        default=None, description="standard uncertainty in the parameter's unit"
    )
    relative: Size | None = Field(
        default=None, description="standard uncertainty as a share of the value (0.01 is 1 %)"
    )
    common: bool = Field(
        default=False,
        description="true: the same error in all values of a wafer, so that a mean keeps it;"
        " between wafers it is taken as independent, so that a difference keeps it too",
    )

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.absolute is None) == (self.relative is None):
            raise ValueError("exactly one of 'absolute' and 'relative' must be given")
        return self


class Parameter(Record):
    """What is measured, under which conditions, and between which limits it should lie."""

    id: Identifier
    symbol: Text
    name: Text = Field(description="its meaning in words")
    unit: str = Field(description="unit of limits, target and uncertainty; '1' for a number")
    kind: Literal["dc", "rf"]
    device: Identifier
    conditions: tuple[Identifier, ...] = Field(min_length=1)
    lower: float | None = Field(default=None, description="lower specification limit")
    upper: float | None = Field(default=None, description="upper specification limit")
    target: float | None = None
    plausible_lower: float | None = Field(
        default=None, description="a value below it is absurd: a mistake, not a device"
    )
    plausible_upper: float | None = Field(
        default=None, description="a value above it is absurd: a mistake, not a device"
    )
    uncertainty: tuple[UncertaintySource, ...] = Field(
        default=(), description="sources of standard uncertainty; none: not stated"
    )
    coverage: Literal["every die", "some dies"] = Field(
        default="every die",
        description="'some dies': where it was not measured the die's verdict does not wait for it",
    )
    from_sweep: FromSweep | None = Field(
        default=None, description="taken from the corrected sweeps instead of the table of values"
    )
    from_curve: FromCurve | None = Field(
        default=None, description="taken from a table of curves instead of the table of values"
    )
    temperature_coefficient_per_c: Signed | None = Field(
        default=None,
        description="change of the value per °C, in the parameter's unit; with the temperature's"
        " uncertainty in wafer.toml it is a part of the value's uncertainty",
    )
    distribution: Literal["normal", "log-normal"] = Field(
        default="normal",
        description="what its values are taken to follow: for censored values, tolerance intervals"
        " and capability",
    )
    decision: Decision | None = Field(
        default=None, description="its own decision rule, instead of the campaign's"
    )
    prior: Prior | None = Field(
        default=None, description="the process as known beforehand; risks are stated with it only"
    )
    equivalence_margin: Positive | None = Field(
        default=None,
        description="wafers and splits whose means differ by less, in its unit, are equivalent",
    )
    shift_max: Positive | None = Field(
        default=None,
        description="greatest shift by a stress, up or down, in its unit; each die's shift is"
        " judged by the parameter's decision rule with the uncertainty of the difference",
    )

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(
                f"the lower limit {self.lower:g} must lie below the upper limit {self.upper:g}"
            )
        lowest, highest = self.plausible_lower, self.plausible_upper
        if lowest is not None and highest is not None and lowest >= highest:
            raise ValueError(
                f"the lower plausible bound {lowest:g} must lie below the upper one {highest:g}"
            )
        if self.from_sweep is not None and self.from_curve is not None:
            raise ValueError("only one of 'from_sweep' and 'from_curve' can be given")
        if self.from_sweep is not None and self.kind != "rf":
            raise ValueError("a parameter with 'from_sweep' must be of kind 'rf'")
        if self.from_curve is not None and self.kind != "dc":
            raise ValueError("a parameter with 'from_curve' must be of kind 'dc'")
        return self

    @property
    def tolerance(self) -> float | None:
        """Upper less lower limit; None for one limit alone and without any."""
        return None if self.lower is None or self.upper is None else self.upper - self.lower


class Touchdowns(Record):
    """Which touchdown counts where a die has several, and when a contact counts as made."""

    counts: Literal["first", "last", "mean"]
    contact_resistance_max_ohm: Positive | None = Field(
        default=None, description="a touchdown above it failed its contact check"
    )
    checks: tuple[ContactCheck, ...] = Field(
        default=(), description="bounds on what a touchdown's own measurement shows"
    )
    pad_touchdowns_max: int | None = Field(
        default=None, ge=1, description="how often a pad may be touched"
    )


class CampaignRecord(Record):
    """campaign.toml as a whole."""

    campaign: Identity
    stations: tuple[Station, ...] = Field(min_length=1)
    layout: Layout | None = Field(default=None, description="needed as soon as there are wafers")
    conditions: tuple[Condition, ...] = ()
    devices: tuple[Device, ...] = ()
    curves: tuple[Curve, ...] = Field(
        default=(), description="families of curves that the wafers' tables hold"
    )
    parameters: tuple[Parameter, ...] = ()
    controls: tuple[Control, ...] = Field(
        default=(), description="control dies, measured again at the start, at intervals and at end"
    )
    agreements: tuple[Agreement, ...] = Field(
        default=(), description="values of a die that physics says must agree"
    )
    handover: Handover | None = Field(
        default=None, description="which dies' sweeps go to the design team"
    )
    decision: Decision = Field(
        description="rule for the values of every parameter that has none of its own, and for the"
        " masks and tolerances of verifications and acceptances"
    )
    verdict: Verdict = Verdict()
    pairs: tuple[Pair, ...] = Field(
        default=(), description="parameters drawn against each other, die by die"
    )
    splits: tuple[Split, ...] = Field(
        default=(), description="wafers processed alike, compared with each other split"
    )
    studies: tuple[Study, ...] = Field(
        default=(), description="wafers measured again by other operators or on other stations"
    )
    stresses: tuple[Stress, ...] = Field(
        default=(), description="what was done to wafers between two measurements of them"
    )
    touchdowns: Touchdowns
    plan: Plan = Plan()
