"""The one address of every page, drawing and table, relative to the publication's root.

Ids may hold hyphens, so where several make one name a tilde, which no id holds, parts them.
"""

import posixpath
import re

HOME = "index.html"
PROBLEMS = "problems/index.html"
METHOD = "method/index.html"
REFERENCE = "reference/index.html"
DATA = "data/index.html"
NOTES = "notes/index.html"
SOURCES = "sources/index.html"
STYLE = "static/style.css"
SCRIPT = "static/page.js"
SEARCH_INDEX = "static/search-index.js"
ICON = "static/icon.svg"


def wafer(wafer_id: str) -> str:
    """Page of a wafer."""
    return f"wafers/{wafer_id}/index.html"


def die(wafer_id: str, die_x: int, die_y: int) -> str:
    """Page of a die."""
    return f"wafers/{wafer_id}/{die_stem(die_x, die_y)}.html"


def die_stem(die_x: int, die_y: int) -> str:
    """Name of a die in addresses: x3_y-2."""
    return f"x{die_x}_y{die_y}"


def wafer_map(wafer_id: str, parameter_id: str, condition_id: str) -> str:
    """Map of one parameter and condition over a wafer, as a drawing of its own."""
    return f"wafers/{wafer_id}/map~{parameter_id}~{condition_id}.svg"


def verdict_map(wafer_id: str, form: str) -> str:
    """Map of a wafer's verdicts: form is 'linked' or 'small'."""
    return f"wafers/{wafer_id}/verdicts-{form}.svg"


def touchdown_map(wafer_id: str) -> str:
    """Map of a wafer's contact checks."""
    return f"wafers/{wafer_id}/touchdowns.svg"


def frame(wafer_id: str, device_id: str, condition_id: str, trace: str) -> str:
    """Shared frame of a trace: axes, median and band of the wafer."""
    return f"wafers/{wafer_id}/frame~{device_id}~{condition_id}~{trace}.svg"


def parameter(parameter_id: str) -> str:
    """Page of a parameter, all its conditions and wafers."""
    return f"parameters/{parameter_id}/index.html"


def device(device_id: str) -> str:
    """Page of a kind of device: over bias, over frequency, its dummies."""
    return f"devices/{device_id}/index.html"


def calibration(calibration_id: str) -> str:
    """Page of a calibration event."""
    return f"calibrations/{calibration_id}/index.html"


def verification(verification_id: str) -> str:
    """Page of a verification event."""
    return f"verifications/{verification_id}/index.html"


def acceptance(acceptance_id: str) -> str:
    """Page of an acceptance."""
    return f"acceptances/{acceptance_id}/index.html"


def station(station_id: str) -> str:
    """Page of a station over time."""
    return f"stations/{station_id}/index.html"


def drawing(page: str, name: str) -> str:
    """A drawing that stands beside its page."""
    return posixpath.join(posixpath.dirname(page), f"{name}.svg")


def table(name: str, kind: str) -> str:
    """A download: kind is 'parquet' or 'csv'."""
    return f"data/{name}.{kind}"


def in_file_name(text: str) -> str:
    """A free text, such as a site, as a part of a file's name: what is unsafe as '=2F'."""
    return re.sub(r"[^A-Za-z0-9._+-]", lambda found: f"={ord(found[0]):02X}", text)


def handed_over(wafer_id: str, die_x: int, die_y: int, name: str, ports: int) -> str:
    """A Touchstone file for the design team; name tells device, condition and plane."""
    return f"data/sweeps/{wafer_id}/{die_stem(die_x, die_y)}~{name}.s{ports}p"


def typical_sweep(wafer_id: str, die_x: int, die_y: int, name: str, ports: int) -> str:
    """The Touchstone file of a device on a wafer's most typical die; name: device and condition."""
    die = die_stem(die_x, die_y)
    return f"data/sweeps/{wafer_id}/most-typical~{die}~{name}.s{ports}p"


def relative(target: str, page: str) -> str:
    """The link to `target` (it may carry an #anchor) as written on `page`."""
    path, mark, anchor = target.partition("#")
    if path == page and mark:
        return f"#{anchor}"
    goal, start = path.split("/"), page.split("/")
    shared = 0
    while shared < min(len(goal), len(start)) - 1 and goal[shared] == start[shared]:
        shared += 1
    return "../" * (len(start) - 1 - shared) + "/".join(goal[shared:]) + mark + anchor
