"""The source itself: formatting, lint, types, sizes, and words that must not stand in it."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCES = sorted((ROOT / "sitegen").rglob("*.py"))
MOST_LINES, MOST_FUNCTION_LINES = 400, 60


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "format", "--check", "."],
        ["ruff", "check", "."],
        pytest.param(["mypy"], marks=pytest.mark.long),  # a minute without its cache
    ],
    ids=["format", "lint", "types"],
)
def test_the_source_is_in_order(command: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_functions_stay_small(path: Path) -> None:
    text = path.read_text("utf-8")
    assert text.count("\n") <= MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            first = node.body[1] if ast.get_docstring(node) and node.body[1:] else node.body[0]
            length = (node.end_lineno or node.lineno) - first.lineno + 1
            assert length <= MOST_FUNCTION_LINES, f"{node.name} has {length} lines of code"


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_public_is_explained(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    assert ast.get_docstring(tree), "a module says what it is for"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} says what it does"
