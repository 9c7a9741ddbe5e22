"""What a stress did to a parameter, in sentences: what was lost, the shift, where it lies."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.declared_statistics import Stress
from sitegen.model.shift_results import DEVICE_KINDS, Shift
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import counted, link, number_of, spelled, stated, unbroken, with_unit
from sitegen.render.pieces import Text
from sitegen.render.statistics_shifts import Told, correlation_cell, loss
from sitegen.render.statistics_text import SIGNIFICANT, because, between, numbers


def texts(every: Sequence[Told]) -> tuple[Text, ...]:
    """A sentence for each shift, then what it holds for, what it goes with and where it lies."""
    return tuple(
        text
        for each in every
        for text in (sentence(*each), _scope(*each), _dependence(*each), _place(*each))
        if text
    )


def sentence(case: Case, one: Shift, stress: Stress) -> Text:
    """'After 168 h at 125 °C (HTOL), 3 of the 52 values are gone (...); the other 49 ...'"""
    under = f", under {case.condition}" if case.several else ""
    start = f"After {unbroken(stress.name)} ({stress.id}){under}, "
    gone, gaps = _losses(one, DEVICE_KINDS), one.lost_total - one.lost_devices
    parts = []
    if gone:
        verb = "is" if one.lost_devices == 1 else "are"
        parts.append(
            f"{number_of(one.lost_devices)} of the {counted(one.had, 'value')} of before {verb}"
            f" gone ({gone})"
        )
    if gaps:
        verb = "was" if gaps == 1 else "were"
        parts.append(
            f"{counted(gaps, 'value')} {verb} not measured again or have no standing"
            if gaps > 1
            else "one value was not measured again or has no standing"
        )
    if one.n == 0:
        if one.had == 0:
            return f"{start}nothing can be said: no value of before is a number with standing."
        return f"{start}{', '.join([*parts, 'and no value has a partner'])}."
    parts.append(_moved(case, one))
    if one.shift_max is not None:
        parts.append(_beyond(case, one))
    return f"{start}{'; '.join(parts)}."


def _losses(one: Shift, kinds: Sequence[str]) -> str:
    """'no value: no crossing', or of several reasons '2 below the floor; 1 not reached'."""
    mine = [each for each in one.lost if each.kind in kinds]
    return mine[0].reason if len(mine) == 1 else "; ".join(loss(each) for each in mine)


def _moved(case: Case, one: Shift) -> str:
    """'the other 49 shifted by −3.1 mV on average (...), which the measurement resolves (...)'"""
    lost = one.had - one.n
    who = f"the other {number_of(one.n)}" if lost else f"all {number_of(one.n)} values"
    if one.n == 1:
        who = "the other one" if lost else "the one value"
    size = _size(case, one)
    off = ""
    if one.control_mean is not None:
        control = case.sizes([one.control_mean], 3)[0]
        several = f"{spelled(one.controls)} control wafers'"
        whose = "control wafer's" if one.controls == 1 else several
        off = f", with the {whose} {control} taken off"
    if one.resolved == "not stated":
        return f"{who} shifted by {size} on average{off}, without the measurement's part{_why(one)}"
    expanded = case.sizes([one.expanded])[0]
    if one.resolved == "resolved":
        return (
            f"{who} shifted by {size} on average, more than the measurement's own U ="
            f" {expanded}{off}"
        )
    return (
        f"{who} shifted by {size} on average, which the measurement does not resolve"
        f" (U = {expanded}){off}"
    )


def _why(one: Shift) -> str:
    return because([one.mean.reason]) if one.mean.lower is None else ""


def _size(case: Case, one: Shift) -> str:
    """'−3.1 mV (−3.4 mV to −2.8 mV)'."""
    scale, unit = case.scale_of([one.mean.value, one.mean.lower, one.mean.upper])
    value, lower, upper = numbers(one.mean, scale)
    ends = between(lower, upper, unit)
    return with_unit(value, unit) + (f" ({ends})" if ends else "")


def _beyond(case: Case, one: Shift) -> str:
    """'4 of them are beyond ±5 mV, and 2 are too close to tell'."""
    bound = f"±{stated(one.shift_max, case.parameter.unit)}"
    open_ = sum(one.outcomes.values()) - one.beyond - one.outcomes.get("within", 0)
    if one.beyond:
        verb = "is" if one.beyond == 1 else "are"
        first = f"{number_of(one.beyond)} of the {counted(one.n, 'shift')} {verb} beyond {bound}"
    else:
        first = f"none is shown to be beyond {bound}"
    if not open_:
        return first
    few = "is" if open_ == 1 else "are"
    return f"{first}, and {number_of(open_)} {few} in a guard band or not assessable"


def _scope(case: Case, one: Shift, stress: Stress) -> Text:
    """For what the interval of the mean holds."""
    if one.n == 0 or one.mean.lower is None:
        return ""
    if one.of_process:
        return (
            f"The interval takes the wafer as the unit, over {counted(one.wafers, 'wafer')}, and"
            " the dies that still have a number."
        )
    few = "this wafer" if one.wafers == 1 else f"these {counted(one.wafers, 'wafer')}"
    return (
        f"The interval holds for {few} alone and for the dies that still have a number; for other"
        " wafers of the process it would take 5 stressed wafers"
        + (" and 5 control wafers." if one.controls else ".")
    )


def _dependence(case: Case, one: Shift, stress: Stress) -> Text:
    """Told only where it is claimed."""
    p = one.dependence_adjusted
    if p is None or p >= SIGNIFICANT or one.dependence.value is None:
        return ""
    up = one.dependence.value > 0
    found = correlation_cell(one.dependence).text
    return (
        f"The dies spread {'more' if up else 'less'} after {unbroken(stress.name)} than before"
        f" (correlation of shift and size {found}): larger values shift further"
        f" {'up' if up else 'down'}" + (", or dies shift by amounts of their own." if up else ".")
    )


def _place(case: Case, one: Shift, stress: Stress) -> Text:
    """What is claimed of the place of the shifts, wafer by wafer."""
    claimed = [
        Markup("{}: {}").format(
            link(pattern.wafer, case.to(addresses.wafer(pattern.wafer))), "; ".join(texts)
        )
        for pattern in one.patterns
        if (texts := [test.text for test in pattern.tests if test.text])
    ]
    if not claimed:
        return ""
    return Markup("Where the shifts lie: {}.").format(Markup(". ").join(claimed))
