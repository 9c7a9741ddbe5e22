"""Touchstone files: what is read, and what is refused before it is converted."""

from pathlib import Path

import numpy as np
import pytest

from sitegen.model.loaded import Sweep
from sitegen.problems import Fault
from sitegen.read.files import Asked, Intake
from sitegen.read.touchstone import read_touchstone

TWO_PORT = """! 2-port S-parameter file, three frequency points
# GHz S RI R 50.0
! freq ReS11 ImS11 ReS21 ImS21 ReS12 ImS12 ReS22 ImS22
1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0004 -0.0022 0.3927 -0.1212
2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0097 -0.0299 0.3518 -0.3055
10.000 0.3419 0.3336 -0.0134 0.0379 -0.0135 0.0378 0.3420 0.3337
"""
"""After the example of the Touchstone specification, quoted from memory; S12 and S22 are made to
differ from S21 and S11, so that the order of the parameters shows."""


def read(
    folder: Path, text: str | bytes, name: str = "a.s2p", ports: tuple[int, ...] = (1, 2)
) -> tuple[Sweep | None, list[Fault]]:
    content = text.encode() if isinstance(text, str) else text
    (folder / name).write_bytes(content)
    intake = Intake(folder)
    return read_touchstone(intake, name, Asked("record.toml", "file"), ports, 50.0), intake.faults


def s_of(folder: Path, text: str | bytes, name: str = "a.s2p") -> Sweep:
    sweep, faults = read(folder, text, name)
    assert faults == [] and sweep is not None
    return sweep


def test_two_ports_in_the_order_s11_s21_s12_s22(tmp_path: Path) -> None:
    sweep = s_of(tmp_path, TWO_PORT)
    np.testing.assert_allclose(sweep.frequency_hz, [1e9, 2e9, 10e9], rtol=1e-15)
    assert sweep.s.shape == (3, 2, 2)
    assert sweep.s[1, 0, 0] == 0.3517 - 0.3054j
    assert sweep.s[1, 1, 0] == -0.0096 - 0.0298j
    assert sweep.s[1, 0, 1] == -0.0097 - 0.0299j
    assert sweep.s[1, 1, 1] == 0.3518 - 0.3055j


def test_magnitude_and_angle_are_the_default(tmp_path: Path) -> None:
    sweep = s_of(tmp_path, "#\n1 0.5 90\n2 1 -180\n", "a.s1p")
    np.testing.assert_allclose(sweep.frequency_hz, [1e9, 2e9])
    np.testing.assert_allclose(sweep.s[:, 0, 0], [0.5j, -1.0], atol=1e-15)


def test_decibels_and_parts_of_the_option_line_in_any_order(tmp_path: Path) -> None:
    sweep = s_of(tmp_path, "# DB R 50 MHz S\n100 -20 0\n200 0 90\n", "a.s1p")
    np.testing.assert_allclose(sweep.frequency_hz, [1e8, 2e8])
    np.testing.assert_allclose(sweep.s[:, 0, 0], [0.1, 1j], atol=1e-15)


VERSION_2 = """[Version] 2.0
# MHz S RI R 75
[Number of Ports] 2
[Two-Port Data Order] 12_21
[Number of Frequencies] 2
[Reference] 50 50
[Begin Information]
serial number = [any]
[End Information]
[Network Data]
1 1 2 3 4 5 6 7 8
2 1 2 3 4 5 6 7 8
[End]
"""


@pytest.mark.parametrize("name", ["a.ts", "a.s2p"])
def test_version_2_with_its_own_order_and_reference(tmp_path: Path, name: str) -> None:
    sweep = s_of(tmp_path, VERSION_2, name)
    assert sweep.z_ref_ohm == 50.0
    np.testing.assert_array_equal(sweep.s[0], [[1 + 2j, 3 + 4j], [5 + 6j, 7 + 8j]])


def test_version_2_with_half_a_matrix(tmp_path: Path) -> None:
    lower = VERSION_2.replace("[Network Data]", "[Matrix Format] Lower\n[Network Data]")
    lower = lower.replace(" 7 8\n", "\n")
    np.testing.assert_array_equal(
        s_of(tmp_path, lower, "a.ts").s[1], [[1 + 2j, 3 + 4j], [3 + 4j, 5 + 6j]]
    )


def test_comments_that_look_like_keywords_change_nothing(tmp_path: Path) -> None:
    remarks = "! Gamma !\n! Port Impedance 75\n! [Version] 2.0\n"
    with_remarks = s_of(tmp_path, remarks + TWO_PORT.replace("10.000 ", "! Gamma 1\n10.000 "))
    np.testing.assert_array_equal(with_remarks.s, s_of(tmp_path, TWO_PORT).s)
    in_latin_1 = "! f\xfcr 25 \xb0C\n".encode("latin-1") + TWO_PORT.encode()
    np.testing.assert_array_equal(s_of(tmp_path, in_latin_1).s, with_remarks.s)


