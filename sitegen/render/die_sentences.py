"""The first sentences of a die's page: its verdict, what decided it, and what stands beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen.render.phrases import capital, counted, every, joined, several, spelled
from sitegen.render.pieces import Text
from sitegen.render.sentences import Sentences, be

SHOWN = 4
"""How many deciding values are named; the table has all of them."""


@dataclass(frozen=True, slots=True)
class DieFacts:
    """What decided a die's verdict."""

    name: str
    """'x3 y−2'."""
    outcome: str
    reason: str
    """What decided the verdict, in the words of the computation."""
    planned: bool
    limited: int
    """Values with limits that were judged and have standing."""
    outside: tuple[Text, ...]
    """'threshold voltage (room) 712 mV, above 650 mV' for each value outside."""
    not_proven: tuple[Text, ...]
    not_assessable: tuple[Text, ...]
    """The same with the reason."""
    missing: int
    without_standing: int
    standing_reasons: tuple[str, ...]
    not_closed: int
    repeated: int
    """Values with more than one touchdown."""
    hinging: tuple[Text, ...]
    """Symbols of the parameters whose outcome another touchdown would have changed."""
    not_refuted: tuple[Text, ...] = ()
    """As `outside`."""
    conforming: bool = False
    other_verdicts: str = ""
    """'first: outside; mean: not proven': what other rules of choice would make of the die."""


def die(
    facts: DieFacts, decided: Markup, counts: str, conforming: Sequence[str] = ("within",)
) -> Sentences:
    """The verdict with its reason.

    counts: which touchdown counts, 'first', 'last' or 'mean'; conforming: the outcomes that a
    conforming die's values may have.
    """
    verdict = Markup("Die {} {}.").format(facts.name, _verdict(facts, decided))
    return (
        verdict,
        *_conforming(facts, conforming),
        *_beside(facts),
        *_touchdowns(facts, counts),
    )


def _conforming(facts: DieFacts, conforming: Sequence[str]) -> Sentences:
    """Whether the die conforms, where its verdict alone does not say so."""
    if facts.outcome not in ("not proven", "not refuted") or tuple(conforming) == ("within",):
        return ()
    return (
        Markup("It {}: values of a conforming die may be {}.").format(
            "conforms" if facts.conforming else "does not conform", joined(conforming, "or")
        ),
    )


def _verdict(facts: DieFacts, decided: Markup) -> Text:
    if facts.outcome == "not measured":
        if facts.planned:
            return "was not measured although the plan asks for it"
        return "was not measured; the plan does not ask for it"
    if facts.outcome == "no limits":
        return "was measured, and none of its values has limits to be judged against"
    if facts.outcome == "within":
        lie = (
            "its one value with limits lies within them"
            if facts.limited == 1
            else f"{every(facts.limited, 'value')} with limits lie within them"
        )
        return Markup("is <strong>within</strong>: {} under {}").format(lie, decided)
    if facts.outcome == "outside" and facts.outside:
        return Markup("is <strong>outside</strong> under {}: {} {} outside {} limits ({})").format(
            decided,
            counted(len(facts.outside), "value"),
            "lies" if len(facts.outside) == 1 else "lie",
            "its" if len(facts.outside) == 1 else "their",
            _some(facts.outside),
        )
    if facts.outcome == "not refuted" and facts.not_refuted:
        return Markup(
            "is <strong>not refuted</strong> under {}: {} {} beyond a limit by no more than the"
            " guard band ({})"
        ).format(
            decided,
            counted(len(facts.not_refuted), "value"),
            "lies" if len(facts.not_refuted) == 1 else "lie",
            _some(facts.not_refuted),
        )
    if facts.outcome == "not proven" and facts.not_proven:
        return Markup(
            "is <strong>not proven</strong> under {}: {} {} inside the guard band ({})"
        ).format(
            decided,
            counted(len(facts.not_proven), "value"),
            "lies" if len(facts.not_proven) == 1 else "lie",
            _some(facts.not_proven),
        )
    why = _why_not_assessable(facts) if facts.outcome == "not assessable" else ""
    return Markup("is <strong>{}</strong> under {}: {}").format(
        facts.outcome, decided, why or facts.reason or "no reason was recorded"
    )


def _why_not_assessable(facts: DieFacts) -> Text:
    why: list[Text] = []
    if facts.without_standing:
        reasons = f" ({'; '.join(facts.standing_reasons)})" if facts.standing_reasons else ""
        why.append(
            f"{counted(facts.without_standing, 'value')} {be(facts.without_standing)}"
            f" without standing{reasons}"
        )
    if facts.missing:
        why.append(f"{counted(facts.missing, 'planned value')} {be(facts.missing)} missing")
    if facts.not_assessable:
        why.append(
            Markup("{} cannot be judged ({})").format(
                counted(len(facts.not_assessable), "value"), _some(facts.not_assessable)
            )
        )
    return joined(why) if why else ""


def _some(values: Sequence[Text]) -> Markup:
    """The first few values, and how many more there are."""
    more = len(values) - SHOWN
    shown = several(values[:SHOWN], "; ")
    return shown + f"; and {spelled(more)} more" if more > 0 else shown


def _beside(facts: DieFacts) -> Sentences:
    """What does not decide the verdict and must be known with it."""
    said = []
    if facts.outcome not in {"not assessable", "not measured"}:
        if facts.without_standing:
            said.append(
                f"{counted(facts.without_standing, 'value')} {be(facts.without_standing)}"
                " without standing"
            )
        if facts.missing:
            said.append(f"{counted(facts.missing, 'planned value')} {be(facts.missing)} missing")
    if facts.not_closed:
        said.append(
            f"{counted(facts.not_closed, 'value')} {be(facts.not_closed)} not closed,"
            " with no passed verification after"
        )
    return (Markup("{}.").format(capital(joined(said))),) if said else ()


def _touchdowns(facts: DieFacts, counts: str) -> Sentences:
    if not facts.repeated:
        return ()
    rule = {
        "first": "the first touchdown counts",
        "last": "the last touchdown counts",
        "mean": "the mean of all touchdowns counts",
    }[counts]
    hinging = Markup("; another one would change the outcome of {}").format(joined(facts.hinging))
    return (
        Markup("{} {} taken at more than one touchdown; {}{}.").format(
            capital(counted(facts.repeated, "value")),
            "was" if facts.repeated == 1 else "were",
            rule,
            hinging if facts.hinging else "",
        ),
        *_other_verdicts(facts.other_verdicts),
    )


def _other_verdicts(told: str) -> Sentences:
    """'Were it the first one, the die would be outside; were it the mean, not proven.'"""
    which = {"first": "the first one", "last": "the last one", "mean": "the mean"}
    rules: dict[str, list[str]] = {}
    for one in told.split("; ") if told else ():
        rule, verdict = one.split(": ")
        rules.setdefault(verdict, []).append(which[rule])
    each = [(joined(names, "or"), verdict) for verdict, names in rules.items()]
    if not each:
        return ()
    more = [Markup("; were it {}, {}").format(names, verdict) for names, verdict in each[1:]]
    return (Markup("Were it {}, the die would be {}{}.").format(*each[0], Markup("").join(more)),)
