"""The devices on every die and the curves measured on them, as campaign.toml declares them."""

DUMMIES = ("dummy-open", "dummy-short")
DEEMBEDDED_UPPER_HZ = 5.0e10
LINE_LENGTH_UM = 700.0
CHAIN_LINKS = 20

DEVICES: tuple[dict[str, object], ...] = (
    {
        "id": "hemt",
        "name": "transistor, two fingers of 25 µm",
        "kind": "transistor",
        "width_um": 50.0,
        "traces": ["s11_db", "s21_db", "s22_db"],
        "deembedding": {
            "method": "open-short",
            "open": "dummy-open",
            "short": "dummy-short",
            "taken_from": "one die of the wafer",
            "condition": "unbiased",
            "upper_hz": DEEMBEDDED_UPPER_HZ,
        },
    },
    {"id": "contacts", "name": "contact resistance ladder", "kind": "resistor"},
    {
        "id": "chain",
        "name": f"chain of {CHAIN_LINKS} contacts",
        "kind": "resistor",
        "links": CHAIN_LINKS,
    },
    {
        "id": "cap",
        "name": "series capacitor",
        "kind": "capacitor",
        "passive": True,
        "may_look_like": "open",
    },
    {"id": "spiral", "name": "series spiral inductor", "kind": "inductor", "passive": True},
    {
        "id": "spiral-gnd",
        "name": "spiral inductor to ground",
        "kind": "inductor",
        "ports": 1,
        "traces": ["s11_db", "s11_deg"],
        "may_look_like": "short",
    },
    {
        "id": "line",
        "name": "coplanar line, 0.7 mm",
        "kind": "line",
        "length_um": LINE_LENGTH_UM,
        "passive": True,
        "traces": ["s11_db", "s21_db", "s21_deg"],
    },
    {
        "id": "dummy-open",
        "name": "pads of the transistor, open",
        "kind": "dummy",
        "passive": True,
        "may_look_like": "open",
    },
    {
        "id": "dummy-short",
        "name": "pads and leads of the transistor, shorted",
        "kind": "dummy",
        "passive": True,
        "may_look_like": "short",
    },
)

CURVES: tuple[dict[str, object], ...] = (
    {
        "id": "transfer",
        "device": "hemt",
        "description": "drain current over gate voltage",
        "swept": "vgs_v",
        "stepped": "vds_v",
        "measured": "id_a",
        "source_accuracy_range": "10 V",
    },
    {
        "id": "output",
        "device": "hemt",
        "description": "drain current over drain voltage",
        "swept": "vds_v",
        "stepped": "vgs_v",
        "measured": "id_a",
        "source_accuracy_range": "20 V",
    },
    {
        "id": "breakdown",
        "device": "hemt",
        "description": "drain current over drain voltage with the channel closed",
        "swept": "vds_v",
        "measured": "id_a",
        "compliance": 1e-3,
        "source_accuracy_range": "200 V",
    },
    {
        "id": "gate-diode",
        "device": "hemt",
        "description": "gate current over forward gate voltage",
        "swept": "vgs_v",
        "measured": "ig_a",
        "source_accuracy_range": "10 V",
    },
    {
        "id": "chain-line",
        "device": "chain",
        "description": "voltage across the chain over the forced current",
        "swept": "i_a",
        "measured": "v_v",
        "source_accuracy_range": "1 mA",
    },
    {
        "id": "spiral-line",
        "device": "spiral",
        "description": "sensed voltage over the forced current, four terminals",
        "swept": "i_a",
        "measured": "v_v",
        "source_accuracy_range": "1 mA",
    },
)
