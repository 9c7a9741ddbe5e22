"""The notes that the invented engineer wrote, in Markdown."""

CAMPAIGN_NOTES = {
    "notes/scope.md": """# Scope

Three pilot wafers of the invented process *Lark 7*, measured on three days in April 2026, and ten
dies of the last one again on the fourth.
**Everything here is simulated**: no such wafers, instruments or people exist.

| day | wafer | what was done |
|---|---|---|
| Tuesday | LK7-1 | every die at 25 °C, then a one-port session, then nine dies at 85 °C |
| Wednesday | LK7-2 | every die at 25 °C, with a new calibration in between |
| Thursday | LK7-3 | every die at 25 °C |
| Friday | LK7-3 | ten dies by three operators, two touchdowns each, for the study `operators` |

The full RF bias was swept on five dies of each wafer only.
""",
    "notes/handling.md": """# Handling

- Breakdown was taken with more than 100 V at the drain: interlock closed, probes not touched.
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

README = """# Lark 7: a simulated campaign

Three wafers of an invented process, measured on three days at an invented station, and ten dies of
one of them once more by three operators on a fourth. Nothing in
this folder was measured: it comes from the forward model in `sitegen/simulate`, which shares no
code with what reads, corrects and judges it. What is true lies beside it, in `lark-7-truth`.

Written by `python -m tests.simulate.write_demo`; a test writes it again and compares.

Each of the three wafers has 89 planned dies. On each die there are a transistor between pads, a
contact ladder, a chain of contacts, a capacitor, an inductor and a line; an open and a short dummy
stand on one die of each wafer. On twenty dies of LK7-1 an inductor to ground was swept with a
calibration of one port, on nine of its dies the transistor was also taken at 85 °C, and on five
dies of each wafer at four more RF bias points. Sweeps are raw, those of the line were corrected
by the analyser. Most parameters are taken from sweeps and from curves; some come as values.

The standards of the contact substrate are what their definitions say within the declared
uncertainties, drawn once; contacts, noise, linearity and cables are drawn for every sweep, as the
calibrations' records declare them. So the uncertainty of a figure taken from a raw sweep is what
its calibration, its dummies and the sweep itself propagate; that of a curve's figure is what the
ranges' accuracies and the readings give, and the contact's repeatability that it declares.

## What is planted

1. **A calibration used past its validity.** CAL-5 holds for 5 hours; the last 29 RF values of
   LK7-3 were taken after that: those of inductor and line of die (0, -5), all of (1, -5).
2. **A verification that fails in the middle of a wafer.** The cable at port 2 moved while LK7-2
   was measured, and was tightened before CAL-4. VER-4 passed, VER-5 failed on all its structures;
   the 440 RF values on 20 dies taken between VER-4 and the new calibration CAL-4 have lost their
   standing.
3. **An edge ring outside its limits.** RSH of the 20 outermost dies of LK7-1.
4. **Unmeasured dies.** (-1, 5), (0, 5), (3, -3) and (4, -3) of LK7-2.
5. **A repeated touchdown that changes a verdict.** RON of die (1, 1) of LK7-3 is outside at the
   first touchdown and within at the second; the last one counts.
6. **Leakage below the floor.** ICAP on 22, 41 and 38 dies of LK7-1, LK7-2 and LK7-3.
7. **Notes in Markdown**: two of the campaign, one each of LK7-1, LK7-2, CAL-4 and VER-5.
8. **A frame.** The tables of LK7-2 are in the prober's own numbers (columns from 1 at the left,
   rows from 1 at the top); three reference dies join it to the layout.
9. **Touchdowns that fail their contact checks.** On LK7-1 the inductor of dies (2, 3) and (-4, 1)
   was contacted through 3.4 Ω and 2.7 Ω, which are in its sweeps as well; on LK7-3 a leakage of
   40 pA lay between the pads of the capacitor of die (-2, -3); the line of die (-1, -4) of LK7-2
   lacks its mandatory check. 19 values have lost their standing to these: 10, 4 and 5.
10. **Values not reached.** BV of 5, 5 and 2 dies of LK7-1, LK7-2 and LK7-3 lies beyond 102 V,
    where the sweep ends.
11. **An operator who reads high.** In the study `operators`, records LK7-3-A, -B and -C, the third
    reads RON and RSH higher by 0.4 % of their medians. These records are measured for the study
    only and take no part in yields and statistics.

Declared for decisions and statistics: the campaign's rule is guarded acceptance; RON has the
non-binary rule, RC guarded rejection with r = 1.2, RSH simple acceptance with a bound on U; VTH has
a prior of the process and a margin of equivalence; a wafer conforms where the lower end of its
yield's interval reaches 60 %; fields of exposure of 2 by 2 dies; two splits of the wafers; two
pairs of parameters. Nothing is planted between fields, splits or pairs.

Control dies, a cleaning of the probes during LK7-2, agreements of direct current with RF, and an
earlier map of each wafer are there too, with nothing wrong about them.

Nothing else is wrong. Every session is closed by a passed verification but the failed one; all
certificates are in date; no setting of the RF path differs. A few values of each wafer lie outside
their limits or in the guard band by the process's own spread.

Bias goes beyond 100 V at the breakdown measurement, and the chuck stood at 85 °C: the cautions on
the pages are there for these.
"""
