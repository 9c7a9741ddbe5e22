"""The notes that the invented engineer wrote, in Markdown."""

CAMPAIGN_NOTES = {
    "notes/scope.md": """# Scope

Three pilot wafers of the invented process *Lark 7*, measured on three days in April 2026.
**Everything here is simulated**: no such wafers, instruments or people exist.

| day | wafer | what was done |
|---|---|---|
| Tuesday | LK7-1 | every die at 25 °C, then a one-port session, then nine dies at 85 °C |
| Wednesday | LK7-2 | every die at 25 °C, with a new calibration in between |
| Thursday | LK7-3 | every die at 25 °C |

The full RF bias was swept on five dies of each wafer only.
""",
    "notes/handling.md": """# Handling

- Breakdown was taken with up to 120 V at the drain: interlock closed, probes not touched.
- The chuck stood at 85 °C on Tuesday afternoon; it was left to cool before the wafer was lifted.
- Local rules of the laboratory apply to both.
""",
}

RING_NOTE = """The outermost dies looked *slightly hazy* under the microscope before the first
touchdown. No other remark.
"""

FRAME_NOTE = """The prober's own die numbers stand in the tables: columns from the left, rows from
the **top**. Four dies were left out because of a scratch seen at loading:
two at the upper edge, two at the lower right.
"""

FAILURE_NOTE = """Failed on all two-port structures. Connector of the cable at port 2 found loose;
it must have moved while the wafer was being measured. Tightened, calibrated again (CAL-4).

The dies concerned have **not** been measured again yet.
"""

CHANGE_NOTE = """Calibration after the cable at port 2 was tightened. SOLT, because the same
standards were still under the microscope.
"""
