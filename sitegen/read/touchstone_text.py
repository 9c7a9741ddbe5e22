"""The text of a Touchstone file, versions 1.0, 1.1, 2.0 and 2.1, checked before it is converted.

Touchstone File Format Specification, IBIS Open Forum, version 2.0 (2009) and 2.1 (2024), quoted
from memory: option line `# <frequency unit> <parameter> <format> R <n>` with the defaults
GHz S MA R 50; version 2 has keywords in brackets, states its number of frequencies and closes
with [End]; frequencies increase strictly.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.problems import Fault
from sitegen.read.words import counted, frequency, printable, quoted

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?", re.ASCII)
_EXTENSION = re.compile(r"\.s(\d{1,3})p$", re.IGNORECASE)
_KEYWORD = re.compile(r"\[([^\]]*)\]\s*(.*)")
UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
"""What the units of frequency are in hertz."""
_FORMATS = ("ma", "db", "ri")
_EXPORT = "Export the sweep again."

Line = tuple[int, list[str]]
"""The line's number from 1, and its words."""


@dataclass(frozen=True)
class Header:
    """What a Touchstone file says of itself before its numbers."""

    version_2: bool = False
    ports: int | None = None
    unit: str = "ghz"
    parameter: str = "s"
    format: str = "ma"
    references: tuple[float, ...] = (50.0,)
    option_line: int = 0
    """Number of the option line; 0: there is none."""
    points: int | None = None
    order: str | None = None
    matrix: str = "full"

    @property
    def numbers_per_point(self) -> int:
        """How many numbers a record has, its frequency included."""
        ports = self.ports or 0
        return 1 + (2 * ports**2 if self.matrix == "full" else ports * (ports + 1))


@dataclass(frozen=True)
class CheckedText:
    """A file's header and its records, each with the right number of finite numbers."""

    header: Header
    frequency_hz: FloatArray
    records: tuple[list[str], ...]
    """The words of each record, frequency first, as they stand in the file."""


@dataclass
class _Scan:
    """One pass over a file: its faults, its header and its lines of numbers."""

    file: str
    faults: list[Fault] = field(default_factory=list)
    header: Header = field(default_factory=Header)
    data: list[Line] = field(default_factory=list)
    skipping: str = ""
    """Which section is left out at present."""
    ended: bool = False

    def tell(self, place: str, found: str, expected: str, remedy: str, count: int = 1) -> None:
        self.faults.append(Fault(self.file, place, found, expected, remedy, count=count))


def check_text(file: str, text: str) -> tuple[CheckedText | None, list[Fault]]:
    """A file's checked text, or None and its faults. `file` is told and gives the extension."""
    scan = _split(file, text)
    for step in (_check_header, _leave_out_noise, _check_words, _check_records, _check_frequencies):
        if not scan.faults:
            step(scan)
    if scan.faults:
        return None, scan.faults
    words = tuple(words for _, words in scan.data)
    return CheckedText(scan.header, _frequencies(scan), words), []


def header_of(file: str, text: str) -> Header | None:
    """The header of a file of which `text` is all that stands before its numbers.

    None where it has a fault, or where more than a header stands there.
    """
    scan = _split(file, text)
    _check_header(scan)
    if scan.faults or scan.data or scan.skipping or scan.ended:
        return None
    return scan.header


def _split(file: str, text: str) -> _Scan:
    """Sort the lines into option line, keywords and numbers; comments are left out."""
    scan = _Scan(file)
    extension = _EXTENSION.search(file)
    if extension:
        scan.header = replace(scan.header, ports=int(extension[1]))
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, raw in enumerate(lines, 1):
        line = raw.partition("!")[0].strip()
        if not line or scan.ended:
            continue
        if line.startswith("["):
            match = _KEYWORD.match(line)
            word = " ".join(match[1].lower().split()) if match else ""
            if scan.skipping == "information":
                scan.skipping = "" if word == "end information" else scan.skipping
            elif word == "begin information":
                scan.skipping = "information"
            elif word == "noise data":
                scan.skipping = "noise"
            elif word == "end":
                scan.ended = True
            else:
                _keyword(scan, number, word, match[2].strip() if match else "")
        elif scan.skipping:
            continue
        elif line.startswith("#"):
            _option_line(scan, number, line[1:].lower().split())
        else:
            scan.data.append((number, line.split()))
    return scan


def _keyword(scan: _Scan, number: int, word: str, value: str) -> None:
    place = f"line {number}"
    if word == "version":
        if value not in {"2.0", "2.1"}:
            scan.tell(place, f"version {printable(value)}", "version 2.0 or 2.1", _EXPORT)
        scan.header = replace(scan.header, version_2=True)
        return
    if not scan.header.version_2:
        found = f"the keyword [{printable(word)}]"
        remedy = "Export the sweep again in one of the two versions."
        scan.tell(place, found, "no keywords before [Version], as in version 1", remedy)
        return
    reader = _KEYWORD_READERS.get(word)
    if reader is None:
        if word not in {"network data", "number of noise frequencies"}:
            found = f"the keyword [{printable(word)}]"
            expected = "a keyword of Touchstone 2 for single-ended S-parameters"
            scan.tell(place, found, expected, _EXPORT)
        return
    reader(scan, place, value)


