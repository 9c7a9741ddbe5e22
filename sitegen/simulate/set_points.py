"""The conditions of the simulated campaigns, and the RF biases among them."""

from sitegen.simulate.measured import SetPoint

HOT_C = 85.0
BIAS_SWEEP = ("rf-b1", "rf-b2", "rf-b3", "rf-b4")
RF_BIASES = ("rf", *BIAS_SWEEP)
BREAKDOWN_LIMIT_V = 102.0

SET_POINTS: tuple[SetPoint, ...] = (
    SetPoint("lin", "linear region, 25 °C", bias={"vds_v": 0.1, "vgs_v": 1.0}),
    SetPoint("transfer", "gate swept at two drain voltages, 25 °C"),
    SetPoint("output", "drain swept at two gate voltages, 25 °C"),
    SetPoint("diode", "gate swept forward, drain and source joined, 25 °C", bias={"vds_v": 0.0}),
    SetPoint("off", "channel closed, 25 °C", bias={"vds_v": 28.0, "vgs_v": -6.0}),
    SetPoint(
        "bv",
        "drain voltage raised until 0.1 mA flows, at most 102 V, 25 °C",
        bias={"id_a": 1e-4, "vgs_v": -6.0, "vds_limit_v": BREAKDOWN_LIMIT_V},
    ),
    SetPoint("sheet", "four-terminal current, 25 °C", bias={"force_a": 1e-3}),
    SetPoint("cap10", "10 V across the capacitor, 25 °C", bias={"vcap_v": 10.0}),
    SetPoint("sat85", "saturation, 85 °C", HOT_C, {"vds_v": 10.0, "vgs_v": 0.0}),
    SetPoint("off85", "channel closed, 85 °C", HOT_C, {"vds_v": 28.0, "vgs_v": -6.0}),
    SetPoint("rf", "RF bias, 25 °C", bias={"vds_v": 10.0, "vgs_v": -1.8}),
    SetPoint("rf-b1", "RF bias, lower drain voltage, 25 °C", bias={"vds_v": 5.0, "vgs_v": -1.8}),
    SetPoint("rf-b2", "RF bias, higher drain voltage, 25 °C", bias={"vds_v": 15.0, "vgs_v": -1.8}),
    SetPoint("rf-b3", "RF bias, lower gate voltage, 25 °C", bias={"vds_v": 10.0, "vgs_v": -2.2}),
    SetPoint("rf-b4", "RF bias, higher gate voltage, 25 °C", bias={"vds_v": 10.0, "vgs_v": -1.4}),
    SetPoint("unbiased", "passive, 25 °C"),
)
BIAS_OF = {one.id: one.bias for one in SET_POINTS}
TEMPERATURE_OF = {one.id: one.temperature_c for one in SET_POINTS}
