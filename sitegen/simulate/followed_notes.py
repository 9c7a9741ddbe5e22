"""The notes that the invented engineers of the second demonstration wrote, in Markdown."""

CAMPAIGN_NOTES = {
    "notes/scope.md": """# Scope

A probe station without wafers: accepted where it was built, accepted again where it stands, and
followed over its first six weeks. **Everything here is simulated**: no such station, supplier or
customer exists.

| when | what |
|---|---|
| 2 February 2026 | acceptance where the system was built: multiline TRL, and TRL beside it |
| 10 February 2026 | acceptance where it stands: multiline TRL, then SOLR and LRM beside it |
| from 11 February 2026 | LRRM and a verification on every working day |
""",
    "notes/handling.md": """# Handling

The test head swings out over the chuck and is heavy: two people, and the local rules.
""",
}

ACCEPTED_NOTE = """First calibration where the system stands. The cables that came with the building
are used; those of the factory went back.
"""

MOVED_NOTE = """Fails. The cable of port 2 lay out of its clamp, probably since the microscope was
moved before noon. Put back, calibrated again.
"""

EXCHANGE_NOTE = """First calibration with the new probe at port 2.
"""

BAD_CONTACT_NOTE = """Its own checks are out of bounds.
Under the microscope the probe of port 1 was found short of the load's pads. **Not used**; repeated
at once.
"""

ACCEPTANCE_NOTE = """Both sides saw both sessions. Signed copies are kept by both.
"""

README = """# Teasel 4: a simulated campaign

A probe station without wafers at an invented place. Nothing in this folder was measured: it comes
from the forward model in `sitegen/simulate`, which shares no code with what reads, solves and
judges it. What is true lies beside it, in `teasel-4-truth`.

Written by `python -m tests.simulate.write_demo`; a test writes it again and compares.

The system was accepted where it was built (CAL-01 by multiline TRL, verified by VER-01; CAL-02 by
TRL), and again where it stands (CAL-03 by multiline TRL, verified by VER-03; CAL-04 by SOLR, CAL-05
by LRM). ACC-1 holds the two acceptances against each other. From then on it was calibrated by LRRM
with offset standards and verified on 28 working days. Sweeps have 101 points from 1 GHz to 67 GHz.

Standards are what their definitions say within the declared uncertainties, drawn once; contacts,
noise, linearity and cables are drawn for every sweep, as every record declares them. The lines of
TRL have an impedance of their own: `line_medium` declares the capacitance that leads to 50 Ω.

## What is planted

1. **Loads that wear.** The resistance at port 1, measured through the probe each day, grows by
   0.009 Ω with each calibration, that at port 2 by 0.008 Ω; the bound lies 0.45 Ω from the
   definition.
2. **A moved cable.** On 24 February VER-18 fails in the afternoon; VER-17, of the same
   calibration, passed in the morning. The cable was put back and the station calibrated again.
3. **An exchanged probe.** The probe of port 2 on 17 February, before CAL-10.
4. **A standard badly contacted.** The load at port 1 in CAL-26 on 10 March: the calibration does
   not meet the bounds of its own checks. It was repeated as CAL-27.
5. **Error terms that the instrument reported** beside CAL-03 and four of the daily calibrations.
6. **Notes in Markdown**: two of the campaign, one of the acceptance, three of calibrations, one of
   a verification.

Nothing else is wrong.
"""