def _number_of_ports(scan: _Scan, place: str, value: str) -> None:
    ports = int(value) if value.isascii() and value.isdigit() and len(value) < 4 else None
    if ports is None:
        scan.tell(place, quoted(value), "the number of ports", _EXPORT)
    elif scan.header.ports not in (None, ports):
        found = f"{counted(ports, 'port')}, in a file named .s{scan.header.ports}p"
        scan.tell(place, found, "the number of ports that the name states", "Rename the file.")
    else:
        scan.header = replace(scan.header, ports=ports)


def _number_of_frequencies(scan: _Scan, place: str, value: str) -> None:
    if value.isascii() and value.isdigit() and len(value) < 10:
        scan.header = replace(scan.header, points=int(value))
    else:
        scan.tell(place, quoted(value), "the number of frequencies", _EXPORT)


def _order(scan: _Scan, place: str, value: str) -> None:
    if value in {"12_21", "21_12"}:
        scan.header = replace(scan.header, order=value)
    else:
        scan.tell(place, quoted(value), "21_12 or 12_21", _EXPORT)


def _matrix(scan: _Scan, place: str, value: str) -> None:
    if value.lower() in {"full", "lower", "upper"}:
        scan.header = replace(scan.header, matrix=value.lower())
    else:
        scan.tell(place, quoted(value), "Full, Lower or Upper", _EXPORT)


def _reference(scan: _Scan, place: str, value: str) -> None:
    words = value.split()
    if words and all(_NUMBER.fullmatch(word) for word in words):
        scan.header = replace(scan.header, references=tuple(float(word) for word in words))
    else:
        scan.tell(place, quoted(value), "a reference resistance for each port", _EXPORT)


_KEYWORD_READERS: dict[str, Callable[[_Scan, str, str], None]] = {
    "number of ports": _number_of_ports,
    "number of frequencies": _number_of_frequencies,
    "two-port data order": _order,
    "two-port order": _order,
    "matrix format": _matrix,
    "reference": _reference,
}


def _option_line(scan: _Scan, number: int, words: list[str]) -> None:
    """Read `# Hz S RI R 50`; its parts may stand in any order."""
    if scan.header.option_line:
        return  # the standard asks readers to ignore further option lines
    header = replace(scan.header, option_line=number)
    understood = True
    after_r: list[str] | None = None
    for word in words:
        if after_r is not None and _NUMBER.fullmatch(word):
            after_r.append(word)
        elif word in UNITS:
            header = replace(header, unit=word)
        elif word in _FORMATS:
            header = replace(header, format=word)
        elif word in {"s", "y", "z", "g", "h"}:
            header = replace(header, parameter=word)
        elif word == "r" and after_r is None:
            after_r = []
        else:
            understood = False
    if after_r:
        header = replace(header, references=tuple(float(word) for word in after_r))
    scan.header = header
    if not understood or after_r == []:
        found = quoted("# " + " ".join(words))
        scan.tell(f"line {number}", found, "an option line such as # Hz S RI R 50", _EXPORT)


def _check_header(scan: _Scan) -> None:
    header = scan.header
    if not header.option_line:
        found = "no option line" if scan.data else "no Touchstone text"
        scan.tell("", found, "an option line such as # Hz S RI R 50", _EXPORT)
        return
    place = f"line {header.option_line}"
    if header.parameter != "s":
        found = f"{header.parameter.upper()}-parameters"
        scan.tell(place, found, "S-parameters", "Export the sweep again as S-parameters.")
    if any(
        not 0 < value < float("inf") or value != header.references[0] for value in header.references
    ):
        found = " and ".join(f"{value:g} Ω" for value in dict.fromkeys(header.references))
        expected = "one positive reference resistance for all ports"
        scan.tell(place, f"the reference resistances {found}", expected, _EXPORT)
    if header.ports is None:
        expected = "a name ending in .s1p or .s2p, or [Version] 2.0 with [Number of Ports]"
        scan.tell("", "nothing that says how many ports it has", expected, "Rename the file.")
    elif header.ports not in (1, 2):
        remedy = "Export only the ports that were calibrated."
        scan.tell("", counted(header.ports, "port"), "one port or two ports", remedy)
    if header.version_2 and header.points is None:
        scan.tell("", "no [Number of Frequencies]", "this keyword, as version 2 has it", _EXPORT)
    if header.version_2 and header.ports == 2 and header.order is None:
        expected = "this keyword, as version 2 has it for two ports"
        scan.tell("", "no [Two-Port Data Order]", expected, _EXPORT)


