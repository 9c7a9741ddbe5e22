"""The decision rules of a campaign in words: by which one its values are judged, by what clause."""

from markupsafe import Markup

from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import RULE_TEXTS, Decision
from sitegen.render import sentences


def rule_with_clause(decision: Decision, href: str, tolerance: bool) -> Markup:
    """`sentences.rule` with its name in the standards and where they have it."""
    text = RULE_TEXTS[decision.rule]
    title = f"{text.title[0].lower()}{text.title[1:]}"
    named = "" if title == text.name else f"{title}, "
    return Markup("{}: {}{}").format(sentences.rule(decision, href, tolerance), named, text.clauses)


def rules(record: CampaignRecord, href: str) -> Markup:
    """The one rule of all parameters with limits, or 'the decision rules of the parameters'."""
    declared: dict[Decision, bool] = {}
    for one in record.parameters:
        if one.lower is not None or one.upper is not None:
            decision = one.decision or record.decision
            declared[decision] = declared.get(decision, False) or one.tolerance is not None
    if len(declared) > 1:
        return Markup('the <a href="{}">decision rules</a> of the parameters').format(href)
    decision, tolerance = next(iter(declared.items()), (record.decision, False))
    return sentences.rule(decision, href, tolerance)
