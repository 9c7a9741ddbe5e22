"""A probe station's RF path: error boxes that drift with time and change, and switch terms.

Between the analyser's receivers and each probe tip lies a two-port made of an adapter, a cable
and a probe. What the analyser shows without correction follows from the cascade M of port 1's box,
the device and port 2's box, and from what terminates the port that is not driven: with its
reflection G (the switch term a2/b2 or a1/b1) while port 1, respectively port 2, is driven,

    S11m = M11 + M12 M21 G / (1 - M22 G)      S21m = M21 / (1 - M22 G)

and the same with the ports exchanged (R. B. Marks, "Formulations of the basic vector network
analyzer error model including switch-terms", quoted from memory). Without crosstalk the
eight-term model with these switch terms and the twelve-term model are both exact.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks

TOP_HZ = 110e9
"""Frequency at which losses are stated; they grow with the square root of frequency."""
_DRIFT_PERIODS_H = np.array([5.0, 9.0, 23.0])
_DELAY_DRIFT_PS = 0.001
_LOSS_DRIFT_DB = 0.0015


@dataclass(frozen=True)
class Path:
    """The RF path of one port, from the analyser to the probe tip."""

    adapter_ff: float
    cable_ps: float
    cable_ohm: float
    cable_db: float
    """Loss at 110 GHz."""
    probe_ps: float
    probe_ohm: float
    probe_db: float
    tip_ph: float


@dataclass(frozen=True, eq=False)
class Drift:
    """Slow change of a port's delay and loss: three sine waves of fixed period, random phase."""

    phases_rad: FloatArray
    """Shape (2, 3): of the delay's and of the loss's waves."""

    def at(self, hours: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Change of the delay in ps and of the loss at 110 GHz in dB, each of shape (n,)."""
        angle = 2 * np.pi * hours[:, None] / _DRIFT_PERIODS_H
        waves = np.sin(angle[:, None, :] + self.phases_rad).sum(axis=-1)
        waves *= np.sqrt(2 / len(_DRIFT_PERIODS_H))
        return _DELAY_DRIFT_PS * waves[:, 0], _LOSS_DRIFT_DB * waves[:, 1]


@dataclass(frozen=True)
class PathChange:
    """From one hour until another a port's path differs: a moved cable, an exchanged part."""

    port: int
    start: float
    until: float = float("inf")
    cable_ps: float = 0.0
    cable_db: float = 0.0
    probe_ps: float = 0.0
    probe_db: float = 0.0
    tip_ph: float = 0.0


@dataclass(frozen=True, eq=False)
class Analyser:
    """A station's RF path as a function of time; hours count from the campaign's start."""

    paths: tuple[Path, Path]
    drifts: tuple[Drift, Drift]
    ends: tuple[tuple[float, float], tuple[float, float]]
    """For the reflection of each port while not driven: magnitude at 110 GHz and delay in ps."""
    changes: tuple[PathChange, ...] = ()

    def boxes(
        self, frequency_hz: FloatArray, hours: FloatArray
    ) -> tuple[ComplexArray, ComplexArray]:
        """S-parameters of both ports' boxes, each (n, n_freq, 2, 2).

        Port 1's box has the analyser on its port 1, port 2's box has the probe tip on its port 1.
        """
        first, second = (
            self._box(port, frequency_hz, np.asarray(hours, dtype=np.float64)) for port in (0, 1)
        )
        return first, second[..., ::-1, ::-1]

    def ends_s(self, frequency_hz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Switch terms: forward (a2/b2, port 1 driven) and reverse (a1/b1), (n_freq,) each."""
        port_1, port_2 = (
            magnitude
            * (0.4 + 0.6 * frequency_hz / TOP_HZ)
            * np.exp(-2j * np.pi * frequency_hz * delay_ps * 1e-12)
            for magnitude, delay_ps in self.ends
        )
        return port_2, port_1

    def raw(self, true: ComplexArray, frequency_hz: FloatArray, hours: FloatArray) -> ComplexArray:
        """What the analyser shows of two-ports (n, n_freq, 2, 2) at these hours (n,), noiseless."""
        first, second = self.boxes(frequency_hz, hours)
        whole = networks.join(networks.join(first, true), second)
        return _switched(whole, *self.ends_s(frequency_hz))

    def raw_one_port(
        self, true: ComplexArray, frequency_hz: FloatArray, hours: FloatArray
    ) -> ComplexArray:
        """What port 1 shows of reflections (n, n_freq) at these hours (n,), noiseless."""
        box, _ = self.boxes(frequency_hz, hours)
        loop = 1.0 - box[..., 1, 1] * true
        return np.asarray(box[..., 0, 0] + box[..., 0, 1] * box[..., 1, 0] * true / loop)

    def corrected(
        self, raw: ComplexArray, frequency_hz: FloatArray, calibrated_hours: float
    ) -> ComplexArray:
        """Two-ports from raw sweeps, by the boxes as they were at the calibration."""
        first, second = self.boxes(frequency_hz, np.array([calibrated_hours]))
        whole = _unswitched(raw, *self.ends_s(frequency_hz))
        return networks.part(whole, first, second)

    def _box(self, port: int, frequency_hz: FloatArray, hours: FloatArray) -> ComplexArray:
        path = self.paths[port]
        delay_ps, loss_db = self.drifts[port].at(hours)
        probe_ps, probe_db, tip_ph = (
            np.full(hours.shape, one) for one in (path.probe_ps, path.probe_db, path.tip_ph)
        )
        for change in self.changes:
            here = (change.port == port + 1) & (hours >= change.start) & (hours < change.until)
            delay_ps, loss_db = delay_ps + here * change.cable_ps, loss_db + here * change.cable_db
            probe_ps, probe_db = (
                probe_ps + here * change.probe_ps,
                probe_db + here * change.probe_db,
            )
            tip_ph = tip_ph + here * change.tip_ph
        omega = 2 * np.pi * frequency_hz
        cable = networks.line(
            _gamma_l(frequency_hz, path.cable_ps + delay_ps, path.cable_db + loss_db),
            path.cable_ohm,
        )
        probe = networks.line(_gamma_l(frequency_hz, probe_ps, probe_db), path.probe_ohm)
        adapter = networks.shunt(1j * omega * path.adapter_ff * 1e-15)
        tip = networks.series(1j * omega * tip_ph[:, None] * 1e-12)
        return networks.to_scattering(adapter @ cable @ probe @ tip)


def usual_analyser(seed: tuple[int, ...], changes: tuple[PathChange, ...] = ()) -> Analyser:
    """An analyser with paths near the usual ones; its details are drawn from the seed."""
    rng = np.random.default_rng(seed)

    def near(value: float, spread: float) -> float:
        return float(value * (1.0 + spread * rng.uniform(-1.0, 1.0)))

    def path() -> Path:
        return Path(
            adapter_ff=near(6.0, 0.2),
            cable_ps=near(140.0, 0.05),
            cable_ohm=near(49.0, 0.01),
            cable_db=near(2.6, 0.1),
            probe_ps=near(18.0, 0.1),
            probe_ohm=near(51.5, 0.01),
            probe_db=near(0.9, 0.1),
            tip_ph=near(5.0, 0.2),
        )

    def drift() -> Drift:
        return Drift(rng.uniform(0.0, 2 * np.pi, (2, 3)))

    def end() -> tuple[float, float]:
        return near(0.12, 0.2), near(25.0, 0.2)

    return Analyser((path(), path()), (drift(), drift()), (end(), end()), changes)


def _gamma_l(frequency_hz: FloatArray, delay_ps: FloatArray, loss_db: FloatArray) -> ComplexArray:
    """Propagation constant times length, (n, n_freq): skin-effect loss and its inner inductance."""
    loss_np = (loss_db * np.log(10) / 20)[:, None] * np.sqrt(frequency_hz / TOP_HZ)
    phase = 2 * np.pi * frequency_hz * delay_ps[:, None] * 1e-12
    return np.asarray(loss_np + 1j * (phase + loss_np))


def _switched(whole: ComplexArray, forward: ComplexArray, reverse: ComplexArray) -> ComplexArray:
    m11, m12, m21, m22 = (whole[..., i, j] for i in (0, 1) for j in (0, 1))
    shown = np.empty(whole.shape, dtype=np.complex128)
    shown[..., 0, 0] = m11 + m12 * m21 * forward / (1.0 - m22 * forward)
    shown[..., 1, 0] = m21 / (1.0 - m22 * forward)
    shown[..., 1, 1] = m22 + m12 * m21 * reverse / (1.0 - m11 * reverse)
    shown[..., 0, 1] = m12 / (1.0 - m11 * reverse)
    return shown


def _unswitched(shown: ComplexArray, forward: ComplexArray, reverse: ComplexArray) -> ComplexArray:
    """From b = M a in both states: a = [[1, G2 S12m], ...] with the waves of each drive."""
    incident = np.empty(shown.shape, dtype=np.complex128)
    incident[..., 0, 0] = incident[..., 1, 1] = 1.0
    incident[..., 1, 0] = shown[..., 1, 0] * forward
    incident[..., 0, 1] = shown[..., 0, 1] * reverse
    return np.asarray(shown @ np.linalg.inv(incident))
