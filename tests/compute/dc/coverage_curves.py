"""Simulated curves with known truth: how often the stated 95 % intervals of each figure hold it.

Every curve has an instrument of its own: noise of each reading, a share and an offset common to
all readings, and a share and an offset of the source, each normal with the stated size.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar

from sitegen.compute.dc.accuracy import Instruments, RangeAccuracy, instrument_uncertainty
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.estimates import IN_95_PERCENT, Estimate
from sitegen.compute.dc.figures import extract
from sitegen.model.arrays import FloatArray
from sitegen.model.curve_figures import CurveFigureName
from sitegen.model.extraction import FromCurve
from tests.compute.dc import laws

Law = Callable[[FloatArray], FloatArray]
NOTHING = RangeAccuracy(0.0, 0.0)


@dataclass(frozen=True)
class Case:
    """A figure on a law, with the sizes of what errs."""

    wanted: FromCurve
    swept: FloatArray
    law: tuple[Law, ...]
    """One, or two for a drain-induced shift."""
    truth: float
    noise_share: float = 0.0
    noise: float = 0.0
    """A or V, of each reading."""
    readings: RangeAccuracy = NOTHING
    source: RangeAccuracy = NOTHING
    drain_v: float = float("nan")
    forced_current: bool = False


def figure(name: CurveFigureName, **places: object) -> FromCurve:
    return FromCurve.model_validate({"figure": name, "curve": "C", **places})


def _slope(law: Law, at: float) -> float:
    h = 1e-4
    y = law(at + h * np.array([-2.0, -1.0, 1.0, 2.0]))
    return float((y[0] - 8 * y[1] + 8 * y[2] - y[3]) / (12 * h))


def _steepest(law: Law, low: float, high: float) -> float:
    found = minimize_scalar(
        lambda at: -_slope(law, at), bounds=(low, high), method="bounded", options={"xatol": 1e-8}
    )
    return float(found.x)


GATE_V = np.arange(0.0, 1.2001, 0.02)
FORWARD_V = np.arange(0.3, 0.8001, 0.01)
DRAIN_V = np.arange(0.0, 1.5001, 0.025)
HIGH_V = np.arange(0.0, 40.001, 0.5)
FORCED_A = np.linspace(-1e-3, 1e-3, 11)
CHAIN_V = np.linspace(-0.05, 0.05, 21)
LINKS = 50


def _soft(v: FloatArray) -> FloatArray:
    return laws.soft(v, 0.4, 0.05)


def _triode(v: FloatArray) -> FloatArray:
    return laws.triode(v, 0.4, 0.05)


def _output(v: FloatArray) -> FloatArray:
    return np.asarray(1e-3 * np.tanh(v / 0.25) * (1 + 0.08 * v))


def _avalanche(v: FloatArray) -> FloatArray:
    return laws.exponential(v, 1e-12, 4.0)


def _diode(v: FloatArray) -> FloatArray:
    return np.asarray(1e-14 * np.exp(v / (1.08 * laws.BOLTZMANN_OVER_CHARGE * 300.0)))


def _subthreshold(v: FloatArray) -> FloatArray:
    return laws.exponential(v, 1e-12, 0.085)


def _shifted(v: FloatArray) -> FloatArray:
    return laws.exponential(v + 0.06, 1e-12, 0.085)


def cases() -> dict[str, Case]:
    """A case for each figure; noise and accuracies are of a like weight in each."""
    meter = RangeAccuracy(2e-3, 0.0)
    source = RangeAccuracy(1e-4, 3e-4)
    at = _steepest(_soft, 0.45, 0.8)
    degraded = [lambda v: laws.degraded(v, 0.4, 0.05, 0.4, 2e-3)]
    small: dict[str, Any] = {"noise": 2e-8, "readings": meter, "source": source, "drain_v": 0.05}
    log: dict[str, Any] = {"noise_share": 5e-3, "readings": meter, "source": source}
    return {
        "threshold by constant current": Case(
            figure("threshold by constant current", current_a=1e-8),
            GATE_V, (_subthreshold,), 0.085 * 4, **log,
        ),
        "threshold by extrapolation": Case(
            figure("threshold by extrapolation"),
            GATE_V, (_soft,), at - float(_soft(np.array(at))) / _slope(_soft, at) - 0.025, **small,
        ),
        "threshold by Y-function": Case(
            figure("threshold by Y-function", swept_window=(0.6, 1.2)),
            GATE_V, tuple(degraded), 0.4, **small,
        ),
        "greatest transconductance": Case(
            figure("greatest transconductance"), GATE_V, (_soft,), _slope(_soft, at), **small
        ),
        "transconductance": Case(
            figure("transconductance", swept_at=0.9), GATE_V, (_soft,), _slope(_soft, 0.9), **small
        ),
        "output conductance": Case(
            figure("output conductance", swept_at=1.2),
            DRAIN_V, (_output,), _slope(_output, 1.2),
            noise=1e-7, readings=RangeAccuracy(5e-3, 0.0), source=source,
        ),
        "current": Case(
            figure("current", swept_at=0.207),
            GATE_V, (_subthreshold,), float(_subthreshold(np.array(0.207))), **log,
        ),
        "subthreshold slope": Case(
            figure("subthreshold slope", current_window_a=(1e-11, 1e-8)),
            GATE_V, (_subthreshold,), 0.085,
            noise_share=5e-3, readings=RangeAccuracy(2e-3, 5e-14), source=RangeAccuracy(5e-4, 0.0),
        ),
        "drain-induced shift": Case(
            figure("drain-induced shift", current_a=1e-8, stepped_pair=(0.05, 1.25)),
            GATE_V, (_subthreshold, _shifted), 0.05, **log,
        ),
        "on-resistance": Case(
            figure("on-resistance", swept_at=0.1),
            DRAIN_V, (_output,), 0.1 / float(_output(np.array(0.1))),
            noise=1e-7, readings=meter, source=source,
        ),
        "breakdown voltage": Case(
            figure("breakdown voltage", current_a=1e-6),
            HIGH_V, (_avalanche,), 24.0,
            noise_share=1e-2, readings=RangeAccuracy(5e-3, 0.0), source=RangeAccuracy(2e-4, 5e-3),
        ),
        "ideality factor": Case(
            figure("ideality factor", current_window_a=(1e-9, 1e-5)),
            FORWARD_V, (_diode,), 1.08,
            noise_share=5e-3, readings=RangeAccuracy(2e-3, 3e-12), source=RangeAccuracy(3e-4, 0.0),
        ),
        "four-terminal resistance": Case(
            figure("four-terminal resistance", swept_window=(-1e-3, 1e-3)),
            FORCED_A, (lambda i: 12.5 * i + 2e-6,), 12.5,
            noise=5e-6, readings=RangeAccuracy(1e-4, 1e-6), source=RangeAccuracy(1e-4, 1e-7),
            forced_current=True,
        ),
        "threshold by extrapolation, straight": Case(
            figure("threshold by extrapolation"), GATE_V, (_triode,), 0.4, **small
        ),
        "greatest transconductance, straight": Case(
            figure("greatest transconductance"), GATE_V, (_triode,), 1e-4, **small
        ),
        "resistance of one contact": Case(
            figure("resistance of one contact", swept_window=(-0.05, 0.05)),
            CHAIN_V, (lambda v: v / 600.0,), 12.0,
            noise=1e-7, readings=RangeAccuracy(1e-3, 1e-8), source=RangeAccuracy(5e-4, 1e-5),
        ),
    }  # fmt: skip


def drawn(case: Case, n: int, seed: int) -> tuple[Curves, npt.NDArray[np.object_]]:
    """n noisy readings of a case's law, of one range; twice n for a shift."""
    random = np.random.default_rng(seed)

    def error(accuracy: RangeAccuracy, of: FloatArray) -> FloatArray:
        share, offset = random.normal(size=(2, n, 1))
        return np.asarray(accuracy.relative_u * share * of + accuracy.offset_u * offset)

    swept = np.broadcast_to(case.swept, (n, len(case.swept)))
    true_swept = swept + error(case.source, swept)
    share, offset = random.normal(size=(2, n, 1))
    parts = []
    for law in case.law:
        true = law(true_swept)
        read = true * (1 + case.readings.relative_u * share) + case.readings.offset_u * offset
        noise = np.hypot(case.noise, case.noise_share * np.abs(true))
        parts.append(read + noise * random.normal(size=read.shape))
    measured = np.concatenate(parts)
    found = laws.curves(
        np.concatenate([swept] * len(parts)),
        measured,
        drain_v=np.full(len(measured), case.drain_v),
        swept_is_current=case.forced_current,
        measured_is_current=not case.forced_current,
        links=LINKS,
    )
    return found, np.full(measured.shape, "R", dtype=object)


def distances(case: Case, n: int, seed: int) -> FloatArray:
    """(n,) |value - truth| in units of its stated standard uncertainty."""
    curves, ranges = drawn(case, n, seed)
    instruments = Instruments({"R": case.readings}, case.source)

    def again(one: Curves) -> Estimate:
        return extract(one, case.wanted)

    found = again(curves)
    u = instrument_uncertainty(again, curves, found, ranges, instruments)
    u = np.sqrt(u**2 + found.u_extraction**2 + found.misfit**2)
    return np.asarray(np.abs(found.value - case.truth) / u)


def share_held(distance: FloatArray, scale: float = 1.0) -> float:
    """How many of the 95 % intervals hold the truth, with u times `scale`."""
    return float(np.mean(distance <= scale * IN_95_PERCENT))
