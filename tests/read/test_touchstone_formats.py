"""Numbers that cannot be what the option line says; and sweeps that only look odd."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.model.loaded import Sweep
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.touchstone import file_sweep
from sitegen.read.touchstone_formats import other_format
from tests import touchstone_files as tf

FREQUENCY_HZ = np.linspace(1e9, 67e9, 67)
SWEEPS = {"one port": tf.reflection(FREQUENCY_HZ), "two ports": tf.line(FREQUENCY_HZ)}


def read(content: bytes, ports: int) -> tuple[Sweep | None, list[Fault]]:
    intake = Intake(Path())
    return file_sweep(intake, f"a.s{ports}p", content), intake.faults


WRONG = {
    "dB as RI": (tf.db_marked_as_ri, "dB and angle under the option RI", (1, 2)),
    "MA as RI": (tf.ma_marked_as_ri, "magnitude and angle under the option RI", (1, 2)),
    "RI as MA": (tf.ri_marked_as_ma, "real and imaginary parts under the option MA", (1, 2)),
    "dB as MA": (tf.db_marked_as_ma, "dB and angle under the option MA", (1, 2)),
    "MA as dB": (tf.ma_marked_as_db, "magnitude and angle under the option DB", (2,)),
    "RI as dB": (tf.ri_marked_as_db, "real and imaginary parts under the option DB", (2,)),
}


@pytest.mark.parametrize("s", SWEEPS.values(), ids=SWEEPS.keys())
@pytest.mark.parametrize(("written", "found", "told_of"), WRONG.values(), ids=WRONG.keys())
def test_a_wrong_option_is_told(
    written: Callable[[tf.Reals, tf.Complexes], bytes],
    found: str,
    told_of: tuple[int, ...],
    s: tf.Complexes,
) -> None:
    ports = s.shape[-1]
    sweep, faults = read(written(FREQUENCY_HZ, s), ports)
    if ports not in told_of:
        assert sweep is not None and not faults
        return
    assert sweep is None and len(faults) == 1
    assert faults[0].found == f"numbers that look like {found}"
    assert faults[0].place == "line 2" and "as the option line states" in faults[0].expected


@pytest.mark.parametrize("ports", [1, 2])
@pytest.mark.parametrize("written_as", ["RI", "MA", "DB"])
@given(data=st.data())
def test_raw_and_active_sweeps_are_never_refused(
    ports: int, written_as: str, data: st.DataObject
) -> None:
    """Whatever the level up to 20 dB of gain in reflection and 40 dB in transmission."""
    gains = data.draw(st.lists(st.floats(-60, 20), min_size=ports, max_size=ports))
    through = data.draw(st.floats(-80, 40))
    turns = data.draw(st.floats(-3, 3))
    start = data.draw(st.floats(0, 2 * np.pi))
    n = data.draw(st.integers(1, 30))
    turn = np.exp(1j * (start + 2 * np.pi * turns * np.linspace(0, 1, n)))
    s = np.empty((n, ports, ports), np.complex128)
    s[...] = 10 ** (through / 20) * turn[:, None, None]
    for port, gain in enumerate(gains):
        s[:, port, port] = 10 ** (gain / 20) * turn**2
    pairs = tf.pairs_of(s.reshape(n, -1), written_as)
    looks = other_format(written_as.lower(), pairs)
    if written_as == "DB" and ports == 2 and all(0 <= gain <= 1.5 for gain in (*gains, through)):
        return  # what the docstring says no device does
    assert looks is None or (written_as == "DB" and (np.abs(pairs[..., 0]) <= 1.5).all())


def test_fewer_points_than_five_show_nothing() -> None:
    few = FREQUENCY_HZ[:4]
    sweep, faults = read(tf.db_marked_as_ri(few, tf.line(few)), 2)
    assert sweep is not None and not faults


def test_the_other_way_to_read_a_file_tells_the_same() -> None:
    """With noise data at its end the file takes the way of files that are not plain."""
    plain = tf.db_marked_as_ri(FREQUENCY_HZ, SWEEPS["two ports"])
    noise = b"4 .7 .64 69 .38\n18 2.7 .46 -33 .4\n"
    assert read(plain, 2) == read(plain + noise, 2)
    right = tf.touchstone(FREQUENCY_HZ, SWEEPS["two ports"], "DB")
    quick, slow = read(right, 2)[0], read(right + noise, 2)[0]
    assert quick is not None and slow is not None
    np.testing.assert_array_equal(quick.s, slow.s)


@pytest.mark.parametrize("version_2", [False, True])
def test_a_level_beyond_all_bounds_is_told(version_2: bool) -> None:
    s = SWEEPS["one port"][:3]
    content = tf.touchstone(FREQUENCY_HZ[:3], s, "DB", version_2=version_2)
    words = content.split(b"\n")
    at = next(n for n, words in enumerate(words) if words.startswith(b"2000000000 "))
    words[at] = b"2000000000 10000 0"
    sweep, faults = read(b"\n".join(words), 1)
    assert sweep is None
    assert [fault.found for fault in faults] == ["a number beyond all bounds at 2 GHz"]
