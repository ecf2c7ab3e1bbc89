"""Which test calls which function of the program, and how long it takes.

A mutant is put only to the tests that call the function it sits in. A test that needs longer than a limit is
left out and counted; so is one that fails without any mutant, as may happen where nothing is compiled, and the
other parameter sets of a test of which some took too long.
"""

import functools
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType

import pytest

WARM_ONCE = ("_warm_up",)
"""Whatever is warmed up would count as called by every test that plans."""

Place = tuple[str, int]
"""A function of the program: module, and the line it begins on."""


@dataclass
class Measured:
    """What one test did.

    places    functions called while it ran
    seconds   of the processor, so that a busy machine leaves no test out
    passed    False: failed, skipped, or stopped at the limit
    """

    test: str
    seconds: float = 0.0
    passed: bool = False
    places: set[Place] = field(default_factory=set)


MOST_TOO_LONG = 3


class TooLong(BaseException):
    """A test went beyond the limit. No Exception, so that a test that expects one cannot hold it."""


class Recorder:
    """A pytest plug-in that fills ``found``; packages are those whose calls are of interest."""

    def __init__(self, root: Path, packages: tuple[str, ...], limit_s: float, most_cases: int) -> None:
        self.module_of = {
            str(file): ".".join(file.relative_to(root).with_suffix("").parts)
            for package in packages
            for file in (root / package.replace(".", "/")).glob("*.py")
        }
        self.packages = packages
        self.limit_s = limit_s
        self.most_cases = most_cases
        self.too_long: Counter[str] = Counter()
        self.seen: set[CodeType] = set()
        self.found: list[Measured] = []

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        cases: dict[str, list[pytest.Item]] = {}
        for item in items:
            cases.setdefault(_claim(item.nodeid), []).append(item)
        items[:] = [
            some[number * len(some) // min(len(some), self.most_cases)]
            for some in cases.values()
            for number in range(min(len(some), self.most_cases))
        ]

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        # What an earlier test left in a cache would hide that this one asks for it. Warmed up once is enough.
        for cached in self._caches():
            if cached.__name__ not in WARM_ONCE:
                cached.cache_clear()
        self.seen.clear()
        self.found.append(Measured(item.nodeid, passed=True))
        signal.signal(signal.SIGPROF, self._stop)
        signal.setitimer(signal.ITIMER_PROF, self.limit_s)
        began = time.process_time()
        sys.settrace(self._enter)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            self.found[-1].seconds = time.process_time() - began
            self.found[-1].places = self._places()

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        if self.too_long[_claim(item.nodeid)] >= MOST_TOO_LONG:
            pytest.skip("others of its cases took too long")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.passed:
            self.found[-1].passed = False

    def _stop(self, _signal: int, _frame: FrameType | None) -> None:
        self.too_long[_claim(self.found[-1].test)] += 1
        raise TooLong

    def _enter(self, frame: FrameType, _event: str, _arg: object) -> None:
        self.seen.add(frame.f_code)

    def _places(self) -> set[Place]:
        return {
            (self.module_of[code.co_filename], code.co_firstlineno)
            for code in self.seen
            if code.co_filename in self.module_of
        }

    def _caches(self) -> Iterator[functools._lru_cache_wrapper]:
        for name, module in list(sys.modules.items()):
            if name.startswith(self.packages):
                yield from (one for one in vars(module).values() if hasattr(one, "cache_clear"))


def _claim(test: str) -> str:
    """A test without its parameter set."""
    return test.partition("[")[0]
