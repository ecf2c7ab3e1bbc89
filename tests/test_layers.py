"""Imports go one way: who may import what, read from the code itself."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# Our packages that a package may import from besides itself. `storage.session` and `storage.tables` are named
# one by one for `web`: a route opens the transaction and a page shows rows, but only services ask for them.
OURS = {
    "server.radio": set(),
    "server.allocator": {"server.radio", "server.wording"},
    "server.storage": set(),
    "server.services": {
        "server.radio",
        "server.allocator",
        "server.storage",
        "server.paths",
        "server.wording",
    },
    "server.web": {
        "server",
        "server.radio",
        "server.allocator",
        "server.services",
        "server.storage.session",
        "server.storage.tables",
        "server.settings",
        "server.paths",
        "server.wording",
        "server.logs",
    },
    "server.settings": {"server.wording", "server.logs"},
    "server.logs": set(),
    "server.paths": set(),
    "server.wording": set(),
}
NUMERIC = {"numpy", "numba", "llvmlite"}
LIBRARIES = {
    "server.radio": NUMERIC,
    "server.allocator": NUMERIC | {"platformdirs"},  # where the compiled search is kept between two starts
    "server.storage": {"sqlmodel", "sqlalchemy", "alembic", "psycopg"},
}
WEB_FRAMEWORK = {"fastapi", "starlette", "uvicorn", "jinja2"}


def modules() -> Iterator[tuple[str, ast.Module]]:
    for file in sorted((ROOT / "server").rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        yield name, ast.parse(file.read_text(encoding="utf-8"))


MODULES = dict(modules())


def imported(tree: ast.AST) -> set[str]:
    """What a module imports, `from a import b` as a.b where that is a module of ours."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            full = {f"{node.module}.{alias.name}" for alias in node.names}
            found.update(name if name in MODULES else node.module for name in full)
    return found


def layer(module: str) -> str | None:
    return next((one for one in OURS if is_within(module, one)), None)


def is_within(module: str, package: str) -> bool:
    return module == package or (package != "server" and module.startswith(package + "."))


LAYERED = [name for name in MODULES if layer(name)]


def test_every_package_has_a_layer():
    packages = {".".join(name.split(".")[:2]) for name in MODULES if name.count(".") >= 2}
    assert packages <= set(OURS)


@pytest.mark.parametrize("module", LAYERED)
def test_imports_only_from_layers_below(module):
    own = layer(module)
    allowed = OURS[own] | {own}
    ours = {name for name in imported(MODULES[module]) if name.split(".")[0] == "server"}
    assert {name for name in ours if not any(is_within(name, one) for one in allowed)} == set()


@pytest.mark.parametrize("module", LAYERED)
def test_uses_only_the_libraries_of_its_layer(module):
    used = (
        {name.split(".")[0] for name in imported(MODULES[module])} - {"server"} - set(sys.stdlib_module_names)
    )
    allowed = LIBRARIES.get(layer(module))
    if allowed is not None:
        assert used <= allowed
    if layer(module) != "server.web":
        assert not used & WEB_FRAMEWORK


@pytest.mark.parametrize("module", LAYERED)
def test_hides_no_import_of_ours_in_a_function(module):
    """An import there to escape a cycle means that a module is in the wrong layer."""
    functions = [
        node for node in ast.walk(MODULES[module]) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    hidden = {name for function in functions for name in imported(function) if name.split(".")[0] == "server"}
    assert hidden == set()


def test_no_module_imports_itself_in_a_circle():
    graph = {name: imported(tree) & set(MODULES) - {name} for name, tree in MODULES.items()}
    TopologicalSorter(graph).prepare()


@pytest.mark.parametrize(
    ("core", "absent"),
    [
        (
            "server.radio.interference, server.allocator.solve",
            ("fastapi", "starlette", "sqlalchemy", "sqlmodel"),
        ),
        ("server.storage.session", ("fastapi", "starlette", "numpy")),
        ("server.cli_run, server.cli_demo, server.cli_plan", ("fastapi", "starlette", "uvicorn")),
    ],
)
def test_what_is_imported_alone_loads_nothing_of_the_layers_above(core, absent):
    program = f"import sys, {core}; print([name for name in {absent!r} if name in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"
