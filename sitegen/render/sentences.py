"""The first sentences of the pages, made from results; right for none, one, all and nothing.

Each function returns the sentences of one page or one subject as HTML that is safe to print.
A value that is "not closed" counts as standing, and is said beside it.
"""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen.model.decision import RULE_TEXTS, Decision
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.results import NOT_HELD, WaferSummary
from sitegen.problems import Finding
from sitegen.render.phrases import (
    capital,
    counted,
    every,
    figure_of,
    joined,
    link,
    number_of,
    several,
    spelled,
)
from sitegen.render.pieces import Text
from sitegen.render.yield_sentences import (
    AS_IF,
    DIES,
    MEET,
    Verbs,
    conforming_of,
    judged_share,
    nothing_in_full,
    outside_besides,
    wafer_verdict,
    yield_of,
)

Sentences = tuple[Markup, ...]


def rule(decision: Decision, href: str, tolerance: bool = True) -> Markup:
    """'the guarded rule (w = U, k = 2)', linked to its text.

    tolerance: whether anything so judged has two limits; of one limit alone a bound on the
    uncertainty's share of the tolerance says nothing, and is left out.
    """
    ratio = "" if decision.guard_factor == 1 else f"{figure_of(decision.guard_factor)} "
    bound = decision.uncertainty_share_max if tolerance else None
    factors = [
        "" if decision.rule == "simple" else f"w = {ratio}U",
        "" if decision.rule == "simple" and bound is None else _k(decision),
        "" if bound is None else f"U at most {figure_of(100 * bound)} % of the tolerance",
    ]
    told = ", ".join(one for one in factors if one)
    return Markup('the <a href="{}">{}</a>{}').format(
        href, RULE_TEXTS[decision.rule].name, f" ({told})" if told else ""
    )


def _k(decision: Decision) -> str:
    return f"k = {figure_of(decision.coverage_factor)}"


def be(number: int) -> str:
    """'is' or 'are'."""
    return "is" if number == 1 else "are"


def _was(number: int) -> str:
    return "was" if number == 1 else "were"


def dies_measured(planned: int, measured: int) -> str:
    """'264 of 270 planned dies were measured', 'all 88 ...'; the plan may hold none."""
    if planned == 0 and measured == 0:
        return "no die was planned or measured"
    if planned == 0:
        return f"{counted(measured, 'die')} {_was(measured)} measured, without a plan"
    if planned == 1 and measured <= 1:
        return f"the one planned die was {'' if measured else 'not '}measured"
    if measured == 0:
        return f"none of the {number_of(planned)} planned dies was measured"
    if measured == planned:
        return f"all {number_of(planned)} planned dies were measured"
    if measured > planned:
        return (
            f"{counted(measured, 'die')} {_was(measured)} measured,"
            f" {number_of(measured - planned)} more than the {number_of(planned)} planned"
        )
    return f"{number_of(measured)} of {number_of(planned)} planned dies {_was(measured)} measured"


def campaign_dies(
    wafers: Sequence[tuple[WaferSummary, str]], decided: Markup, verbs: Verbs | None = None
) -> Sentences:
    """Where the campaign stands. wafers: each with its address; decided: from `rule`; verbs: what
    conforming dies do, from `met`."""
    if not wafers:
        return (Markup("No wafer of this campaign has been measured."),)
    planned = sum(summary.planned for summary, _ in wafers)
    measured = sum(summary.measured for summary, _ in wafers)
    first = Markup("On {} {}.").format(
        counted(len(wafers), "wafer"), dies_measured(planned, measured)
    )
    if measured == 0:
        return (first,)
    assessable = sum(summary.assessable for summary, _ in wafers)
    if assessable == 0:
        return (first, nothing_in_full([summary for summary, _ in wafers], decided))
    conforming = sum(summary.conforming for summary, _ in wafers)
    besides = sum(summary.outside_besides for summary, _ in wafers)
    each = joined(
        [
            Markup("{} {}").format(link(summary.wafer, href), conforming_of(summary))
            for summary, href in wafers[:MOST_NAMED]
        ]
    )
    several = len(wafers) > 1
    second = Markup("{} under {}{}{}.").format(
        capital(judged_share(conforming, assessable, DIES, verbs or MEET)),
        decided,
        Markup(": {}{}").format(each, _more(len(wafers))) if several else yield_of(wafers[0][0]),
        outside_besides(besides, more=True),
    )
    if several:
        second += Markup(" The 95 % interval of each wafer's yield {}.").format(AS_IF)
    return (first, second)


