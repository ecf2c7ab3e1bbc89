"""Puts many mutants to the tests, a few at a time, each in a forked process of its own.

Started by `run_mutations.py` in a copy of the project, with the compiler on or off:
`python -m tests.mutation.campaign ORDER.json`; the order says what to do, the result is written beside it.
"""

import ast
import hashlib
import json
import os
import select
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.mutation.measure import Measured
from tests.mutation.mutants import Mutant, mutated
from tests.mutation.selection import Selection
from tests.mutation.trial import KILLED, in_child, measure, preload, put_to_tests

ROOT = Path(__file__).resolve().parents[2]
TIMED_OUT, UNTOUCHED = "timed out", "touched by no test"
PROGRESS_EVERY = 100


def run(order: dict[str, Any]) -> dict[str, Any]:
    """Measure the tests, then try the mutants of an order."""
    preload(order["is_compiled"])
    sources = {module: text_of(module) for module in order["all_modules"]}
    began = time.perf_counter()
    tests, left_out = measured(order)
    say(f"{len(tests)} tests measured in {time.perf_counter() - began:.0f} s; left out:")
    say("\n".join(left_out) or "none")
    test_texts = {file: (ROOT / file).read_text(encoding="utf-8") for file in order["test_files"]}
    selection = Selection(sources, test_texts, tests, order["budget_s"])
    mutants = [Mutant(**one) for one in order["mutants"]]
    found = []
    began = time.perf_counter()
    for mutant, verdict in verdicts(mutants, sources, selection, order):
        found.append({**asdict(mutant), **verdict})
        selection.was_killed(mutant, verdict["by"])
        if verdict["verdict"] not in (KILLED, TIMED_OUT):
            say(f"{mutant.module}:{mutant.line} {verdict['verdict']}: {mutant.before}  ->  {mutant.after}")
        if len(found) % PROGRESS_EVERY == 0:
            survived = sum(one["verdict"] not in (KILLED, TIMED_OUT) for one in found)
            say(
                f"{len(found)} of {len(mutants)} mutants, {survived} not killed, "
                f"{time.perf_counter() - began:.0f} s"
            )
    return {"tests": len(tests), "left_out": len(left_out), "results": found}


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def text_of(module: str) -> str:
    return file_of(module).read_text(encoding="utf-8")


def file_of(module: str) -> Path:
    return ROOT / f"{module.replace('.', '/')}.py"


def measured(order: dict[str, Any]) -> tuple[list[Measured], list[str]]:
    """Tests that pass within the limit, and those that do not."""
    first = measured_once(order["test_files"], order["patient_limit_s"], order)
    slow = [one.test for one in first if one.passed and one.seconds > order["limit_s"]]
    # What one test made the compiler do is on disk by now; it may be quick the second time.
    again = {one.test: one for one in measured_once(slow, order["limit_s"], order)}
    tests = [again.get(one.test, one) for one in first]
    return [one for one in tests if one.passed], [one.test for one in tests if not one.passed]


def measured_once(tests: list[str], limit_s: float, order: dict[str, Any]) -> list[Measured]:
    """Tests file by file, several files at once. A file is measured anew only where it or the program changed."""
    packages = tuple(order["packages"])
    by_file: dict[str, list[str]] = {}
    for test in tests:
        by_file.setdefault(test.split("::")[0], []).append(test)
    kept = {file: _kept_at(file, own, limit_s, order) for file, own in by_file.items()}

    def work(own: list[str]) -> Callable[[], str]:
        return lambda: measure(own, ROOT, packages, limit_s, order["most_cases"])

    tasks = ((file, work(own)) for file, own in by_file.items() if not kept[file].exists())
    for file, text in side_by_side(tasks, order["jobs"], order["wall_s"] * 10):
        if text is None:
            raise RuntimeError(f"{file} could not be measured")
        kept[file].parent.mkdir(exist_ok=True)
        kept[file].write_text(text, encoding="utf-8")
    found: list[Measured] = []
    for file in by_file:
        for one in json.loads(kept[file].read_text(encoding="utf-8")):
            found.append(Measured(**{**one, "places": {(module, line) for module, line in one["places"]}}))
    return found


def _kept_at(file: str, tests: list[str], limit_s: float, order: dict[str, Any]) -> Path:
    """Where the measures of a test file are kept for the next run: named by all that they depend on."""
    everything = [
        *(file_of(module) for module in order["all_modules"]),
        *(one for one in sorted((ROOT / "tests").rglob("*.py")) if not one.name.startswith("test_")),
        ROOT / file,
    ]
    name = hashlib.sha256(repr((tests, limit_s, order["most_cases"], order["is_compiled"])).encode())
    for one in everything:
        name.update(one.read_bytes())
    return Path(tempfile.gettempdir()) / "bandstand-measured-tests" / f"{name.hexdigest()[:32]}.json"


def verdicts(
    mutants: list[Mutant], sources: dict[str, str], selection: Selection, order: dict[str, Any]
) -> Iterator[tuple[Mutant, dict[str, str]]]:
    """Each mutant with its verdict and the test that gave it, as they come in."""
    untouched: list[Mutant] = []

    def tasks() -> Iterator[tuple[Mutant, Callable[[], str]]]:
        for mutant in mutants:
            batches = selection.for_mutant(mutant)
            if not batches:
                untouched.append(mutant)
                continue
            tree = mutated(sources[mutant.module], mutant.index)
            yield mutant, trial(mutant, tree, batches)

    def trial(mutant: Mutant, tree: ast.Module, batches: list[list[str]]) -> Callable[[], str]:
        limited = [
            (batch, order["patience_s"] + order["patience"] * sum(selection.seconds[test] for test in batch))
            for batch in batches
        ]
        return lambda: put_to_tests(mutant.module, file_of(mutant.module), tree, limited)

    for mutant, text in side_by_side(tasks(), order["jobs"], order["wall_s"]):
        yield mutant, json.loads(text) if text else {"verdict": TIMED_OUT, "by": ""}
    yield from ((mutant, {"verdict": UNTOUCHED, "by": ""}) for mutant in untouched)


def side_by_side(
    tasks: Iterable[tuple[Any, Callable[[], str]]], jobs: int, wall_s: float
) -> Iterator[tuple[Any, str | None]]:
    """Run work in at most so many children at once; what each wrote, None where it was stopped."""
    waiting = iter(tasks)
    running: dict[int, tuple[Any, int, float, list[bytes]]] = {}
    is_open = True
    while is_open or running:
        while is_open and len(running) < jobs:
            task = next(waiting, None)
            if task is None:
                is_open = False
            else:
                child, pipe = in_child(task[1])
                running[pipe] = (task[0], child, time.monotonic(), [])
        for pipe in select.select(list(running), [], [], 1.0)[0]:
            part = os.read(pipe, 1 << 16)
            if part:
                running[pipe][3].append(part)
                continue
            name, child, _, parts = running.pop(pipe)
            os.close(pipe)
            os.waitpid(child, 0)
            yield name, b"".join(parts).decode() or None
        for _, child, began, _ in running.values():
            if time.monotonic() - began > wall_s:
                os.kill(child, signal.SIGKILL)


if __name__ == "__main__":
    given = Path(sys.argv[1])
    given.with_suffix(".result.json").write_text(
        json.dumps(run(json.loads(given.read_text(encoding="utf-8")))), encoding="utf-8"
    )
