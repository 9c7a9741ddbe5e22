"""How campaign.toml takes parameters from sweeps and curves: devices, axes and units must fit."""

from collections.abc import Mapping

from sitegen import units
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.curve_figures import (
    CURVE_FIGURE_AXES,
    CURVE_FIGURE_UNITS,
    DRAIN_AXES,
    CurveFigureName,
)
from sitegen.model.device import Device
from sitegen.model.extraction import Curve, FromCurve, FromSweep
from sitegen.model.figures import FIGURE_UNITS, TWO_PORT_ONLY, FigureName
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE, check_unique, is_known, tell_unknown_unit
from sitegen.read.words import choices, quoted

LESS_HALF_DRAIN: frozenset[CurveFigureName] = frozenset(
    {"threshold by extrapolation", "threshold by Y-function"}
)
"""Thresholds off which half the drain voltage is taken."""
PER_LENGTH: frozenset[FigureName] = frozenset({"attenuation per length", "effective permittivity"})
"""Figures that need the device's length."""
SMALL_SIGNAL: frozenset[FigureName] = frozenset(
    {
        "transconductance",
        "output conductance",
        "gate-source capacitance",
        "gate-drain capacitance",
        "drain-source capacitance",
        "gate resistance",
    }
)
"""Figures of the inner transistor, from which access resistances can be taken off first."""


def check_curves(intake: Intake, record: CampaignRecord) -> None:
    """Curves have ids of their own and belong to declared devices."""
    check_unique(intake, CAMPAIGN_FILE, "curves", [curve.id for curve in record.curves])
    devices = [device.id for device in record.devices]
    ranges = {
        (one.quantity, one.range) for station in record.stations for one in station.accuracies
    }
    for number, curve in enumerate(record.curves, 1):
        where = f"curves[{number}].device (id {quoted(curve.id)})"
        remedy = "Declare it under [[devices]]."
        is_known(intake, CAMPAIGN_FILE, where, curve.device, devices, "device", remedy)
        for field, column, named in (
            ("source_accuracy_range", curve.swept, curve.source_accuracy_range),
            ("stepped_accuracy_range", curve.stepped, curve.stepped_accuracy_range),
        ):
            if named is None or column is None:
                continue
            where = f"curves[{number}].{field} (id {quoted(curve.id)})"
            quantity = "voltage" if column.endswith("_v") else "current"
            known = [name for kind, name in ranges if kind == quantity]
            what, remedy = f"range of {quantity}", "Declare its accuracy at the station."
            is_known(intake, CAMPAIGN_FILE, where, named, known, what, remedy)


def check_extraction(intake: Intake, record: CampaignRecord) -> None:
    """Each parameter's estimator must fit its device, its curve and its unit."""
    devices = {device.id: device for device in record.devices}
    curves = {curve.id: curve for curve in record.curves}
    conditions = [condition.id for condition in record.conditions]
    for number, parameter in enumerate(record.parameters, 1):
        place = f"parameters[{number}]"
        device = devices.get(parameter.device)
        _check_unit(intake, place, parameter, device)
        if parameter.from_sweep is not None:
            _check_sweep(intake, place, parameter, parameter.from_sweep, device)
            access = parameter.from_sweep.access_condition
            if access is not None:
                where = f"{place}.from_sweep.access_condition (id {quoted(parameter.id)})"
                remedy = "Declare it under [[conditions]]."
                is_known(intake, CAMPAIGN_FILE, where, access, conditions, "condition", remedy)
        taken = parameter.from_curve
        if taken is not None:
            _check_curve(intake, place, parameter, taken, devices, curves)
            if taken.figure in LESS_HALF_DRAIN and taken.curve in curves:
                _check_drain(intake, place, parameter, curves[taken.curve], record)


def _check_unit(intake: Intake, place: str, parameter: Parameter, device: Device | None) -> None:
    """The parameter's unit is known, and one of its figure's."""
    where = f"{place}.unit (id {quoted(parameter.id)})"
    try:
        units.normalise(parameter.unit)
    except units.UnknownUnit:
        tell_unknown_unit(intake, CAMPAIGN_FILE, where, parameter.unit)
        return
    if parameter.from_sweep is not None:
        figure, unit = str(parameter.from_sweep.figure), FIGURE_UNITS[parameter.from_sweep.figure]
    elif parameter.from_curve is not None:
        figure, unit = parameter.from_curve.figure, CURVE_FIGURE_UNITS[parameter.from_curve.figure]
    else:
        return
    if _is_per_width(parameter):
        if device is not None and device.width_um is None:
            intake.tell(
                CAMPAIGN_FILE,
                where,
                found=f"a current per width of the device {quoted(device.id)}, whose width is not"
                " declared",
                expected="a device with 'width_um', or a unit of current",
                remedy="Add width_um to the device, or correct the unit.",
            )
    elif not _converts(unit, parameter.unit):
        intake.tell(
            CAMPAIGN_FILE,
            where,
            found=quoted(parameter.unit),
            expected=f"a unit of the figure {quoted(figure)}, such as {unit}",
            remedy="Correct the unit or the figure.",
        )


def _is_per_width(parameter: Parameter) -> bool:
    """Whether it is a current from curves in a unit of current per width."""
    if parameter.from_curve is None or parameter.from_curve.figure != "current":
        return False
    return any(_converts(unit, parameter.unit) for unit in ("A/m", "A/mm"))


