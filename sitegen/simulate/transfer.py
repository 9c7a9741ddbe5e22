"""The transistor's currents: one law for its curves, its operating point and its RF elements.

With the overdrive u = w ln(1 + exp((V_GS - V_t)/w)), V_t falling with V_DS by the drain-induced
shift, the saturated current is I_max tanh(u/c)^2 (1 + k (V_DS - 10 V)), and the channel in series
with the access resistance gives the linear region: I = I_sat tanh(V_DS / (R I_sat)). Below the
threshold the current falls by a decade in w ln(10)/2. An invented law: smooth, with a peak of the
transconductance, and without self-heating.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.process import Truth

KNEE_V = 0.074
"""w: 85 mV a decade below threshold."""
BELOW_V = 0.037
"""The voltage of the overdrive lies above the threshold by constant current by about this."""
DRAIN_SHIFT = 0.006
"""Of the threshold, in V per V of drain voltage."""
LENGTHENING_PER_V = 0.012
CHANNEL_S_PER_V = 0.034
REFERENCE_VDS_V, ON_VGS_V = 10.0, 1.0
_LOW_VDS_V = 0.1
_STEP_V = 1e-4


@dataclass(frozen=True, eq=False)
class TransferLaw:
    """The law of n transistors; all (n,)."""

    threshold_v: FloatArray
    """V_t at a drain voltage of 0.1 V."""
    current_max_a: FloatArray
    scale_v: FloatArray
    access_ohm: FloatArray
    leakage_a: FloatArray
    """At 28 V of drain voltage with the channel closed."""

    def current_a(self, vgs_v: FloatArray, vds_v: FloatArray | float) -> FloatArray:
        """Drain current (n, p) at gate voltages (p,) or (n, p)."""
        vds = np.asarray(vds_v, dtype=np.float64)
        shift = DRAIN_SHIFT * (vds - _LOW_VDS_V)
        over = KNEE_V * np.logaddexp(0.0, (vgs_v - self.threshold_v[:, None] + shift) / KNEE_V)
        saturated = (
            self.current_max_a[:, None]
            * np.tanh(over / self.scale_v[:, None]) ** 2
            * (1.0 + LENGTHENING_PER_V * (vds - REFERENCE_VDS_V))
        )
        ohm = self.access_ohm[:, None] + 1.0 / (CHANNEL_S_PER_V * over)
        return np.asarray(
            saturated * np.tanh(vds / (ohm * saturated)) + self.leakage_a[:, None] * vds / 28.0
        )

    def transconductance_s(self, vgs_v: float, vds_v: float) -> FloatArray:
        """dI_D/dV_GS, (n,)."""
        at = np.array([vgs_v - _STEP_V, vgs_v + _STEP_V])
        below, above = self.current_a(at, vds_v).T
        return np.asarray((above - below) / (2 * _STEP_V))


def transfer_law(truth: Truth) -> TransferLaw:
    """The law whose peak transconductance and current at V_GS = 0 (both at V_DS = 10 V) and
    whose threshold and on resistance are the process's, up to what the knee changes.

    The peak of tanh(x)^2 is 4/(3 sqrt 3) at tanh(x)^2 = 1/3; the scale follows by iteration.
    """
    threshold = truth["threshold_v"] + BELOW_V
    deep = -threshold + DRAIN_SHIFT * (REFERENCE_VDS_V - _LOW_VDS_V)
    ratio = truth["on_current_a"] / truth["transconductance_s"]
    scale = np.full(len(deep), 1.15)
    for _ in range(60):
        scale = 4 / (3 * np.sqrt(3)) * ratio / np.tanh(deep / scale) ** 2
    return TransferLaw(
        threshold_v=np.asarray(threshold),
        current_max_a=np.asarray(truth["on_current_a"] / np.tanh(deep / scale) ** 2),
        scale_v=np.asarray(scale),
        access_ohm=np.asarray(
            truth["on_resistance_ohm"] - 1.0 / (CHANNEL_S_PER_V * (ON_VGS_V - threshold))
        ),
        leakage_a=truth["gate_leakage_a"],
    )
