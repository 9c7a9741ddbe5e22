"""Patterns of names: round trips, ambiguity against every split, and each refusal."""

import re
import unicodedata
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.model.mapping import FIELDS
from sitegen.read.foreign import patterns
from sitegen.read.foreign.divisions import MOST_DIVISIONS, divided, most_divisions
from sitegen.read.foreign.patterns import BadPattern, compiled, is_ambiguous, near_miss, said


def read(
    pattern: str, text: str, minus: str | None = None, point: str | None = None
) -> dict[str, str] | None:
    found = said(compiled(pattern, minus, point), text)
    return None if found is None else dict(found)


def test_a_tree_of_folders_and_a_name() -> None:
    pattern = "{wafer}/{device}_{bias}_X{die_x}_Y{die_y}_T{touchdown}_{temperature_c}C.s2p"
    assert read(pattern, "W1/DUT 1_VG1_X-3_Y+4_T2_25.5C.s2p") == {
        "wafer": "W1",
        "device": "DUT 1",
        "bias": "VG1",
        "die_x": "-3",
        "die_y": "+4",
        "touchdown": "2",
        "temperature_c": "25.5",
    }


@pytest.mark.parametrize("path", ["W1.s2p", "a/W1.s2p", "a/b c/W1.s2p"])
def test_any_folders_also_none(path: str) -> None:
    assert read("**/{wafer}.s2p", path) == {"wafer": "W1"}


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        ("*/{wafer}.s2p", "a/b/W1.s2p"),
        ("{wafer}.s2p", "a/W1.s2p"),
        ("{wafer}.s2p", ".s2p"),
        ("{wafer}.s2p", "W1.S2P"),
        ("{wafer}.s2p", "W1.s2p.bak"),
        ("{wafer}.s2p", "W1xs2p"),
        ("{wafer}.s2p", "W1.s2p\n"),
        ("X{die_x}.csv", "X.csv"),
        ("X{die_x}.csv", "X1.5.csv"),
        ("X{die_x}.csv", "X١.csv"),
        ("X{die_x}.csv", "X--1.csv"),
        ("T{temperature_c}.csv", "T1..csv"),
        ("{wafer}/{wafer}.csv", "W1/W2.csv"),
        ("folder/**/{wafer}.csv", "folders/W1.csv"),
    ],
)
def test_what_does_not_fit(pattern: str, text: str) -> None:
    assert read(pattern, text) is None
    assert near_miss(compiled(pattern), text)
    assert not is_ambiguous(compiled(pattern), text)


def test_a_star_is_anything_but_a_folder() -> None:
    assert read("*_{die_x}_*.csv", "_3_.csv") == {"die_x": "3"}
    assert read("folder*/{wafer}.csv", "folder 2/W1.csv") == {"wafer": "W1"}


def test_a_field_named_twice_says_the_same_twice() -> None:
    assert read("{wafer}/{wafer}_{die_x}.csv", "W1/W1_3.csv") == {"wafer": "W1", "die_x": "3"}


def test_other_marks_of_numbers_stay_as_the_name_has_them() -> None:
    pattern = "T{temperature_c}_X{die_x}.s2p"
    assert read(pattern, "Tm40p5_Xm3.s2p", minus="m", point="p") == {
        "temperature_c": "m40p5",
        "die_x": "m3",
    }
    assert read(pattern, "T-40.5_X-3.s2p", minus="m", point="p") is not None
    assert read(pattern, "Tm40p5_Xm3.s2p") is None


def test_a_line_has_no_folders() -> None:
    line = "! Date: 10/26/2026 14:00"
    assert dict(said(compiled("! Date: {time}", in_line=True), line) or ()) == {
        "time": "10/26/2026 14:00"
    }
    assert said(compiled("! Date: {time}"), line) is None


@pytest.mark.parametrize(
    ("pattern", "phrase"),
    [
        ("", "nothing"),
        ("{waver}.s2p", '"{waver}", which is no field, which is near {wafer}'),
        ("{}.s2p", '"{}", which is no field'),
        ("{Wafer}.s2p", "which is near {wafer}"),
        ("{wafer.s2p", '"{" without its other brace in "{wafer.s2p"'),
        ("wafer}.s2p", '"}" without its other brace in "wafer}.s2p"'),
        ("{wafer}{die_x}.s2p", '"{wafer}{die_x}", where nothing says where the first ends'),
        ("{wafer}*.s2p", '"*" beside {wafer}, where nothing says where the field ends'),
        ("*{die_x}.s2p", '"*" beside {die_x}, where nothing says where the field ends'),
        ("**.s2p", '"**"; "**" is only used as "**/"'),
        ("***/a.s2p", '"***/"; "**" is only used as "**/"'),
        ("a**/{wafer}.s2p", '"**/" in the middle of a name'),
        ("{wafer}**/b.s2p", '"**/" in the middle of a name'),
    ],
)
def test_a_pattern_that_cannot_be_used(pattern: str, phrase: str) -> None:
    with pytest.raises(BadPattern, match=re.escape(phrase)):
        compiled(pattern)


