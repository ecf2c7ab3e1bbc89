"""Compiling by another process, whose memory goes with it."""

import pytest

from server.allocator import warming


class Other:
    waited = 0

    def wait(self) -> None:
        self.waited += 1


@pytest.fixture
def asked(monkeypatch):
    """What other processes were asked to do."""
    asked: list[object] = []
    monkeypatch.setattr(warming, "is_compiling", lambda: True)
    monkeypatch.setattr(warming, "is_all_kept", lambda: False)
    monkeypatch.setattr(warming, "_process_for", lambda task: asked.append(task) or other)
    other = Other()
    asked.append(other)
    return asked


def test_another_process_does_the_whole_warm_up_and_is_waited_for(asked):
    warming.compile_elsewhere()
    assert asked[1:] == [warming.warm_up]
    assert asked[0].waited == 1


def test_nothing_is_compiled_again_that_is_kept(asked, monkeypatch):
    monkeypatch.setattr(warming, "is_all_kept", lambda: True)
    warming.compile_elsewhere()
    assert asked[1:] == []


def test_nothing_is_compiled_where_functions_run_as_they_are_written(asked, monkeypatch):
    monkeypatch.setattr(warming, "is_compiling", lambda: False)
    warming.compile_elsewhere()
    assert asked[1:] == []


def test_where_no_process_can_be_had_it_is_left_to_who_needs_it(monkeypatch, asked):
    monkeypatch.setattr(warming, "_process_for", lambda task: None)
    warming.compile_elsewhere()
    assert not warming._one_warms_up.locked()


def test_the_task_of_another_process_is_done_there():
    other = warming._process_for(warming.is_compiling)
    assert other is not None
    assert other.wait(60) == 0
