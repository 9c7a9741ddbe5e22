"""Names of the figures that a parameter can take from curves, and what each needs."""

from typing import Literal

CurveFigureName = Literal[
    "threshold by constant current",
    "threshold by extrapolation",
    "threshold by Y-function",
    "greatest transconductance",
    "transconductance",
    "output conductance",
    "current",
    "subthreshold slope",
    "drain-induced shift",
    "on-resistance",
    "breakdown voltage",
    "ideality factor",
    "four-terminal resistance",
    "resistance of one contact",
]

CURVE_FIGURE_UNITS: dict[CurveFigureName, str] = {
    "threshold by constant current": "V",
    "threshold by extrapolation": "V",
    "threshold by Y-function": "V",
    "greatest transconductance": "S",
    "transconductance": "S",
    "output conductance": "S",
    "current": "A",
    "subthreshold slope": "V/dec",
    "drain-induced shift": "V/V",
    "on-resistance": "ohm",
    "breakdown voltage": "V",
    "ideality factor": "1",
    "four-terminal resistance": "ohm",
    "resistance of one contact": "ohm",
}
"""The unit in which each figure is computed; a subthreshold slope is in volts per decade, a
drain-induced shift in volts of threshold per volt of drain voltage."""

CURVE_FIGURE_NEEDS: dict[CurveFigureName, frozenset[str]] = {
    "threshold by constant current": frozenset({"current_a"}),
    "threshold by extrapolation": frozenset(),
    "threshold by Y-function": frozenset({"swept_window"}),
    "greatest transconductance": frozenset(),
    "transconductance": frozenset({"swept_at"}),
    "output conductance": frozenset({"swept_at"}),
    "current": frozenset({"swept_at"}),
    "subthreshold slope": frozenset({"current_window_a"}),
    "drain-induced shift": frozenset({"current_a", "stepped_pair"}),
    "on-resistance": frozenset({"swept_at"}),
    "breakdown voltage": frozenset({"current_a"}),
    "ideality factor": frozenset({"current_window_a"}),
    "four-terminal resistance": frozenset({"swept_window"}),
    "resistance of one contact": frozenset({"swept_window"}),
}
"""Fields of `FromCurve` that each figure needs; 'stepped_at' goes with any curve that is stepped
and does not have 'stepped_pair'."""

CURVE_FIGURE_FORMULAS: dict[CurveFigureName, str] = {
    "threshold by constant current": "V_GS at which |I_D| reaches the stated current, on the"
    " cubic V_GS over log |I_D| through four points",
    "threshold by extrapolation": "V_GS - I_D/g_m where g_m is greatest, less V_DS/2",
    "threshold by Y-function": "intercept of the line through I_D / sqrt(g_m) over V_GS in the"
    " window, less V_DS/2",
    "greatest transconductance": "greatest dI_D/dV_GS",
    "transconductance": "dI_D/dV_GS of the cubic through the seven points around the place",
    "output conductance": "dI_D/dV_DS of the cubic through the seven points around the place",
    "current": "reading at the stated place of the swept axis, or between points that of the"
    " cubic through four",
    "subthreshold slope": "dV_GS / d log10 |I_D| of the line through the currents in the window",
    "drain-induced shift": "-(change of V_th) / (change of V_DS), V_th by constant current",
    "on-resistance": "V_DS / I_D",
    "breakdown voltage": "|V| at which |I| reaches the stated current, on the cubic |V| over"
    " log |I| through four points",
    "ideality factor": "q/(k T) dV / d ln I of the line through the currents in the window, T as"
    " measured",
    "four-terminal resistance": "slope of sensed voltage over forced current in the window",
    "resistance of one contact": "slope of voltage over current in the window, divided by the"
    " contacts in series",
}
"""How each figure follows from a curve."""

DRAIN_AXES = ("vds_v", "vd_v")
"""Names of an axis or of a condition's bias that is the drain-source voltage. A threshold less
V_DS/2 takes it from the stepped axis of that name, or else from the condition."""

_VOLTAGE_AND_CURRENT = frozenset({(False, True)})
_EITHER = frozenset({(False, True), (True, False)})
CURVE_FIGURE_AXES: dict[CurveFigureName, frozenset[tuple[bool, bool]]] = {
    **dict.fromkeys(CURVE_FIGURE_UNITS, _VOLTAGE_AND_CURRENT),
    "current": frozenset({(False, True), (True, True)}),
    "breakdown voltage": _EITHER,
    "four-terminal resistance": _EITHER,
    "resistance of one contact": _EITHER,
}
"""Axes that suit each figure: whether the swept and the measured one are currents."""
