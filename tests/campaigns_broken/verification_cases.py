"""The tiny campaign broken in its verification's structures, and in an acceptance added to it."""

import shutil
from collections.abc import Callable
from pathlib import Path

from tests.campaigns import FREQUENCY_HZ, acceptance_of_tiny, line, write_touchstone
from tests.campaigns_broken.cases import VERIFICATION, Case, Left, both, lines, replace

ACCEPTANCE = "acceptances/ACC1/record.toml"
TWO = Left(verifications=2)
MASK = "points = [[1e9, 0.01], [11e9, 0.02]]"
FILE_KEY = 'file = "line.s2p"'
REPEATED = f'{FILE_KEY}\nrepeats = ["again.s2p"]'
MEASURED = (
    'reference = { kind = "measured", file = "line-reference.s2p", standard_uncertainty = 0.001,'
    ' measured_on = "acceptance (simulated)" }'
)


def accepted(*steps: Callable[[Path], object]) -> Callable[[Path], object]:
    """A second verification and an acceptance that rests on both, then broken."""
    return both(acceptance_of_tiny, *steps)


def repeated(step: Callable[[Path], object]) -> Callable[[Path], object]:
    """A further contact of the line, which `step` writes."""
    return both(replace(VERIFICATION, FILE_KEY, REPEATED), step)


def one_port(folder: Path) -> None:
    """The further contact as a sweep of one port."""
    rows = "".join(f"{frequency:.1f} 0.5 0.0\n" for frequency in FREQUENCY_HZ)
    (folder / "verifications/VER1/again.s1p").write_text(f"# Hz S RI R 50\n{rows}")


def modelled(model: str, *steps: Callable[[Path], object]) -> Callable[[Path], object]:
    """The line's reference as a model instead of a measured one."""
    return both(
        lambda folder: (folder / "verifications/VER1/line-reference.s2p").unlink(),
        replace(VERIFICATION, MEASURED, f"reference = {model}"),
        *steps,
    )


def other_frequencies_on_site(folder: Path) -> None:
    """The site's sweep and its reference with one point less."""
    for name in ("line.s2p", "line-reference.s2p"):
        lines(f"verifications/VER2/{name}", lambda given: given[:-1])(folder)


