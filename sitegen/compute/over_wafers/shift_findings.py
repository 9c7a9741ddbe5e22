"""What stresses did, as findings: devices lost, shifts beyond their bound, dies not measured."""

from collections.abc import Sequence

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord
from sitegen.model.shift_results import Shift
from sitegen.problems import Finding, Weight
from sitegen.units import count

MOST_NAMED = 4
"""Parameters named in a finding before the rest is counted."""


def shift_findings(shifts: Sequence[Shift], campaign: CampaignRecord) -> list[Finding]:
    """At most two findings a stress: what asks for a decision, and what was not measured after."""
    found = []
    for stress in campaign.stresses:
        mine = [one for one in shifts if one.stress == stress.id]
        lost = sorted((one for one in mine if one.lost_devices), key=lambda one: -one.lost_devices)
        beyond = sorted((one for one in mine if one.beyond), key=lambda one: -one.beyond)
        told = []
        if lost:
            told.append(
                "values that were there before it are gone: "
                + _named(lost, [f"{one.lost_devices} of {one.had}" for one in lost])
            )
        if beyond:
            told.append(
                "shifts beyond their bound: "
                + _named(beyond, [f"{one.beyond} of {one.n}" for one in beyond])
            )
        subject, name = f"stress {stress.id}", f"After stress {stress.id} ({stress.name})"
        if told:
            text = f"{name} {'; '.join(told)}."
            worst = (lost or beyond)[0]
            found.append(_finding("shift by a stress", subject, text, "decision", worst))
        gaps = [one for one in mine if one.lost_total > one.lost_devices]
        if gaps:
            most = max(gaps, key=lambda one: one.lost_total - one.lost_devices)
            values = sum(one.lost_total - one.lost_devices for one in gaps)
            found.append(
                _finding(
                    "not measured after a stress",
                    subject,
                    f"{name} {count(values, 'value')} with a number before"
                    f" {'was' if values == 1 else 'were'} not measured again or"
                    f" {'has' if values == 1 else 'have'} no standing, most of {most.parameter} at"
                    f" {most.condition}: what the stress did to"
                    f" {'it' if values == 1 else 'them'} is not known.",
                    "attention",
                    most,
                )
            )
    return found


def _finding(kind: str, subject: str, text: str, weight: Weight, of: Shift) -> Finding:
    return Finding(kind, subject, text, weight, f"{addresses.parameter(of.parameter)}#stress")


def _named(shifts: Sequence[Shift], told: Sequence[str]) -> str:
    """'VTH at sat on 3 of 52 dies, RON at lin on 1 of 52 dies and 2 more'."""
    parts = [
        f"{one.parameter} at {one.condition} on {text}"
        for one, text in zip(shifts[:MOST_NAMED], told, strict=False)
    ]
    rest = len(shifts) - len(parts)
    return ", ".join(parts) + (f" and {count(rest, 'more parameter')}" if rest > 0 else "")
