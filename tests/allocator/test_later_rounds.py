"""The later rounds of a day one by one: where walks set out, how hot, and when channels may change."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator import anneal, later_rounds
from server.allocator.day import DaySearch
from server.allocator.errors import Cancelled
from server.allocator.problem import DayProblem
from server.allocator.round_search import RoundPlan
from tests.allocator.days import equal_pilots


def search_for(count=4, **wishes):
    day = DayProblem(equal_pilots(count), **{"time_limit_s": None, "aircraft": 2, "rounds": 2, **wishes})
    return DaySearch(day, [25.0] * count, lambda *_: True)


def round_of(heat_of, channel=None):
    return RoundPlan(np.array(heat_of), np.array(channel or range(len(heat_of))))


def test_who_may_not_fly_in_the_heat_of_before_comes_into_the_first_that_is_allowed():
    search = search_for(6)
    allowed = np.ones((6, 3), dtype=bool)
    allowed[0, 0] = allowed[1, 0] = allowed[1, 1] = False
    rules = search._rules(2)._replace(allowed=allowed)
    assert search._fitted(np.array([0, 0, 2, -1, 1, 2]), rules).tolist() == [1, 2, 2, 0, 1, 2]


def test_walks_of_a_later_round_begin_at_four_repeated_pairings(monkeypatch):
    search = search_for()
    walked = []
    monkeypatch.setattr(search, "_improve", lambda _rules, start, hottest: walked.append((start, hottest)))
    first = round_of([0, 0, 1, 1])
    search._improve_heats(search._rules(2), np.array([1, 0, 1, 0]), first)
    ((start, hottest_db),) = walked
    assert hottest_db == pytest.approx(4 * 0.05)
    assert start.heat_of.tolist() == [1, 0, 1, 0]
    assert start.channel is first.channel


class Rounds:
    """A search whose later rounds are as good as is said: kept on their channels, or with changes of channel."""

    def __init__(self, monkeypatch, kept_db, retuned_db, first_db=10.0, price_db=3.0):
        self.search = search_for(retune_worth_db=price_db)
        self.asked = []
        self.of_margin = {}
        self.first = self.plan(first_db)
        found = {None: kept_db}

        def rounds(_first, _floor_db, enough_db):
            self.asked.append(enough_db)
            margins_db = found.get(enough_db, retuned_db)
            return None if margins_db is None else [self.plan(one) for one in margins_db]

        monkeypatch.setattr(self.search, "_rounds", rounds)
        monkeypatch.setattr(self.search, "_worst_db", lambda one: self.of_margin[id(one)][1])

    def plan(self, margin_db):
        one = round_of([0, 0, 1, 1])
        self.of_margin[id(one)] = (one, margin_db)
        return one

    def margins_db(self):
        return [self.of_margin[id(one)][1] for one in self.search._later_rounds(self.first, 0.0)]


@pytest.mark.parametrize(
    ("kept_db", "retuned_db", "margins_db", "asked"),
    [
        ([10.0, 8.0], None, [10.0, 8.0], [None]),  # the first round itself is not 3 dB better
        ([10.0, 7.0], [10.0, 10.0], [10.0, 10.0], [None, 10.0]),  # just the price
        ([10.0, 7.0], [10.0, 9.9], [10.0, 7.0], [None, 10.0]),  # less than the price
        ([10.0, 2.0], [10.0, 5.0], [10.0, 5.0], [None, 5.0]),
        ([10.0, 2.0], None, [10.0, 2.0], [None, 5.0]),
        (None, [10.0, -30.0], [10.0, -30.0], [None, -np.inf]),
    ],
)
def test_channels_change_between_rounds_where_that_is_worth_its_price(
    monkeypatch, kept_db, retuned_db, margins_db, asked
):
    rounds = Rounds(monkeypatch, kept_db, retuned_db)
    assert rounds.margins_db() == margins_db
    assert rounds.asked == asked


def test_no_rounds_at_all_are_told(monkeypatch):
    with pytest.raises(Cancelled, match="no heats were found for all rounds"):
        Rounds(monkeypatch, None, None).margins_db()


def test_rounds_are_as_many_as_the_day_has(monkeypatch):
    search = search_for(rounds=3)
    first = round_of([0, 0, 1, 1])
    monkeypatch.setattr(search, "_rested_round", lambda _rules, rounds, _base: round_of([len(rounds)] * 4))
    found = search._rounds(first, 2.0, None)
    assert [one.heat_of[0] for one in found] == [0, 1, 2]
    monkeypatch.setattr(search, "_rested_round", lambda *_given: None)
    assert search._rounds(first, 2.0, None) is None


def test_a_floor_without_interference_is_a_load_of_one(monkeypatch):
    search = search_for()
    seen = []
    monkeypatch.setattr(search, "_rested_round", lambda rules, rounds, _base: seen.append(rules) or rounds[0])
    for floor_db, load in ((np.inf, 1.0), (10.0, 0.1)):
        search._rounds(round_of([0, 0, 1, 1]), floor_db, None)
        assert seen[-1].target_load == pytest.approx(load)


@pytest.mark.parametrize(
    ("one_db", "enough_db", "found", "wishes"),
    [
        (4.0, 4.0, None, []),  # good enough on the channels of before
        (3.9, 4.0, (None, "free"), ["rested", "free"]),
        (3.9, 4.0, ("rested", "free"), ["rested"]),
        (3.9, None, None, []),
    ],
)
def test_a_round_may_change_channels_with_rest_first_and_then_without(
    monkeypatch, one_db, enough_db, found, wishes
):
    search = search_for()
    kept = round_of([0, 1, 0, 1])
    answers = {"rested": round_of([1, 0, 1, 0]), "free": round_of([1, 1, 0, 0])}
    asked, limits = [], []

    def retuned(rules, _before, _one, limit_db):
        asked.append(rules)
        limits.append(limit_db)
        return answers.get(found[len(asked) - 1])

    monkeypatch.setattr(search, "_rested_round", lambda *_given: kept)
    monkeypatch.setattr(search, "_worst_db", lambda _one: one_db)
    monkeypatch.setattr(search, "_rested", lambda _rules, _before: "rested")
    monkeypatch.setattr(search, "_retuned_round", retuned)
    rounds = search._rounds(round_of([0, 0, 1, 1]), 2.0, enough_db)
    assert ["rested" if one == "rested" else "free" for one in asked] == wishes
    assert limits == [enough_db] * len(wishes)
    assert rounds[1] is (answers[wishes[-1]] if wishes else kept)


def test_a_round_that_cannot_be_without_changes_has_to_reach_a_margin_all_the_same(monkeypatch):
    search = search_for()
    limits = []
    monkeypatch.setattr(search, "_rested_round", lambda *_given: None)
    monkeypatch.setattr(search, "_retuned_round", lambda *given: limits.append(given[3]))
    assert search._rounds(round_of([0, 0, 1, 1]), 2.0, -np.inf) is None
    assert limits == [-40.0, -40.0]


class Halving:
    """A walk that is good enough from so many changes of channel on, and then makes some of them."""

    def __init__(self, monkeypatch, needed, count=8, made=None):
        self.search = search_for(count)
        self.asked = []
        self.before = round_of([row % (count // 2) for row in range(count)])
        monkeypatch.setattr(self.search, "_improve", self.walk)
        monkeypatch.setattr(self.search, "_is_sound", lambda _rules, _one: True)
        monkeypatch.setattr(self.search, "_worst_db", lambda one: 5.0 if self.changes(one) >= needed else 4.9)
        self.made = made or (lambda changes: changes)

    def changes(self, one):
        return int((one.channel != self.before.channel).sum())

    def walk(self, rules, start, hottest_db):
        assert (start.heat_of == self.before.heat_of).all()
        assert (hottest_db, rules.can_retune) == (anneal.HOTTEST_DB, True)
        assert rules.target_load == pytest.approx(10**-0.5)
        assert rules.current is self.before.channel
        self.asked.append(rules.most_changes)
        channel = start.channel.copy()
        channel[: self.made(rules.most_changes)] += 10
        return RoundPlan(start.heat_of, channel)

    def run(self):
        return self.search._retuned_round(self.search._rules(2), self.before, None, 5.0)


@pytest.mark.parametrize(
    ("needed", "asked"),
    [(0, [8, 4, 2, 1, 0]), (1, [8, 4, 2, 1, 0]), (3, [8, 4, 2, 3]), (5, [8, 4, 6, 5]), (8, [8, 4, 6, 7])],
)
def test_the_fewest_changes_of_channel_are_found_by_halving(monkeypatch, needed, asked):
    halving = Halving(monkeypatch, needed)
    assert halving.changes(halving.run()) == needed
    assert halving.asked == asked


def test_fewer_changes_than_were_allowed_are_taken_at_their_number(monkeypatch):
    halving = Halving(monkeypatch, 2, made=lambda changes: min(changes, 3))
    assert halving.changes(halving.run()) == 2
    assert halving.asked == [8, 1, 2]


def test_where_all_may_change_and_it_is_not_enough_no_fewer_are_tried(monkeypatch):
    halving = Halving(monkeypatch, 9)
    assert halving.run() is None
    assert halving.asked == [8]


def test_nobody_changes_for_a_round_in_which_somebody_may_fly_nowhere():
    search = search_for(2)
    rules = search._rules(2)._replace(allowed=np.array([[False], [True]]))
    assert search._retuned_round(rules, round_of([0, 0]), None, 5.0) is None


def starts_of(monkeypatch, search, rounds):
    seen = []
    monkeypatch.setattr(
        search, "_later_round", lambda rules, starts, _first: seen.append((rules, starts)) or rounds[-1]
    )
    search._rested_round(search._rules(2), rounds, rounds[0])
    return seen


def test_a_round_after_one_that_somebody_missed_starts_from_the_first_too(monkeypatch):
    # Two heats of three: rest is kept first.
    search = search_for(6, aircraft=3)
    first = round_of([0, 0, 0, 1, 1, 1])
    missed = replace(first, heat_of=np.array([0, 0, -1, 1, 1, 1]))
    assert len(starts_of(monkeypatch, search, [first])[0][1]) == 3
    assert len(starts_of(monkeypatch, search, [first, missed])[0][1]) == 4


def test_rest_is_left_out_where_heats_are_as_large_as_there_are_heats(monkeypatch):
    rested = search_for(6, aircraft=3, rest_heats=1)
    assert rested.frame.largest != rested.frame.heats
    first = round_of([0, 0, 0, 1, 1, 1])
    assert not starts_of(monkeypatch, rested, [first])[0][0].allowed.all()
    square = search_for(4, aircraft=2, rest_heats=1)
    assert starts_of(monkeypatch, square, [round_of([0, 0, 1, 1])])[0][0].allowed.all()


def test_a_sound_walk_is_taken_before_any_search_for_heats(monkeypatch):
    search = search_for()
    first = round_of([0, 0, 1, 1], [0, 30, 0, 30])
    monkeypatch.setattr(later_rounds, "find_round", lambda _rules: pytest.fail("was sound already"))
    walks = {0: round_of([0, 1, 1, 0], [0, 30, 0, 30]), 1: first}
    monkeypatch.setattr(search, "_improve_heats", lambda _rules, start, _first: walks[int(start[0])])
    monkeypatch.setattr(search, "_rank", lambda _rules, one: 0 if one is first else 1)
    rules = search._rules(2)._replace(can_retune=False)
    assert search._later_round(rules, [np.zeros(4), np.ones(4)], first) is first


def test_meetings_count_rounds_and_nobody_meets_on_the_ground():
    search = search_for()
    met = search._meetings([round_of([0, 0, 1, -1]), round_of([0, 0, -1, -1])])
    assert [met[0, 1], met[0, 2], met[2, 3], met[3, 3], met[2, 2]] == [2, 0, 0, 0, 1]


def test_who_comes_within_the_first_round_flies_in_it():
    late = replace(equal_pilots(4)[3], after=1)  # for the second of the first round's two heats
    day = DayProblem((*equal_pilots(3), late), aircraft=2, rounds=2)
    search = DaySearch(day, [25.0] * 4, lambda *_: True)
    assert search._without_absent(round_of([0, 0, 1, 1])).heat_of.tolist() == [0, 0, 1, 1]
