"""What the pages of the bench receive."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from server.services.bench_checks import BenchRow
from server.services.bench_views import Bench
from server.storage.tables import FieldDay
from server.web.live_mark import LiveMark
from server.web.templating import Page


@dataclass(frozen=True)
class BenchListPage(Page):
    """Who is still to be checked, with each one's channel in words, and whether the day needs it."""

    template: ClassVar[str] = "bench/list.html"
    day: FieldDay
    tab: str
    live: LiveMark
    rows: Sequence[tuple[BenchRow, str]]
    is_needed: bool


@dataclass(frozen=True)
class BenchPage(Page):
    """One pilot at the bench.

    notice  why nothing was done
    typed   a reading or words that could not be taken, with `errors` by field
    """

    template: ClassVar[str] = "bench/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    bench: Bench
    notice: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class BenchFragment(Page):
    """The same without the frame, to be put in its place."""

    template: ClassVar[str] = "bench/_bench.html"
    day: FieldDay
    bench: Bench
    notice: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
