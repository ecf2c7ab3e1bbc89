"""How well the tests of `radio` and `allocator` would notice a mistake: change the program, see who complains.

    python -m tests.mutation.run_mutations
        [--package radio|allocator] [--module NAME ...] [--sample N] [--seed S] [--jobs 2] [--json FILE]

Outside the normal test run: it takes minutes. `mutants.py` says what is changed and what is left alone. Work is
done in a copy of the project in a temporary folder, and a mutant is never written to a file at all.

1. Every test of `tests/radio`, `tests/allocator` and `tests/reference` runs once, and is noted with the functions
   that it calls (`measure.py`). A test beyond ``TEST_LIMIT_S`` is left out, and of one with more than
   ``MOST_CASES`` parameter sets only so many are taken, evenly. The measures of a test file are kept in the
   folder for temporary files until it or the program changes.
2. Every mutant meets the tests that call its function, until one fails (`selection.py`, `trial.py`): those first
   that killed a neighbour, then one case of every test, those of its own file and the quickest before the others,
   then their other cases, up to ``MUTANT_BUDGET_S`` in all. One that keeps them busy for many times as long as
   they usually take is stopped and counts as killed: nobody would miss an endless loop.
3. `equivalent.toml` names mutants that change nothing that can be observed, with the reason; they count neither
   way. An entry that does not name just one mutant is reported.

The compiled modules are mutated with the compiler switched off, since compiling takes longer than a test; all
others while the compiled ones run compiled. Exit status 1 below ``WANTED_SHARE`` killed in a package.

Why a tool of our own: cosmic-ray writes each mutant into the working tree and starts an interpreter and the whole
test command for it, which here is seconds before the first test, for four thousand mutants.
"""

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from tests.mutation.campaign import TIMED_OUT, UNTOUCHED
from tests.mutation.mutants import Mutant, mutants_of
from tests.mutation.trial import COMPILED_CORE, KILLED, SURVIVED

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("radio", "allocator")
SHARED = ("server", "tests", "migrations", "templates", "static", "pyproject.toml")
_KEEPING = (
    "",
    "_writable_cache",
    "_sources",
    "_mark",
    "is_compiling",
    "is_all_kept",
    "note_that_all_is_kept",
)
_WARMING = (
    "",
    "warm_up",
    "_warm_up",
    "compile_search",
    "_process_for_the_search",
    "_gear",
    "_compile_the_rest",
    "_use_everything",
)
NOT_MUTATED = {
    **{
        ("server.allocator.compiled", scope): "only decides where compiled code is kept" for scope in _KEEPING
    },
    **{
        (
            "server.allocator.warming",
            scope,
        ): "its examples only have to be compiled, which costs time and no more"
        for scope in _WARMING
    },
}

TEST_LIMIT_S = 3.0
MOST_CASES = 60
MUTANT_BUDGET_S = 10.0
PATIENCE_S, PATIENCE = 10.0, 5.0
"""Processor seconds that a mutant may take: so many, and so many times what its tests usually take."""

LONGEST_S = 600.0
WANTED_SHARE = 0.9
Result = dict[str, Any]


def main(arguments: list[str]) -> int:
    options = options_of(arguments)
    began = time.perf_counter()
    modules = modules_of(PACKAGES)
    mutants = [
        one for module in modules for one in found_in(module) if (one.module, one.scope) not in NOT_MUTATED
    ]
    same, unclear = equivalents(mutants)
    wanted = [
        one
        for one in mutants
        if one.module.split(".")[1] in options.package
        and (not options.module or one.module.split(".")[-1] in options.module)
    ]
    tried = sample([one for one in wanted if one not in same], options.sample, options.seed)
    with tempfile.TemporaryDirectory(prefix="mutations-") as folder:
        for name in SHARED:
            place(ROOT / name, Path(folder) / "copy" / name)
        results = [
            *campaign(Path(folder), [one for one in tried if one.module not in COMPILED_CORE], True, options),
            *campaign(Path(folder), [one for one in tried if one.module in COMPILED_CORE], False, options),
        ]
    print_report(results, Counter(one.module for one in wanted if one in same), unclear)
    print(f"{len(results)} of {len(wanted)} mutants tried in {time.perf_counter() - began:.0f} s.")
    if options.json:
        options.json.write_text(json.dumps(results, indent=1), encoding="utf-8")
    return 0 if all(share_of(results, package) >= WANTED_SHARE for package in options.package) else 1


