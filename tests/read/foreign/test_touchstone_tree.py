"""Touchstone files of one source put together: joined, paired, reordered."""

import itertools
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from skrf import Frequency, Network
from skrf.network import concat_ports, stitch

from sitegen.model.loaded import MappedFile, Sweep
from sitegen.model.mapping import Source
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.foreign.touchstone_tree import mapped_sweep
from tests import touchstone_files as tf

FREQUENCY_HZ = np.linspace(1e9, 41e9, 41)
Part = tuple[str, Mapping[str, str], bytes]
"""A file's name, what it says, and its bytes."""


def source(**keys: Any) -> Source:
    usual = {"id": "rf", "files": "{die}.s2p", "holds": "sweeps", "sweep": "raw"}
    return Source.model_validate({**usual, **keys})


def two_port(seed: int, n: int = len(FREQUENCY_HZ)) -> tf.Complexes:
    """Any S-parameters, smooth enough to be joined, to the digits that a file keeps."""
    rng = np.random.default_rng(seed)
    level = rng.uniform(-0.4, 0.4, (2, 2)) + 1j * rng.uniform(-0.4, 0.4, (2, 2))
    s = level * np.exp(-0.02j * np.arange(n))[:, None, None]
    return np.asarray(np.round(s, 9), np.complex128)


def read(folder: Path, source: Source, *parts: Part) -> tuple[Sweep | None, list[Fault]]:
    for name, _, content in parts:
        (folder / name).write_bytes(content)
    mapped = MappedFile(
        files=tuple(name for name, _, _ in parts),
        says=tuple(tuple(says.items()) for _, says, _ in parts),
    )
    intake = Intake(folder)
    return mapped_sweep(intake, source, mapped), intake.faults


def sweep_of(folder: Path, source: Source, *parts: Part) -> Sweep:
    sweep, faults = read(folder, source, *parts)
    assert faults == [] and sweep is not None
    assert sweep.file == parts[0][0]
    return sweep


def of_range(name: str, s: tf.Complexes, start: int, stop: int, **keys: Any) -> Part:
    """A file of the points from `start` to before `stop`."""
    content = tf.touchstone(FREQUENCY_HZ[start:stop], s[start:stop], **keys)
    return name, {"part": name.partition(".")[0]}, content


def network(s: tf.Complexes, frequency_hz: tf.Reals = FREQUENCY_HZ) -> Network:
    return Network(frequency=Frequency.from_f(frequency_hz, unit="hz"), s=s, z0=50.0)


