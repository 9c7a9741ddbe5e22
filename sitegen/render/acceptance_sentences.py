"""The first sentences of an acceptance's page: what was shown where, and whether it is accepted."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.decision import Decision, Rule
from sitegen.model.event_results import AcceptanceResult, Judged, PerformanceResult
from sitegen.render import sentences
from sitegen.render.marks import marked
from sitegen.render.phrases import (
    capital,
    counted,
    every,
    frequency,
    joined,
    link,
    several,
    spelled,
)
from sitegen.render.pieces import Text
from sitegen.render.sentences import Sentences, be
from sitegen.render.verification_sentences import of_its_mask, worst_of

ACCEPTED = {
    "passed": "accepted",
    "failed": "not accepted",
    "not proven": "not proven",
    "not assessable": "not assessable",
}
"""Outcome of an acceptance -> the word for it."""
MOST_NAMED = 6
"""How many figures or structures a sentence names before it counts the rest."""


def acceptance(
    result: AcceptanceResult,
    station: Markup,
    factory: Markup,
    site: Markup,
    verified: Mapping[str, str],
) -> Sentences:
    """What was shown where, the verdict, and where the site lies farthest from the factory.

    factory, site: the verification of each place with its date, as a phrase; verified: outcome of
    the two verifications by their ids.
    """
    record = result.record
    shown = Markup(
        "{} hands {} over to {}: shown where it was built ({}) by {}, and where it stands ({}) by"
        " {}."
    ).format(
        capital(record.supplier),
        station,
        record.customer,
        record.factory_place,
        factory,
        record.site_place,
        site,
    )
    return (shown, _verdict(result, verified), *_farthest(result))


def _verdict(result: AcceptanceResult, verified: Mapping[str, str]) -> Markup:
    if result.outcome == "passed":
        return Markup("It is accepted: {}.").format(joined(_met(result)))
    if result.outcome == "not assessable":
        return Markup("It cannot be assessed: {}.").format(
            (result.reason or "nothing is declared").rstrip(".")
        )
    word = "not accepted" if result.outcome == "failed" else "not proven"
    found = [
        *_performance(result.performance, result.outcome),
        *_differences(result),
        *_verifications(result, verified),
    ]
    return Markup("It is {}: {}.").format(
        word, several(found, "; ") if found else result.reason.rstrip(".")
    )


def _met(result: AcceptanceResult) -> list[str]:
    """What was declared, all of it met."""
    said = ["both verifications passed"]
    if figures := len(result.performance):
        said.append(f"{every(figures, 'declared figure')} {be(figures)} met at both places")
    if differences := len(result.differences):
        verb = "lies" if differences == 1 else "lie"
        whole = every(differences, "difference")
        mask = "its mask" if differences == 1 else "their masks"
        said.append(f"{whole} of the site from the factory {verb} within {mask}")
    return said


def _performance(figures: Sequence[PerformanceResult], outcome: Judged) -> list[str]:
    """'of three declared figures one is missed at the factory (...)', and the same on site."""
    word = "missed" if outcome == "failed" else "not proven"
    said = []
    for place, names in (
        ("at the factory", [f.declared.name for f in figures if f.factory_outcome == outcome]),
        ("on site", [f.declared.name for f in figures if f.site_outcome == outcome]),
    ):
        if names:
            more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
            which = (
                every(len(figures), "declared figure")
                if len(names) == len(figures)
                else f"{spelled(len(names))} of {counted(len(figures), 'declared figure')}"
            )
            said.append(
                f"{which} {be(len(names))} {word} {place} ({', '.join(names[:MOST_NAMED])}{more})"
            )
    return said


def _differences(result: AcceptanceResult) -> list[str]:
    """Structures whose site differs too much from the factory, or too much to be proven."""
    where = "beyond" if result.outcome == "failed" else "inside the guard band of"
    said = []
    names = _structures(result, [one.mask.outcome for one in result.differences])
    if names:
        verb = "lies" if len(names) == 1 else "lie"
        said.append(f"the site's {joined(names)} {verb} {where} the mask around the factory's")
    names = _structures(
        result,
        [
            "not assessable"
            if one.agreement is None or one.agreement.rule == "shown"
            else one.agreement.outcome
            for one in result.differences
        ],
    )
    if names:
        verb = "disagrees" if len(names) == 1 else "disagree"
        said.append(f"the site's {joined(names)} {verb} with the factory's over the whole sweep")
    return said


def _verifications(result: AcceptanceResult, verified: Mapping[str, str]) -> list[str]:
    """'the site's verification VER-2 failed'."""
    verb = "failed" if result.outcome == "failed" else "is not proven"
    places = (("factory", result.record.factory), ("site", result.record.site))
    return [
        f"the {place}'s verification {name} {verb}"
        for place, name in places
        if verified.get(name) == result.outcome
    ]


def _structures(result: AcceptanceResult, outcomes: Sequence[Judged]) -> list[str]:
    found = zip(result.differences, outcomes, strict=True)
    return list(dict.fromkeys(one.structure for one, outcome in found if outcome == result.outcome))


def _farthest(result: AcceptanceResult) -> Sentences:
    """Where the site comes nearest to its mask around the factory."""
    worst = worst_of((one.mask, one.structure) for one in result.differences)
    if worst is None:
        return ()
    return (
        Markup("Site and factory differ most, by their masks, in {} of {} at {}: {}.").format(
            worst.parameter, worst.structure, frequency(worst.frequency_hz), of_its_mask(worst)
        ),
    )


MET: Mapping[Rule, str] = {
    "simple": "a figure is met where it does not exceed its limit, whatever its uncertainty",
    "guarded": "a figure is met where with its guard band it does not exceed its limit, missed"
    " where it alone exceeds the limit, and not proven between the two",
    "guarded rejection": "a figure is met where it does not exceed its limit, missed where it"
    " exceeds it by more than its guard band, and not proven between the two",
    "non-binary": "a figure is met where with its guard band it does not exceed its limit, missed"
    " where it exceeds it by more than its guard band, and not proven between the two",
}
"""When a declared figure is met, by rule."""


def rule(decision: Decision, href: str) -> Markup:
    """The decision rule as a sentence. href: its text on the method page.

    Each figure has one limit, so that a bound on a tolerance's share is not told.
    """
    return Markup("Decided by {}: {}.").format(
        sentences.rule(decision, href, tolerance=False), MET[decision.rule]
    )


def accepted(
    acceptances: Sequence[tuple[AcceptanceResult, str]], stations: Mapping[str, str]
) -> Sentences:
    """'Acceptance ACC-1: probe station B is accepted.' acceptances: each with its address."""
    said = [
        Markup("Acceptance {}: {} is {}.").format(
            link(one.record.id, href),
            stations.get(one.record.station, one.record.station),
            ACCEPTED[one.outcome],
        )
        for one, href in acceptances[:MOST_NAMED]
    ]
    more = len(acceptances) - MOST_NAMED
    if more > 0:
        said.append(Markup("The record holds {}.").format(counted(more, "further acceptance")))
    return tuple(said)


def accepted_by(station: str, acceptances: Sequence[AcceptanceResult], page: str) -> Text:
    """The acceptances of a station with their outcomes, as links from `page`."""
    mine = [each for each in acceptances if each.record.station == station]
    if not mine:
        return "none in this record"
    return several(
        Markup("{} {}").format(
            link(
                each.record.id,
                addresses.relative(addresses.acceptance(each.record.id), page),
            ),
            marked(ACCEPTED[each.outcome]),
        )
        for each in mine
    )
