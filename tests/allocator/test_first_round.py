"""The first round of a day: which channels walks set out from, and how often they begin again."""

from dataclasses import dataclass

import numpy as np
import pytest

from server.allocator import anneal, first_round
from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem
from server.allocator.round_search import RoundPlan
from tests.allocator.days import equal_pilots


def search_for(count, **wishes):
    day = DayProblem(equal_pilots(count), **{"time_limit_s": None, "aircraft": 2, **wishes})
    return DaySearch(day, [25.0] * count, lambda *_: True)


def round_with(first_channel):
    return RoundPlan(np.array([0, 0]), np.array([first_channel, 30]))


@dataclass
class Bound:
    """A bound that falls by one parting each time, to margins that are given."""

    falls_to_db: list[float]
    parting_db: float
    number: int = 0
    is_stuck: bool = False

    @property
    def parting(self):
        return self.number

    def lower(self, _enough_db):
        self.number += not self.is_stuck
        self.parting_db = self.falls_to_db.pop(0) if self.falls_to_db else self.parting_db


def asked_of(search, monkeypatch, bound, found_db):
    """Partings from which walks set out, when they reach these margins one after the other."""
    margins = iter(found_db)
    asked = []
    monkeypatch.setattr(type(search), "bound", bound)
    monkeypatch.setattr(search, "_worst_db", lambda one: float(one.channel[0]))
    monkeypatch.setattr(search, "_rank", lambda _rules, one: -float(one.channel[0]))
    monkeypatch.setattr(
        search,
        "_from_parting",
        lambda _rules, _channel: asked.append(bound.number) or RoundPlan(None, [next(margins)]),
    )
    best = search._from_other_partings(None, RoundPlan(None, [1.0]), None)
    return asked, float(best.channel[0])


@pytest.mark.parametrize(
    ("bound_db", "found_db", "asked", "best_db"),
    [
        (5.0, [2.0, 4.0, 3.0, 9.0], [1, 2, 3], 4.0),  # three times at most
        (5.0, [5.0], [1], 5.0),  # at the bound
        (5.0, [4.95], [1], 4.95),  # within a tenth of a decibel of it
        (5.0, [0.5, 0.4, 0.3], [1, 2, 3], 1.0),  # never worse than before
        (1.05, [], [], 1.0),
    ],
)
def test_walks_begin_anew_from_other_partings_while_the_bound_is_far(
    monkeypatch, bound_db, found_db, asked, best_db
):
    bound = Bound([], bound_db)
    assert asked_of(search_for(2), monkeypatch, bound, found_db) == (asked, best_db)


def test_the_same_parting_is_not_set_out_from_again(monkeypatch):
    assert asked_of(search_for(2), monkeypatch, Bound([], 5.0, is_stuck=True), [9.0]) == ([], 1.0)


def test_a_first_round_walks_from_every_start_and_from_a_parting_with_the_last_ones_channels(monkeypatch):
    search = search_for(2)
    walked = []
    monkeypatch.setattr(
        search, "_improve", lambda _rules, start, hottest_db: walked.append((start, hottest_db)) or start
    )
    parted = round_with(9)
    seen = []
    monkeypatch.setattr(search, "_from_parting", lambda _rules, channel: seen.append(channel) or parted)
    monkeypatch.setattr(search, "_rank", lambda _rules, one: int(one.channel[0]))
    starts = [round_with(3), round_with(5)]
    assert search._first_round(starts) is starts[0]
    assert walked == [(starts[0], anneal.HOTTEST_DB), (starts[1], anneal.HOTTEST_DB)]
    assert seen == [starts[1].channel]


def test_the_walk_from_a_parting_keeps_its_compositions_first_and_ends_cold(monkeypatch):
    search = search_for(4)
    walked = []
    start, kept = round_with(1), round_with(2)
    monkeypatch.setattr(search, "_parted_start", lambda _channel: start)
    monkeypatch.setattr(
        search,
        "_improve",
        lambda rules, one, hottest_db: walked.append((rules.kind, one, hottest_db)) or kept,
    )
    rules = search._everybody()
    assert search._from_parting(rules, start.channel) is kept
    (first_kind, *first), (second_kind, *second) = walked
    assert first == [start, anneal.HOTTEST_DB]
    assert second == [kept, anneal.MENDING_DB]
    assert (first_kind == search.bound.kinds.item_of).all()
    assert (second_kind == -1).all()
    assert anneal.MENDING_DB < anneal.HOTTEST_DB


def test_a_parted_start_need_not_be_nearer_to_the_bound_than_a_tenth_of_a_decibel(monkeypatch):
    search = search_for(4)
    seen = []
    monkeypatch.setattr(first_round, "parted_start", lambda *given: seen.append(given))
    search._parted_start(np.zeros(4, dtype=np.int64))
    *_, allowed, enough_db = seen[0]
    assert allowed.shape == (4, 2)
    assert allowed.all()
    assert enough_db == pytest.approx(search.bound.parting_db - 0.1)


def test_a_set_too_small_for_a_heat_is_left_for_all_channels_and_looked_at_once():
    search = search_for(4, aircraft=4, day_channels=(5658, 5732))
    assert search.usable is not search.gear.usable
    found = search._first_round(search._starts())
    assert search.usable is search.gear.usable
    assert search._is_sound(search._everybody(), found)


def test_fewer_channels_may_cost_just_what_the_floor_allows(monkeypatch):
    search = search_for(2)
    first, few = RoundPlan(np.array([0, 0]), np.array([3, 5])), RoundPlan(np.array([0, 1]), np.array([4, 4]))
    monkeypatch.setattr(search, "_improve", lambda _rules, start, _hottest: start)
    monkeypatch.setattr(search, "_is_sound", lambda _rules, _one: True)
    for few_db, is_taken in ((2.0, True), (2.0 - 1e-10, True), (2.0 - 1e-6, False)):
        monkeypatch.setattr(search, "_worst_db", lambda one, low=few_db: low if one is few else 9.0)
        assert (search._fewer_channels([first, few], 2.0) is few) == is_taken


def test_without_any_interference_fewer_channels_aim_at_a_load_of_one(monkeypatch):
    search = search_for(2)
    seen = []
    monkeypatch.setattr(search, "_improve", lambda rules, start, _hottest: seen.append(rules) or start)
    first = RoundPlan(np.array([0, 1]), np.array([3, 3]))
    search._fewer_channels([first], np.inf)
    assert [rules.target_load for rules in seen] == [1.0]