@pytest.mark.parametrize(
    ("minus", "point"),
    [("1", None), (None, "0"), ("p", "p"), ("", None), ("/", None), (".", None), (None, "-")],
)
def test_marks_that_cannot_be_used(minus: str | None, point: str | None) -> None:
    with pytest.raises(BadPattern, match=r"as (minus|point)"):
        compiled("{die_x}.csv", minus, point)


def test_folders_in_a_line_cannot_be_used() -> None:
    with pytest.raises(BadPattern, match="which has no folders"):
        compiled("! **/ {wafer}", in_line=True)


@pytest.mark.parametrize(
    ("pattern", "text", "ambiguous"),
    [
        ("{wafer}_{device}.s2p", "W1_DUT.s2p", False),
        ("{wafer}_{device}.s2p", "LOT_W1_DUT.s2p", True),
        ("**/{wafer}/{device}.s2p", "a/b/W1/DUT.s2p", False),
        ("**/{wafer}/**/{device}.s2p", "a/W1/DUT.s2p", True),
        ("*_{die_x}_*.csv", "a_1_2_b.csv", True),
        ("*_{die_x}_*.csv", "a_b_1_c_d.csv", False),
        ("*-*_{die_x}.csv", "a-b-c_1.csv", False),  # the stars differ, the field does not
        ("*_X{die_x}_*_*.csv", "a_X1_X2_X1_b.csv", True),
        ("T{temperature_c}.{touchdown}.csv", "T25.2.csv", False),
        ("{wafer}/{wafer}_{device}.csv", "A_B/A_B_C.csv", False),  # the folder decides
        ("*-{wafer}-*_{wafer}.csv", "a-W1-W2-b_W1.csv", False),
        ("*_{die_x}_*.csv", "a_1_b_2_c_1_d.csv", True),  # both extreme splits say 1
        ("*+*-{wafer}-*_{wafer}.csv", "a+b+c-W1-W2-b_W1.csv", False),
    ],
)
def test_names_that_can_be_read_in_two_ways(pattern: str, text: str, ambiguous: bool) -> None:
    ready = compiled(pattern)
    assert said(ready, text) is not None
    assert is_ambiguous(ready, text) == ambiguous


PIECES = ("{wafer}", "{device}", "{die_x}", "*", "a", "_", "/", "1", "**/")


@given(
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=6).map("".join),
    st.text(alphabet="aA1_/-", max_size=9),
)
def test_reading_and_ambiguity_against_every_split(pattern: str, text: str) -> None:
    """A second matcher, which tries every split and shares no code, gives the same readings."""
    try:
        ready = compiled(pattern)
    except BadPattern:
        return
    readings = every_reading(tuple(re.findall(r"\{\w+\}|\*\*/|\*|.", pattern)), text, ())
    found = said(ready, text)
    assert (found is not None) == bool(readings)
    assert found is None or frozenset(found) in readings
    assert is_ambiguous(ready, text) == (len(readings) > 1)
    if found is None:
        assert near_miss(ready, text)


@given(
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=6).map("".join),
    st.text(alphabet="aA1_/-", max_size=9),
)
def test_the_search_divides_as_the_regular_expressions(pattern: str, text: str) -> None:
    """Where each part ends, for both extremes; two algorithms that share the parts alone."""
    try:
        ready = compiled(pattern)
    except BadPattern:
        return
    for longest, expression in ((True, ready.longest), (False, ready.shortest)):
        match = expression.fullmatch(text)
        found = divided(ready.parts, ready.marks, text, longest=longest)
        assert (found.ends is None) == (match is None)
        if found.ends is not None and match is not None:
            spans = list(zip(ready.parts, (0, *found.ends), found.ends, strict=False))
            words = {part.text: text[a:b] for part, a, b in spans if part.kind == "field"}
            assert words == match.groupdict()
            varied = [
                (a, b)
                for number, (part, a, b) in enumerate(spans)
                if part.kind != "literal"
                and part.text not in [one.text for one, _, _ in spans[:number] if one.text != "*"]
            ]
            assert "**/" in [one[0].text for one in spans] or varied == list(match.regs[1:])


