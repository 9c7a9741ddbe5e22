"""Small inputs of every kind of drawing, with names that need escaping."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from xml.etree.ElementTree import Element, fromstring

import numpy as np

from sitegen.chart.agreement import normalised_deviation
from sitegen.chart.axis import equal_classes, snapped_range
from sitegen.chart.by_wafer import by_wafer
from sitegen.chart.concerned_map import MarkedDie, MarkedWafer, concerned_map
from sitegen.chart.control import control_chart
from sitegen.chart.distribution import distribution
from sitegen.chart.evidence_curves import budget, compared, solved_quantity
from sitegen.chart.frames import Frame, trace_frame
from sitegen.chart.map_key import MapDie
from sitegen.chart.mask import deviation
from sitegen.chart.scatter import Along, scatter
from sitegen.chart.spread_shares import spread_shares
from sitegen.chart.terms import error_terms
from sitegen.chart.timeline import evidence_over_time
from sitegen.chart.tolerance_view import Bounds, tolerance_view, uncertainty_view
from sitegen.chart.wafer_map import wafer_map
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import Exchange, Layout
from sitegen.model.event_results import (
    Agreement,
    Budget,
    BudgetLine,
    Comparison,
    Curve,
    MaskResult,
    Term,
)
from sitegen.model.followed_results import ControlLimits, Metric, Point, Segment
from sitegen.model.results import Drawing, Span, StationRecord
from sitegen.model.verification import Mask

NASTY = "a<b>&\"c'</title>\x07"
"""A name no drawing may trip over; U+0007 has no place in any XML document."""
DESCRIPTION = f"about {NASTY}"
FREQUENCY_HZ: FloatArray = np.linspace(0.0, 100e9, 101)
LAYOUT = Layout(
    diameter_mm=100.0,
    orientation_mark="notch",
    orientation_mark_angle_deg=270.0,
    die_pitch_x_mm=10.0,
    die_pitch_y_mm=8.0,
    x_increases="right",
    y_increases="up",
    origin_die=(0, 0),
    origin_die_center_x_mm=1.0,
    origin_die_center_y_mm=-2.0,
    edge_exclusion_mm=3.0,
)
DIES = (
    MapDie(0, 0, 0.4123, "within"),
    MapDie(3, -2, 0.4251, "outside"),
    MapDie(-1, 2, 0.4049, "not proven"),
    MapDie(1, 1, None, "not measured"),
    MapDie(2, 0, 0.4111, "within", "without standing", NASTY),
    MapDie(-2, 0, 0.4112, "within", "not closed"),
    MapDie(0, -3, 0.4113, "not assessable"),
    MapDie(3, 1, 0.4114, "not refuted"),
)
EDGES = equal_classes(snapped_range(0.40, 0.43))
START = datetime(2026, 3, 2, 7, 40, tzinfo=UTC)


def hours(number: float) -> datetime:
    """That many hours after the first event."""
    return START + timedelta(hours=number)


STATION = StationRecord(
    "ST-1",
    (
        Span("calibration", "CAL-1", hours(0), hours(8), "usable", "calibrations/CAL-1/index.html"),
        Span("calibration", "CAL-2", hours(4), hours(12), "checks failed", ""),
        Span("verification", "VER-1", hours(1), hours(1), "passed", "verifications/VER-1/x.html"),
        Span("verification", "VER-2", hours(47), hours(47), "failed", "verifications/VER-2/x.html"),
        Span("wafer", NASTY, hours(2), hours(9), "7 dies", "wafers/W1/index.html"),
        Span("nothing stood", "expired by time", hours(8), hours(9), "expired by time", ""),
    ),
)


def curves(dies: int = 5) -> FloatArray:
    """Straight lines in dB, shape (dies, 101): the median falls from 0 to -10."""
    slopes = np.linspace(0.8, 1.2, dies)[:, np.newaxis]
    return -10.0 * slopes * (FREQUENCY_HZ / 100e9)[np.newaxis, :]


def frame(**changes: object) -> Frame:
    """A frame over 0 to 100 GHz and -20 to 0 dB."""
    given: dict[str, object] = {
        "address": "wafers/W1/frame-d-c-s21_db.svg",
        "title": NASTY,
        "description": DESCRIPTION,
        "frequency_hz": FREQUENCY_HZ,
        "curves": curves(),
        "y_range": snapped_range(-20.0, 0.0),
        "y_title": f"|S21| {NASTY} / dB",
    }
    return trace_frame(**{**given, **changes})  # type: ignore[arg-type]


def mask_result() -> MaskResult:
    """A deviation that rises to 0.02 at 50 GHz, over a mask of 0.01 from 10 to 90 GHz."""
    f = FREQUENCY_HZ
    measured = 0.005 + 0.015 * np.exp(-(((f - 50e9) / 5e9) ** 2))
    limit = np.where((f >= 10e9) & (f <= 90e9), 0.01, np.nan)
    mask = Mask(parameter="s21", quantity="complex deviation", points=((10e9, 0.01), (90e9, 0.01)))
    return MaskResult(mask, f, measured, limit, "failed", "", 2.0, -0.01, 50e9, 81, 20)


def guarded_mask_result() -> MaskResult:
    """A deviation of 0.004, under a guard band of 0.002 that grows to 0.008, mask of 0.01."""
    f = FREQUENCY_HZ
    guard = np.linspace(0.002, 0.008, f.size)
    mask = Mask(parameter="s21", quantity="complex deviation", points=((0.0, 0.01),))
    return MaskResult(
        mask,
        f,
        np.full(f.size, 0.004),
        np.full(f.size, 0.01),
        "not proven",
        "",
        1.2,
        0.006,
        100e9,
        101,
        0,
        u=guard / 2,
        guard=guard,
    )


def agreement(**changes: object) -> Agreement:
    """A normalised deviation that rises from 0.5 to 1.5, with a limit of 1.3."""
    given: dict[str, object] = {
        "parameter": "s21",
        "frequency_hz": FREQUENCY_HZ,
        "normalised": np.linspace(0.5, 1.5, FREQUENCY_HZ.size),
        "rule": "greatest value",
        "figure": 1.5,
        "limit": 1.3,
        "false_alarm_rate": 0.05,
        "outcome": "failed",
        "text": "",
    }
    return Agreement(**{**given, **changes})  # type: ignore[arg-type]


def exchange(at_hour: float) -> Exchange:
    """A cable replaced so many hours after the first event."""
    return Exchange(at=hours(at_hour), part=NASTY, description="replaced")


def metric(**changes: object) -> Metric:
    """A resistance around 50 mΩ, one point a day; three points, an exchange, then three more.

    Its limits are 20 mΩ to 80 mΩ; the last point but one, 95 mΩ, lies beyond, and takes the EWMA
    with it.
    """
    values = (0.05, 0.06, 0.04, 0.05, 0.095, 0.055)
    limits = ControlLimits(0.05, 0.02, 0.08, 0.01, 3, True)
    given: dict[str, object] = {
        "name": f"contact resistance {NASTY}",
        "unit": "Ω",
        "address": "over-time",
        "points": tuple(
            Point(
                hours(24.0 * day), value, None, "CAL", ("beyond a limit",) if value > 0.08 else ()
            )
            for day, value in enumerate(values)
        ),
        "limits": limits,
        "ewma": (0.05, 0.052, 0.0496, 0.05, 0.059, 0.0582),
        "ewma_lower": (0.0446, 0.0431, 0.0423) * 2,
        "ewma_upper": (0.0554, 0.0569, 0.0577) * 2,
        "ewma_signals": (4, 5),
        "bound_lower": None,
        "bound_upper": 0.1,
        "forecast": None,
        "forecast_text": "",
        "trend_text": "",
        "segments": (Segment(0, 2, "", limits), Segment(3, 5, NASTY, limits)),
    }
    return Metric(**{**given, **changes})  # type: ignore[arg-type]


def terms() -> tuple[Term, ...]:
    """Two families in two directions, one of them not determined at all."""
    level: ComplexArray = np.full(FREQUENCY_HZ.size, 0.1 + 0.0j)
    undetermined = level.copy()
    undetermined[FREQUENCY_HZ < 50e9] = np.nan
    return (
        Term("forward directivity", "EDF", level),
        Term("reverse directivity", "EDR", level / 2),
        Term("forward isolation", "EXF", np.zeros_like(level)),
        Term(f"reverse {NASTY}", "EXR", undetermined),
    )


def curve(**changes: object) -> Curve:
    """An inductance of 4 pH at 0 Hz, falling to 2 pH at 100 GHz; not determined at 40 to 60 GHz."""
    slope = FREQUENCY_HZ / 100e9
    undetermined = (FREQUENCY_HZ >= 40e9) & (FREQUENCY_HZ <= 60e9)
    given: dict[str, object] = {
        "name": f"inductance {NASTY}",
        "unit": "H",
        "values": np.where(undetermined, np.nan, 4e-12 - 2e-12 * slope),
        "u": np.full(slope.size, 0.5e-12),
        "lower": np.zeros(slope.size),
        "upper": np.full(slope.size, 8e-12),
        "expected": np.full(slope.size, 3e-12),
        "text": DESCRIPTION,
    }
    return Curve(**{**given, **changes})  # type: ignore[arg-type]


def comparison(**changes: object) -> Comparison:
    """A bound of 0.04 at 100 GHz, of which 0.01 would show back to back; 0.02 is allowed."""
    slope = FREQUENCY_HZ / 100e9
    given: dict[str, object] = {
        "kind": "previous calibration",
        "other": "CAL-0",
        "refused": "",
        "bound": 0.04 * slope,
        "repeatable": np.full(slope.size, 0.01),
        "drift": np.maximum(0.04 * slope - 0.01, 0.0),
        "limit": 0.02,
        "passed": False,
    }
    return Comparison(**{**given, **changes})  # type: ignore[arg-type]


def uncertainty() -> Budget:
    """Definitions of 3e-3, of two sources, and noise of 4e-3: 5e-3 together."""
    flat = np.ones(FREQUENCY_HZ.size)
    return Budget(
        NASTY,
        "s11",
        (
            BudgetLine("definitions", "", 3e-3 * flat),
            BudgetLine("definitions", "resistance of load", 3e-3 * flat),
            BudgetLine("noise", "", 4e-3 * flat),
        ),
        np.stack([25e-6 * flat, 25e-6 * flat, 0 * flat], axis=-1),
        5e-3 * flat,
    )


def _rows(draw: Callable[..., Drawing], address: str) -> Drawing:
    rng = np.random.default_rng(3)
    values: Mapping[str, FloatArray] = {
        NASTY: 0.41 + 0.008 * rng.standard_normal(80),
        "W2": np.array([0.40, 0.41, np.nan, 0.9]),
        "W3": np.array([]),
    }
    return draw(
        address=address,
        title=NASTY,
        description=DESCRIPTION,
        values_by_wafer=values,
        unit="V",
        name=NASTY,
        lower=0.39,
        upper=0.43,
        target=0.41,
        axis=snapped_range(0.38, 0.44),
    )


def map_of(form: str, edges: tuple[float, ...] = EDGES, layout: Layout = LAYOUT) -> Drawing:
    """The map of `DIES`."""
    return wafer_map(
        address=f"wafers/W1/map-{form}-{len(edges)}.svg",
        title=NASTY,
        description=DESCRIPTION,
        layout=layout,
        dies=DIES,
        form="linked" if form == "linked" else "small",
        name=NASTY,
        unit="V",
        edges=edges,
    )


def uncertainty_to_scale() -> Drawing:
    """A value of 0.412 V between its limits."""
    drawn = uncertainty_view(
        address="parameters/VT/answer-sure.svg",
        title=NASTY,
        description=DESCRIPTION,
        median=0.412,
        expanded=0.002,
        unit="V",
        bounds=Bounds(0.395, 0.43, 0.397, 0.428),
        spread=None,
    )
    assert drawn is not None
    return drawn


KINDS: Mapping[str, Callable[[], Drawing]] = {
    "frame": lambda: frame().drawing,
    "linked map": lambda: map_of("linked"),
    "small map": lambda: map_of("small"),
    "map of verdicts": lambda: map_of("linked", ()),
    "distribution": lambda: _rows(distribution, "parameters/VT/distribution.svg"),
    "by wafer": lambda: _rows(by_wafer, "parameters/VT/by-wafer.svg"),
    "scatter": lambda: scatter(
        address="pairs/vt-id.svg",
        title=NASTY,
        description=DESCRIPTION,
        dies_by_wafer={NASTY: (np.array([0.40, 0.41, 0.9]), np.array([1e-3, np.nan, 2e-3]))},
        x=Along(NASTY, "V", snapped_range(0.38, 0.44), 0.39, 0.43),
        y=Along(NASTY, "A", snapped_range(1e-3, 3e-3), None, 4e-3),
    ),
    "tolerance view": lambda: tolerance_view(
        address="parameters/VT/answer-good.svg",
        title=NASTY,
        description=DESCRIPTION,
        values=np.array([0.39, 0.41, 0.412, np.nan, 0.44, 0.9]),
        unit="V",
        bounds=Bounds(0.395, 0.43, 0.397, 0.428),
        interval=(0.393, None),
        axis=snapped_range(0.38, 0.44),
    ),
    "uncertainty view": uncertainty_to_scale,
    "spread shares": lambda: spread_shares(
        address="parameters/VT/answer-spread.svg",
        title=NASTY,
        description=DESCRIPTION,
        shares=[(NASTY, 0.2), ("dies", 0.799), ("touchdowns", 0.001), ("sites", 0.0)],
    ),
    "concerned dies": lambda: concerned_map(
        address="parameters/VT/answer-dies.svg",
        title=NASTY,
        description=DESCRIPTION,
        layout=LAYOUT,
        wafers=[
            MarkedWafer(
                NASTY,
                [(0, 0), (1, 0)],
                [
                    MarkedDie((0, 0), kind, NASTY, "../../wafers/W1/x0_y0.html")
                    for kind in ("outside", "not refuted", "without standing", "stands out")
                ],
            )
        ],
    ),
    "terms": lambda: error_terms(
        address="calibrations/CAL-1/terms.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        terms=terms()[:2],
        reported=terms()[:1],
    ),
    "odd terms": lambda: error_terms(
        address="calibrations/CAL-1/terms-odd.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        terms=terms()[3:],
        reported=(),
    ),
    "solved quantity": lambda: solved_quantity(
        address="calibrations/CAL-1/curve-0.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        curve=curve(),
    ),
    "comparison": lambda: compared(
        address="calibrations/CAL-1/comparison-0.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        comparison=comparison(),
    ),
    "budget": lambda: budget(
        address="calibrations/CAL-1/budget-0.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        budget=uncertainty(),
    ),
    "mask": lambda: deviation(
        address="verifications/VER-1/s21.svg",
        title=NASTY,
        description=DESCRIPTION,
        result=mask_result(),
        coverage_factor=2.0,
    ),
    "guarded mask": lambda: deviation(
        address="verifications/VER-1/guarded.svg",
        title=NASTY,
        description=DESCRIPTION,
        result=guarded_mask_result(),
        coverage_factor=2.0,
        less="factory",
    ),
    "normalised deviation": lambda: normalised_deviation(
        address="verifications/VER-1/s21-normalised.svg",
        title=NASTY,
        description=DESCRIPTION,
        result=agreement(),
    ),
    "control chart": lambda: control_chart(
        address="stations/ST-1/over-time.svg",
        title=NASTY,
        description=DESCRIPTION,
        metric=metric(),
        exchanges=(exchange(70.0),),
    ),
    "timeline": lambda: evidence_over_time(
        address="stations/ST-1/evidence.svg",
        title=NASTY,
        description=DESCRIPTION,
        record=STATION,
    ),
}
"""Every kind of drawing."""


def parsed(drawing: Drawing) -> Element:
    """The drawing's elements, their tags without the namespace."""
    root = fromstring(drawing.svg)
    for part in root.iter():
        part.tag = part.tag.rpartition("}")[2]
    return root


def texts(drawing: Drawing) -> list[str]:
    """Every text that a drawing shows."""
    return [part.text or "" for part in parsed(drawing).iter("text")]