def campaign_stations(names: Sequence[str]) -> Sentences:
    """What a campaign is about in which no wafer is planned or measured."""
    about = names[0] if len(names) == 1 else f"{counted(len(names), 'station')}: {joined(names)}"
    return (
        Markup("This record is about {}; no wafer is planned or measured in it.").format(about),
    )


MOST_NAMED = 6
"""How many wafers, events or stretches a sentence names before it counts the rest."""


def standing(wafers: Sequence[tuple[WaferSummary, str]]) -> Sentences:
    """What stands behind the values of these wafers, each with its address.

    A wafer is named where there are several.
    """
    values = sum(summary.values for summary, _ in wafers)
    if values == 0:
        return ()
    lost = sum(summary.values_without_standing for summary, _ in wafers)
    never = sum(summary.values_never_verified for summary, _ in wafers)
    unclosed = sum(summary.values_not_closed for summary, _ in wafers) - never
    if lost == 0 and unclosed == 0 and never == 0:
        if values == 1:
            return (Markup("The one value stands on valid evidence."),)
        return (Markup("All {} values stand on valid evidence.").format(number_of(values)),)
    said = _not_held(wafers, values)
    concerned = [
        (one, href)
        for one, href in wafers
        if one.values_without_standing and set(one.standing_reasons) != {NOT_HELD}
    ]
    lost = sum(one.values_without_standing for one, _ in concerned)
    if lost:
        why = joined([_lost_on(one, href, len(wafers) > 1) for one, href in concerned[:MOST_NAMED]])
        said.append(
            Markup("{} of {} {} without standing: {}{}.").format(
                capital(spelled(lost)),
                counted(values, "value"),
                be(lost),
                why,
                _more(len(concerned)),
            )
        )
    if unclosed:
        said.append(
            Markup("{} {} not closed: a verification passed before, and none after.").format(
                capital(counted(unclosed, "value")), be(unclosed)
            )
        )
    if never:
        said.append(
            Markup("{} {} on a calibration that no verification has passed.").format(
                capital(counted(never, "value")), "stands" if never == 1 else "stand"
            )
        )
    return tuple(said)


def _not_held(wafers: Sequence[tuple[WaferSummary, str]], values: int) -> list[Markup]:
    """What of these values came corrected with a calibration that the record does not hold."""
    held = sum(one.standing_reasons.get(NOT_HELD, 0) for one, _ in wafers)
    if not held:
        return []
    if held == values:
        which = "No value has standing" if values > 1 else "The one value has no standing"
    else:
        of = f"{capital(spelled(held))} of {counted(values, 'value')}"
        which = f"{of} {'has' if held == 1 else 'have'} no standing"
    sweeps = (
        "its sweep was corrected before it"
        if held == 1
        else "the sweeps were corrected before they"
    )
    return [
        Markup(
            "{}: {} came into the record, with a calibration that the record does not hold."
        ).format(which, sweeps)
    ]


def _lost_on(summary: WaferSummary, href: str, named: bool) -> Markup:
    """'168 on LK7-2 (verification failed)'; several reasons each with their count."""
    others = {why: n for why, n in summary.standing_reasons.items() if why != NOT_HELD}
    reasons = sorted(others.items(), key=lambda each: (-each[1], each[0]))
    told = (
        reasons[0][0]
        if len(reasons) == 1
        else ", ".join(f"{reason} {number_of(count)}" for reason, count in reasons)
    )
    if not named:
        return Markup("{}").format(told or "no reason was recorded")
    return Markup("{} on {}{}").format(
        number_of(summary.values_without_standing),
        link(summary.wafer, href),
        f" ({told})" if told else "",
    )


def _more(whole: int) -> str:
    """', and 3 more' where not all are named."""
    more = whole - MOST_NAMED
    return f", and {number_of(more)} more" if more > 0 else ""


def evidence(
    calibrations: Sequence[tuple[CalibrationResult, str]],
    verifications: Sequence[tuple[VerificationResult, str]],
) -> Sentences:
    """Whether calibrations and verifications were good; each with its address."""
    return (
        _events("calibration", "usable", [(c.record.id, c.outcome, h) for c, h in calibrations]),
        _events("verification", "passed", [(v.record.id, v.outcome, h) for v, h in verifications]),
    )


WENT_WRONG = {
    "failed": ("failed", "failed"),
    "checks failed": ("did not meet its own checks", "did not meet their own checks"),
    "not solved": ("could not be solved", "could not be solved"),
    "not proven": ("is not proven", "are not proven"),
    "not assessable": ("could not be assessed", "could not be assessed"),
}
"""Outcome that is not good, as the end of a sentence about one event and about several."""


