"""The searches of one heat step by step: who is asked for how much, and what a stopped search may still say."""

import numpy as np
import pytest

from server.allocator import heat
from server.allocator.heat import HeatAnswer, best_channels, best_worst_margin
from server.allocator.kernel import CHOICE, STRESSED, WORST
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, margins_db
from server.allocator.stack import new_stack
from tests.allocator.mixes import equal_pilots, usual_mhz

PAIR = equal_pilots(2, (5658, 5917)).gear
NOTHING = (-np.inf, -np.inf, -np.inf)


def heat_search(gear=PAIR, nodes=1_000, keep_going=None, indifference_db=0.5):
    return heat._HeatSearch(gear, indifference_db, nodes, 1, keep_going)


@pytest.mark.parametrize("best", [best_channels, best_worst_margin])
def test_a_pilot_without_channels_leaves_none_and_that_is_known_at_once(best):
    gear = PAIR._replace(usable=np.array([[True, True], [False, False]]))
    assert best(gear) == HeatAnswer((), *NOTHING, True, True, True, 0)


def test_a_heat_without_spacing_room_has_no_channels_and_says_so():
    answer = best_channels(equal_pilots(3, (5658, 5917)).gear)
    assert (answer.mhz, answer.is_best_proved, answer.is_stress_proved, answer.is_exact) == (
        (),
        True,
        True,
        True,
    )
    assert (answer.worst_margin_db, answer.stressed_margin_db, answer.best_margin_db) == NOTHING
    assert answer.nodes > 0


def test_a_search_stopped_without_an_answer_has_the_bound_of_its_root():
    answer = best_channels(equal_pilots(3, (5658, 5917)).gear, node_limit=1)
    bound_db = answer.best_margin_db
    assert answer == HeatAnswer((), -np.inf, -np.inf, bound_db, False, False, False, 1)
    # Two other carriers at the least, each 28 dB down by selectivity and 20 dB up by its distance.
    assert bound_db == pytest.approx(28 - 20 - 10 * np.log10(2))


def searched(monkeypatch, search, ends_alone, nodes_left=1_000):
    """Which parts of a search go on, when it ends alone or not."""
    asked = []
    monkeypatch.setattr(search, "_seed", lambda *_given: None)

    def alone(_stage, _stack, _goal, _limits, most_nodes):
        asked.append(most_nodes)
        search.nodes_left = nodes_left
        return ends_alone

    monkeypatch.setattr(search, "_go_on", alone)
    monkeypatch.setattr(search, "_go_on_in_two", lambda *_given: asked.append("two") or True)
    return asked


@pytest.mark.parametrize(
    ("ends_alone", "nodes_left", "asked", "has_ended"),
    [
        (True, 1_000, [500], True),
        (False, 1_000, [500, "two"], True),
        (False, 1, [500, "two"], True),
        (False, 0, [500], False),
    ],
)
def test_a_search_goes_on_in_two_threads_only_where_nodes_and_work_are_left(
    monkeypatch, ends_alone, nodes_left, asked, has_ended
):
    search = heat_search()
    seen = searched(monkeypatch, search, ends_alone, nodes_left)
    assert search._search("a stage", WORST, np.inf, np.inf, np.zeros((1, 2))) == (None, has_ended)
    assert seen == asked


def test_the_choice_among_equals_is_searched_alone(monkeypatch):
    search = heat_search()
    asked = searched(monkeypatch, search, True)
    search._search("a stage", CHOICE, np.inf, np.inf, np.zeros((1, 2)))
    assert asked == [np.inf]


def test_a_search_alone_takes_its_nodes_in_chunks_and_stops_at_its_share(monkeypatch):
    search = heat_search(nodes=1_700)
    asked = []

    def step(_gear, stack, _goal, _limit, _stressed_limit, nodes):
        asked.append(nodes)
        stack.nodes[0] += nodes
        return False

    monkeypatch.setattr(heat, "search", step)
    stack = new_stack(PAIR)
    assert not search._go_on("a stage", stack, WORST, (np.inf, np.inf), 700)
    assert (asked, search.nodes, search.nodes_left) == ([500, 500], 1_000, 700)
    assert not search._go_on("a stage", stack, WORST, (np.inf, np.inf), np.inf)
    assert (asked, search.nodes, search.nodes_left) == ([500, 500, 500, 200], 1_700, 0)


def test_a_caller_who_has_enough_leaves_no_nodes():
    told = []
    search = heat_search(keep_going=lambda *given: told.append(given) or False)
    search._count("a stage", 30, new_stack(PAIR))
    assert (search.nodes, search.nodes_left) == (30, 0)
    assert told == [("a stage", 30, None)]


