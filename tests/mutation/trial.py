"""Work done in forked processes: measure the tests of one file, or put one mutant to some tests.

The process that forks has loaded the libraries, and nothing of what is mutated, so a child costs a few tenths
of a second. A mutant exists only in the child's memory: its module is compiled from the changed tree when it is
imported, and no file is written.
"""

import ast
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import os
import resource
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import asdict
from pathlib import Path
from types import CodeType

import hypothesis
import pytest

from tests.mutation.measure import Recorder

MOST_MEMORY_BYTES = 6 << 30
LIBRARIES = ("numba", "numpy.testing", "server.storage.migrate", "server.storage.session")
COMPILED_CORE = tuple(
    f"server.allocator.{file.stem}"
    for file in sorted((Path(__file__).parents[2] / "server" / "allocator").glob("*.py"))
    if file.stem == "compiled" or "allocator.compiled import" in file.read_text(encoding="utf-8")
)
# Libraries are loaded before pytest could rewrite their assertions; it says so, which is no fault of a test.
QUIET = ("-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")

SURVIVED, KILLED = "survived", "killed"


class _OneMutant(importlib.abc.MetaPathFinder):
    """Finds the mutated module before anybody else can."""

    def __init__(self, module: str, file: Path, tree: ast.Module) -> None:
        self.module, self.file, self.tree = module, file, tree

    def find_spec(self, name: str, path: object = None, target: object = None) -> object:
        if name != self.module:
            return None
        return importlib.util.spec_from_loader(name, _Loader(name, str(self.file), self.tree))


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self.tree = tree

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.tree, self.path, "exec")


class _Selection:
    """A pytest plug-in that runs some tests in an order, and notes the first that fails."""

    def __init__(self, tests: Sequence[str]) -> None:
        self.place = {test: number for number, test in enumerate(tests)}
        self.failed: str | None = None

    def pytest_configure(self) -> None:
        # A failing example need not be the smallest.
        hypothesis.settings.register_profile(
            "mutation",
            derandomize=True,
            deadline=None,
            database=None,
            phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
        )

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        hypothesis.settings.load_profile("mutation")
        items[:] = sorted(
            (item for item in items if item.nodeid in self.place), key=lambda item: self.place[item.nodeid]
        )

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and self.failed is None:
            self.failed = report.nodeid


def measure(
    tests: Sequence[str], root: Path, packages: tuple[str, ...], limit_s: float, most_cases: int
) -> str:
    """Measure tests, given as files or one by one; JSON."""
    recorder = Recorder(root, packages, limit_s, most_cases)
    _run(tests, recorder)
    return json.dumps([{**asdict(one), "places": sorted(one.places)} for one in recorder.found])


def put_to_tests(
    module: str, file: Path, tree: ast.Module, batches: Sequence[tuple[Sequence[str], float]]
) -> str:
    """Run batches of tests on a mutant until one test fails; JSON of the verdict and of that test.

    batches   tests, and the processor seconds after which the whole process is stopped
    """
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    sys.meta_path.insert(0, _OneMutant(module, file, tree))
    for tests, limit_s in batches:
        until_s = int(time.process_time() + limit_s) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (until_s, resource.RLIM_INFINITY))
        selection = _Selection(tests)
        files = dict.fromkeys(test.split("::")[0] for test in tests)
        # Anything but "all passed" is a mutant noticed: a test failed, or the program cannot even be imported.
        if _run([*files, "-x"], selection) != pytest.ExitCode.OK:
            return json.dumps({"verdict": KILLED, "by": selection.failed or "import"})
    return json.dumps({"verdict": SURVIVED, "by": ""})


def _run(arguments: Sequence[str], plugin: object) -> int:
    quiet = io.StringIO()
    with redirect_stdout(quiet), redirect_stderr(quiet):
        return pytest.main([*QUIET, *arguments], plugins=[plugin])


def preload(is_compiled: bool) -> None:
    """Load what every child needs: the libraries, and the compiled core where it is not mutated itself."""
    for name in LIBRARIES:
        importlib.import_module(name)
    if is_compiled:
        importlib.import_module("server.allocator.solve").warm_up()
    for name in [name for name in sys.modules if name.startswith(("server.radio.", "server.allocator."))]:
        if name not in COMPILED_CORE:
            package, _, short = name.rpartition(".")
            del sys.modules[name]
            delattr(sys.modules[package], short)
    # Everything so far stays: a child's sweeps for garbage need not look through it again.
    gc.collect()
    gc.freeze()


def in_child(work: Callable[[], str]) -> tuple[int, int]:
    """Fork; the child does the work, writes its text result into a pipe and ends. Process id and pipe."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    try:
        os.close(reading)
        with os.fdopen(writing, "w") as pipe:
            pipe.write(work())
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(0)
