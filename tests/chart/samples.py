"""Small inputs of every kind of drawing, with names that need escaping."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from xml.etree.ElementTree import Element, fromstring

import numpy as np

from sitegen.chart.axis import equal_classes, snapped_range
from sitegen.chart.by_wafer import by_wafer
from sitegen.chart.distribution import distribution
from sitegen.chart.frames import Frame, trace_frame
from sitegen.chart.map_key import MapDie
from sitegen.chart.mask import deviation
from sitegen.chart.terms import error_terms
from sitegen.chart.timeline import evidence_over_time
from sitegen.chart.wafer_map import wafer_map
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import Layout
from sitegen.model.event_results import MaskResult, Term
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


KINDS: Mapping[str, Callable[[], Drawing]] = {
    "frame": lambda: frame().drawing,
    "linked map": lambda: map_of("linked"),
    "small map": lambda: map_of("small"),
    "map of verdicts": lambda: map_of("linked", ()),
    "distribution": lambda: _rows(distribution, "parameters/VT/distribution.svg"),
    "by wafer": lambda: _rows(by_wafer, "parameters/VT/by-wafer.svg"),
    "terms": lambda: error_terms(
        address="calibrations/CAL-1/terms.svg",
        title=NASTY,
        description=DESCRIPTION,
        frequency_hz=FREQUENCY_HZ,
        terms=terms(),
        reported=terms()[:1],
    ),
    "mask": lambda: deviation(
        address="verifications/VER-1/s21.svg",
        title=NASTY,
        description=DESCRIPTION,
        result=mask_result(),
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
