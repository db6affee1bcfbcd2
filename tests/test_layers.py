"""Imports point one way: ui -> engine -> sources, store, export, measure -> model."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "tui" / "telltick"
MAY_IMPORT = {
    "model": {"model"},
    "measure": {"measure", "model"},
    "sources": {"sources", "model"},
    "store": {"store", "model"},
    "export": {"export", "model"},
    "engine": {"engine", "measure", "sources", "store", "export", "model"},
    "ui": {"ui", "engine", "model", "assets"},
}
MODEL_MAY_LEAN_ON = {"numpy"}
MODULES = sorted(PACKAGE.rglob("*.py"))


def imports_of(path: Path) -> set[str]:
    """Every module a file imports, at whatever depth in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


def layer_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0]


@pytest.mark.parametrize("path", [p for p in MODULES if layer_of(p) in MAY_IMPORT], ids=lambda p: str(p.name))
def test_a_layer_imports_only_the_layers_below_it(path):
    inner = {name.split(".")[1] for name in imports_of(path) if name.startswith("telltick.")}
    assert inner <= MAY_IMPORT[layer_of(path)]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.name))
def test_textual_is_known_only_to_the_screen(path):
    knows = any(name.split(".")[0] in {"textual", "rich"} for name in imports_of(path))
    assert not knows or layer_of(path) == "ui"


@pytest.mark.parametrize("path", [p for p in MODULES if layer_of(p) == "model"], ids=lambda p: str(p.name))
def test_the_model_leans_on_the_standard_library_and_numpy_alone(path):
    outside = {name.split(".")[0] for name in imports_of(path)} - set(sys.stdlib_module_names) - {"telltick"}
    assert outside <= MODEL_MAY_LEAN_ON


def test_importing_the_screen_and_the_feeds_brings_no_scipy_and_no_portaudio():
    program = (
        "import sys, telltick.ui.app, telltick.engine.live, telltick.engine.replay;"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'scipy', 'sounddevice', 'soundfile'}))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_file_grows_past_five_hundred_lines():
    assert [p.name for p in MODULES if len(p.read_text(encoding="utf-8").splitlines()) > 500] == []


def test_no_function_grows_past_fifty_lines_of_code():
    long = [
        f"{path.name}: {node.name}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and code_lines(node) > 50
    ]
    assert long == []


def code_lines(node: ast.FunctionDef) -> int:
    """Lines of a function, its docstring left out."""
    first = node.body[0]
    described = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    docstring = (first.end_lineno or 0) - first.lineno + 1 if described else 0
    return (node.end_lineno or 0) - node.lineno + 1 - docstring