QUICK = settings(
    max_examples=30,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@QUICK
@given(
    cuts=st.sets(st.integers(1, len(FREQUENCY_HZ) - 2), min_size=1, max_size=3),
    shared=st.booleans(),
    order=st.randoms(use_true_random=False),
    seed=st.integers(0, 99),
)
def test_the_parts_of_a_sweep_give_the_sweep(
    tmp_path: Path, cuts: set[int], shared: bool, order: Any, seed: int
) -> None:
    s = two_port(seed)
    edges = [0, *sorted(cuts), len(FREQUENCY_HZ)]
    parts = [
        of_range(f"part{n}.s2p", s, start, stop + (shared and stop < len(FREQUENCY_HZ)))
        for n, (start, stop) in enumerate(itertools.pairwise(edges))
    ]
    order.shuffle(parts)
    joined = sweep_of(tmp_path, source(), *parts)
    whole = sweep_of(tmp_path, source(), of_range("whole.s2p", s, 0, len(FREQUENCY_HZ)))
    np.testing.assert_array_equal(joined.frequency_hz, whole.frequency_hz)
    np.testing.assert_array_equal(joined.s, whole.s)
    np.testing.assert_allclose(whole.s, s, rtol=0, atol=1e-12)


def test_joined_as_scikit_rf_stitches(tmp_path: Path) -> None:
    s = two_port(1)
    expected = stitch(network(s[:20], FREQUENCY_HZ[:20]), network(s[20:], FREQUENCY_HZ[20:]))
    joined = sweep_of(tmp_path, source(), of_range("b.s2p", s, 20, 41), of_range("a.s2p", s, 0, 20))
    np.testing.assert_allclose(joined.frequency_hz, expected.f, rtol=1e-15)
    np.testing.assert_allclose(joined.s, expected.s, rtol=0, atol=1e-12)


def test_the_shared_point_is_the_lower_parts(tmp_path: Path) -> None:
    s = two_port(2)
    moved = s.copy()
    moved[:, 0, 0] += 0.04
    joined = sweep_of(
        tmp_path, source(), of_range("a.s2p", s, 0, 21), of_range("b.s2p", moved, 20, 41)
    )
    assert len(joined.frequency_hz) == 41
    np.testing.assert_allclose(joined.s[20], s[20], rtol=0, atol=1e-12)
    np.testing.assert_allclose(joined.s[21:], moved[21:], rtol=0, atol=1e-12)


@QUICK
@given(seed=st.integers(0, 999))
def test_ports_are_exchanged_and_back_again(tmp_path: Path, seed: int) -> None:
    s = two_port(seed)
    once = sweep_of(tmp_path, source(ports=(2, 1)), of_range("a.s2p", s, 0, 41))
    np.testing.assert_allclose(once.s, network(s).renumbered([0, 1], [1, 0]).s, rtol=0, atol=1e-12)
    twice = sweep_of(
        tmp_path, source(ports=(2, 1)), of_range("b.s2p", np.asarray(once.s, np.complex128), 0, 41)
    )
    np.testing.assert_array_equal(
        twice.s, sweep_of(tmp_path, source(), of_range("a.s2p", s, 0, 41)).s
    )
    same = sweep_of(tmp_path, source(ports=(1, 2)), of_range("a.s2p", s, 0, 41))
    np.testing.assert_array_equal(same.s, twice.s)


PAIRS = source(files="{die}_{port}.s1p", one_port_pairs="no transmission")


def of_port(name: str, port: str, gamma: tf.Complexes, **keys: Any) -> Part:
    return name, {"port": port, **keys}, tf.touchstone(FREQUENCY_HZ[: len(gamma)], gamma)


def test_one_port_files_of_both_ports(tmp_path: Path) -> None:
    first, second = tf.reflection(FREQUENCY_HZ), tf.reflection(FREQUENCY_HZ, 0.7, 5e-12)
    parts = [of_port("b.s1p", "2", second), of_port("a.s1p", "1", first)]
    paired = sweep_of(tmp_path, PAIRS, *parts)
    expected = concat_ports([network(first), network(second)])
    np.testing.assert_allclose(paired.s, expected.s, rtol=0, atol=1e-8)
    assert not paired.s[:, 0, 1].any() and not paired.s[:, 1, 0].any()
    exchanged = sweep_of(tmp_path, PAIRS.model_copy(update={"ports": (2, 1)}), *parts)
    np.testing.assert_array_equal(exchanged.s[:, 0, 0], paired.s[:, 1, 1])


def test_ports_by_the_files_own_words_and_parts_of_each(tmp_path: Path) -> None:
    first, second = tf.reflection(FREQUENCY_HZ), tf.reflection(FREQUENCY_HZ, 0.7, 5e-12)
    renamed = PAIRS.model_copy(update={"rename": {"port": {"west": "1", "east": "2"}}})
    parts = [
        (name, {"port": port, "part": str(start)}, tf.touchstone(FREQUENCY_HZ[cut], gamma[cut]))
        for port, gamma in (("east", second), ("west", first))
        for start in (0, 20)
        for cut in (slice(start, start + 21),)
        for name in (f"{port}{start}.s1p",)
    ]
    paired = sweep_of(tmp_path, renamed, *parts)
    np.testing.assert_array_equal(paired.frequency_hz, FREQUENCY_HZ)
    np.testing.assert_allclose(paired.s[:, 0, 0], first[:, 0, 0], rtol=0, atol=1e-8)
    np.testing.assert_allclose(paired.s[:, 1, 1], second[:, 0, 0], rtol=0, atol=1e-8)


S = two_port(3)
OFF = S + 0.06
LOW = of_range("low.s2p", S, 0, 20)
GAMMA = tf.reflection(FREQUENCY_HZ)
REFUSED: dict[str, tuple[Source, Sequence[Part], str, str, str]] = {
    "overlap": (
        source(),
        [LOW, of_range("high.s2p", S, 17, 41)],
        "high.s2p",
        'a part from 18 GHz on, joined to "low.s2p", which reaches up to 20 GHz',
        "share at most one frequency",
    ),
    "differ where they meet": (
        source(),
        [LOW, of_range("high.s2p", OFF, 19, 41)],
        "high.s2p",
        '|ΔS| = 0.06 from "low.s2p" at 20 GHz',
        "at most 0.05",
    ),
    "gap": (
        source(),
        [LOW, of_range("high.s2p", S, 23, 41)],
        "high.s2p",
        'a gap of 4 GHz after "low.s2p", from 20 GHz to 24 GHz',
        "at most 3 times the steps beside it, 1 GHz",
    ),
    "other impedance": (
        source(),
        [LOW, of_range("high.s2p", S, 20, 41, z_ref_ohm=75.0)],
        "high.s2p",
        "75 Ω",
        '50 Ω, as "low.s2p" has',
    ),
    "impedance of corrected sweeps": (
        source(sweep="corrected", reference_impedance_ohm=75.0),
        [LOW],
        "low.s2p",
        "50 Ω",
        '75 Ω, as source "rf" of mapping.toml states',
    ),
    "one port joined to two": (
        source(),
        [LOW, ("high.s1p", {}, tf.touchstone(FREQUENCY_HZ[20:], GAMMA[20:]))],
        "high.s1p",
        "1 port",
        '2 ports, as "low.s2p" has',
    ),
    "ports not declared": (
        source(),
        [of_port("a.s1p", "1", GAMMA), of_port("b.s1p", "2", GAMMA)],
        "a.s1p",
        "name different ports",
        "files of one port",
    ),
    "one of a pair only": (
        PAIRS,
        [of_port("a.s1p", "2", GAMMA)],
        "a.s1p",
        "a sweep of port 2 without one of port 1",
        "both ports",
    ),
    "port 3": (
        PAIRS,
        [of_port("a.s1p", "1", GAMMA), of_port("b.s1p", "3", GAMMA)],
        "b.s1p",
        'the port "3"',
        "port 1 or 2",
    ),
    "a pair of two-port files": (
        PAIRS,
        [("a.s2p", {"port": "1"}, LOW[2]), of_port("b.s1p", "2", GAMMA)],
        "a.s2p",
        "2 ports",
        "one port, as one file of a one-port pair",
    ),
    "a pair on two lists": (
        PAIRS,
        [of_port("a.s1p", "1", GAMMA), of_port("b.s1p", "2", GAMMA[:-1])],
        "b.s1p",
        "40 frequencies",
        '41, as "a.s1p" has',
    ),
    "a pair at other frequencies": (
        PAIRS,
        [
            of_port("a.s1p", "1", GAMMA),
            ("b.s1p", {"port": "2"}, tf.touchstone(FREQUENCY_HZ + 1e6, GAMMA)),
        ],
        "b.s1p",
        "the frequency 1.001 GHz",
        '1 GHz, as "a.s1p" has',
    ),
    "one-port file where two ports are reordered": (
        source(ports=(2, 1)),
        [of_port("a.s1p", "1", GAMMA)],
        "a.s1p",
        "1 port",
        "2 ports, as 'ports' of source \"rf\" has",
    ),
    "a part that cannot be read": (
        source(),
        [LOW, ("cut.s2p", {}, b"# Hz S RI R 50\n1 2 3\n")],
        "cut.s2p",
        "3 numbers",
        "9 numbers",
    ),
}


@pytest.mark.parametrize(
    ("of", "parts", "file", "found", "expected"), REFUSED.values(), ids=REFUSED.keys()
)
def test_what_cannot_be_put_together_is_told(
    of: Source, parts: Sequence[Part], file: str, found: str, expected: str, tmp_path: Path
) -> None:
    sweep, faults = read(tmp_path, of, *parts)
    assert sweep is None and len(faults) == 1, [fault.sentence() for fault in faults]
    assert faults[0].file == file
    assert found in faults[0].found and expected in faults[0].expected
    assert faults[0].remedy.endswith(".")


def test_single_points_and_steps_that_grow(tmp_path: Path) -> None:
    s = two_port(4)
    points = [of_range(f"p{n}.s2p", s, n, n + 1) for n in (0, 1)]
    assert len(sweep_of(tmp_path, source(), *points).frequency_hz) == 2
    frequency_hz = np.geomspace(1e8, 1e11, 41)
    halves: list[Part] = [
        (name, {}, tf.touchstone(frequency_hz[cut], s[cut]))
        for name, cut in (("a.s2p", slice(0, 20)), ("b.s2p", slice(20, 41)))
    ]
    assert len(sweep_of(tmp_path, source(), *halves).frequency_hz) == 41
