"""Nothing runs that no lock pins: what is imported, and what that needs in turn."""

import ast
import sys
from functools import cache
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from server import __main__ as bootstrap

ROOT = Path(bootstrap.PROJECT)
OURS = {"server", "tests"}
NOT_ON_EVERY_SYSTEM = {"tzdata"}
"""Named by a marker that holds elsewhere only."""


def pinned_in(*locks):
    return {name for lock in locks for name, _ in bootstrap.named_in(lock)}


ALL_PINNED = pinned_in(bootstrap.LOCK, bootstrap.DEV_LOCK)


def imported_by(folder):
    """Top names of whatever is imported anywhere in the Python files below, at the start of a file or later."""
    found = set()
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - OURS


@cache
def distributions():
    """By the top name of a module, the packages that bring it."""
    return {
        module: {bootstrap.normal_name(name) for name in names}
        for module, names in metadata.packages_distributions().items()
    }


@pytest.mark.parametrize(
    ("folder", "locks"),
    [
        ("server", (bootstrap.LOCK,)),
        ("migrations", (bootstrap.LOCK,)),
        ("tests", (bootstrap.LOCK, bootstrap.DEV_LOCK)),
    ],
)
def test_everything_that_is_imported_is_pinned(folder, locks):
    pinned = pinned_in(*locks)
    loose = {name for name in imported_by(folder) if not distributions().get(name, set()) & pinned}
    assert loose == set()


def needed_by(name):
    """What an installed package says it needs here, without what comes only with an extra."""
    try:
        wanted = metadata.requires(name) or []
    except metadata.PackageNotFoundError:
        return set()  # for another system
    needs = [Requirement(one) for one in wanted]
    return {
        bootstrap.normal_name(one.name)
        for one in needs
        if not one.marker or one.marker.evaluate({"extra": ""})
    }


@pytest.mark.parametrize("name", sorted(ALL_PINNED))
def test_what_a_pinned_package_needs_is_pinned_too(name):
    assert needed_by(name) - ALL_PINNED - NOT_ON_EVERY_SYSTEM == set()


def test_what_runs_at_the_field_needs_nothing_of_the_tests():
    pinned = pinned_in(bootstrap.LOCK)
    assert set().union(*map(needed_by, pinned)) - pinned - NOT_ON_EVERY_SYSTEM == set()
