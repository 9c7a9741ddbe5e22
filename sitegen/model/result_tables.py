"""Columns of the tables that a wafer's job gives: values and dies."""

import pyarrow as pa

RESULT_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("wafer", pa.string(), "identity of the wafer"),
    ("die_x", pa.int32(), "column of the die in the campaign's layout"),
    ("die_y", pa.int32(), "row of the die in the campaign's layout"),
    ("x_mm", pa.float64(), "die centre right of the wafer's centre, mm"),
    ("y_mm", pa.float64(), "die centre above the wafer's centre, mm"),
    ("zone", pa.string(), "centre, middle or edge: thirds of equal area of the usable radius"),
    ("site", pa.string(), "place inside the die; empty where the die has no sites"),
    ("device", pa.string(), "device measured"),
    ("parameter", pa.string(), "parameter"),
    ("condition", pa.string(), "declared set point of bias and temperature"),
    ("touchdown", pa.int32(), "number of the touchdown from 1; 0: the mean of all touchdowns"),
    ("touchdowns", pa.int32(), "number of touchdowns with this value"),
    ("counts", pa.bool_(), "true for the value that counts under the campaign's rule"),
    ("value", pa.float64(), "measured value in 'unit'; null: not measured"),
    ("unit", pa.string(), "unit of value, uncertainty and limits"),
    ("u", pa.float64(), "standard uncertainty; null: not stated"),
    (
        "u_common",
        pa.float64(),
        "part of u from calibration and shared dummies, common to all values of a wafer's"
        " calibration; null: not propagated",
    ),
    (
        "u_own",
        pa.float64(),
        "part of u from the sweep's own noise and touchdown, and from the die's own dummies",
    ),
    ("u_calibration", pa.float64(), "part of u from the calibration's sources, part of u_common"),
    ("u_definitions", pa.float64(), "of u_calibration, the part from the standards' definitions"),
    (
        "u_dummies",
        pa.float64(),
        "part of u from the dummies' own sweeps; inside u_common where dies share them, else in"
        " u_own",
    ),
    ("u_touchdowns", pa.float64(), "part of u from the spread of repeated touchdowns"),
    ("u_instrument", pa.float64(), "part of u from the instrument's declared accuracy"),
    ("u_temperature", pa.float64(), "part of u from the temperature"),
    ("u_misfit", pa.float64(), "part of u from curves that are not the law taken through them"),
    ("u_extraction", pa.float64(), "part of u from the fit itself"),
    ("u_declared", pa.float64(), "part of u that the parameter declares"),
    ("expanded_uncertainty", pa.float64(), "k times u"),
    ("floor", pa.float64(), "stored floor for this range and path, in 'unit'"),
    ("below_floor", pa.bool_(), "true: the reading lies below the floor"),
    ("raw_reading", pa.float64(), "the reading where it lies below the floor, in 'unit'"),
    (
        "not_reached",
        pa.bool_(),
        "true: the value lies beyond 'value', which the measurement did not reach or pass",
    ),
    ("lower", pa.float64(), "lower specification limit"),
    ("upper", pa.float64(), "upper specification limit"),
    (
        "acceptance_lower",
        pa.float64(),
        "lower acceptance limit under the decision rule: drawn in by the guard band, under guarded"
        " rejection drawn out; under a non-binary rule that of 'within'",
    ),
    ("acceptance_upper", pa.float64(), "upper acceptance limit, likewise"),
    ("decision_rule", pa.string(), "simple, guarded, guarded rejection, non-binary"),
    ("guard_band", pa.float64(), "w = r k u; null: the rule has none, or u is not stated"),
    (
        "uncertainty_share",
        pa.float64(),
        "expanded uncertainty divided by upper less lower limit; null for one limit alone",
    ),
    (
        "probability_of_conformity",
        pa.float64(),
        "that the measurand lies between its limits, from value and u alone; null: no u, no limits,"
        " or no single value",
    ),
    (
        "probability_with_prior",
        pa.float64(),
        "the same with the parameter's declared prior: 1 less it is the specific consumer's risk of"
        " an accepted value, itself the specific producer's risk of one not accepted",
    ),
    (
        "outcome",
        pa.string(),
        "within, not proven, not refuted, outside, not assessable, not measured, no limits",
    ),
    ("outcome_reason", pa.string(), "why it is not assessable or has no value"),
    ("standing", pa.string(), "stands, not closed, without standing"),
    ("standing_reasons", pa.string(), "reasons from the closed list, separated by '; '"),
    ("standing_detail", pa.string(), "particulars of the reasons"),
    ("calibration", pa.string(), "calibration in force; null for DC values"),
    ("calibration_basis", pa.string(), "named by the value, or found by time and station"),
    ("measured_at", pa.timestamp("us", tz="UTC"), "time as stamped by the instrument"),
    ("temperature_c", pa.float64(), "measured temperature, °C"),
    ("bias", pa.string(), "measured bias"),
    ("delivered_bias", pa.string(), "bias at the device, after what lies between"),
    ("tip_power_dbm", pa.float64(), "source power at the probe tip, dBm"),
    ("remarks", pa.string(), "what the estimator has to say of this value"),
    ("flags", pa.string(), "what is wrong with the sweep or the curve, separated by '; '"),
    ("absurd", pa.bool_(), "true: outside the parameter's plausible range"),
    ("file", pa.string(), "file that the value was read from"),
)
"""Columns of data/results: one row a die, site, device, parameter, condition and touchdown."""

