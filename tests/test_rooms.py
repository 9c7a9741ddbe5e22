"""Which room may import what: the program's one direction, walked over every import."""

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "sitegen"
EVERYWHERE = {"problems", "sitegen"}
ROOMS: dict[str, tuple[set[str], set[str]]] = {
    # room: (rooms it may import, third-party packages it may import)
    "problems": (set(), set()),
    "units": (set(), set()),
    "addresses": ({"model"}, set()),
    "model": ({"units"}, {"numpy", "pandas", "pyarrow", "pydantic"}),
    "read": (
        {"model", "units"},
        {"numpy", "pandas", "pyarrow", "pydantic", "pydantic_core", "skrf"},
    ),
    "compute": ({"model", "units", "addresses"}, {"numpy", "pandas", "pyarrow", "scipy"}),
    "chart": ({"model", "units", "addresses"}, {"altair", "numpy", "orjson", "vl_convert"}),
    "render": (
        {"model", "units", "addresses"},
        {"jinja2", "markupsafe", "markdown_it", "orjson", "pydantic", "pyarrow"},
    ),
    "publish": ({"model", "addresses"}, {"numpy", "orjson", "pandas", "pyarrow"}),
    "simulate": ({"model"}, {"numpy", "pyarrow", "scipy"}),
}
ONLY_IN = {"skrf": {"read/touchstone.py"}}
"""Packages that stand behind one module of a room only."""


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, in full."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import hides its room"
            found.add(node.module or "")
            if node.module == "sitegen":
                found |= {f"sitegen.{name.name}" for name in node.names}
    return found - {"sitegen"}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


MODULES = sorted(path for path in PACKAGE.rglob("*.py") if room_of(path) in ROOMS)


def test_every_room_of_the_table_is_there() -> None:
    assert {room_of(path) for path in MODULES} == set(ROOMS)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_room_may(path: Path) -> None:
    room = room_of(path)
    rooms, packages = ROOMS[room]
    for name in imports_of(path):
        top = name.split(".")[0]
        if top == "sitegen":
            other = name.split(".")[1]
            if other.startswith("__"):
                continue
            assert other in rooms | EVERYWHERE | {room}, f"{room} must not import {name}"
        elif top not in sys.stdlib_module_names:
            assert top in packages, f"{room} must not import {name}"
            allowed = ONLY_IN.get(top)
            inside = path.relative_to(PACKAGE).as_posix()
            assert allowed is None or inside in allowed, f"{inside} must not import {name}"


OWN_GENERATORS = {"np.random", "np.random.Generator", "np.random.default_rng"}
"""A generator with a seed of its own is no global state."""


@pytest.mark.parametrize("room", ["compute", "chart", "render", "simulate"])
def test_nothing_computed_or_drawn_depends_on_the_clock_or_the_environment(room: str) -> None:
    for path in (PACKAGE / room).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Attribute):
                told = ast.unparse(node)
                assert told not in {
                    "datetime.now",
                    "datetime.today",
                    "date.today",
                    "time.time",
                    "os.environ",
                    "np.random.seed",
                    "np.random.rand",
                }, f"{path}: {told}"
                if told.startswith("np.random"):
                    assert told in OWN_GENERATORS, f"{path}: {told}"
            if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("default_rng"):
                assert node.args, f"{path}: a generator needs its own seed"
