"""How a parameter is taken, in the words beside its name: estimator, place, convention."""

from markupsafe import Markup

from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.curve_figures import CURVE_FIGURE_FORMULAS
from sitegen.model.device import Deembedding, Device
from sitegen.model.extraction import FromCurve, FromSweep
from sitegen.model.figures import FIGURE_TEXTS, LEVEL_OVER_A_WINDOW
from sitegen.render.formulas import formula_text
from sitegen.render.phrases import frequency, stated


def estimator(parameter: Parameter, record: CampaignRecord) -> str:
    """'transit frequency by extrapolation, from 10 GHz to 40 GHz, open-short de-embedded'.

    Empty for a parameter whose values come as they are.
    """
    device = next((one for one in record.devices if one.id == parameter.device), None)
    if parameter.from_sweep is not None:
        return _from_sweep(parameter.from_sweep, device)
    if parameter.from_curve is not None:
        return _from_curve(parameter.from_curve, record)
    return ""


def formula(parameter: Parameter) -> Markup:
    """How the figure is defined; empty for a parameter whose values come as they are."""
    if parameter.from_sweep is not None:
        text = FIGURE_TEXTS[parameter.from_sweep.figure]
        told = formula_text(text.formula)
        if parameter.from_sweep.window_hz is not None and "frequency" in text.places:
            told += f"; {LEVEL_OVER_A_WINDOW}"
        return told
    if parameter.from_curve is not None:
        return formula_text(CURVE_FIGURE_FORMULAS[parameter.from_curve.figure])
    return Markup("")


def deembedding(declared: Deembedding) -> str:
    """'open-short, with the dummies of one die of the wafer'."""
    whose = {
        "each die": "with each die's own dummies",
        "one die of the wafer": "with the dummies of one die of the wafer",
        "one die of the campaign": f"with the dummies of one die of wafer {declared.wafer}",
    }[declared.taken_from]
    return f"{declared.method}, {whose}"


def _from_sweep(wanted: FromSweep, device: Device | None) -> str:
    parts: list[str] = [wanted.figure]
    if wanted.frequency_hz is not None:
        parts[0] += f" at {frequency(wanted.frequency_hz)}"
    if wanted.window_hz is not None:
        low, high = wanted.window_hz
        parts[0] += f" over {frequency(low)} to {frequency(high)}"
    if device is not None and device.deembedding is not None:
        parts.append(
            f"{device.deembedding.method} de-embedded" if wanted.deembedded else "at the probe tips"
        )
    if wanted.access_condition is not None:
        parts.append(f"access resistances from condition {wanted.access_condition} taken off")
    return ", ".join(parts)


def _from_curve(wanted: FromCurve, record: CampaignRecord) -> str:
    curve = next((one for one in record.curves if one.id == wanted.curve), None)
    swept = curve.swept if curve is not None else ""
    parts: list[str] = [wanted.figure]
    if wanted.current_a is not None:
        parts.append(f"at {stated(wanted.current_a, 'A')}")
    if wanted.swept_at is not None:
        parts.append(f"at {_set_point(swept, wanted.swept_at)}")
    if wanted.swept_window is not None:
        low, high = wanted.swept_window
        unit = _unit(swept)
        parts.append(f"over {stated(low, unit)} to {stated(high, unit)}")
    if wanted.current_window_a is not None:
        low, high = wanted.current_window_a
        parts.append(f"over {stated(low, 'A')} to {stated(high, 'A')}")
    stepped = curve.stepped if curve is not None and curve.stepped else ""
    if wanted.stepped_at is not None:
        parts.append(f"with {_set_point(stepped, wanted.stepped_at)}")
    if wanted.stepped_pair is not None:
        first, second = wanted.stepped_pair
        parts.append(f"between {_set_point(stepped, first)} and {_set_point(stepped, second)}")
    return f"{' '.join(parts)}, curve {wanted.curve}"


def _set_point(column: str, value: float) -> str:
    """'vds = 0.1 V'."""
    return f"{column.rpartition('_')[0]} = {stated(value, _unit(column))}"


def _unit(column: str) -> str:
    return "A" if column.endswith("_a") else "V"