EARLIER_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("wafer", pa.string(), "identity of the wafer"),
    ("die_x", pa.int32(), "column of the die in the campaign's layout"),
    ("die_y", pa.int32(), "row of the die in the campaign's layout"),
    ("parameter", pa.string(), "parameter"),
    ("condition", pa.string(), "declared set point of bias and temperature"),
    ("value", pa.float64(), "value then, in the parameter's unit"),
    ("measured_at", pa.timestamp("us", tz="UTC"), "time as stamped then"),
    ("file", pa.string(), "file that it was read from"),
)
"""Columns of data/earlier-maps: one row a value of an earlier map."""

DIE_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("wafer", pa.string(), "identity of the wafer"),
    ("die_x", pa.int32(), "column of the die in the campaign's layout"),
    ("die_y", pa.int32(), "row of the die in the campaign's layout"),
    ("x_mm", pa.float64(), "die centre right of the wafer's centre, mm"),
    ("y_mm", pa.float64(), "die centre above the wafer's centre, mm"),
    ("zone", pa.string(), "centre, middle or edge"),
    ("full", pa.bool_(), "true: the whole die lies inside the edge exclusion"),
    ("planned", pa.bool_(), "true: the plan asks for this die"),
    ("outcome", pa.string(), "verdict of the die over all its parameters with limits"),
    ("judged", pa.bool_(), "true: every planned value with limits is judged; part of the yield"),
    (
        "conforming",
        pa.bool_(),
        "true: judged, and every value with limits has an outcome that a conforming die may have",
    ),
    ("reason", pa.string(), "what decided the verdict"),
    ("measured", pa.int32(), "values that count"),
    ("missing", pa.int32(), "values that the plan asks for and that are not there"),
    ("outside", pa.int32(), "values with standing outside their limits"),
    ("not_proven", pa.int32(), "values with standing between their limits, in a guard band"),
    ("not_refuted", pa.int32(), "values with standing beyond a limit, in a guard band"),
    ("without_standing", pa.int32(), "values without standing"),
    ("not_closed", pa.int32(), "values whose last verification is not followed by a passed one"),
    (
        "verdict_depends_on_touchdown",
        pa.bool_(),
        "true: another rule of choice between touchdowns gives the die another verdict",
    ),
    ("other_verdicts", pa.string(), "those verdicts: 'first: outside; mean: not proven'"),
)
"""Columns of data/dies: one row a die of each wafer."""
