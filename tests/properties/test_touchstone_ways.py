"""The quick way and the careful way through a Touchstone file give the same, whatever stands there.

What the quick way takes, the careful one takes too, with the same header and the same numbers; it
never takes what the careful one refuses.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.read.files import Intake
from sitegen.read.touchstone import file_sweep
from sitegen.read.touchstone_numbers import Numbers, plain_numbers
from sitegen.read.touchstone_text import CheckedText, check_text
from tests import touchstone_files as tf

EXAMPLES = 2500
FREQUENCY_HZ = np.linspace(1e9, 4e9, 4)
ONE = tf.reflection(FREQUENCY_HZ)
TWO = tf.line(FREQUENCY_HZ)
FILES = {
    "RI": tf.touchstone(FREQUENCY_HZ, TWO, "RI"),
    "MA in GHz": tf.touchstone(FREQUENCY_HZ, TWO, "MA", unit="GHz", z_ref_ohm=75.0),
    "dB with remarks": tf.touchstone(FREQUENCY_HZ, TWO, "DB", unit="MHz", remark=" ! point"),
    "one port": tf.touchstone(FREQUENCY_HZ, ONE, "RI"),
    "lines of Windows": tf.touchstone(FREQUENCY_HZ, TWO, line_end="\r\n"),
    "version 2": tf.touchstone(FREQUENCY_HZ, TWO, version_2=True),
    "version 2 by rows": tf.touchstone(FREQUENCY_HZ, TWO, version_2=True, order="12_21"),
    "version 2, one port": tf.touchstone(FREQUENCY_HZ, ONE, "DB", version_2=True),
}
PIECES = (
    *(b"0", b"7", b"-", b"+", b".", b"e", b"E", b",", b"_", b"x", b" ", b"\t", b"\n", b"\r", b"!"),
    *(b"\x0b", b"\x0c", b"\x00", b"\x1a", b"\x85", b"\xa0", b"\xc2\xa0", b"\xef\xbb\xbf", b"\xfc"),
    *(b"#", b"[", b"]", b"nan", b"inf", b"1e999", b"1e-999", b"1.", b".5", b"+1e+2", b"\n0 0 0\n"),
    *(b"\n# GHz S DB R 75\n", b"\n! remark [End]\n", b"\n[End]\n", b"\n[Noise Data]\n", b" 1 1"),
    *(b"\n[Begin Information]\n1 2 3\n[End Information]\n", b"\n[Matrix Format] Lower\n", b"\n\n"),
    *(b"\n[Reference] 75 75\n", b"\n[Version] 2.1\n", b"\n1 .7 .6 69 .3\n1 2 3 4 5\n", b"[end] 5"),
)


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, bytes]:
    """A file with up to three places changed, some of them without harm."""
    name = draw(st.sampled_from(sorted(FILES)))
    content = FILES[name]
    for _ in range(draw(st.integers(0, 3))):
        start = draw(st.integers(0, len(content)))
        match draw(st.sampled_from(["insert", "replace", "cut", "line again", "line away", "any"])):
            case "insert":
                content = content[:start] + draw(st.sampled_from(PIECES)) + content[start:]
            case "replace":
                end = start + draw(st.integers(1, 12))
                content = content[:start] + draw(st.sampled_from(PIECES)) + content[end:]
            case "cut":
                content = content[:start]
            case "any":
                content = content[:start] + draw(st.binary(max_size=4)) + content[start:]
            case way:
                lines = content.splitlines(keepends=True)
                place = draw(st.integers(0, max(len(lines) - 1, 0)))
                kept = lines[place : place + 1] * (2 if way == "line again" else 0)
                content = b"".join([*lines[:place], *kept, *lines[place + 1 :]])
    return ("a.s1p" if "one port" in name else "a.s2p"), content


def careful(file: str, content: bytes) -> CheckedText | None:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    checked, faults = check_text(file, text)
    assert (checked is None) == bool(faults)
    return checked


def assert_same(quick: Numbers, checked: CheckedText | None) -> None:
    assert checked is not None
    assert quick.header == checked.header
    np.testing.assert_array_equal(quick.frequency_hz, checked.frequency_hz)
    words = [[float(word) for word in words[1:]] for words in checked.records]
    np.testing.assert_array_equal(quick.pairs.reshape(len(words), -1), words)


@pytest.mark.parametrize("name", FILES)
def test_plain_files_take_the_quick_way(name: str) -> None:
    file = "a.s1p" if "one port" in name else "a.s2p"
    quick = plain_numbers(file, FILES[name])
    assert quick is not None
    assert_same(quick, careful(file, FILES[name]))
    with_mark = plain_numbers(file, b"\xef\xbb\xbf" + FILES[name])
    assert with_mark is not None and with_mark.header == quick.header


@pytest.mark.parametrize("name", FILES)
def test_both_ways_give_the_s_parameters_of_scikit_rf(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = "a.s1p" if "one port" in name else "a.s2p"
    intake = Intake(Path())
    quick = file_sweep(intake, file, FILES[name])
    monkeypatch.setattr("sitegen.read.touchstone.plain_numbers", lambda *_: None)
    slow = file_sweep(intake, file, FILES[name])
    assert quick is not None and slow is not None and not intake.faults
    np.testing.assert_array_equal(quick.s, slow.s)
    np.testing.assert_array_equal(quick.frequency_hz, slow.frequency_hz)
    assert quick.z_ref_ohm == slow.z_ref_ohm
    np.testing.assert_allclose(quick.s, ONE if "one port" in name else TWO, rtol=0, atol=1e-8)


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(changed=damaged())
def test_the_quick_way_takes_nothing_that_the_careful_one_refuses(
    changed: tuple[str, bytes],
) -> None:
    file, content = changed
    quick = plain_numbers(file, content)
    if quick is not None:
        assert_same(quick, careful(file, content))


def test_the_changes_leave_enough_files_to_each_way() -> None:
    """Else the property above would show nothing."""
    outcomes = {"taken by both": 0, "refused by the careful one": 0}

    @settings(max_examples=400, deadline=None, derandomize=True, database=None)
    @given(changed=damaged())
    def count(changed: tuple[str, bytes]) -> None:
        outcomes["taken by both"] += plain_numbers(*changed) is not None
        outcomes["refused by the careful one"] += careful(*changed) is None

    count()
    assert min(outcomes.values()) >= 60, outcomes