def test_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    expected = s_of(tmp_path, TWO_PORT).s
    for text in (TWO_PORT.replace("\n", "\r\n"), TWO_PORT.replace("\n", "\r"), "\ufeff" + TWO_PORT):
        np.testing.assert_array_equal(s_of(tmp_path, text).s, expected)


def test_noise_data_are_left_out(tmp_path: Path) -> None:
    noisy = TWO_PORT + "! noise\n4 .7 .64 69 .38\n18 2.7 .46 -33 .4\n"
    np.testing.assert_array_equal(s_of(tmp_path, noisy).s, s_of(tmp_path, TWO_PORT).s)


def row(first: str) -> str:
    return f"{first} 0 0 0 0 0 0 0 0\n"


REFUSED = {
    "no numbers": ("# Hz S RI R 50\n", "no frequency points", "at least one"),
    "no option line": (row("1"), "no option line", "# Hz S RI R 50"),
    "nothing": ("", "no Touchstone text", "# Hz S RI R 50"),
    "odd option line": ("# Hz S RX R 50\n" + row("1"), '"# hz s rx r 50"', "# Hz S RI R 50"),
    "impedances": ("# Hz Z RI R 50\n" + row("1"), "Z-parameters", "S-parameters"),
    "repeated": ("# Hz S RI\n" + row("1") * 2, "1 Hz after 1 Hz", "increasing"),
    "falling": ("# Hz S RI\n" + row("2") + row("1"), "1 Hz after 2 Hz", "increasing"),
    "negative": ("# Hz S RI\n" + row("-1"), "-1 Hz", "positive"),
    "nan": ("# Hz S RI\n" + row("1").replace("0\n", "NaN\n"), '"NaN"', "finite"),
    "infinite": ("# Hz S RI\n" + row("1e999"), '"1e999"', "finite"),
    "comma": ("# Hz S RI\n" + row("1,5"), '"1,5"', "decimal point"),
    "letters": ("# Hz S RI\n" + row("1x"), '"1x"', "numbers"),
    "underscore": ("# Hz S RI\n" + row("1_0"), '"1_0"', "numbers"),
    "cut off": ("# Hz S RI\n" + row("1") + "2 0 0 0", "4 numbers in the last record", "9 numbers"),
    "cut off in a number": (
        "# Hz S RI\n" + row("1") + "2 0 0 0 1.5e",
        "5 numbers in the last record",
        "9 numbers",
    ),
    "too many": ("# Hz S RI\n" + row("1").strip() + " 0\n" + row("2"), "10 numbers", "9 numbers"),
    "references differ": ("# Hz S RI R 50 75\n" + row("1"), "50 Ω and 75 Ω", "one positive"),
    "other reference": ("# Hz S RI R 75\n" + row("1"), "75 Ω", "50 Ω"),
    "keyword in version 1": (
        "# Hz S RI\n[Number of Ports] 2\n" + row("1"),
        "[number of ports]",
        "before [Version]",
    ),
    "version 3": (VERSION_2.replace("2.0", "3.0"), "version 3.0", "2.0 or 2.1"),
    "ports differ": (VERSION_2.replace("Ports] 2", "Ports] 1"), "1 port, in a file", "name states"),
    "points differ": (VERSION_2.replace("cies] 2", "cies] 3"), "2 frequency points", "3"),
    "not ended": (VERSION_2.replace("[End]\n", ""), "no [End]", "2 frequency points"),
    "no order": (
        VERSION_2.replace("[Two-Port Data Order] 12_21\n", ""),
        "no [Two-Port Data Order]",
        "two ports",
    ),
    "mixed modes": (
        VERSION_2.replace("[Network", "[Mixed-Mode Order] D2,3\n[Network"),
        "[mixed-mode order]",
        "single-ended",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_one_sentence_for_each_refusal(tmp_path: Path, name: str) -> None:
    text, found, expected = REFUSED[name]
    sweep, faults = read(tmp_path, text)
    assert sweep is None
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    assert found in faults[0].found and expected in faults[0].expected
    assert faults[0].file == "a.s2p"


def test_number_of_ports(tmp_path: Path) -> None:
    for name, ports, found in (
        ("a.s3p", (1, 2), "3 ports"),
        ("a.s2p", (1,), "2 ports"),
        ("a.ts", (1, 2), "nothing that says how many ports"),
    ):
        sweep, faults = read(tmp_path, TWO_PORT, name, ports)
        assert sweep is None and len(faults) == 1
        assert found in faults[0].found