def options_of(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation.run_mutations")
    parser.add_argument("--package", action="append", choices=PACKAGES, help="only this one")
    parser.add_argument("--module", action="append", help="only modules of this name, such as grade")
    parser.add_argument("--sample", type=int, help="try only so many, drawn evenly over the modules")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    parser.add_argument("--jobs", type=int, default=2, help="mutants tried at once")
    parser.add_argument("--json", type=Path, help="write every verdict to this file")
    options = parser.parse_args(arguments)
    options.package = options.package or list(PACKAGES)
    return options


def modules_of(packages: tuple[str, ...]) -> list[str]:
    return [
        f"server.{package}.{file.stem}"
        for package in packages
        for file in sorted((ROOT / "server" / package).glob("*.py"))
    ]


def found_in(module: str) -> list[Mutant]:
    file = ROOT / f"{module.replace('.', '/')}.py"
    return mutants_of(module, file.read_text(encoding="utf-8"))


def equivalents(mutants: list[Mutant]) -> tuple[set[Mutant], list[str]]:
    """Mutants that change nothing, and entries that do not name just one mutant."""
    file = Path(__file__).with_name("equivalent.toml")
    named, unclear = set(), []
    for entry in tomllib.loads(file.read_text(encoding="utf-8"))["mutant"]:
        found = [one for one in mutants if is_meant(one, entry)]
        named.update(found[:1])
        if len(found) != 1:
            unclear.append(f"{len(found)} mutants are {entry}")
    return named, unclear


def is_meant(mutant: Mutant, entry: dict[str, str]) -> bool:
    return (
        mutant.module == f"server.{entry['module']}"
        and mutant.scope == entry.get("scope", "")
        and (mutant.before, mutant.after) == (entry["before"], entry["after"])
        and entry.get("line", "") in mutant.text
    )


def sample(mutants: list[Mutant], size: int | None, seed: int) -> list[Mutant]:
    """So many mutants, every module in its share; in the order of the text."""
    if size is None or size >= len(mutants):
        return mutants
    dice = random.Random(seed)
    shuffled = sorted(mutants, key=lambda _one: dice.random())
    by_module = sorted(shuffled, key=lambda one: one.module)
    step = len(mutants) / size
    drawn = {by_module[int(number * step)] for number in range(size)}
    return [one for one in mutants if one in drawn]


def place(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
    else:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(source, target)


def campaign(
    folder: Path, mutants: list[Mutant], is_compiled: bool, options: argparse.Namespace
) -> list[Result]:
    """Verdicts on some mutants, from a process that runs in the copy."""
    if not mutants:
        return []
    copy = folder / "copy"
    test_folders = ("radio", "reference", "allocator") if is_compiled else ("allocator",)
    order = {
        "is_compiled": is_compiled,
        "mutants": [vars(one) for one in mutants],
        "packages": [f"server.{package}" for package in PACKAGES],
        "all_modules": modules_of(PACKAGES),
        "test_files": [
            str(file.relative_to(copy))
            for name in test_folders
            for file in sorted((copy / "tests" / name).glob("test_*.py"))
        ],
        "jobs": options.jobs,
        "limit_s": TEST_LIMIT_S,
        "patient_limit_s": 20 * TEST_LIMIT_S if is_compiled else TEST_LIMIT_S,
        "most_cases": MOST_CASES,
        "budget_s": MUTANT_BUDGET_S,
        "patience_s": PATIENCE_S,
        "patience": PATIENCE,
        "wall_s": LONGEST_S,
    }
    file = folder / ("compiled.json" if is_compiled else "interpreted.json")
    file.write_text(json.dumps(order), encoding="utf-8")
    environment = {
        **os.environ,
        "NUMBA_DISABLE_JIT": "0" if is_compiled else "1",
        "NUMBA_CACHE_DIR": str(folder / "compiled"),
        "OPENBLAS_NUM_THREADS": "1",
        # A browser and an event loop that no test of these packages asks for: ten times as long to start.
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",
    }
    subprocess.run(
        [sys.executable, "-m", "tests.mutation.campaign", str(file)], cwd=copy, env=environment, check=True
    )
    return json.loads(file.with_suffix(".result.json").read_text(encoding="utf-8"))["results"]


def is_killed(result: Result) -> bool:
    return result["verdict"] in (KILLED, TIMED_OUT)


def share_of(results: list[Result], package: str) -> float:
    own = [one for one in results if one["module"].startswith(f"server.{package}.")]
    return sum(map(is_killed, own)) / len(own) if own else 1.0


def print_report(results: list[Result], equivalent: Counter[str], unclear: list[str]) -> None:
    """The table by module, then everything that nobody noticed."""
    row = "{:<28}{:>9}{:>9}{:>10}{:>11}{:>11}{:>13}{:>9}"
    print(row.format("", "mutants", "killed", "timed out", "survived", "untouched", "equivalent", "killed"))
    for package in PACKAGES:
        own = [one for one in results if one["module"].startswith(f"server.{package}.")]
        for module in [*sorted({one["module"] for one in own}), f"server.{package}"]:
            some = [one for one in own if one["module"] == module] or own
            if not some:
                continue
            count = Counter(one["verdict"] for one in some)
            ignored = equivalent[module] or sum(
                number for name, number in equivalent.items() if name.startswith(f"{module}.")
            )
            print(
                row.format(
                    module.removeprefix("server."),
                    len(some),
                    count[KILLED],
                    count[TIMED_OUT],
                    count[SURVIVED],
                    count[UNTOUCHED],
                    ignored,
                    f"{sum(map(is_killed, some)) / len(some):.1%}",
                )
            )
    for one in results:
        if not is_killed(one):
            file = one["module"].replace(".", "/") + ".py"
            scope = f" in {one['scope']}" if one["scope"] else ""
            print(f"{file}:{one['line']}{scope} {one['verdict']}: {one['before']}  ->  {one['after']}")
    for entry in unclear:
        print(f"equivalent.toml: {entry}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
