"""How two threads at one heat share what is left of it: nodes, work and the best answer."""

import numpy as np
import pytest

from server.allocator import heat
from server.allocator.kernel import WORST
from server.allocator.stack import new_stack
from tests.allocator.test_heat_steps import PAIR, heat_search


class Threads:
    """Two searches side by side that use all nodes they are given, and end in the round that is said."""

    def __init__(self, monkeypatch, nodes_left, ends=(), values=()):
        self.search = heat_search(nodes=nodes_left)
        self.stack = new_stack(PAIR)
        self.asked = []
        self.ends, self.values = list(ends), list(values)
        monkeypatch.setattr(heat, "split", lambda _stack: new_stack(PAIR))
        monkeypatch.setattr(heat, "search_side_by_side", self.side_by_side)

    def side_by_side(self, _threads, _gear, stacks, _goal, _limits, most_nodes):
        self.asked.append((len(stacks), most_nodes))
        for one in stacks:
            one.nodes[0] += most_nodes
        if self.values:
            stacks[0].value[:] = self.values.pop(0)
        return self.ends.pop(0) if self.ends else [False] * len(stacks)

    def go_on(self):
        return self.search._go_on_in_two("a stage", self.stack, WORST, (np.inf, np.inf))


@pytest.mark.parametrize(
    ("nodes_left", "asked"),
    [(1_700, [(2, 500), (2, 350)]), (900, [(2, 450)]), (3, [(2, 1), (2, 1)]), (0, [])],
)
def test_two_threads_share_the_nodes_that_are_left_in_chunks(monkeypatch, nodes_left, asked):
    threads = Threads(monkeypatch, nodes_left)
    assert threads.go_on() is False
    assert threads.asked == asked
    assert threads.search.nodes == sum(count * nodes for count, nodes in asked)


def test_who_ends_first_takes_over_half_of_the_other_until_both_have_ended(monkeypatch):
    threads = Threads(monkeypatch, 10_000, ends=[[True, False], [False, True], [True, True]])
    assert threads.go_on() is True
    assert threads.asked == [(2, 500)] * 3


def test_a_search_that_cannot_be_split_goes_on_alone(monkeypatch):
    threads = Threads(monkeypatch, 10_000, ends=[[False], [True]])
    monkeypatch.setattr(heat, "split", lambda _stack: None)
    assert threads.go_on() is True
    assert threads.asked == [(1, 500), (1, 500)]


def test_an_answer_found_after_the_first_half_has_ended_is_kept(monkeypatch):
    threads = Threads(monkeypatch, 10_000, ends=[[True, False], [True, True]], values=[0.5, 0.25])
    threads.go_on()
    assert threads.stack.value[0] == 0.25
