"""Which test to do next: the one that is expected to tell most of the cause, with a mild price for its time."""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence

from server.allocator.trouble import Case, Cause, weights
from server.allocator.trouble_tests import SafeTest

PRICE = 0.002
"""Bits that a second has to bring: common practice, no source."""

SURE = 0.85
"""Chance of a cause from which on it is cured, and not tested any more: common practice, no source."""


def is_sure(causes: tuple[Cause, ...]) -> bool:
    """Whether the first cause is likely enough to be cured without another test."""
    return bool(causes) and causes[0].chance >= SURE


def worth_doing(case: Case, outcomes: Mapping[str, str]) -> tuple[SafeTest, ...]:
    """The tests that were not done yet and tell more than their time costs, the best first."""
    chances, something_else = weights(case, outcomes)
    worth = {
        test: _bits(case, number, chances, something_else) - PRICE * test.seconds
        for number, test in enumerate(case.tests)
        if test.key not in outcomes
    }
    return tuple(
        sorted((test for test in worth if worth[test] > 0.0), key=lambda test: (-worth[test], test.key))
    )


def _bits(case: Case, number: int, chances: list[float], something_else: float) -> float:
    """What the outcome of a test is expected to tell of the cause, in bits: their mutual information."""
    count = len(case.tests[number].outcomes)
    together: defaultdict[tuple[object, ...], list[float]] = defaultdict(lambda: [0.0] * count)
    for form, chance in zip(case.forms, chances, strict=True):
        for outcome, given in enumerate(form.chances[number]):
            together[form.cause][outcome] += chance * given
    together[("something else",)] = [something_else / count] * count
    alone = [sum(row[outcome] for row in together.values()) for outcome in range(count)]
    return _entropy(alone) - sum(_entropy(row) - _entropy([sum(row)]) for row in together.values())


def _entropy(chances: Sequence[float]) -> float:
    """Bits, of chances that need not be a whole: - sum p log2 p."""
    return -sum(chance * math.log2(chance) for chance in chances if chance > 0.0)
