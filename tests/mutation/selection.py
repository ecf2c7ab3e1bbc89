"""Which tests a mutant meets, and in which order."""

import ast
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise

from tests.mutation.measure import Measured
from tests.mutation.mutants import Mutant

BATCHES = (4, 24)
"""How many tests meet a mutant first, and by then; most never see the others, nor the files that hold them."""


class Selection:
    """Knows what every test calls, and learns which tests kill.

    sources     text of each module
    test_texts  text of each test file
    tests       measured tests that pass
    budget_s    most seconds of tests for one mutant
    """

    def __init__(
        self,
        sources: dict[str, str],
        test_texts: dict[str, str],
        tests: Sequence[Measured],
        budget_s: float,
    ) -> None:
        self.budget_s = budget_s
        self.test_texts = test_texts
        self.seconds = {one.test: one.seconds for one in tests}
        self.spans = {module: _spans(ast.parse(text)) for module, text in sources.items()}
        self.trees = {module: ast.parse(text) for module, text in sources.items()}
        self.at_import = {module: set(_called_at_import(tree)) for module, tree in self.trees.items()}
        self.calling: dict[tuple[str, str], set[str]] = defaultdict(set)
        self.kills: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
        for one in tests:
            for module, line in one.places:
                scope = self._scope_at(module, line)
                self.calling[module, scope].add(one.test)
                self.calling[module, ""].add(one.test)

    def for_mutant(self, mutant: Mutant) -> list[list[str]]:
        """Batches of tests."""
        place = (mutant.module, mutant.scope)
        found = self.calling.get(place, set()) if mutant.scope else self._by_name(mutant)
        # What runs while a module is imported has done so before a test begins: all who use the module are asked.
        if not found or mutant.scope in self.at_import[mutant.module]:
            found = found | self.calling[mutant.module, ""]
        own = f"test_{mutant.module.rpartition('.')[2]}"
        kills = self.kills[place]
        # Every claim once before any of them with other seeds.
        case = _case_numbers(sorted(found))
        ordered = sorted(
            found, key=lambda test: (-kills[test], case[test], own not in test, self.seconds[test], test)
        )
        chosen, spent = [], 0.0
        for test in ordered:
            if spent + self.seconds[test] <= self.budget_s or not chosen:
                chosen.append(test)
                spent += self.seconds[test]
        batches = (chosen[first:end] for first, end in pairwise((0, *BATCHES, None)))
        return [batch for batch in batches if batch]

    def was_killed(self, mutant: Mutant, by: str) -> None:
        """Remember a test that noticed."""
        if by in self.seconds:
            self.kills[mutant.module, mutant.scope][by] += 1

    def _scope_at(self, module: str, line: int) -> str:
        return next((scope for scope, first, last in self.spans[module] if first <= line <= last), "")

    def _by_name(self, mutant: Mutant) -> set[str]:
        """Tests of whatever reads the names that a line outside functions defines, and of the module itself."""
        names = set(_names_defined(self.trees[mutant.module], mutant.line))
        readers = {
            (module, scope)
            for module, tree in self.trees.items()
            for scope, node in _functions(tree)
            if names & set(_names_read(node))
        }
        # A test that compares the constant itself calls nothing.
        files = {
            file
            for file, text in self.test_texts.items()
            if any(re.search(rf"\b{name}\b", text) for name in names)
        }
        return (
            set().union(*(self.calling[reader] for reader in readers))
            | self.calling[mutant.module, ""]
            | {test for test in self.seconds if test.split("::")[0] in files}
        )


def _case_numbers(tests: Iterable[str]) -> dict[str, int]:
    """How many parameter sets of the same test come before each."""
    seen: Counter[str] = Counter()
    number = {}
    for test in tests:
        name = test.partition("[")[0]
        number[test] = seen[name]
        seen[name] += 1
    return number


def _functions(tree: ast.Module) -> Iterable[tuple[str, ast.FunctionDef]]:
    """Outermost functions with their scope, as mutants name it."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from (
                (f"{node.name}.{inner.name}", inner)
                for inner in node.body
                if isinstance(inner, ast.FunctionDef)
            )


def _spans(tree: ast.Module) -> list[tuple[str, int, int]]:
    return [
        (
            scope,
            min([node.lineno, *(one.lineno for one in node.decorator_list)]),
            node.end_lineno or node.lineno,
        )
        for scope, node in _functions(tree)
    ]


def _called_at_import(tree: ast.Module) -> Iterable[str]:
    """Functions that a module calls itself to fill its constants."""
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield from (
                one.func.id
                for one in ast.walk(node)
                if isinstance(one, ast.Call) and isinstance(one.func, ast.Name)
            )


def _names_defined(tree: ast.Module, line: int) -> Iterable[str]:
    statements = [
        *tree.body,
        *(inner for node in tree.body if isinstance(node, ast.ClassDef) for inner in node.body),
    ]
    for node in statements:
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.lineno <= line <= (node.end_lineno or line):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield from (one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name))


def _names_read(node: ast.AST) -> Iterable[str]:
    for one in ast.walk(node):
        if isinstance(one, ast.Name):
            yield one.id
        elif isinstance(one, ast.Attribute):
            yield one.attr