def _check_words(scan: _Scan) -> None:
    """Each word must be a finite number with a decimal point."""
    bad: dict[str, list[tuple[int, str]]] = {}
    if scan.data and _is_cut_off(scan.data[-1][1], scan.header.numbers_per_point):
        number, words = scan.data.pop()
        _tell_cut_off(scan, f"line {number}", f"{counted(len(words), 'number')} in the last record")
    for number, words in scan.data:
        for word in words:
            if _NUMBER.fullmatch(word):
                if abs(float(word)) == float("inf"):
                    bad.setdefault("infinite", []).append((number, word))
            elif _COMMA.fullmatch(word):
                bad.setdefault("comma", []).append((number, word))
            elif word.lower().lstrip("+-") in {"nan", "inf", "infinity"}:
                bad.setdefault("infinite", []).append((number, word))
            else:
                bad.setdefault("text", []).append((number, word))
    told = {
        "comma": ("numbers with a decimal point", "Export the sweep again with decimal points."),
        "infinite": ("finite numbers", "Take the sweep again, or leave it out."),
        "text": ("numbers", _EXPORT),
    }
    for kind, (expected, remedy) in told.items():
        places = bad.get(kind)
        if places:
            number, word = places[0]
            scan.tell(f"line {number}", quoted(word), expected, remedy, len(places))


def _is_cut_off(words: list[str], wanted: int) -> bool:
    """Whether a last line ends within a record: in the middle of a number, or after one."""
    numbers = words if _NUMBER.fullmatch(words[-1]) else words[:-1]
    broken_off = len(numbers) < len(words) and words[-1].strip("+-.eE0123456789") == ""
    return all(_NUMBER.fullmatch(word) for word in numbers) and (
        len(words) <= wanted if broken_off else len(words) < wanted
    )


def _tell_cut_off(scan: _Scan, place: str, found: str) -> None:
    header = scan.header
    ports = counted(header.ports or 0, "port")
    scan.tell(
        place,
        found,
        f"{header.points} frequency points, as [Number of Frequencies] states"
        if header.points is not None
        else f"{header.numbers_per_point} numbers on each line, for {ports}",
        "Copy or export the sweep again: the file was probably cut off.",
    )


def _check_records(scan: _Scan) -> None:
    """Each line must hold one record, and version 2 files state how many there are."""
    header, wanted = scan.header, scan.header.numbers_per_point
    if not scan.data:
        scan.tell("", "no frequency points", "at least one", _EXPORT)
        return
    wrong = [(number, len(words)) for number, words in scan.data if len(words) != wanted]
    if wrong:
        number, length = wrong[0]
        expected = f"{wanted} numbers on each line, for {counted(header.ports or 0, 'port')}"
        scan.tell(f"line {number}", counted(length, "number"), expected, _EXPORT, len(wrong))
    elif header.points is not None and header.points != len(scan.data):
        _tell_cut_off(scan, "", counted(len(scan.data), "frequency point"))
    elif header.version_2 and not scan.ended:
        _tell_cut_off(scan, "", "no [End]")


def _leave_out_noise(scan: _Scan) -> None:
    """Leave out the noise data that a version 1 file of two ports may end with.

    They are lines of five numbers from a lower frequency on; sweeps of standards and structures
    have no use for them.
    """
    if scan.header.version_2 or scan.header.ports != 2:
        return
    start = len(scan.data)
    while start and len(scan.data[start - 1][1]) == 5:
        start -= 1
    noise, before = scan.data[start:], scan.data[:start]
    if len(noise) < 2 or not before or len(before[-1][1]) != 9:
        return
    ends = (before[-1][1][0], noise[0][1][0])
    if all(_NUMBER.fullmatch(end) for end in ends) and float(ends[1]) <= float(ends[0]):
        scan.data = before


def _frequencies(scan: _Scan) -> FloatArray:
    first = np.array([words[0] for _, words in scan.data], dtype=np.float64)
    with np.errstate(over="ignore"):
        return first * UNITS[scan.header.unit]


def _check_frequencies(scan: _Scan) -> None:
    frequency_hz = _frequencies(scan)
    if frequency_hz[0] < 0:
        number = scan.data[0][0]
        scan.tell(f"line {number}", frequency(frequency_hz[0]), "a positive frequency", _EXPORT)
    endless = np.flatnonzero(np.isinf(frequency_hz))
    if len(endless):
        number = scan.data[endless[0]][0]
        found = f"a frequency of {quoted(scan.data[endless[0]][1][0])} {scan.header.unit}"
        scan.tell(f"line {number}", found, "finite frequencies", _EXPORT, len(endless))
        return
    wrong = np.flatnonzero(np.diff(frequency_hz) <= 0)
    if len(wrong):
        index = int(wrong[0])
        number = scan.data[index + 1][0]
        found = f"{frequency(frequency_hz[index + 1])} after {frequency(frequency_hz[index])}"
        remedy = "Sort the points, or export the sweep again."
        scan.tell(f"line {number}", found, "increasing frequencies", remedy, len(wrong))
