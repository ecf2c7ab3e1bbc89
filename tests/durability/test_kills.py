"""Killed with no warning, ten times: the same with 200 is `tests.benchmarks.kills`."""

from pathlib import Path

from tests.durability.kills import kill_at_random


def test_a_server_that_is_killed_loses_nothing_that_it_answered(tmp_path: Path):
    report = kill_at_random(tmp_path, 10, seed=1)
    assert report.answered >= 30
    assert report.lost == ()
    assert report.faults == ()
