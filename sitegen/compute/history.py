"""Calibrations of a station against their neighbours in time: difference and drift.

The difference of two calibrations is what any passive device could see of it, the comparison
bound. What remains of it beyond two calibrations made back to back is drift. Where a verification
of a calibration failed before the next one, the change between them is a step and no drift.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration, restated
from sitegen.compute.checks.judge import greatest, judged
from sitegen.compute.checks.previous import raw_against_previous, why_not_comparable
from sitegen.compute.rf.back_to_back import (
    BETWEEN_METHODS,
    REPEATABLE,
    Repeatable,
    repeatable_difference,
)
from sitegen.compute.rf.comparison import bound_between
from sitegen.compute.rf.propagation import Perturbation
from sitegen.compute.rf.terms import ErrorTerms, term_rows, terms_from_rows
from sitegen.compute.standards import made_alike
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.campaign import Exchange, Station
from sitegen.model.event_results import Check, Comparison, SourceFigure
from sitegen.units import count, frequency, number

NAME = "difference from the previous calibration"
LEAST_PAIRS = 5
"""Pairs from which a station's drift is known well enough not to be called provisional."""


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two comparable calibrations of a station, one after the other."""

    earlier: SolvedCalibration
    later: SolvedCalibration
    bound: FloatArray
    """(n_freq,) of their difference."""
    repeatable: FloatArray | None
    """(n_freq,) of two calibrations made back to back; None: no uncertainty is stated."""
    stepped: bool = False
    """A verification failed between them."""

    @property
    def drift(self) -> FloatArray | None:
        """(n_freq,) what remains of the bound."""
        if self.repeatable is None:
            return None
        return np.asarray(np.maximum(self.bound - self.repeatable, 0.0))

    def change(self) -> ComplexArray | None:
        """(n_term, n_freq) change of the terms, less what back to back would show of it.

        Where either is not determined it is interpolated; None where nothing is known.
        """
        if self.drift is None or self.earlier.terms is None or self.later.terms is None:
            return None
        with np.errstate(all="ignore"):
            share = np.where(self.bound > 0, self.drift / self.bound, 0.0)
        share = np.where(np.isinf(self.bound), 1.0, share)
        change = share * (_rows(self.later.terms) - _rows(self.earlier.terms))
        known: BoolArray = np.all(np.isfinite(change), axis=0)
        if not known.any():
            return None
        place = np.arange(len(known))
        return np.array(
            [
                np.interp(place, place[known], row[known].real)
                + 1j * np.interp(place, place[known], row[known].imag)
                for row in change
            ]
        )

    @property
    def shows_drift(self) -> bool:
        """Whether neither failed by itself nor a step lies between them."""
        return self.drift is not None and _is_sound(self.later) and not self.stepped


def with_history(
    solved: Sequence[SolvedCalibration],
    stations: Sequence[Station] = (),
    failed: Collection[str] = (),
) -> tuple[SolvedCalibration, ...]:
    """With comparisons, the checks they allow, and drift among the sources of uncertainty.

    failed: ids of calibrations of which a verification failed.


    Each calibration is compared with the latest one before it that did not fail by itself and
    that it can be compared with, by whatever method either was made. Where the one right before
    it cannot be compared, that is said.
    """
    exchanges = {station.id: station.exchanges for station in stations}
    done = {one.result.record.id: restated(one) for one in solved}
    series: dict[tuple[str, tuple[int, ...]], list[SolvedCalibration]] = defaultdict(list)
    for one in sorted(done.values(), key=lambda each: (each.result.made_at, each.result.record.id)):
        if one.terms is not None:
            series[one.result.record.station, one.result.record.ports].append(one)
    for (station, _), made in series.items():
        pairs, refusals = _paired(made, exchanges.get(station, ()), failed)
        for one in made:
            name = one.result.record.id
            compared = _compared(one, pairs.get(name), refusals.get(name))
            done[name] = _with_drift(compared, list(pairs.values()))
    return tuple(done[one.result.record.id] for one in solved)


def _paired(
    made: Sequence[SolvedCalibration], exchanges: Sequence[Exchange], failed: Collection[str]
) -> tuple[Mapping[str, _Pair], Mapping[str, Comparison]]:
    """By the later one's id: the pair, and why the one right before it is not in it."""
    pairs: dict[str, _Pair] = {}
    refusals: dict[str, Comparison] = {}
    for place, one in enumerate(made):
        name = one.result.record.id
        for back, other in enumerate(reversed(made[:place]), 1):
            if not _is_sound(other):
                continue
            refused = why_not_comparable(other, one, exchanges)
            if not refused:
                since = made[place - back : place]
                stepped = any(each.result.record.id in failed for each in since)
                pairs[name] = replace(_pair(other, one), stepped=stepped)
                break
            if name not in refusals:
                refusals[name] = Comparison(
                    "previous calibration",
                    other.result.record.id,
                    refused,
                    None,
                    None,
                    None,
                    one.result.record.bounds.difference_from_previous,
                    None,
                )
    return pairs, refusals


def _is_sound(one: SolvedCalibration) -> bool:
    """Whether its own checks are met, those against other calibrations apart."""
    return one.result.outcome == "usable"


