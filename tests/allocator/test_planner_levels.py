"""The common level of power of a plan: which levels are walked, and which of those as good is taken."""

import pytest

from server.allocator import planner
from server.allocator.power import power_level
from server.allocator.problem import Pilot
from tests.allocator.days import ALL_BANDS, equal_pilots
from tests.allocator.test_planner import day_of, planner_of, undecided


class Levels:
    """Searches of a day whose bounds and margins can be read off, by level."""

    def __init__(self, monkeypatch, asked, found_db):
        self.walked = []
        self.found_db = found_db
        monkeypatch.setattr(asked, "_day_search", self.search)
        monkeypatch.setattr(planner, "can_all_meet", lambda _problem: True)

    def search(self, level):
        bound_db, margin_db = self.found_db[level]
        walked = self.walked

        class Search:
            class bound:
                pass

            def first_round_db(self):
                walked.append(level)
                return margin_db

        Search.bound.margin_db = bound_db
        return Search()


@pytest.mark.parametrize(
    ("found_db", "margins_db", "walked"),
    [
        ([(8.0, 7.0), (9.0, 6.0)], [7.0, 6.0], [1, 0]),
        ([(5.0, 4.0), (9.0, 6.0)], [None, 6.0], [1]),
        ([(9.0, 6.0), (5.0, 4.0)], [6.0, None], [0]),
        ([(9.0, 6.0), (5.0, 4.0), (7.0, 6.5)], [6.0, None, 6.5], [0, 2]),
    ],
)
def test_levels_that_cannot_be_as_good_are_not_walked(monkeypatch, found_db, margins_db, walked):
    asked = planner_of(day_of(*equal_pilots(2)))
    levels = Levels(monkeypatch, asked, dict(enumerate(found_db)))
    found = asked._day_margins_at(range(len(found_db)))
    assert [one if one > -100 else None for one in found] == margins_db
    assert levels.walked == walked


def test_the_lowest_level_is_taken_among_those_as_good(monkeypatch):
    pilots = (
        Pilot(name, ALL_BANDS, (25.0, 200.0), gain_dbi=gain) for name, gain in (("Wren", 0), ("Rook", 1))
    )
    day = day_of(*pilots, common_power_mw="auto")
    asked = planner_of(day)
    levels = planner.levels_to_try(day)
    assert len(levels) > 1
    for margins_db, place in (([7.0, 7.0], 0), ([3.0, 7.0], 1), ([7.0, 3.0], 0)):
        monkeypatch.setattr(asked, "_margins_at", lambda _levels, found=margins_db: found)
        assert asked._level() == levels[place]
    tie_db = planner.SAME_LEVEL_DB
    for below_db, place in ((tie_db, 0), (tie_db * 1.01, 1)):
        monkeypatch.setattr(asked, "_margins_at", lambda _levels, low=below_db: [0.0 - low, 0.0])
        assert asked._level() == levels[place]


def test_a_day_in_which_not_all_can_meet_takes_the_lowest_level(monkeypatch):
    asked = planner_of(day_of(*equal_pilots(2)))
    for answer in (lambda _problem: False, undecided):
        monkeypatch.setattr(planner, "can_all_meet", answer)
        assert asked._margins_at([1, 2, 3]) == [0.0, 0.0, 0.0]


def test_given_heats_are_compared_by_their_worst(monkeypatch):
    day = day_of(*equal_pilots(3), heats_given=(("P00", "P01"), ("P02",)))
    asked = planner_of(day)
    found = {(("P00", "P01"), "low"): 3.0, (("P02",), "low"): 5.0}
    found |= {(("P00", "P01"), "high"): 9.0, (("P02",), "high"): 1.0}
    monkeypatch.setattr(asked, "_first_stage_db", lambda heat, level: found[tuple(heat), level])
    assert asked._margins_at(["low", "high"]) == [3.0, 1.0]


def test_a_first_look_takes_an_eighth_of_the_nodes_and_counts_them(monkeypatch):
    seen = []
    whole = planner.best_worst_margin

    def look(gear, nodes, *rest):
        seen.append((len(gear.sense), nodes))
        return whole(gear, nodes, *rest)

    monkeypatch.setattr(planner, "best_worst_margin", look)
    asked = planner_of(day_of(*equal_pilots(4), node_limit=8_000))
    asked.nodes = 7
    margin_db = asked._first_stage_db(["P01", "P03"], power_level(asked.problem, 25.0))
    assert seen == [(2, 1000)]
    assert margin_db == pytest.approx(8.0)  # 28 dB of selectivity less the 20 dB of the distances
    assert asked.nodes > 7
