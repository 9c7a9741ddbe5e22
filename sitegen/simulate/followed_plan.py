"""What happens at the station of the second demonstration, and when.

Accepted at the factory, accepted again where it stands, then calibrated and verified on every
working day for nearly six weeks. What is planted, and nothing else:

- the load of the set in use wears: its resistance grows a little with every calibration;
- one afternoon a cable lies out of its clamp: a verification fails, and a new calibration follows;
- the probe of port 2 is exchanged;
- one morning the load is badly contacted: the calibration's own checks fail, and it is repeated.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from sitegen.simulate.followed_notes import (
    ACCEPTED_NOTE,
    BAD_CONTACT_NOTE,
    EXCHANGE_NOTE,
    MOVED_NOTE,
)
from sitegen.simulate.followed_station import SEED
from sitegen.simulate.scenario import CalibrationPlan, PoorContact, VerificationPlan
from sitegen.simulate.station import Analyser, PathChange, usual_analyser

Structures = Literal["acceptance", "above 12 GHz", "site", "routine"]

SITE_H = 8 * 24.0
"""From here on the system stands where it is used, with other cables."""
DAYS = 28
EXCHANGE_DAY, MOVED_DAY, POOR_DAY = 4, 9, 19
AFTERNOONS = (2, 7, 15, 23)
"""Routine days with a second verification in the afternoon."""
REPORTED = (0, 6, 15, 24)
"""Routine days whose calibration has the instrument's own terms beside it."""


def day_h(day: int) -> float:
    """The hour at which a routine day begins: working days from Wednesday of the second week."""
    since_monday = day + 2
    return 24.0 * (7 + since_monday // 5 * 7 + since_monday % 5)


EXCHANGE_H = day_h(EXCHANGE_DAY) + 7.5
MOVED_H, BACK_H = day_h(MOVED_DAY) + 11.5, day_h(MOVED_DAY) + 14.25


@dataclass(frozen=True)
class Verified:
    """A verification with the set of structures that it contacts."""

    plan: VerificationPlan
    structures: Structures


@dataclass(frozen=True)
class Plan:
    """Every event, by time."""

    calibrations: tuple[CalibrationPlan, ...]
    verifications: tuple[Verified, ...]


def analyser() -> Analyser:
    """The station's RF path with what changes in it."""
    return usual_analyser(
        (SEED, 1),
        (
            PathChange(1, -1e9, SITE_H, cable_ps=6.2, cable_db=0.5),
            PathChange(2, -1e9, SITE_H, cable_ps=5.7, cable_db=0.4),
            PathChange(2, MOVED_H, BACK_H, cable_ps=0.35, cable_db=0.3),
            PathChange(2, EXCHANGE_H, probe_ps=0.6, probe_db=0.06, tip_ph=0.7),
        ),
    )


def plan() -> Plan:
    """Ids are numbers in the order of time."""
    calibrations: list[CalibrationPlan] = []
    verifications: list[Verified] = []
    for event in _events():
        if isinstance(event, CalibrationPlan):
            name = f"CAL-{len(calibrations) + 1:02d}"
            calibrations.append(replace(event, id=name))
        else:
            name = f"VER-{len(verifications) + 1:02d}"
            of = calibrations[-1].id
            named = replace(event.plan, id=name, calibration=of)
            verifications.append(replace(event, plan=named))
    return Plan(tuple(calibrations), tuple(verifications))


def _events() -> Iterator[CalibrationPlan | Verified]:
    """Calibrations and verifications in the order of time; each verifies the one before it."""
    site = SITE_H
    yield CalibrationPlan("", 9.0, "multiline TRL", 10.0, repeated="line-200", repeats=1)
    yield _verified(9.8, "acceptance")
    yield CalibrationPlan("", 13.0, "TRL", 10.0, repeated="line-200", repeats=1)
    yield _verified(13.5, "above 12 GHz")
    yield CalibrationPlan("", site + 9.0, "multiline TRL", 10.0, ACCEPTED_NOTE, "line-200", 2,
                          noise_from_repeats=True, reported=True)  # fmt: skip
    yield _verified(site + 9.8, "acceptance")
    yield CalibrationPlan("", site + 13.0, "SOLR", 10.0, repeats=1,
                          monte_carlo_draws=200)  # fmt: skip
    yield _verified(site + 13.5, "site")
    yield CalibrationPlan("", site + 15.0, "LRM", 10.0, repeats=1)
    yield _verified(site + 15.5, "site")
    for day in range(DAYS):
        yield from _routine(day)


def _routine(day: int) -> Iterator[CalibrationPlan | Verified]:
    start = day_h(day)
    usual = CalibrationPlan("", start + 8.5, "LRRM", 10.0, repeated="thru",
                            repeats=int(day % 3 == 0), reported=day in REPORTED)  # fmt: skip
    if day == POOR_DAY:
        yield replace(usual, note=BAD_CONTACT_NOTE, poor_contact=PoorContact("load", 1, 4.0))
        yield replace(usual, at=start + 9.25)
        yield _verified(start + 9.75, "routine")
        return
    yield replace(usual, note=EXCHANGE_NOTE if day == EXCHANGE_DAY else "")
    yield _verified(start + 9.0, "routine")
    if day in AFTERNOONS:
        yield _verified(start + 15.0, "routine")
    if day == MOVED_DAY:
        yield _verified(start + 14.0, "routine", MOVED_NOTE)
        yield replace(usual, at=start + 14.75)
        yield _verified(start + 15.25, "routine")


def _verified(at: float, structures: Structures, note: str = "") -> Verified:
    return Verified(VerificationPlan("", at, "", note), structures)
