"""Results as tables for data/: one function a table, each field with its meaning."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.event_results import CalibrationResult
from sitegen.model.results import ParameterResult, TableFile, WaferSummary
from sitegen.model.schemas import schema_of
from sitegen.problems import Fault, Finding, cause_of

Columns = tuple[tuple[str, pa.DataType, str], ...]
TEXT, WHOLE, REAL, YES = pa.string(), pa.int64(), pa.float64(), pa.bool_()
TIME = pa.timestamp("us", tz="UTC")

PARAMETER_COLUMNS: Columns = (
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("wafer", TEXT, "wafer; empty: all wafers of the campaign"),
    ("zone", TEXT, "centre, middle or edge; empty: all zones"),
    ("unit", TEXT, "unit of every figure of the row"),
    ("n", WHOLE, "values that count and stand (or are not closed)"),
    ("missing", WHOLE, "values expected and not measured"),
    ("without_standing", WHOLE, "values that count and have no standing; not part of n"),
    ("not_closed", WHOLE, "values of n that no passed verification followed"),
    ("below_floor", WHOLE, "values of n below the stored floor; they rank around zero"),
    ("not_reached", WHOLE, "values of n known only to lie beyond what was reached"),
    ("mean", REAL, "arithmetic mean, or as estimator says; null: not stated"),
    ("standard_deviation", REAL, "sample standard deviation, divisor n - 1, or as estimator says"),
    ("estimator", TEXT, "how both were found of censored values, or why not; empty: as usual"),
    ("u_mean", REAL, "standard uncertainty of the mean as measured; null: not stated"),
    ("median", REAL, "median; null where it lies below the floor"),
    ("u", REAL, "median of the values' standard uncertainties; null: not stated"),
    ("u_common", REAL, "median of their parts common to all values of a calibration"),
    ("u_own", REAL, "median of their parts from each sweep's own noise and touchdown"),
    ("robust_spread", REAL, "1.4826 times the median absolute deviation"),
    ("q05", REAL, "5 % quantile, linear interpolation (type 7)"),
    ("q25", REAL, "25 % quantile, type 7"),
    ("q75", REAL, "75 % quantile, type 7"),
    ("q95", REAL, "95 % quantile, type 7"),
    ("minimum", REAL, "least value"),
    ("maximum", REAL, "greatest value"),
    ("figures_below_floor", TEXT, "names of the figures that lie below the floor"),
    ("figures_not_reached", TEXT, "names of the figures that lie beyond what was reached"),
)
WAFER_COLUMNS: Columns = (
    ("wafer", TEXT, "identity of the wafer"),
    ("started", TIME, "begin of its measurement"),
    ("finished", TIME, "end of its measurement"),
    ("planned", WHOLE, "dies planned"),
    ("measured", WHOLE, "dies with at least one value"),
    ("within", WHOLE, "dies whose every value with limits is within, with standing"),
    (
        "not_proven",
        WHOLE,
        "dies with a value inside the guard band and none not refuted, outside or not judged",
    ),
    (
        "not_refuted",
        WHOLE,
        "dies with a value beyond a limit by less than the guard band, none outside or not judged",
    ),
    ("outside", WHOLE, "dies with a value with standing outside its limits"),
    ("not_assessable", WHOLE, "dies that cannot be judged"),
    ("not_measured", WHOLE, "planned dies without any value"),
    ("assessable", WHOLE, "dies whose every planned value is judged: the denominator of the yield"),
    ("outside_besides", WHOLE, "dies outside that are no part of it: not all of them is judged"),
    ("yield_lower", REAL, "lower end of Wilson's 95 % interval of conforming among assessable"),
    ("yield_upper", REAL, "its upper end; both describe these dies under independence"),
    ("values", WHOLE, "values that count"),
    ("values_without_standing", WHOLE, "of them without standing"),
    ("values_not_closed", WHOLE, "of them not followed by a passed verification"),
    ("values_never_verified", WHOLE, "of those: no verification of the calibration has passed"),
    ("values_below_floor", WHOLE, "values with standing below the stored floor"),
    (
        "touchdown_changes",
        WHOLE,
        "outcomes of values that the rule of choice between touchdowns decides",
    ),
    ("typical_die_x", WHOLE, "column of the most typical die"),
    ("typical_die_y", WHOLE, "its row"),
)
CALIBRATION_COLUMNS: Columns = (
    ("calibration", TEXT, "identity of the calibration"),
    ("station", TEXT, "station"),
    ("method", TEXT, "method"),
    ("made_at", TIME, "reference time: stamped time less the clock's offset"),
    ("expires_at", TIME, "end of its validity in hours"),
    ("by", TEXT, "who made it"),
    ("outcome", TEXT, "usable, checks failed, not solved"),
    ("checks_judged", WHOLE, "checks with a bound"),
    ("checks_failed", WHOLE, "checks beyond their bound"),
    ("values_standing_on_it", WHOLE, "values that count and stand on it"),
)
CHECK_COLUMNS: Columns = (
    ("calibration", TEXT, "identity of the calibration"),
    ("check", TEXT, "name of the check"),
    ("figure", REAL, "what was found, in 'unit'; null: not determined"),
    ("unit", TEXT, "unit of figure and bounds"),
    ("lower", REAL, "lower bound"),
    ("upper", REAL, "upper bound"),
    ("passed", YES, "null: shown, not judged"),
    ("text", TEXT, "the finding as a sentence"),
)
TERM_COLUMNS: Columns = (
    ("calibration", TEXT, "identity of the calibration"),
    ("term", TEXT, "error term"),
    ("symbol", TEXT, "its symbol"),
    ("frequency_hz", REAL, "frequency, Hz"),
    ("re", REAL, "real part; null where not determined"),
    ("im", REAL, "imaginary part"),
)
FAULT_COLUMNS: Columns = (
    ("file", TEXT, "file of the campaign"),
    ("place", TEXT, "where in the file"),
    ("found", TEXT, "what stands there"),
    ("expected", TEXT, "what should stand there"),
    ("remedy", TEXT, "what to do"),
    ("count", WHOLE, "places of the file with the same fault"),
    ("cause", TEXT, "heading of the group that it belongs to by its cause"),
)
FINDING_COLUMNS: Columns = (
    ("weight", TEXT, "decision, attention or note"),
    ("kind", TEXT, "what was found"),
    ("subject", TEXT, "what it is about"),
    ("text", TEXT, "the finding as a sentence"),
    ("address", TEXT, "page it belongs to"),
)
DICTIONARY_COLUMNS: Columns = (
    ("table", TEXT, "table of data/"),
    ("column", TEXT, "column"),
    ("type", TEXT, "Arrow type"),
    ("meaning", TEXT, "meaning, with unit"),
)


def table_of(columns: Columns, rows: Iterable[Mapping[str, Any]]) -> pa.Table:
    """A table of these columns; what a row lacks is null."""
    schema = schema_of(columns)
    listed = list(rows)
    return pa.table(
        {name: pa.array([row.get(name) for row in listed], kind) for name, kind, _ in columns},
        schema=schema,
    )


def parameters(results: Sequence[ParameterResult], campaign: CampaignRecord) -> pa.Table:
    """Summaries of every parameter, condition, wafer and zone."""
    units = {parameter.id: parameter.unit for parameter in campaign.parameters}
    names = [name for name, _, _ in PARAMETER_COLUMNS]
    rows = []
    for one in results:
        for zone, summary in {"": one.summary, **one.zones}.items():
            figures = {name: getattr(summary, name) for name in names if hasattr(summary, name)}
            rows.append(
                {
                    "parameter": one.parameter,
                    "condition": one.condition,
                    "wafer": one.wafer,
                    "zone": zone,
                    "unit": units[one.parameter],
                    **figures,
                    "figures_below_floor": ", ".join(summary.below),
                    "figures_not_reached": ", ".join(summary.beyond),
                }
            )
    return table_of(PARAMETER_COLUMNS, rows)


def wafers(summaries: Sequence[WaferSummary]) -> pa.Table:
    """One row a wafer."""
    names = [name for name, _, _ in WAFER_COLUMNS]
    return table_of(
        WAFER_COLUMNS,
        (
            {name: getattr(one, name) for name in names if hasattr(one, name)}
            | {word.replace(" ", "_"): n for word, n in one.outcomes.items()}
            | {"typical_die_x": one.typical_die and one.typical_die[0]}
            | {"typical_die_y": one.typical_die and one.typical_die[1]}
            for one in summaries
        ),
    )


def calibrations(
    results: Sequence[CalibrationResult], summaries: Sequence[WaferSummary]
) -> pa.Table:
    """One row a calibration."""
    return table_of(
        CALIBRATION_COLUMNS,
        (
            {
                "calibration": one.record.id,
                "station": one.record.station,
                "method": one.record.method,
                "made_at": one.made_at,
                "expires_at": one.expires_at,
                "by": one.record.by,
                "outcome": one.outcome,
                "checks_judged": sum(check.passed is not None for check in one.checks),
                "checks_failed": sum(check.passed is False for check in one.checks),
                "values_standing_on_it": sum(
                    wafer.calibrations.get(one.record.id, 0) for wafer in summaries
                ),
            }
            for one in results
        ),
    )


def checks(results: Sequence[CalibrationResult]) -> pa.Table:
    """One row a check of a calibration."""
    return table_of(
        CHECK_COLUMNS,
        (
            {
                "calibration": one.record.id,
                "check": check.name,
                "figure": check.figure,
                "unit": check.unit,
                "lower": check.lower,
                "upper": check.upper,
                "passed": check.passed,
                "text": check.text,
            }
            for one in results
            for check in one.checks
        ),
    )


def error_terms(results: Sequence[CalibrationResult]) -> pa.Table:
    """Every error term of every calibration over frequency."""
    schema = schema_of(TERM_COLUMNS)
    parts = [
        pa.table(
            {
                "calibration": [one.record.id] * len(one.frequency_hz),
                "term": [term.name] * len(one.frequency_hz),
                "symbol": [term.symbol] * len(one.frequency_hz),
                "frequency_hz": one.frequency_hz,
                "re": pa.array(term.values.real, from_pandas=True),
                "im": pa.array(term.values.imag, from_pandas=True),
            }
        ).cast(schema)
        for one in results
        for term in one.terms
    ]
    return pa.concat_tables(parts) if parts else schema.empty_table()


def faults(found: Sequence[Fault]) -> pa.Table:
    """One row a fault."""
    names = [name for name, _, _ in FAULT_COLUMNS]
    return table_of(
        FAULT_COLUMNS,
        ({**{name: getattr(one, name) for name in names}, "cause": cause_of(one)} for one in found),
    )


def findings(found: Sequence[Finding]) -> pa.Table:
    """One row a finding."""
    names = [name for name, _, _ in FINDING_COLUMNS]
    return table_of(
        FINDING_COLUMNS, ({name: getattr(one, name) for name in names} for one in found)
    )


def dictionary(tables: Sequence[TableFile]) -> pa.Table:
    """One row a column of each table."""
    return table_of(
        DICTIONARY_COLUMNS,
        (
            {"table": table.name, "column": name, "type": kind, "meaning": meaning}
            for table in tables
            for name, kind, meaning in table.columns
        ),
    )
