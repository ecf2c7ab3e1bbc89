"""The mutation tool changes what it says it changes, and nothing else."""

import ast

import pytest

from tests.mutation.measure import Measured
from tests.mutation.mutants import mutants_of, mutated
from tests.mutation.run_mutations import found_in, modules_of, sample
from tests.mutation.selection import Selection


def changes(source):
    return [(one.before, one.after) for one in mutants_of("module", source)]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("x = a < b", [("a < b", "a <= b"), ("a < b", "a >= b")]),
        ("x = a in b", [("a in b", "a not in b")]),
        ("x = a + b", [("a + b", "a - b")]),
        ("x = -a", [("-a", "a")]),
        ("x = a and b", [("a and b", "a or b")]),
        ("x = 3", [("3", "4"), ("3", "0")]),
        ("x = 0.0", [("0.0", "1.0")]),
        ("x = True", [("True", "False")]),
        ("x = min(a)", [("min(a)", "max(a)")]),
        ("x = f(a, b, c)", [("f(a, b, c)", "f(b, a, c)")]),
        ("x = [a for a in b if c]", [("c", "not c")]),
        ("def f():\n    return a", [("return a", "return None")]),
        ("def f():\n    if a:\n        raise E(1, 'two')", [("a", "not a"), ("raise E(1, 'two')", "pass")]),
        ("def f():\n    a = b\n    a = c", [("a = c", "pass")]),
        ("f(a)", [("f(a)", "pass")]),
    ],
)
def test_changes_one_thing_at_a_time(source, expected):
    assert changes(source) == expected


@pytest.mark.parametrize(
    "source",
    [
        '"""Two words: 1 + 1."""',
        "x: dict[int, Literal[3]]",
        "def f(a: tuple[int, 2]) -> 3: pass",
        "@cache(maxsize=3)\ndef f(): pass",
        "import a, b",
        "assert a < 3, 'never'",
        "x = f'{a + 1} of {b:.2f}'",
        "x = zip(a, strict=True)",
        "x = 'a' + b",
    ],
)
def test_leaves_alone_what_no_test_ought_to_notice(source):
    assert changes(source) == []


def test_a_mutant_is_the_module_with_that_change():
    source = "def f(a):\n    return a + 1\n"
    texts = [ast.unparse(mutated(source, one.index)) for one in mutants_of("module", source)]
    assert texts == [
        "def f(a):\n    return None",
        "def f(a):\n    return a - 1",
        "def f(a):\n    return a + 2",
        "def f(a):\n    return a + 0",
    ]


def test_a_mutant_says_where_it_is():
    source = "class A:\n    x = 1\n    def f(self):\n        def g():\n            return 2 < self.x\n"
    assert {(one.scope, one.line) for one in mutants_of("module", source)} == {("", 2), ("A.f", 5)}


def test_a_sample_is_spread_over_the_modules_and_the_same_for_a_seed():
    mutants = [one for module in modules_of(("radio",)) for one in found_in(module)]
    drawn = sample(mutants, 60, seed=1)
    assert len(drawn) == 60
    assert drawn == sample(mutants, 60, seed=1) != sample(mutants, 60, seed=2)
    large = {one.module for one in mutants if sum(x.module == one.module for x in mutants) > 40}
    assert large <= {one.module for one in drawn}


READ_ON_IMPORT = "def read():\n    return a + 1\n\n\nX = read()\n\n\ndef double():\n    return X * 2\n"


def selected(tests):
    selection = Selection({"module": READ_ON_IMPORT}, {}, tests, budget_s=10.0)
    return selection.for_mutant(mutants_of("module", READ_ON_IMPORT)[0])


def test_what_runs_on_import_meets_the_tests_of_the_whole_module():
    again = Measured("test_a.py::test_imports_again", 0.1, True, {("module", 1)})
    reader = Measured("test_b.py::test_doubles", 0.1, True, {("module", 8)})
    assert sorted(*selected([again, reader])) == [again.test, reader.test]


def test_few_tests_meet_a_mutant_first_and_each_only_once():
    tests = [Measured(f"test_a.py::test_{number}", 0.1, True, {("module", 1)}) for number in range(40)]
    batches = selected(tests)
    assert [len(batch) for batch in batches] == [4, 20, 16]
    assert {test for batch in batches for test in batch} == {one.test for one in tests}


def test_no_batch_is_empty():
    assert [len(batch) for batch in selected([Measured("test_a.py::test", 0.1, True, {("module", 1)})])] == [
        1
    ]
