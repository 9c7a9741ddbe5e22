"""The contract between views and templates, proved on the templates' syntax trees.

A template may name only what its view has, and names all of it. It holds no arithmetic, no
comparison, no filter and no call but of the macros in parts/: what it prints is ready.
"""

import dataclasses
import types
import typing

import pytest
from jinja2 import nodes

from sitegen.render import (
    acceptance,
    calibration,
    campaign,
    data,
    device,
    die,
    method,
    method_decisions,
    notes,
    parameter,
    pieces,
    problems,
    reference,
    sources,
    station,
    traces,
    verification,
    wafer,
)
from sitegen.render.environment import environment, templates_folder
from sitegen.render.shell import Shell

VIEWS: dict[str, type] = {
    "acceptance": acceptance.AcceptanceView,
    "calibration": calibration.CalibrationView,
    "campaign": campaign.CampaignView,
    "data": data.DataView,
    "device": device.DeviceView,
    "die": die.DieView,
    "method": method.MethodView,
    "notes": notes.NotesView,
    "parameter": parameter.ParameterView,
    "problems": problems.ProblemsView,
    "reference": reference.ReferenceView,
    "sources": sources.SourcesView,
    "station": station.StationView,
    "verification": verification.VerificationView,
    "wafer": wafer.WaferView,
}
PARTS = ("head", "header", "footer", "marks", "page")
MACRO_ARGUMENTS: dict[str, object] = {
    "table.table": pieces.Table,
    "facts.facts": tuple[pieces.Fact, ...],
    "meanings.facts": tuple[pieces.Fact, ...],
    "decision_section.texts": method_decisions.DecisionTexts,
    "decision_section.outcomes": tuple[pieces.Fact, ...],
    "yield_section.coverage": tuple[pieces.Figure, ...],
    "device_sections.sweep_figures": tuple[pieces.Fact, ...],
    "device_sections.curve_figures": tuple[pieces.Fact, ...],
    "figure.figure": pieces.Figure,
    "inline_figure.figure": pieces.InlineFigure,
    "figures.figures": tuple[pieces.Figure, ...],
    "figures.style": str,
    "lead.sentences": tuple[str, ...],
    "findings.findings": tuple[pieces.Finding, ...],
    "cautions.cautions": tuple[pieces.Caution, ...],
    "notes.notes": tuple[pieces.NoteText, ...],
    "traces.traces": traces.DieTraces,
    "trace.trace": traces.TraceFigure,
    "trace.group": str,
    "file_list.files": tuple[str, ...],
    "die_list.dies": pieces.DieList,
}
"""'macro.argument' -> the type that it is given."""
ALLOWED = (
    nodes.TemplateData,
    nodes.Output,
    nodes.Name,
    nodes.Getattr,
    nodes.For,
    nodes.If,
    nodes.Macro,
    nodes.Block,
    nodes.Extends,
    nodes.Include,
    nodes.FromImport,
    nodes.Const,
    nodes.Call,
    nodes.Not,
)
TEMPLATES = sorted(
    str(path.relative_to(templates_folder())) for path in templates_folder().rglob("*.html")
)


def parsed(name: str) -> nodes.Template:
    """A template's syntax tree."""
    source, _, _ = environment().loader.get_source(environment(), name)  # type: ignore[union-attr]
    return environment().parse(source)


def test_every_page_has_its_view_and_every_view_its_page() -> None:
    pages = {name.removesuffix(".html") for name in TEMPLATES if "/" not in name}
    assert pages == set(VIEWS)


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_only_prints_what_is_ready(name: str) -> None:
    for node in parsed(name).find_all(nodes.Node):
        assert isinstance(node, ALLOWED), f"{type(node).__name__} in line {node.lineno}"
        if isinstance(node, nodes.Call):
            assert isinstance(node.node, nodes.Name), f"line {node.lineno} calls no macro"


