"""A search in two halves leaves nothing out and looks at nothing twice."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from server.allocator import heat
from server.allocator.kernel import STRESSED, WORST
from server.allocator.search import search
from server.allocator.splitting import search_side_by_side, share_answer, split
from server.allocator.stack import new_stack
from tests.allocator.mixes import equal_pilots, mix, usual_mhz

NO_LIMITS = (np.inf, np.inf)
HEATS = [mix(seed, 4 + seed % 2, 9) for seed in range(12)]


def begun(gear, nodes, goal=WORST):
    stack = new_stack(gear)
    search(gear, stack, goal, *NO_LIMITS, nodes)
    return stack


def untried(stack):
    """Channels left to try at every open node."""
    return [
        stack.option[depth, stack.tried[depth] : stack.options[depth]].tolist()
        for depth in range(int(stack.depth[0]) + 1)
        if stack.options[depth] > 0
    ]


def test_a_split_shares_out_what_is_left_at_the_node_nearest_to_the_root():
    stack = begun(equal_pilots(4, usual_mhz()[::3]).gear, 3)
    before = untried(stack)
    other = split(stack)
    mine, theirs = untried(stack), untried(other)
    assert mine[0] == before[0][::2]
    assert theirs == [before[0][1::2]]
    assert mine[1:] == before[1:]
    assert (other.depth[0], other.nodes[0]) == (0, 0)


def test_a_split_goes_below_a_node_with_one_channel_left():
    stack = begun(equal_pilots(4, usual_mhz()[::3]).gear, 3)
    stack.options[0] = stack.tried[0] + 1
    before = untried(stack)
    other = split(stack)
    assert other.depth[0] == 1
    assert untried(stack)[:2] == [before[0], before[1][::2]]
    assert untried(other)[-1] == before[1][1::2]


@pytest.mark.parametrize(("left", "mine", "theirs"), [(2, 1, 1), (3, 2, 1), (4, 2, 2)])
def test_a_node_of_two_or_more_is_shared_out_and_the_first_half_is_never_the_smaller(left, mine, theirs):
    stack = begun(equal_pilots(4, usual_mhz()[::3]).gear, 3)
    stack.options[0] = stack.tried[0] + left
    before = untried(stack)
    other = split(stack)
    assert [len(untried(half)[0]) for half in (stack, other)] == [mine, theirs]
    assert sorted(untried(stack)[0] + untried(other)[0]) == sorted(before[0])
    assert other.depth[0] == 0
    assert (other.options[1:] == -1).all()


def test_where_every_open_node_has_one_channel_left_nothing_is_split():
    stack = begun(equal_pilots(4, usual_mhz()[::3]).gear, 3)
    depth = int(stack.depth[0]) + 1
    stack.options[:depth] = stack.tried[:depth] + 1
    assert split(stack) is None


def test_only_open_nodes_are_split():
    stack = begun(equal_pilots(4, usual_mhz()[::3]).gear, 3)
    depth = int(stack.depth[0])
    stack.options[:depth] = stack.tried[:depth] + 1
    stack.options[depth] = stack.tried[depth] + 2
    assert split(stack).depth[0] == depth


def test_of_two_equal_answers_the_first_stays():
    gear = mix(2, 5, 9).gear
    one, other = new_stack(gear), new_stack(gear)
    for stack, channel in ((one, 1), (other, 2)):
        stack.value[:] = 0.5
        stack.best[:] = channel
    share_answer(one, other)
    assert set(other.best.tolist()) == {1}


def test_the_halves_do_not_write_into_each_other():
    gear = mix(2, 5, 9).gear
    stack = begun(gear, 2)
    other = split(stack)
    before = [np.array(value) for value in (*stack.sums, stack.live, stack.weight, stack.value)]
    search(gear, other, WORST, *NO_LIMITS, 50)
    for value, kept in zip((*stack.sums, stack.live, stack.weight, stack.value), before, strict=True):
        assert value.tolist() == kept.tolist()


def test_a_search_that_has_ended_cannot_be_split():
    gear = equal_pilots(2, (5800, 5837)).gear
    stack = begun(gear, 1_000)
    assert stack.depth[0] == -1
    assert split(stack) is None


@pytest.mark.parametrize("goal", [WORST, STRESSED])
@pytest.mark.parametrize("heat_", HEATS, ids=range(len(HEATS)))
def test_both_halves_together_find_what_one_search_finds(heat_, goal):
    whole = begun(heat_.gear, 1_000_000, goal)
    stack = begun(heat_.gear, 2, goal)
    other = split(stack)
    for half in (stack, other) if other is not None else (stack,):
        search(heat_.gear, half, goal, *NO_LIMITS, 1_000_000)
    best = min(half.value[0] for half in (stack, other) if half is not None)
    assert best == pytest.approx(whole.value[0], rel=1e-8)


def test_the_better_answer_goes_to_both():
    gear = mix(2, 5, 9).gear
    one, other = begun(gear, 1_000_000), new_stack(gear)
    for first, second in ((one, other), (new_stack(gear), one)):
        share_answer(first, second)
        assert first.value.tolist() == second.value.tolist() == one.value.tolist()
        assert first.best.tolist() == second.best.tolist() == one.best.tolist()
        assert first.tenths.tolist() == second.tenths.tolist()


def test_searches_side_by_side_say_who_has_ended_and_share_the_answer():
    gear = equal_pilots(6, usual_mhz(), 200).gear
    short, long = begun(gear, 1), begun(gear, 9)
    short.depth[0] = -1  # nothing is left
    with ThreadPoolExecutor(1) as threads:
        have_ended = search_side_by_side(threads, gear, [short, long], WORST, NO_LIMITS, 40)
    assert have_ended == [True, False]
    assert short.value.tolist() == long.value.tolist()


@pytest.mark.parametrize("seed", range(20))
def test_a_heat_searched_in_two_threads_has_the_same_answer(seed, monkeypatch):
    gear = mix(seed, 5, 12).gear
    alone = heat.best_channels(gear)
    monkeypatch.setattr(heat, "ALONE_NODES", 3)
    monkeypatch.setattr(heat, "CHUNK_NODES", 5)
    in_two = heat.best_channels(gear)
    assert (in_two.mhz, in_two.is_exact) == (alone.mhz, alone.is_exact)
    assert in_two.best_margin_db == pytest.approx(alone.best_margin_db, abs=1e-6)
    assert in_two.stressed_margin_db == pytest.approx(alone.stressed_margin_db, abs=1e-6)


def test_two_threads_count_the_same_nodes_every_time(monkeypatch):
    monkeypatch.setattr(heat, "ALONE_NODES", 20)
    monkeypatch.setattr(heat, "CHUNK_NODES", 25)
    gear = equal_pilots(6, usual_mhz(), 200).gear
    assert len({heat.best_channels(gear).nodes for _ in range(4)}) == 1


def test_two_threads_keep_to_the_node_limit(monkeypatch):
    monkeypatch.setattr(heat, "ALONE_NODES", 20)
    answer = heat.best_channels(equal_pilots(6, usual_mhz(), 200).gear, node_limit=301)
    assert not answer.is_best_proved
    assert answer.nodes <= 301
