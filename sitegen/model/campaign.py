"""campaign.toml: who asked, with what, on which wafers, for which parameters, by which rule."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Identifier, Instant, NotNegative, Positive, Record, Text
from sitegen.model.figures import FigureName

LARGEST_DIE_NUMBER = 1_000_000
DieNumber = Annotated[int, Field(ge=-LARGEST_DIE_NUMBER, le=LARGEST_DIE_NUMBER)]
Die = tuple[DieNumber, DieNumber]


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
    issued: date = Field(description="date of issue of this edition")


class Instrument(Record):
    """An instrument of a station, its certificate and its clock."""

    id: Identifier
    kind: Literal["vna", "smu", "lcr meter", "thermometer", "other"]
    model: Text = Field(description="maker's designation")
    serial_number: Text
    certificate: Text = Field(description="number of the calibration certificate")
    due: date = Field(description="last day on which the certificate holds")
    clock_offset_s: float = Field(description="instrument's clock minus reference time, in seconds")
    clock_offset_u_s: NotNegative = Field(
        description="standard uncertainty of the clock offset, in seconds"
    )


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
    serial_number: Text | None = None


class Floor(Record):
    """The smallest current that a path can tell from none, from its open-circuit readings."""

    instrument: Identifier
    range: Text = Field(description="measuring range as written in the tables")
    path: Text = Field(description="path to the pads as written in the tables")
    floor_a: Positive = Field(description="decision limit of the current, in amperes")
    measured_on: date
    basis: Text = Field(description="how it was found, for example mean plus three times spread")


class Exchange(Record):
    """A part that was replaced, cleaned or serviced: a step in what is followed over time."""

    at: Instant
    part: Text
    description: Text


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


class Device(Record):
    """A kind of device that stands on the dies."""

    id: Identifier
    name: Text
    kind: Literal["transistor", "diode", "inductor", "capacitor", "resistor", "line", "other"]
    ports: Literal[1, 2] = Field(default=2, description="ports of its sweeps")
    port: Literal[1, 2] = Field(
        default=1, description="port of the analyser at which a one-port device is probed"
    )
    width_um: Positive | None = Field(
        default=None,
        description="total width; the floor of a current per width is the current's divided by it",
    )
    traces: tuple[Literal["s11_db", "s21_db", "s12_db", "s22_db", "s11_deg", "s21_deg"], ...] = (
        Field(default=("s11_db", "s21_db"), description="which curves its pages draw")
    )
    may_look_like: Literal["neither", "open", "short"] = Field(
        default="neither",
        description="'open' or 'short': a sweep that looks so is not suspicious on this device",
    )


class UncertaintySource(Record):
    """One source of standard uncertainty of a parameter; sources add in quadrature."""

    source: Text = Field(description="where it comes from")
    absolute: Positive | None = Field(
        default=None, description="standard uncertainty in the parameter's unit"
    )
    relative: Positive | None = Field(
        default=None, description="standard uncertainty as a share of the value (0.01 is 1 %)"
    )

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.absolute is None) == (self.relative is None):
            raise ValueError("exactly one of 'absolute' and 'relative' must be given")
        return self


class FromSweep(Record):
    """A parameter taken from a corrected sweep at one frequency."""

    figure: FigureName = Field(description="a figure listed on the method page")
    frequency_hz: Positive


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

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(
                f"the lower limit {self.lower:g} must lie below the upper limit {self.upper:g}"
            )
        if self.from_sweep is not None and self.kind != "rf":
            raise ValueError("a parameter with 'from_sweep' must be of kind 'rf'")
        return self


class Decision(Record):
    """The rule by which values are judged against their limits."""

    rule: Literal["simple", "guarded"] = Field(
        description="simple: the value itself; guarded: the value moved in by the guard band w = rU"
    )
    coverage_factor: Positive = Field(default=2.0, description="k of the expanded uncertainty U=ku")
    guard_factor: Positive = Field(default=1.0, description="r of the guard band w = rU")


class Touchdowns(Record):
    """Which touchdown counts where a die has several, and when a contact counts as made."""

    counts: Literal["first", "last", "mean"]
    contact_resistance_max_ohm: Positive | None = Field(
        default=None, description="a touchdown above it failed its contact check"
    )


class PlannedWafer(Record):
    """A wafer of the plan."""

    id: Identifier
    dies: Literal["all"] | tuple[Die, ...] = Field(
        default="all", description="'all' full dies of the layout, or a list of [die_x, die_y]"
    )


class Plan(Record):
    """What was to be measured."""

    wafers: tuple[PlannedWafer, ...] = ()


class CampaignRecord(Record):
    """campaign.toml as a whole."""

    campaign: Identity
    stations: tuple[Station, ...] = Field(min_length=1)
    layout: Layout | None = Field(default=None, description="needed as soon as there are wafers")
    conditions: tuple[Condition, ...] = ()
    devices: tuple[Device, ...] = ()
    parameters: tuple[Parameter, ...] = ()
    decision: Decision
    touchdowns: Touchdowns
    plan: Plan = Plan()
