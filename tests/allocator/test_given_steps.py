"""Channels of given heats step by step: the order of the heats, their nodes, single moves."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator import given
from server.allocator.given import channels_for_heats
from server.allocator.heat import HeatAnswer
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear

FEW = (5658, 5690, 5725, 5760, 5800, 5850)


def day_of(*channels, **wishes):
    pilots = tuple(Pilot(f"P{row}", own) for row, own in enumerate(channels))
    return DayProblem(pilots, **{"time_limit_s": None, **wishes})


def gear_of_day(day):
    return day_gear(day, [25.0] * len(day.pilots))


def answer_for(day, heats):
    return channels_for_heats(day, heats, [25.0] * len(day.pilots), lambda *_: True)


def test_no_lasting_channels_leave_the_channels_as_they_are():
    # Any two of the three can fly together, but not all pairs on channels that last.
    day = day_of(*[(5658, 5850)] * 3)
    channel = np.array([-1, 1, -1])
    heats = [[0, 1], [1, 2], [2, 0]]
    assert given._hold_channels(day, gear_of_day(day), heats, channel) is False
    assert channel.tolist() == [-1, 1, -1]
    answer = answer_for(day, heats)
    assert answer.retunes >= 1
    assert [abs(a - b) for a, b in answer.mhz] == [192] * 3


def test_lasting_channels_are_set_in_place_for_those_who_fly():
    day = day_of((5658, 5850), (5658,), (5690,))
    channel = np.array([-1, -1, -1])
    assert given._hold_channels(day, gear_of_day(day), [[0, 1]], channel) is True
    assert channel.tolist() == [2, 0, -1]


def noted(monkeypatch):
    """Who was searched, for how many nodes, and within which set of channels."""
    seen = []
    whole = given.best_channels

    def note(gear, indifference_db, nodes, *rest):
        seen.append((gear.usable.sum(axis=1).tolist(), nodes, gear.mhz[gear.in_day_set].tolist()))
        return whole(gear, indifference_db, nodes, *rest)

    monkeypatch.setattr(given, "best_channels", note)
    return seen


@pytest.mark.parametrize(("node_limit", "share"), [(1_000, 250), (1_003, 250), (4, 1), (1, 1)])
def test_the_nodes_are_shared_by_every_heat_alone_and_beside_the_others(monkeypatch, node_limit, share):
    seen = noted(monkeypatch)
    answer_for(day_of(FEW, FEW, FEW, FEW, node_limit=node_limit), [[0, 1], [2, 3]])
    assert [nodes for _, nodes, _ in seen] == [share] * 4


def test_the_heat_whose_pilots_fly_most_often_is_settled_first_and_then_in_order(monkeypatch):
    seen = noted(monkeypatch)
    # P3 flies twice, in the last two heats; of these the earlier one first.
    day = day_of(FEW[:1], FEW[1:3], FEW[3:], FEW)
    given._on_one_channel(
        day, gear_of_day(day), [[0], [1, 3], [2, 3]], np.array([1, 1, 1, 2]), lambda *_: True
    )
    assert [usable for usable, _, _ in seen] == [[2, 6], [3, 1], [1]]


@pytest.mark.parametrize(
    ("day_channels", "sets"),
    [
        ("free", [FEW, FEW]),
        ("auto", [FEW, (5658, 5850)]),
        ((5690, 5760), [(5690, 5760), (5690, 5760)]),
    ],
)
def test_a_later_heat_prefers_the_channels_in_use(monkeypatch, day_channels, sets):
    day = day_of(FEW, FEW, FEW, FEW, day_channels=day_channels)
    seen = noted(monkeypatch)
    given._on_one_channel(day, gear_of_day(day), [[0, 1], [2, 3]], np.ones(4), lambda *_: True)
    assert [tuple(mhz) for _, _, mhz in seen] == sets


def test_the_bound_is_of_the_worst_heat_and_all_must_be_exact(monkeypatch):
    answers = iter(
        [(5.0, True, 10), (3.0, True, 20), (9.0, True, 40), (9.0, False, 80)]  # alone, then beside the others
    )

    def best(gear, *_rest):
        bound_db, is_exact, nodes = next(answers)
        mhz = (5658, 5850) if len(gear.sense) == 2 else (5658,)
        return HeatAnswer(mhz, bound_db, bound_db, bound_db, True, True, is_exact, nodes)

    monkeypatch.setattr(given, "best_channels", best)
    answer = answer_for(day_of(FEW, FEW, FEW), [[0, 1], [2]])
    assert (answer.bound_db, answer.is_exact, answer.nodes) == (3.0, False, 150)
    assert [one.nodes for one in answer.alone] == [10, 20]


class Moves:
    """Single moves where the margins of two heats can be read off the channels of two pilots."""

    def __init__(self, monkeypatch, margins_db, current=(-1, -1)):
        day = day_of(FEW[:3], FEW[:3])
        self.gear = gear_of_day(day)._replace(current=np.array(current))
        monkeypatch.setattr(
            given,
            "heat_margins_db",
            lambda _gear, _heats, _same, at: margins_db.get(tuple(at.tolist()), [0.0, 0.0]),
        )

    def end(self, channel, price_db=3.0):
        channel = np.array(channel)
        given._move_single_pilots(self.gear, [[0], [1]], channel, price_db)
        return channel.tolist()


def test_pilots_move_one_after_the_other_until_nothing_is_better(monkeypatch):
    margins_db = {
        (0, 0): [1.0, 5.0],
        (1, 0): [2.0, 5.0],
        (1, 2): [4.0, 5.0],
        (0, 2): [3.0, 5.0],
        (2, 2): [4.0, 6.0],
    }
    assert Moves(monkeypatch, margins_db).end([0, 0]) == [2, 2]


def test_a_better_second_heat_counts_where_the_worst_is_the_same(monkeypatch):
    assert Moves(monkeypatch, {(0, 0): [5.0, 1.0], (1, 0): [1.0, 5.5]}).end([0, 0]) == [1, 0]
    assert Moves(monkeypatch, {(0, 0): [5.0, 1.0], (1, 0): [1.0, 5.0]}).end([0, 0]) == [0, 0]


@pytest.mark.parametrize(("lifted_db", "end"), [(4.0, [1, 0]), (3.9, [0, 0])])
def test_who_is_set_moves_for_the_price_of_a_retune(monkeypatch, lifted_db, end):
    margins_db = {(0, 0): [1.0, 9.0], (1, 0): [lifted_db, 9.0]}
    assert Moves(monkeypatch, margins_db, current=(0, -1)).end([0, 0]) == end
    assert Moves(monkeypatch, margins_db, current=(2, -1)).end([0, 0]) == [1, 0]


def test_who_flies_in_no_heat_is_not_tried(monkeypatch):
    moves = Moves(monkeypatch, {(-1, 0): [1.0, 1.0], (-1, 1): [2.0, 2.0], (1, 1): [9.0, 9.0]})
    assert moves.end([-1, 0]) == [-1, 1]


def test_no_channel_that_is_not_usable_is_tried(monkeypatch):
    moves = Moves(monkeypatch, {(0, 0): [1.0, 1.0], (1, 0): [2.0, 2.0], (2, 0): [3.0, 3.0]})
    moves.gear = moves.gear._replace(usable=np.array([[True, True, False], [True] * 3]))
    assert moves.end([0, 0]) == [1, 0]


def test_pilots_are_moved_only_where_somebody_flies_again(monkeypatch):
    moved = []
    monkeypatch.setattr(given, "_move_single_pilots", lambda *given_: moved.append(given_[3]))
    day = replace(day_of(FEW, FEW, FEW), retune_worth_db=2.5)
    answer_for(day, [[0, 1], [2]])
    assert moved == []
    answer_for(day, [[0, 1], [1, 2]])
    assert moved == [2.5]