VERIFICATION_CASES: tuple[Case, ...] = (
    Case(
        "missing further contact of a structure",
        repeated(lambda folder: None),
        VERIFICATION,
        'structures[1].repeats[1] (id "line")',
        'again.s2p", where there is no file',
        "Touchstone",
        "correct its name",
    ),
    Case(
        "further contact with other frequencies",
        repeated(
            both(
                lambda folder: write_touchstone(folder / "verifications/VER1/again.s2p", line(7.0)),
                lines("verifications/VER1/again.s2p", lambda given: given[:-1]),
            )
        ),
        "verifications/VER1/again.s2p",
        "",
        "10 points from 1 GHz to 10 GHz",
        "the structure's sweep verifications/VER1/line.s2p",
        "again",
    ),
    Case(
        "further contact with one port",
        repeated(both(one_port, replace(VERIFICATION, "again.s2p", "again.s1p"))),
        "verifications/VER1/again.s1p",
        "",
        "1 port",
        "2 ports",
        "ports",
    ),
    Case(
        "mask beside the sweep",
        replace(VERIFICATION, MASK, "points = [[50e9, 0.01], [60e9, 0.02]]"),
        VERIFICATION,
        "structures[1].masks[1].points",
        "limits from 50 GHz to 60 GHz",
        "11 points from 1 GHz to 11 GHz",
        "mask's frequencies",
    ),
    Case(
        "phase of an attenuator's reflection",
        modelled(
            '{ kind = "attenuator", attenuation_db = 6.0 }',
            replace(VERIFICATION, 'parameter = "s21"', 'parameter = "s11"'),
            replace(VERIFICATION, '"complex deviation"', '"phase deg"'),
        ),
        VERIFICATION,
        "structures[1].masks[1].quantity",
        '"phase deg" for s11, which is zero',
        "complex deviation",
        "linear magnitude",
    ),
    Case(
        "quantity of a line on an attenuator",
        modelled(
            '{ kind = "attenuator", attenuation_db = 6.0 }\nlength_um = 1000.0\n'
            'line_quantities = [{ quantity = "phase deg per mm", frequency_hz = 5e9,'
            " reference = 10.0, tolerance = 1.0 }]"
        ),
        VERIFICATION,
        "structures[1].line_quantities",
        '"attenuator"',
        "a reference of a line",
        "Remove",
    ),
    Case(
        "quantity of a line beside its sweep",
        replace(
            VERIFICATION,
            FILE_KEY,
            f"{FILE_KEY}\nlength_um = 1000.0\n"
            'line_quantities = [{ quantity = "phase deg per mm", frequency_hz = 12e9,'
            " reference = 10.0, tolerance = 1.0 }]",
        ),
        VERIFICATION,
        "structures[1].line_quantities[1].frequency_hz",
        "12 GHz",
        "11 points from 1 GHz to 11 GHz",
        "extrapolated",
    ),
    Case(
        "rule of agreement without any uncertainty",
        replace(VERIFICATION, FILE_KEY, f'{FILE_KEY}\nagreement = "share of points"'),
        VERIFICATION,
        "structures[1].agreement",
        '"share of points"',
        '"shown"',
        "[uncertainty]",
    ),
    Case(
        "acceptance of an unknown verification",
        accepted(replace(ACCEPTANCE, 'factory = "VER1"', 'factory = "VER9"')),
        ACCEPTANCE,
        "factory",
        'the unknown verification "VER9"',
        '"VER1" or "VER2"',
        "VER",
        left=TWO,
    ),
    Case(
        "acceptance of one verification twice",
        accepted(replace(ACCEPTANCE, 'site = "VER2"', 'site = "VER1"')),
        ACCEPTANCE,
        "site",
        '"VER1", which is the factory\'s as well',
        "another verification",
        "on site",
        left=TWO,
    ),
    Case(
        "acceptance at an unknown station",
        accepted(
            replace(ACCEPTANCE, 'station = "ST1"', 'station = "ST7"'),
        ),
        ACCEPTANCE,
        "station",
        'the unknown station "ST7"',
        '"ST1"',
        "Declare it",
        left=TWO,
    ),
    Case(
        "acceptance in a folder of another name",
        accepted(replace(ACCEPTANCE, 'id = "ACC1"', 'id = "ACC2"')),
        ACCEPTANCE,
        "id",
        '"ACC2"',
        '"ACC1", the name of its folder',
        "Correct the id",
        left=TWO,
    ),
    Case(
        "declared figure of an unknown structure",
        accepted(
            replace(ACCEPTANCE, '"line"\nparameter', '"lyne"\nparameter'),
        ),
        ACCEPTANCE,
        "performance[1].structure",
        '"lyne", which VER1 and VER2 did not measure',
        '"line"',
        "both places",
        left=TWO,
    ),
    Case(
        "declared figure beside the sweep",
        accepted(
            replace(ACCEPTANCE, "frequency_stop_hz = 11e9", "frequency_stop_hz = 60e9"),
            replace(ACCEPTANCE, "frequency_start_hz = 1e9", "frequency_start_hz = 50e9"),
        ),
        ACCEPTANCE,
        "performance[1].frequency_start_hz",
        "50 GHz to 60 GHz",
        "11 points",
        "range",
        left=TWO,
        count=1,
    ),
    Case(
        "site compared on other frequencies",
        accepted(other_frequencies_on_site),
        "verifications/VER2/line.s2p",
        "",
        "10 points from 1 GHz to 10 GHz",
        "the factory's sweep verifications/VER1/line.s2p",
        "again",
        left=TWO,
    ),
    Case(
        "difference under a mask beside the sweeps",
        accepted(replace(ACCEPTANCE, MASK, "points = [[50e9, 0.01], [60e9, 0.02]]")),
        ACCEPTANCE,
        "differences[1].mask.points",
        "limits from 50 GHz to 60 GHz",
        "11 points from 1 GHz to 11 GHz",
        "mask's frequencies",
        left=TWO,
    ),
    Case(
        "acceptance that declares nothing",
        accepted(lines(ACCEPTANCE, lambda given: given[: given.index("[[performance]]")])),
        ACCEPTANCE,
        "performance",
        "neither performance nor differences",
        "at least one",
        "Add",
        left=TWO,
    ),
    Case(
        "stray file beside an acceptance",
        accepted(
            lambda folder: shutil.copy(
                folder / "verifications/VER1/line.s2p", folder / "acceptances/ACC1/line.s2p"
            )
        ),
        "acceptances/ACC1/line.s2p",
        "",
        "no record refers to",
        "record",
        "move it",
        left=TWO,
    ),
    Case(
        "acceptance with an unknown key",
        accepted(replace(ACCEPTANCE, "supplier =", "suplier =")),
        ACCEPTANCE,
        "suplier",
        "suplier",
        "supplier",
        "supplier",
        left=TWO,
    ),
)