def test_the_best_margin_so_far_is_told_in_db():
    told = []
    best_channels(PAIR, keep_going=lambda *given: told.append(given) or True)
    # 28 dB of selectivity less the 20 dB of the distances.
    assert told[-1][2] == pytest.approx(8.0)


def seeded(monkeypatch, search, goal, starts, values):
    """Descents that end at these values one after the other; where each of them began."""
    begun = []
    left = iter(values)

    def descend(_gear, _rows, _sums, channel, _goal, _limit):
        begun.append(channel.tolist())
        return next(left)

    monkeypatch.setattr(heat, "descend", descend)
    stack = new_stack(search.gear)
    search._seed("a stage", stack, goal, np.inf, np.array(starts))
    return stack, begun


TRIO = equal_pilots(3, (5658, 5732, 5806, 5917)).gear
FOUR_NUMBERS = [[0, 1, 2], [1, 2, 3]]


def test_the_best_descent_is_the_first_answer_a_hair_above_its_value(monkeypatch):
    stack, begun = seeded(monkeypatch, heat_search(TRIO), WORST, FOUR_NUMBERS, [0.3, 0.2, *[0.5] * 6])
    assert begun[:2] == FOUR_NUMBERS
    assert len(begun) == 2 + 2 * 3  # two more for each pilot
    assert stack.best.tolist() == [1, 2, 3]
    assert stack.value[1] == 1.0
    assert 0.2 < stack.value[0] < 0.2 * (1 + 1e-6)


def test_later_descents_begin_with_two_pilots_elsewhere(monkeypatch):
    _, begun = seeded(monkeypatch, heat_search(TRIO), WORST, FOUR_NUMBERS, [0.3, 0.2, *[0.5] * 6])
    changed = [sum(x != y for x, y in zip(one, [1, 2, 3], strict=True)) for one in begun[2:]]
    assert max(changed) == 2
    assert all(all(0 <= f < 4 for f in one) for one in begun)


def test_without_a_sound_descent_nothing_is_kicked(monkeypatch):
    stack, begun = seeded(monkeypatch, heat_search(TRIO), WORST, FOUR_NUMBERS, [heat.BROKEN, heat.BROKEN])
    assert begun == FOUR_NUMBERS
    assert stack.value[1] == 0.0


def test_two_pilots_are_not_kicked_since_both_would_be(monkeypatch):
    _, begun = seeded(monkeypatch, heat_search(), WORST, [[0, 1]], [0.3])
    assert begun == [[0, 1]]


def test_the_choice_among_equals_has_no_first_answer(monkeypatch):
    assert seeded(monkeypatch, heat_search(TRIO), CHOICE, FOUR_NUMBERS, [])[1] == []


def test_descents_end_where_the_caller_has_enough_or_no_nodes_are_left(monkeypatch):
    search = heat_search(TRIO, keep_going=lambda *_given: False)
    assert len(seeded(monkeypatch, search, WORST, FOUR_NUMBERS, [0.3, 0.2])[1]) == 1
    assert search.nodes_left == 0
    spent = heat_search(TRIO, nodes=0)
    assert len(seeded(monkeypatch, spent, WORST, FOUR_NUMBERS, [0.3, 0.2])[1]) == 1


def test_starts_are_own_channels_of_everybody_drawn_by_the_seed():
    gear = TRIO._replace(
        usable=np.array([[True, False, False, False], [False, True, True, False], [True] * 4])
    )
    starts = heat_search(gear)._starts()
    assert starts.shape == (8, 3)
    assert set(starts[:, 0].tolist()) == {0}
    assert set(starts[:, 1].tolist()) == {1, 2}
    assert heat_search(gear)._starts(4).shape == (4, 3)
    assert (heat_search(gear)._starts() == starts).all()
    other = heat._HeatSearch(gear, 0.5, 1_000, 2, None)
    assert (other._starts() != starts).any()


class Stages:
    """A heat whose three searches find what is said; the goal, limit and starts of each are noted."""

    def __init__(self, monkeypatch, *found, indifference_db=0.5):
        self.search = heat_search(TRIO, indifference_db=indifference_db)
        self.asked = []
        left = iter(found)

        def search(_stage, goal, limit, stressed_limit, starts):
            self.asked.append((goal, limit, stressed_limit, len(starts)))
            channel, has_ended = next(left)
            return (None if channel is None else np.array(channel)), has_ended

        monkeypatch.setattr(self.search, "_search", search)

    def said(self):
        answer = self.search.run()
        return answer.mhz, answer.is_best_proved, answer.is_stress_proved, answer.is_exact


