"""Words about yields, for the first sentences of the pages of campaign and wafers."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen.model.results import WaferSummary
from sitegen.render.marks import marked
from sitegen.render.phrases import number_of, percent

DIES = ("die whose every value could be judged", "dies whose every value could be judged")
Verbs = tuple[str, str, str]
"""Of one die, of several, and of one that does not."""
MEET: Verbs = ("meets every limit", "meet every limit", "does not meet every limit")
CONFORM: Verbs = ("conforms", "conform", "does not conform")
AS_IF = "describes these dies as if each came out on its own"
"""What a yield's interval says, and what it does not."""


def met(conforming: Sequence[str]) -> Verbs:
    """What conforming dies do where their values may have these outcomes."""
    return MEET if tuple(conforming) == ("within",) else CONFORM


def judged_share(part: int, whole: int, nouns: tuple[str, str], verbs: tuple[str, str, str]) -> str:
    """'none of the 88 dies meets ...', 'all 88 dies meet ...', '82 of the 88 dies meet ...'.

    nouns: of one and of many; verbs: of one, of many, and of the one that does not.
    """
    if whole == 1:
        return f"the one {nouns[0]} {verbs[0] if part else verbs[2]}"
    if part == 0:
        return f"none of the {number_of(whole)} {nouns[1]} {verbs[0]}"
    if part == whole:
        return f"all {number_of(whole)} {nouns[1]} {verbs[1]}"
    verb = verbs[0 if part == 1 else 1]
    return f"{number_of(part)} of the {number_of(whole)} {nouns[1]} {verb}"


def conforming_of(summary: WaferSummary) -> str:
    """'82 of 88 (85.9 % to 96.8 %)'."""
    if summary.assessable == 0:
        return "(none judged in full)"
    counts = f"{number_of(summary.conforming)} of {number_of(summary.assessable)}"
    interval = interval_of(summary)
    return f"{counts} ({interval})" if interval else counts


def interval_of(summary: WaferSummary) -> str:
    """'85.9 % to 96.8 %'; empty without one."""
    if summary.yield_lower is None or summary.yield_upper is None:
        return ""
    return f"{percent(summary.yield_lower)} to {percent(summary.yield_upper)}"


def yield_of(summary: WaferSummary) -> str:
    """', a yield of 93.2 % (95 % interval ...)'; empty without an interval."""
    interval = interval_of(summary)
    if not interval:
        return ""
    share = percent(summary.conforming / summary.assessable)
    return f", a yield of {share} (95 % interval {interval}, which {AS_IF})"


def wafer_verdict(summary: WaferSummary) -> tuple[Markup, ...]:
    """The wafer's verdict with what decided it; nothing where none is declared."""
    if summary.verdict == "no limits":
        return ()
    why = f": {summary.verdict_reason}" if summary.verdict_reason else ""
    return (
        Markup("The wafer's verdict by its yield is {}{}.").format(marked(summary.verdict), why),
    )


def outside_besides(number: int, more: bool) -> str:
    """'; 3 more lie outside by what was judged'; empty for none."""
    if number == 0:
        return ""
    noun = "more" if more else "die" if number == 1 else "dies"
    verb = "lies" if number == 1 else "lie"
    return f"; {number_of(number)} {noun} {verb} outside by what was judged"


def nothing_in_full(wafers: Sequence[WaferSummary], decided: Markup) -> Markup:
    """What is said where no die has all of its values judged."""
    outcomes = {word for wafer in wafers for word, count in wafer.outcomes.items() if count}
    if "no limits" in outcomes and not outcomes - {"no limits", "not measured"}:
        return Markup("No die is judged: nothing that was measured has limits.")
    besides = sum(wafer.outside_besides for wafer in wafers)
    return Markup("On no die could every value with limits be judged under {}{}.").format(
        decided, outside_besides(besides, more=False)
    )
