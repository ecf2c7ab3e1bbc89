"""The power fails while a server is busy; more points are tried by `tests.benchmarks.power_loss`."""

import random
from pathlib import Path

import pytest

from tests.durability.power_loss import Event, after_power_loss, read_trace, try_points


def test_no_answered_change_is_lost_at_any_moment(tmp_path: Path):
    report = try_points(tmp_path, changes=40, points=60, seed=1)
    assert report.lost == ()
    assert report.faults == ()
    assert report.syncs >= report.answered >= 40


def state(*events: Event, at: float, seed: int = 1, **how) -> bytes:
    return after_power_loss(b"....", events, at, random.Random(seed), **how)


class TestDisk:
    WRITE = Event(1.0, 1.1, "file", b"new!", 2)
    SYNC = Event(2.0, 2.5, "file")

    def test_it_keeps_what_was_synced(self):
        assert {state(self.WRITE, self.SYNC, at=3.0, seed=seed) for seed in range(20)} == {b"..new!"}

    @pytest.mark.parametrize("at", [1.5, 2.4])
    def test_before_the_end_of_the_sync_a_write_may_be_there_or_not(self, at):
        assert {state(self.WRITE, self.SYNC, at=at, seed=seed) for seed in range(20)} == {b"..new!", b"...."}

    def test_nothing_is_there_before_it_is_written(self):
        assert state(self.WRITE, at=0.9) == b"...."

    def test_a_large_write_may_stop_at_a_sector(self):
        write = Event(1.0, 1.1, "file", b"x" * 2048, 0)
        sizes = {state(write, at=2.0, seed=seed).count(b"x") for seed in range(100)}
        assert sizes > {0, 512, 1024, 2048}

    def test_a_cut_is_a_change_like_others(self):
        cut = Event(1.0, 1.1, "file", size=1)
        assert state(cut, self.SYNC, at=3.0) == b"."
        assert {state(cut, at=1.5, seed=seed) for seed in range(20)} == {b".", b"...."}

    def test_one_that_forgets_syncs_may_lose_all(self):
        states = {state(self.WRITE, self.SYNC, at=3.0, seed=seed, keeps_syncs=False) for seed in range(20)}
        assert states == {b"..new!", b"...."}


def test_a_trace_is_read():
    lines = [
        r'9.5 pwrite64(7<\x2f\x61>, "\x00\xff", 2, 4096) = 2 <0.1>',
        r"9.0 fdatasync(7<\x2f\x61>) = 0 <0.25>",
        r"9.7 ftruncate(7<\x2f\x61>, 12) = 0 <0.0>",
        "9.8 +++ killed by SIGKILL +++",
    ]
    assert read_trace(lines) == [
        Event(9.0, 9.25, "a"),
        Event(9.5, 9.6, "a", b"\x00\xff", 4096),
        Event(9.7, 9.7, "a", size=12),
    ]


def test_a_write_that_strace_cut_short_is_no_trace():
    with pytest.raises(AssertionError):
        read_trace([r'9.5 pwrite64(7<\x2f\x61>, "\x00"..., 2, 4096) = 2 <0.1>'])


def test_the_day_would_be_found_lost_on_a_disk_that_forgets_syncs(tmp_path: Path):
    report = try_points(tmp_path, changes=20, points=20, seed=1, keeps_syncs=False)
    assert report.lost or report.faults
