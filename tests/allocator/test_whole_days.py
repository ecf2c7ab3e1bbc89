"""Days of several rounds with one channel for each pilot."""

import itertools

import numpy as np
import pytest

from server.allocator import whole_days
from server.allocator.day_rules import all_rules
from server.allocator.feasibility import RoundRules, UndecidedError
from server.allocator.holding import can_all_meet, can_hold, some_day
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import frame_of, takes_part
from server.allocator.whole_days import find_day
from tests.allocator import whole_day_peer as peer
from tests.allocator.tight_days import tight_day


def round_of(choices, heat_of, heats=2, spacing_mhz=20):
    """A round in which everybody has to fly in one heat."""
    count = len(choices)
    allowed = np.zeros((count, heats), dtype=bool)
    allowed[np.arange(count), heat_of] = True
    none = np.zeros((count, count), dtype=bool)
    return RoundRules(choices, allowed, none, none, count, spacing_mhz)


BOTH = (5700, 5800)


def test_a_channel_that_serves_the_first_round_only_is_taken_back():
    # The first round would give Wren 5700, which Coot has in the second.
    rounds = [round_of([BOTH, None, None], [0, 0, 0]), round_of([BOTH, None, (5700,)], [0, 0, 0])]
    day = find_day(rounds, keeps_channels=True)
    assert day.mhz == (5800, None, 5700)
    assert day.heat_of == ((0, 0, 0), (0, 0, 0))


def test_without_one_channel_for_all_rounds_each_round_has_its_own():
    rounds = [
        round_of([(5700, 5800), (5700,)], [0, 0]),
        round_of([(5700, 5800), (5800,)], [0, 0]),
    ]
    assert find_day(rounds, keeps_channels=False) is not None


def test_three_who_meet_in_turn_on_two_channels_have_no_day_together():
    meetings = [[0, 0, 1], [0, 1, 0], [1, 0, 0]]
    rounds = [round_of([BOTH] * 3, heat_of) for heat_of in meetings]
    assert find_day(rounds, keeps_channels=True) is None
    assert find_day(rounds, keeps_channels=False) is not None
    assert find_day(rounds[:2], keeps_channels=True) is not None


def test_a_search_for_a_day_says_when_it_does_not_know():
    # Eleven tries of three pilots: all open, one fixed (2), two fixed (4), three fixed (4).
    rounds = [round_of([BOTH] * 3, heat_of) for heat_of in ([0, 0, 1], [0, 1, 0], [1, 0, 0])]
    with pytest.raises(UndecidedError):
        find_day(rounds, keeps_channels=True, most_settled=30)
    assert find_day(rounds, keeps_channels=True, most_settled=31) is None


def test_a_round_that_is_not_decided_leaves_the_day_undecided(monkeypatch):
    def undecided(_rules):
        raise UndecidedError

    monkeypatch.setattr(whole_days, "find_round", undecided)
    for keeps in (True, False):
        with pytest.raises(UndecidedError):
            find_day([round_of([(5700,)], [0])] * 2, keeps_channels=keeps)


def test_rounds_alike_are_searched_once(monkeypatch):
    searched = []
    find_round = whole_days.find_round
    monkeypatch.setattr(whole_days, "find_round", lambda rules: (searched.append(1), find_round(rules))[1])
    find_day([round_of([(5700,), (5800,)], [0, 0])] * 6, keeps_channels=True)
    assert len(searched) == 1


@pytest.mark.parametrize("seed", range(100, 200))
def test_a_day_is_found_just_where_there_is_one_and_keeps_its_rules(seed):
    day = tight_day(seed)
    found = some_day(day)
    assert (found is not None) == peer.can_hold(day, all_rules(day)) == can_hold(day)
    if found is None:
        return
    assert all(
        mhz is None or mhz in day.choices_mhz(own) for mhz, own in zip(found.mhz, day.pilots, strict=True)
    )
    frame = frame_of(day)
    for number, heat_of in enumerate(found.heat_of, start=1):
        flying = [row for row, flies in enumerate(takes_part(day, frame, number)) if flies]
        for heat in range(frame.heats):
            members = [row for row in flying if heat_of[row] == heat]
            own = sorted(found.mhz[row] for row in members)
            assert all(high - low >= 20 for low, high in itertools.pairwise(own))
            assert day.one_heat or len(members) <= day.aircraft


def test_a_late_pilot_meets_everybody_only_in_question():
    # Coot comes late, has Wren's only channel, and there is one heat.
    pilots = (Pilot("Wren", (5700,), before=2), Pilot("Coot", (5700,), after=1))
    day = DayProblem(pilots, aircraft=2, rounds=2)
    assert can_hold(day)
    assert not can_all_meet(day)
    elsewhere = (pilots[0], Pilot("Coot", (5800,), after=1, heat=2))
    assert can_all_meet(day.with_pilots(elsewhere))


def test_no_rule_and_rules_of_nobody_can_hold():
    day = DayProblem((Pilot("Wren", ()),))
    assert can_hold(day, [])
    assert can_hold(day, [rule for rule in all_rules(day) if not rule.rows])
    assert not can_hold(day)


def test_somebody_who_is_never_there_leaves_no_day():
    day = DayProblem((Pilot("Wren", (5700,), after=9), Pilot("Rook", (5800,))), aircraft=1)
    assert some_day(day) is None