WIDE, NEAR = (5658, 5806, 5917), (5658, 5732, 5806)
AS_WIDE, AS_NEAR = [0, 2, 3], [0, 1, 2]


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ([(None, True)], ((), True, True, True)),
        ([(None, False)], ((), False, False, False)),
        ([(AS_WIDE, False)], (WIDE, False, False, False)),
        ([(AS_WIDE, True), (None, False)], (WIDE, True, False, False)),
        ([(AS_WIDE, True), (AS_NEAR, False)], (NEAR, True, False, False)),
        ([(AS_WIDE, True), (AS_NEAR, True), (None, False)], (NEAR, True, True, False)),
        ([(AS_WIDE, True), (AS_NEAR, True), (AS_WIDE, False)], (WIDE, True, True, False)),
        ([(AS_WIDE, True), (AS_NEAR, True), (AS_WIDE, True)], (WIDE, True, True, True)),
    ],
)
def test_what_is_said_of_a_heat_by_how_far_its_stages_came(monkeypatch, found, said):
    stages = Stages(monkeypatch, *found)
    assert stages.said() == said
    assert len(stages.asked) == len(found)


def test_each_stage_may_cost_the_indifference_of_the_one_before(monkeypatch):
    stages = Stages(monkeypatch, (AS_WIDE, True), (AS_WIDE, True), (AS_WIDE, True), indifference_db=2.0)
    answer = stages.search.run()
    worst, stressed, chosen = stages.asked
    assert worst == (WORST, np.inf, np.inf, 8)
    assert stressed == (STRESSED, pytest.approx(10 ** ((2 - answer.worst_margin_db) / 10)), np.inf, 5)
    assert chosen == (
        CHOICE,
        stressed[1],
        pytest.approx(10 ** ((2 - answer.stressed_margin_db) / 10)),
        1,
    )


def test_the_best_margin_stays_that_of_the_first_stage(monkeypatch):
    for found in ([(AS_NEAR, False)], [(AS_NEAR, True), (None, False)], [(AS_NEAR, True)] * 3):
        best = Stages(monkeypatch, (AS_WIDE, True), *found).search.run().best_margin_db
        alone = Stages(monkeypatch, (AS_WIDE, True), (None, False)).search.run()
        assert best == alone.worst_margin_db


def test_the_first_stage_alone_proves_only_the_margin():
    answer = best_worst_margin(PAIR)
    assert (answer.is_best_proved, answer.is_stress_proved, answer.is_exact) == (True, False, False)
    assert answer.best_margin_db == answer.worst_margin_db == pytest.approx(8.0)


def test_the_defaults_are_half_a_decibel_and_twenty_million_nodes(monkeypatch):
    seen = []

    class Nothing:
        def __init__(self, _gear, *rest):
            seen.append(rest)

        def run(self):
            return None

        run_first_stage = run

    monkeypatch.setattr(heat, "_HeatSearch", Nothing)
    best_channels(PAIR)
    best_worst_margin(PAIR)
    assert seen == [(0.5, 20_000_000, 1, None), (0.0, 20_000_000, 1, None)]


def test_a_long_heat_needs_two_threads_and_is_proved_all_the_same(monkeypatch):
    asked = []
    in_two = heat._HeatSearch._go_on_in_two
    monkeypatch.setattr(
        heat._HeatSearch, "_go_on_in_two", lambda *given: asked.append(given[1]) or in_two(*given)
    )
    gear = equal_pilots(5, usual_mhz()).gear
    monkeypatch.setattr(heat, "ALONE_NODES", 3)
    answer = best_channels(gear)
    assert asked
    assert answer.is_exact


def test_margins_told_are_those_of_the_pilot_who_is_worst_off():
    # Otter sends eight times as much, so the others are worse off.
    pilots = tuple(Pilot(name, (5658, 5732, 5806, 5917)) for name in ("Wren", "Rook", "Otter"))
    gear = day_gear(DayProblem(pilots), [25.0, 25.0, 200.0])
    answer = best_channels(gear)
    margins, stressed = margins_db(gear, range(3), answer.mhz)
    assert margins.max() > margins.min() + 1.0
    assert stressed.max() > stressed.min() + 1.0
    assert answer.worst_margin_db == pytest.approx(margins.min())
    assert answer.stressed_margin_db == pytest.approx(stressed.min())
