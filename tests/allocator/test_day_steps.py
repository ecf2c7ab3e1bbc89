"""What comes after the first round of a day: room for a good mix, stressed margins, and which bound holds."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from server.allocator import day
from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem
from server.allocator.round_search import RoundPlan
from tests.allocator.days import equal_pilots


def search_for(count=4, current=(), **wishes):
    pilots = list(equal_pilots(count))
    for row, mhz in enumerate(current):
        pilots[row] = replace(pilots[row], current_mhz=mhz)
    problem = DayProblem(tuple(pilots), **{"time_limit_s": None, "aircraft": 2, "rounds": 2, **wishes})
    return DaySearch(problem, [25.0] * count, lambda *_: True)


def round_of(heat_of, channel):
    return RoundPlan(np.array(heat_of), np.array(channel))


@pytest.mark.parametrize(
    ("bound_db", "worst_db", "room_db"),
    [
        (5.0, 5.0, 2.0),
        (4.0, 5.0, 2.0),  # a bound is never below, but for rounding
        (5.5, 5.0, 1.5),
        (6.6, 5.0, 0.4),  # a fifth is left
        (9.0, 5.0, 0.4),
    ],
)
def test_a_good_mix_may_cost_what_it_is_worth_less_what_the_bound_leaves_open(
    monkeypatch, bound_db, worst_db, room_db
):
    search = search_for(mix_worth_db=2.0)
    monkeypatch.setattr(DaySearch, "bound", SimpleNamespace(margin_db=bound_db))
    assert search._room_db(worst_db) == pytest.approx(room_db)


def test_who_is_set_to_a_channel_neither_leaves_it_nor_takes_it_up():
    search = search_for(current=(5658, 5658, 5732))
    lowest, third = (int(np.searchsorted(search.gear.mhz, mhz)) for mhz in (5658, 5732))
    allowed = search._exchangeable(np.array([lowest, third, third, lowest]))
    assert not allowed[0].any()  # on the channel that is set, the very first of all
    assert set(np.flatnonzero(~allowed[1]).tolist()) == {lowest}
    assert not allowed[2].any()
    assert allowed[3].all()
    assert search.usable.all()


class Exchanges:
    """Stands for the search for a better stressed margin: loads fall step by step as is said."""

    def __init__(self, monkeypatch, loads):
        self.loads = [list(one) for one in loads]
        self.rules = None
        self.looks = 7
        monkeypatch.setattr(day, "StressedDay", self)

    def __call__(self, _gear, rules, heat_of, channel):
        self.rules, self.heat_of, self.channel = rules, heat_of[:, ::-1], channel[::-1]
        return self

    @property
    def stressed(self):
        return self.loads[0]

    def lift(self):
        if len(self.loads) > 1:
            self.loads.pop(0)
            return True
        return False


FIRST, SECOND = round_of([0, 0, 1, 1], [0, 20, 3, 30]), round_of([0, 1, 0, 1], [0, 20, 3, 30])


def test_rounds_are_exchanged_until_nothing_lifts_the_stressed_margin(monkeypatch):
    Exchanges(monkeypatch, [[0.5, 0.1], [0.4, 0.2], [0.3, 0.25]])
    lifted, words = search_for()._with_stressed_margin([FIRST, SECOND])
    assert [one.heat_of.tolist() for one in lifted] == [[1, 1, 0, 0], [1, 0, 1, 0]]
    assert [one.channel.tolist() for one in lifted] == [[30, 3, 20, 0]] * 2
    # 0.5 and 0.3 are 3.0 and 5.2 dB.
    assert len(words) == 1
    assert "3.0" in words[0]
    assert "5.2" in words[0]


@pytest.mark.parametrize("loads", [[[0.5, 0.1]], [[0.5, 0.1], [0.1, 0.5]]])
def test_rounds_stay_where_the_worst_stressed_margin_does(monkeypatch, loads):
    Exchanges(monkeypatch, loads)
    rounds = [FIRST, SECOND]
    lifted, words = search_for()._with_stressed_margin(rounds)
    assert lifted is rounds
    assert words == ()


def test_a_day_with_one_change_of_channel_stays_as_it_is(monkeypatch):
    Exchanges(monkeypatch, [[0.5], [0.3]])
    changed = replace(SECOND, channel=np.array([0, 20, 4, 30]))
    assert search_for()._with_stressed_margin([FIRST, changed]) == ([FIRST, changed], ())
    stopped = search_for()
    stopped.was_stopped = True
    assert stopped._with_stressed_margin([FIRST, SECOND]) == ([FIRST, SECOND], ())


def test_exchanges_keep_to_the_rules_of_every_round(monkeypatch):
    exchanges = Exchanges(monkeypatch, [[0.5]])
    search = search_for(rest_heats=3)
    search.together[1, 2] = search.together[2, 1] = True
    asked = []
    rules_of = search._rules
    monkeypatch.setattr(search, "_rules", lambda number: asked.append(number) or rules_of(number))
    search._with_stressed_margin([FIRST, SECOND])
    assert asked == [1, 2]
    rules = exchanges.rules
    assert rules.allowed.shape == (2, 4, 2)
    assert rules.fixed.tolist() == [False, True, True, False]
    assert rules.apart is search.apart
    assert rules.rest == 3


def test_a_caller_who_has_enough_ends_the_exchanges(monkeypatch):
    exchanges = Exchanges(monkeypatch, [[0.5], [0.4], [0.3]])
    search = search_for()
    told = []
    search.keep_going = lambda *given: told.append(given) or False
    search._with_stressed_margin([FIRST, SECOND])
    assert told == [("stressed margin", 7, None)]
    assert exchanges.loads == [[0.4], [0.3]]


@pytest.mark.parametrize(
    ("heat_of", "is_fair"),
    [([0, 0, 1, 1], True), ([0, 1, 1, 1], False), ([0, 0, 0, 1], False), ([1, 1, 1, 1], False)],
)
def test_a_round_is_fair_where_no_heat_is_smaller_or_larger_than_need_be(heat_of, is_fair):
    assert search_for(aircraft=3)._is_fair(1, round_of(heat_of, [0] * 4)) == is_fair


def test_who_sits_out_is_in_no_heat_of_a_fair_round():
    search = search_for(5, aircraft=3)
    search._rules = lambda _number: SimpleNamespace(smallest=1, largest=2)
    assert search._is_fair(2, round_of([-1, 0, 0, 1, 1], [0] * 5))
    assert not search._is_fair(2, round_of([-1, 0, 0, -1, -1], [0] * 5))


def test_unfair_rounds_have_the_bound_of_all_rounds_lowered_to_the_worst(monkeypatch):
    search = search_for(aircraft=3)
    lowered = []

    class Wider:
        margin_db = 3.5

        def __init__(self, *_given, is_fair):
            assert not is_fair

        def lower(self, enough_db):
            lowered.append(enough_db)

    monkeypatch.setattr(day, "DayBound", Wider)
    monkeypatch.setattr(DaySearch, "bound", SimpleNamespace(margin_db=8.0))
    monkeypatch.setattr(search, "_worst_db", lambda one: float(one.channel[0]))
    fair, unfair = round_of([0, 0, 1, 1], [2] * 4), round_of([0, 0, 0, 1], [1] * 4)
    assert search._bound_db([fair, fair]) == 8.0
    assert lowered == []
    assert search._bound_db([fair, unfair]) == 3.5
    assert lowered == [1.0]


def test_a_quick_look_lowers_the_bound_to_what_it_found(monkeypatch):
    search = search_for()
    lowered = []
    bound = SimpleNamespace(margin_db=6.0, lower=lowered.append)
    monkeypatch.setattr(DaySearch, "bound", bound)
    monkeypatch.setattr(search, "first_round_db", lambda: 4.0)
    assert search.first_round_margins_db() == (4.0, 6.0)
    assert lowered == [4.0]


@pytest.mark.parametrize(
    ("day_channels", "is_reduced"), [("auto", True), ("free", False), ((5658, 5917), False)]
)
def test_channels_are_made_fewer_only_where_they_are_to_be_chosen(monkeypatch, day_channels, is_reduced):
    search = search_for(day_channels=day_channels, mix_worth_db=2.0)
    free, kept, few = (round_of([0, 0, 1, 1], [row] * 4) for row in range(3))
    starts = [round_of([0, 0, 1, 1], [7] * 4), round_of([0, 0, 1, 1], [9] * 4)]
    asked, lowered, reduced = [], [], []
    search._found = (starts, free)
    monkeypatch.setattr(DaySearch, "bound", SimpleNamespace(margin_db=5.0, lower=lowered.append))
    monkeypatch.setattr(search, "_worst_db", lambda _one: 5.0)
    monkeypatch.setattr(
        search, "_from_other_partings", lambda _rules, one, at: asked.append((one, at)) or one
    )
    monkeypatch.setattr(search, "_kept_channels", lambda one: (kept, 3, ("kept",)) if one is free else None)
    monkeypatch.setattr(
        search, "_fewer_channels", lambda some, floor_db: reduced.append((some, floor_db)) or few
    )
    monkeypatch.setattr(search, "_later_rounds", lambda first, floor_db: [first, floor_db])
    monkeypatch.setattr(search, "_with_stressed_margin", lambda rounds: (rounds, ("lifted",)))
    monkeypatch.setattr(search, "_bound_db", lambda _rounds: 5.5)
    answer = search.run()
    assert asked == [(free, starts[1].channel)]
    assert lowered == [5.0]
    assert answer.rounds == (few if is_reduced else kept, 3.0)
    assert reduced == ([([kept, *starts], 3.0)] if is_reduced else [])
    assert (answer.moves, answer.notes, answer.bound_db) == (3, ("kept", "lifted"), 5.5)