def _pair(earlier: SolvedCalibration, later: SolvedCalibration) -> _Pair:
    assert earlier.terms is not None and later.terms is not None
    repeatable = None
    alike = made_alike(earlier.result.record, later.result.record)
    groups = REPEATABLE if alike else BETWEEN_METHODS
    if earlier.uncertainty is not None and later.uncertainty is not None:
        repeatable = repeatable_difference(
            *(
                Repeatable(terms, [p for p in uncertainty.perturbations if p.group in groups])
                for terms, uncertainty in (
                    (earlier.terms, earlier.uncertainty),
                    (later.terms, later.uncertainty),
                )
            )
        )
    bound = bound_between(earlier.terms, later.terms).greatest
    return _Pair(earlier, later, bound, repeatable)


def _compared(
    one: SolvedCalibration, pair: _Pair | None, refusal: Comparison | None
) -> SolvedCalibration:
    comparisons = list(one.result.comparisons)
    checks = list(one.result.checks)
    if refusal is not None:
        comparisons.append(refusal)
    if pair is not None:
        check = _difference(pair)
        limit = one.result.record.bounds.difference_from_previous
        comparisons.append(
            Comparison(
                "previous calibration",
                pair.earlier.result.record.id,
                "",
                pair.bound,
                pair.repeatable,
                pair.drift,
                limit,
                check.passed,
            )
        )
        checks += [check, *raw_against_previous(pair.earlier.loaded, one.loaded)]
    result = replace(one.result, checks=tuple(checks), comparisons=tuple(comparisons))
    return replace(one, result=result)


def _difference(pair: _Pair) -> Check:
    result = pair.later.result
    worst = greatest(pair.bound, result.frequency_hz)
    text = f"It and {pair.earlier.result.record.id} are determined together at no frequency."
    if worst is not None:
        text = (
            f"Greatest difference from {pair.earlier.result.record.id} that a passive device could"
            f" see, at {frequency(worst[1])}."
        )
        if pair.repeatable is not None:
            there = pair.repeatable[int(np.nanargmax(pair.bound))]
            text += f" Two made back to back would show {number(float(there), 2)} there (95 %)."
    return judged(
        "comparison",
        NAME,
        None if worst is None else worst[0],
        text,
        upper=result.record.bounds.difference_from_previous,
    )


def _with_drift(one: SolvedCalibration, pairs: Sequence[_Pair]) -> SolvedCalibration:
    """With drift to the next comparable calibration, or from the station's history."""
    if one.uncertainty is None or one.terms is None:
        return one
    name = one.result.record.id
    sound = [each for each in pairs if each.shows_drift]
    following = next((each for each in sound if each.earlier.result.record.id == name), None)
    alike = [following] if following else [each for each in sound if _is_alike(each, one)]
    kept = [(each, each.change()) for each in alike]
    known = [(each, change) for each, change in kept if change is not None]
    if not known:
        note = "drift is not stated: the station has no two calibrations that would show it"
        return replace(one, result=replace(one.result, notes=(*one.result.notes, note)))
    size = _size([each.drift for each, _ in known if each.drift is not None])
    if following is not None:
        other = following.later.result.record.id
        figure = SourceFigure("drift until the next calibration", "drift", size, f"from {other}")
        moved = _moved(one.terms, known[0][1] / np.sqrt(3.0))
        added = [Perturbation("drift", f"until {other}", "real", moved)]
    else:
        basis = f"pooled from {count(len(known), 'pair')} of calibrations"
        if len(known) < LEAST_PAIRS:
            basis += f", provisional below {LEAST_PAIRS}"
        if any(each.stepped and each.earlier.result.record.id == name for each in pairs):
            basis += "; a verification failed before the next one"
        figure = SourceFigure("drift, from the station's history", "drift", size, basis)
        share = 1.0 / np.sqrt(6.0 * len(known))
        added = [
            Perturbation(
                "drift",
                f"as from {each.earlier.result.record.id} to {each.later.result.record.id}",
                "circular",
                _moved(one.terms, share * change),
            )
            for each, change in known
        ]
    uncertainty = replace(
        one.uncertainty,
        perturbations=(*one.uncertainty.perturbations, *added),
        sources=(*one.uncertainty.sources, figure),
    )
    result = replace(one.result, sources=(*one.result.sources, figure))
    return replace(one, uncertainty=uncertainty, result=result)


def _size(drifts: Sequence[FloatArray]) -> str:
    greatest_drift = float(np.nanmax(np.array(drifts)))
    if greatest_drift == 0.0:
        return "none told from two made back to back"
    return f"{number(greatest_drift, 2)} at most"


def _is_alike(pair: _Pair, one: SolvedCalibration) -> bool:
    """Whether a pair's drift is one that this calibration could show; exchanges do not count."""
    return not why_not_comparable(pair.later, one, ())


def _moved(terms: ErrorTerms, change: ComplexArray) -> ErrorTerms:
    return terms_from_rows(terms, _rows(terms) + change)


def _rows(terms: ErrorTerms) -> ComplexArray:
    return np.array([row.values for row in term_rows(terms)])