EIGHT = "{wafer}_{site}_{device}_{bias}_{range}_{path}_{state}_{part}_X{die_x}.csv"


@pytest.mark.parametrize("text", ["a_" * 100 + "Y1.csv", "_" * 200 + ".csv", "a_" * 100 + "X1.csv"])
def test_eight_texts_and_a_long_name_take_few_steps(
    text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A division at a time would be C(100, 8) = 1.9e11 of them; the steps are counted."""
    ready = compiled(EIGHT)
    assert most_divisions(ready.dividers, text) > MOST_DIVISIONS
    found = divided(ready.parts, ready.marks, text, longest=True)
    assert found.steps <= (len(ready.parts) + 1) * (len(text) + 1) ** 2
    fits = text.endswith("_X1.csv")
    assert (found.ends is not None) == fits

    def not_within_the_bound(*_: object, **__: object) -> None:
        raise AssertionError("a regular expression was asked")

    never = re.compile("(?!)")
    ready = replace(ready, longest=never, shortest=never)
    for name in ("_loose", "_where_it_stops"):
        monkeypatch.setattr(patterns, name, not_within_the_bound)
    assert (said(ready, text) is not None) == fits
    assert is_ambiguous(ready, text) == fits
    assert near_miss(ready, text) == "no way to divide it as the pattern does"
    if fits:
        words = dict(said(ready, text) or ())
        assert words.pop("wafer") == "_".join("a" * 93) and words.pop("die_x") == "1"
        assert set(words.values()) == {"a"}


def test_fields_that_stand_twice_are_searched_within_a_bound() -> None:
    ready = compiled("{wafer}_{site}_{device}_{wafer}_{site}_{device}_b.csv")
    text = "a_" * 60 + "c_b.csv"
    found = divided(ready.parts, ready.marks, text, longest=True, most_steps=1_000)
    assert found.ends is None and found.steps == 1_000
    even = "a_b_c_" * 2 + "b.csv"
    assert dict(said(ready, even) or ()) == {"wafer": "a", "site": "b", "device": "c"}


@pytest.mark.parametrize(
    ("pattern", "text", "bound"),
    [
        ("{wafer}_{site}_{device}.csv", "a_b_c.csv", 2),
        ("{wafer}_{site}_{device}.csv", "a_b_c_d.csv", 3),
        ("**/{wafer}/{device}.csv", "a/b/c/d.csv", 4 * 3),
        ("run{die_x}.csv", "run7.csv", 1),
        ("{wafer}", "_" * 300, 1),
    ],
)
def test_the_bound_of_divisions(pattern: str, text: str, bound: int) -> None:
    assert most_divisions(compiled(pattern).dividers, text) == bound


@pytest.mark.parametrize("form", ["NFC", "NFD"])
@pytest.mark.parametrize("other", ["NFC", "NFD"])
def test_a_letter_with_its_accent_is_one_sign_or_two(form: str, other: str) -> None:
    """U+00FC, and u with U+0308, are canonically equivalent (Unicode Standard, from memory)."""
    ready = compiled(unicodedata.normalize(form, "Prüfling/{device}_Größe{die_x}.csv"))  # type: ignore[arg-type]
    text = unicodedata.normalize(other, "Prüfling/Gerät_Größe3.csv")  # type: ignore[arg-type]
    assert dict(said(ready, text) or ()) == {"device": "Ger\u00e4t", "die_x": "3"}
    assert not is_ambiguous(ready, text)
    assert "a whole number" in near_miss(ready, text.replace("3", "x"))


def every_reading(
    pieces: tuple[str, ...], text: str, known: tuple[tuple[str, str], ...]
) -> set[frozenset[tuple[str, str]]]:
    if not pieces:
        return set() if text else {frozenset(known)}
    readings = set()
    for end in range(len(text) + 1):
        word, piece, then = text[:end], pieces[0], known
        if piece == "*":
            fits = "/" not in word
        elif piece == "**/":
            fits = all(name for name in word.split("/")[:-1]) and (word + "/")[-2:] in ("/", "//")
        elif piece.startswith("{"):
            field = piece[1:-1]
            if field == "die_x":
                fits = (word[1:] if word[:1] == "-" else word).isdigit()
            else:
                fits = word != "" and "/" not in word
            fits = fits and dict(known).get(field, word) == word
            then = (*known, (field, word))
        else:
            fits = word == piece
        if fits:
            readings |= every_reading(pieces[1:], text[end:], then)
    return readings


WORDS = {
    "text": st.text(alphabet="ABcd 0+ü", min_size=1, max_size=6),
    "time": st.text(alphabet="0123456789:T ", min_size=1, max_size=8),
    "whole number": st.integers(-999, 999).map(str),
    "number": st.floats(-300, 300).map(lambda value: f"{value:.2f}"),
}


@given(st.data())
def test_what_is_written_by_a_pattern_is_read_by_it(data: st.DataObject) -> None:
    """A separator that no field has inside makes every name readable in one way only."""
    fields = data.draw(st.lists(st.sampled_from(sorted(FIELDS)), min_size=1, unique=True))
    marks = data.draw(st.lists(st.sampled_from("_/#"), min_size=len(fields), max_size=len(fields)))
    words = {field: data.draw(WORDS[FIELDS[field][0]]) for field in fields}
    pattern = "run" + "".join(f"{m}{{{f}}}" for m, f in zip(marks, fields, strict=True)) + ".s2p"
    text = "run" + "".join(m + words[f] for m, f in zip(marks, fields, strict=True)) + ".s2p"
    ready = compiled(pattern)
    assert ready.fields == tuple(fields)
    assert dict(said(ready, text) or ()) == words
    assert not is_ambiguous(ready, text)


@pytest.mark.parametrize(
    ("pattern", "text", "phrase"),
    [
        ("{wafer}/Dev_{die_x}.csv", "W1/dev_3.csv", '"dev_", where the pattern has "Dev_": capit'),
        ("{wafer}.s2p", "W1.S2P", '".S2P", where the pattern has ".s2p": capitals differ'),
        ("X{die_x}.csv", "X3 .csv", "a blank at an end of a name"),
        ("a/X{die_x}.csv", "a /X3.csv", "a blank at an end of a name"),
        ("X{die_x}.csv", "X3.txt", 'an end other than ".csv"'),
        ("{wafer}/{wafer}.csv", "W1/W2.csv", '"W1" and "W2", where {wafer} stands twice'),
        ("X{die_x}Y{die_y}.csv", "XX3Y4.csv", '"X3" where {die_x} should be a whole number'),
        ("X{die_x}.csv", "X1.5.csv", '"1.5" where {die_x} should be a whole number'),
        ("T{temperature_c}.csv", "Tcold.csv", '"cold" where {temperature_c} should be a number'),
        ("X{die_x}.csv", "X.csv", "nothing where {die_x} should be a whole number"),
        ("{wafer}_a.csv", "_a.csv", "nothing where {wafer} should be text"),
        ("{time}_a.csv", "_a.csv", "nothing where {time} should be a time"),
        ("{wafer}/a_{die_x}.csv", "b/W1/a_3.csv", "a path of 2 folders, where the pattern has 1"),
        ("{wafer}/a.csv", "a.csv", "a path of 0 folders, where the pattern has 1"),
        ("**/run_{die_x}_T{touchdown}.csv", "b/run_3.csv", 'nothing like "_T" after "b/run_3"'),
        ("run_{die_x}.csv", "walk_3.csv", 'nothing like "run_" at its start'),
        ("a{die_x}_{die_y}.csv", "b3_4.csv", 'nothing like "a" at its start'),
        ("{wafer}_{bias}_X{die_x}.csv", "W1_VG1_3.csv", 'nothing like "_X" after "W1_"'),
        ("a/{wafer}.csv", "a/.csv", "nothing where {wafer} should be text"),
    ],
)
def test_why_a_name_does_not_fit(pattern: str, text: str, phrase: str) -> None:
    assert near_miss(compiled(pattern), text).startswith(phrase)


def test_ten_thousand_paths_are_read_at_once() -> None:
    ready = compiled("**/{wafer}/{device}_{bias}_X{die_x}_Y{die_y}_T{touchdown}.s2p")
    paths = [
        f"run/W{w}/NMOS-{d}_VG{b}_X{x}_Y-{x}_T1.s2p"
        for w, d, b, x in product(range(10), range(10), range(10), range(10))
    ]
    assert all(said(ready, path) and not is_ambiguous(ready, path) for path in paths)


def test_a_name_with_very_many_splits_is_told_in_bounded_time() -> None:
    ready = compiled("*_*_*_*_{wafer}.csv")
    assert is_ambiguous(ready, "_" * 200 + ".csv")