def _events(noun: str, good: str, events: Sequence[tuple[str, str, str]]) -> Markup:
    """'Four of five calibrations are usable; CAL-3 did not meet its own checks.'"""
    if not events:
        return Markup("The record holds no {}.").format(noun)
    one, many = {"usable": ("is usable", "are usable"), "passed": ("passed", "passed")}[good]
    bad = {
        outcome: [link(name, href) for name, found, href in events if found == outcome]
        for outcome in WENT_WRONG
        if any(found == outcome for _, found, _ in events)
    }
    rest = sum(outcome == good for _, outcome, _ in events)
    if not bad:
        by = (
            ""
            if good == "passed"
            else " by its own checks"
            if rest == 1
            else " by their own checks"
        )
        return Markup("{} {}{}.").format(capital(every(rest, noun)), one if rest == 1 else many, by)
    if len(events) == 1:
        name, outcome, href = events[0]
        return Markup("The one {}, {}, {}.").format(noun, link(name, href), WENT_WRONG[outcome][0])
    named = [_group(links, *WENT_WRONG[outcome]) for outcome, links in bad.items()]
    first = "None" if rest == 0 else capital(spelled(rest))
    return Markup("{} of {} {}; {}.").format(
        first, counted(len(events), noun), one if rest <= 1 else many, several(named, "; ")
    )


def _group(links: Sequence[Markup], one: str, many: str) -> Markup:
    """'VER-1, VER-2 and VER-3 are not proven'."""
    named = joined(links[:MOST_NAMED]) + _more(len(links))
    return Markup("{} {}").format(named, one if len(links) == 1 else many)


def needs(findings: Sequence[Finding], fault_count: int, href: str) -> Sentences:
    """How many findings ask for a decision, how many faults the input has.

    href: the page that has them all; empty on that page itself.
    """

    def to(text: Text, target: str) -> Text:
        return link(str(text), target) if href else text

    decisions = sum(finding.weight == "decision" for finding in findings)
    said = []
    if findings:
        asked = (
            "none needs a decision"
            if decisions == 0
            else f"{spelled(decisions)} {'needs' if decisions == 1 else 'need'} a decision"
        )
        said.append(
            Markup("The measurements show {}; {}.").format(
                to(counted(len(findings), "finding"), href), asked
            )
        )
    else:
        said.append(Markup("The measurements show no finding."))
    if fault_count:
        said.append(
            Markup("{} of the input kept something from being read, computed or shown.").format(
                to(capital(counted(fault_count, "fault")), f"{href}#faults")
            )
        )
    return tuple(said)


def wafer(summary: WaferSummary, decided: Markup, verbs: Verbs | None = None) -> Sentences:
    """How a wafer came out. verbs: what conforming dies do, from `met`."""
    dies = Markup("{}.").format(capital(dies_measured(summary.planned, summary.measured)))
    if summary.measured == 0:
        return (dies,)
    if summary.assessable == 0:
        judged = nothing_in_full([summary], decided)
        return (dies, judged, *wafer_verdict(summary), *standing(((summary, ""),)))
    judged = Markup("{} under {}{}{}.").format(
        capital(judged_share(summary.conforming, summary.assessable, DIES, verbs or MEET)),
        decided,
        yield_of(summary),
        outside_besides(summary.outside_besides, more=True),
    )
    return (dies, judged, *wafer_verdict(summary), *standing(((summary, ""),)))


def station(
    name: str,
    calibrations: int,
    verifications: int,
    wafers: int,
    failed: int,
    bare: Sequence[tuple[str, str]],
    asked: bool = True,
) -> Sentences:
    """What a station's dated record holds.

    asked: whether calibrations and verifications are to be spoken of.

    failed: verifications that failed; bare: what was measured while no calibration was in force,
    and when.
    """
    if calibrations + verifications + wafers == 0:
        return (Markup("Nothing is recorded on {}.").format(name),)
    said = [
        Markup("The record of {} holds {}.").format(
            name,
            joined(
                [
                    *(
                        (
                            counted(calibrations, "calibration"),
                            counted(verifications, "verification"),
                        )
                        if asked
                        else ()
                    ),
                    counted(wafers, "wafer"),
                ]
            ),
        )
    ]
    if failed:
        said.append(Markup("{} failed.").format(capital(counted(failed, "verification"))))
    if bare:
        stretches = several([f"{what}, {when}" for what, when in bare[:MOST_NAMED]], "; ")
        said.append(
            Markup("No calibration was in force {}: {}{}.").format(
                f"for {counted(len(bare), 'stretch', 'stretches')}",
                stretches,
                _more(len(bare)),
            )
        )
    elif wafers and calibrations:
        said.append(Markup("A calibration was in force whenever a wafer was measured on it."))
    return tuple(said)