def _converts(unit: str, other: str) -> bool:
    try:
        units.conversion(unit, other)
    except units.NotConvertible:
        return False
    return True


def _check_sweep(
    intake: Intake, place: str, parameter: Parameter, taken: FromSweep, device: Device | None
) -> None:
    named = f"(id {quoted(parameter.id)})"
    figure = taken.figure
    if device is not None and figure in TWO_PORT_ONLY and device.ports == 1:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.from_sweep.figure {named}",
            found=f"the figure {quoted(figure)} for a device with 1 port",
            expected="a device with 2 ports, which this figure needs",
            remedy="Correct the figure, or the device's ports.",
        )
    if device is not None and figure in PER_LENGTH and device.length_um is None:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.from_sweep.figure {named}",
            found=f"the figure {quoted(figure)} of the device {quoted(device.id)}, whose length is"
            " not declared",
            expected="a device with 'length_um', which this figure needs",
            remedy="Add length_um to the device.",
        )
    if taken.access_condition is not None and figure not in SMALL_SIGNAL:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.from_sweep.access_condition {named}",
            found=f"access resistances to be taken off for the figure {quoted(figure)}",
            expected="a small-signal element: " + ", ".join(sorted(SMALL_SIGNAL)),
            remedy="Remove 'access_condition', or correct the figure.",
        )


def _check_curve(
    intake: Intake,
    place: str,
    parameter: Parameter,
    taken: FromCurve,
    devices: Mapping[str, Device],
    curves: Mapping[str, Curve],
) -> None:
    device = devices.get(parameter.device)
    place, named = f"{place}.from_curve", f"(id {quoted(parameter.id)})"
    if taken.figure == "resistance of one contact" and device is not None and device.links is None:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.figure {named}",
            found=f"the figure {quoted(taken.figure)} of the device {quoted(device.id)}, whose"
            " number of contacts is not declared",
            expected="a device with 'links', which this figure needs",
            remedy="Add links to the device.",
        )
    where, remedy = f"{place}.curve {named}", "Declare it under [[curves]]."
    if not is_known(intake, CAMPAIGN_FILE, where, taken.curve, curves, "curve", remedy):
        return
    curve = curves[taken.curve]
    if curve.device != parameter.device and curve.device in devices:
        intake.tell(
            CAMPAIGN_FILE,
            where,
            found=f"the curve {quoted(curve.id)} of the device {quoted(curve.device)}",
            expected=f"a curve of {quoted(parameter.device)}, the parameter's device",
            remedy="Correct the curve, or the device.",
        )
    _check_stepped(intake, place, named, taken, curve)
    _check_axes(intake, place, named, taken, curve)


def _check_drain(
    intake: Intake,
    place: str,
    parameter: Parameter,
    curve: Curve,
    record: CampaignRecord,
) -> None:
    """V_DS/2 can be taken off only where the stepped axis or the condition's bias is V_DS."""
    if curve.stepped in DRAIN_AXES:
        return
    for condition in record.conditions:
        if condition.id in parameter.conditions and not set(DRAIN_AXES) & set(condition.bias):
            intake.tell(
                CAMPAIGN_FILE,
                f"{place}.from_curve.curve (id {quoted(parameter.id)})",
                found=f"the curve {quoted(curve.id)}, whose drain voltage is not declared under the"
                f" condition {quoted(condition.id)}",
                expected=f"a stepped axis or a bias named {choices(DRAIN_AXES)}, of which half is"
                " taken off the threshold",
                remedy="Name the stepped axis so, or add the bias to the condition.",
            )


def _check_stepped(intake: Intake, place: str, named: str, taken: FromCurve, curve: Curve) -> None:
    """Which of a stepped family is taken must be said, and of no other curve."""
    given = next((n for n in ("stepped_at", "stepped_pair") if getattr(taken, n) is not None), None)
    if curve.stepped is None and given is not None:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.{given} {named}",
            found=f"a value of a stepped axis, which the curve {quoted(curve.id)} does not have",
            expected=f"no '{given}', or a curve that is stepped",
            remedy=f"Remove '{given}', or add 'stepped' to the curve.",
        )
    if curve.stepped is not None and given is None:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place} {named}",
            found="no key 'stepped_at'",
            expected=f"the value of {quoted(curve.stepped)} at which the curve {quoted(curve.id)}"
            " is taken",
            remedy="Add it.",
        )


def _check_axes(intake: Intake, place: str, named: str, taken: FromCurve, curve: Curve) -> None:
    """A figure needs a curve that sweeps and measures what its definition does."""
    suited = CURVE_FIGURE_AXES[taken.figure]
    if (curve.swept.endswith("_a"), curve.measured.endswith("_a")) in suited:
        return
    words = {False: "a voltage", True: "a current"}
    wanted = " or ".join(
        f"sweeps {words[swept]} and measures {words[measured]}"
        for swept, measured in sorted(suited)
    )
    intake.tell(
        CAMPAIGN_FILE,
        f"{place}.curve {named}",
        found=f"the curve {quoted(curve.id)}, which sweeps {quoted(curve.swept)} and measures"
        f" {quoted(curve.measured)}",
        expected=f"a curve that {wanted}, as the figure {quoted(taken.figure)} needs",
        remedy="Correct the curve or the figure.",
    )