class Reader:
    """Walks a template with the types of its names, and gathers which fields it reads."""

    def __init__(self) -> None:
        self.read: dict[type, set[str]] = {}

    def walk(self, body: list[nodes.Node], scope: dict[str, object]) -> None:
        for node in body:
            self._walk_one(node, scope)

    def _walk_one(self, node: nodes.Node, scope: dict[str, object]) -> None:
        match node:
            case nodes.For():
                items = self.kind(typing.cast(nodes.Expr, node.iter), scope)
                inner = {**scope, typing.cast(nodes.Name, node.target).name: item_of(items)}
                inner["loop"] = object
                self.walk(node.body, inner)
                self.walk(node.else_, scope)
            case nodes.If():
                self.kind(typing.cast(nodes.Expr, node.test), scope)
                self.walk(node.body, scope)
                self.walk(typing.cast(list[nodes.Node], node.elif_), scope)
                self.walk(node.else_, scope)
            case nodes.Macro():
                arguments = {
                    each.name: MACRO_ARGUMENTS[f"{node.name}.{each.name}"] for each in node.args
                }
                self.walk(node.body, {**scope, **arguments})
            case nodes.Output():
                for expression in node.nodes:
                    self.kind(expression, scope)
            case nodes.Block():
                self.walk(node.body, scope)
            case nodes.Extends() | nodes.Include() | nodes.FromImport():
                pass
            case _:
                raise AssertionError(f"{type(node).__name__} in line {node.lineno}")

    def kind(self, node: nodes.Expr, scope: dict[str, object]) -> object:
        """Type of an expression."""
        match node:
            case nodes.TemplateData():
                return str
            case nodes.Const():
                return type(node.value)
            case nodes.Not():
                return self.kind(node.node, scope)
            case nodes.Name():
                assert node.name in scope, f"{node.name} in line {node.lineno} is not known"
                return scope[node.name]
            case nodes.Getattr():
                return self._field(self.kind(node.node, scope), node)
            case nodes.Call():
                name = typing.cast(nodes.Name, node.node).name
                wanted = [kind for key, kind in MACRO_ARGUMENTS.items() if macro_of(key) == name]
                given = [self.kind(argument, scope) for argument in node.args]
                assert len(wanted) == len(given), f"line {node.lineno}"
                for want, have in zip(wanted, given, strict=True):
                    assert plain(have) == plain(want), f"{name} in line {node.lineno} gets {have}"
                return str
        raise AssertionError(f"{type(node).__name__} in line {node.lineno}")

    def _field(self, owner: object, node: nodes.Getattr) -> object:
        if owner is object:
            assert node.attr == "last"
            return bool
        owner = plain(owner)
        assert isinstance(owner, type) and dataclasses.is_dataclass(owner), f"{owner}.{node.attr}"
        hints = typing.get_type_hints(owner)
        assert node.attr in hints, f"{owner.__name__} has no {node.attr}, line {node.lineno}"
        self.read.setdefault(owner, set()).add(node.attr)
        return hints[node.attr]


def macro_of(key: str) -> str:
    return key.partition(".")[0]


def plain(kind: object) -> object:
    """A type without 'or None', and texts of both sorts as one."""
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        arguments = [part for part in typing.get_args(kind) if part is not type(None)]
        kinds = {plain(part) for part in arguments}
        return kinds.pop() if len(kinds) == 1 else kind
    if isinstance(kind, type) and issubclass(kind, str):
        return str
    if typing.get_origin(kind) is tuple:
        return ("tuple", plain(typing.get_args(kind)[0]))
    return kind


def item_of(kind: object) -> object:
    assert typing.get_origin(kind) is tuple, f"{kind} is no tuple"
    return typing.get_args(kind)[0]


@pytest.mark.parametrize("name", sorted(VIEWS))
def test_a_template_uses_just_the_fields_of_its_view(name: str) -> None:
    reader = Reader()
    reader.walk(parsed(f"{name}.html").body, {"view": VIEWS[name], "shell": Shell})
    fields = {field.name for field in dataclasses.fields(VIEWS[name])}
    assert reader.read[VIEWS[name]] == fields
    for owner, read in reader.read.items():
        if owner.__module__ == VIEWS[name].__module__:
            assert read == {field.name for field in dataclasses.fields(owner)}, owner


def test_the_parts_use_just_the_fields_of_the_shell_and_the_pieces() -> None:
    reader = Reader()
    for name in TEMPLATES:
        if name.startswith("parts/"):
            scope = {"shell": Shell} if name.split("/")[1].split(".")[0] in PARTS else {}
            reader.walk(parsed(name).body, dict(scope))
    for owner in (
        Shell,
        pieces.Table,
        pieces.Row,
        pieces.Cell,
        pieces.Column,
        pieces.DieList,
        traces.Frame,
    ):
        unused = {field.name for field in dataclasses.fields(owner)} - reader.read[owner]
        assert not unused, f"{owner.__name__}: {unused}"
