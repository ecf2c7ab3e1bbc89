"""The parts of the search for a day one by one: starts, rules of a round, prices of moves, how a walk cools."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from server.allocator import anneal, later_rounds, round_search
from server.allocator.day import DaySearch
from server.allocator.feasibility import UndecidedError
from server.allocator.problem import DayProblem, Pilot
from server.allocator.round_search import RoundPlan
from server.allocator.schedule import Frame, heat_sizes
from server.allocator.solve import plan_day
from server.allocator.starts import places_start, spaced_start
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned
from tests.benchmarks.mixed_roster import mixed_day

SEED_OF_ONE = 0x9E3779B97F4A7C15 + 1


def search_for(*pilots, **wishes):
    day = DayProblem(tuple(pilots), **{"time_limit_s": None, **wishes})
    return DaySearch(day, [pilot.power_at(25.0) for pilot in day.pilots], lambda *_: True)


def index_of(search, mhz):
    return int(np.searchsorted(search.gear.mhz, mhz))


def round_of(search, heat_of, mhz):
    return RoundPlan(np.array(heat_of), np.array([index_of(search, one) for one in mhz]))


def mhz_of(search, one):
    return search.gear.mhz[one.channel].tolist()


# Starts


def test_a_start_of_a_sound_round_has_spaced_channels_in_every_heat():
    pilots = [Pilot(f"P{row}", (5700, 5710, 5730)) for row in range(3)]
    pilots += [Pilot("P3", (5710, 5800)), Pilot("P4", (5700,)), Pilot("P5", (5700, 5720))]
    search = search_for(*pilots, aircraft=2)
    start = spaced_start(search, [0, 1, 0, 1, 2, 2])
    mhz = mhz_of(search, start)
    assert start.heat_of.tolist() == [0, 1, 0, 1, 2, 2]
    assert all(own in pilot.channels_mhz for own, pilot in zip(mhz, pilots, strict=True))
    for x, y in combinations(range(6), 2):
        assert start.heat_of[x] != start.heat_of[y] or abs(mhz[x] - mhz[y]) >= 20


def test_a_start_within_a_set_too_small_takes_what_there_is():
    search = search_for(*equal_pilots(3), aircraft=3, day_channels=(5658, 5732))
    assert mhz_of(search, spaced_start(search, [0, 0, 0])) == [5658] * 3


def test_places_are_dealt_over_the_heats_and_hold_one_channel_each():
    search = search_for(*equal_pilots(6), aircraft=3)
    start = places_start(search, [0, 0, 0, 1, 1, 1])
    assert sorted(start.heat_of.tolist()) == [0, 0, 0, 1, 1, 1]
    for heat in (0, 1):
        channels = start.channel[start.heat_of == heat].tolist()
        assert len(set(channels)) == 3
    assert len(set(start.channel.tolist())) == 3


def test_who_fits_in_no_place_gets_the_own_channel_nearest_to_one():
    # One heat of two: the places hold two of band R, Otter has channels of its own.
    pilots = [*equal_pilots(2, (5658, 5917)), Pilot("Otter", (5700, 5760, 5890))]
    search = search_for(*pilots, aircraft=2)
    search.frame = replace(search.frame, heats=1, largest=2)
    assert mhz_of(search, places_start(search, [0, 0, 0]))[2] == 5890


def test_pilots_who_belong_together_stay_in_the_heat_of_a_sound_round():
    pilots = [*equal_pilots(4)]
    pilots[0] = replace(pilots[0], together=frozenset({"P03"}))
    search = search_for(*pilots, aircraft=2)
    start = places_start(search, [1, 0, 0, 1])
    assert (start.heat_of[0], start.heat_of[3]) == (1, 1)


def test_a_first_round_is_the_better_of_the_walks_from_both_starts():
    search = search_for(*equal_pilots(4), aircraft=2)
    starts = search._starts()
    assert len(starts) == 2
    found = search._first_round(starts)
    assert search._worst_db(found) == pytest.approx(8.0, abs=1e-3)
    assert all(search._worst_db(found) >= search._worst_db(start) - 1e-9 for start in starts)


# Rules of a round


def test_without_somebody_a_heat_may_be_one_short_and_others_full():
    late = Pilot("Otter", ALL_BANDS, after=3)
    search = search_for(*equal_pilots(6), late, aircraft=3, rounds=2)
    first, second = search._rules(1), search._rules(2)
    assert (first.smallest, first.largest, first.capacity) == (1, 3, 3)
    assert (second.smallest, second.largest) == (2, 3)
    assert first.takes_part.tolist() == [True] * 6 + [False]
    assert not first.met.any()
    assert (first.target_load, first.repeat_price, first.most_changes, first.can_retune) == (
        0.0,
        0.0,
        7,
        True,
    )


def test_channels_are_chosen_as_if_everybody_was_there():
    late = Pilot("Otter", ALL_BANDS, after=3)
    search = search_for(*equal_pilots(6), late, aircraft=3, rounds=2)
    rules = search._everybody()
    assert rules.takes_part.all()
    assert rules.allowed.all()
    assert (rules.smallest, rules.largest) == (2, 3)


def test_a_first_round_is_flown_without_those_who_come_later():
    late = Pilot("Otter", ALL_BANDS, after=2)
    search = search_for(*equal_pilots(3), late, aircraft=2, rounds=2)
    one = round_of(search, [0, 0, 1, 1], [5658, 5917, 5658, 5917])
    assert search._without_absent(one).heat_of.tolist() == [0, 0, 1, -1]


def test_heats_are_fitted_to_who_may_fly_where():
    rules = [{}, {"after": 3}, {"before": 4}, {"before": 3}]
    pilots = [replace(pilot, **own) for pilot, own in zip(equal_pilots(4), rules, strict=True)]
    search = search_for(*pilots, aircraft=2, rounds=2)
    second = search._rules(2)
    # Heats 3 and 4: P01 only in the fourth, P02 only in the third, P03 in neither.
    free = search._rules(1)
    assert search._fitted(
        np.array([1, 0, 1, 0]), free._replace(allowed=np.ones((4, 2), dtype=bool))
    ).tolist() == [1, -1, 1, 0]
    assert search._fitted(np.array([0, 0, 1, 1]), second).tolist() == [0, 1, 0, -1]
    assert search._fitted(np.array([1, -1, 0, -1]), second).tolist() == [1, 1, 0, -1]


def test_rules_of_a_later_round_bind_those_who_take_part_and_their_channels():
    pilots = [replace(pilot) for pilot in equal_pilots(4)]
    pilots[0] = replace(pilots[0], apart=frozenset({"P01", "P03"}), together=frozenset({"P02"}))
    pilots[3] = replace(pilots[3], before=3, together=frozenset({"P01"}))
    search = search_for(*pilots, aircraft=3, rounds=2)
    first = round_of(search, [0, 1, 0, 1], [5658, 5695, 5732, 5769])
    rules = search._fixed_rules(search._rules(2), first)
    assert rules.choices == [(5658,), (5695,), (5732,), None]
    assert [set(np.flatnonzero(row).tolist()) for row in rules.apart] == [{1}, {0}, set(), set()]
    assert [set(np.flatnonzero(row).tolist()) for row in rules.together] == [{2}, set(), {0}, set()]
    assert rules.allowed.all()
    assert (rules.capacity, rules.spacing_mhz) == (3, 20)


def test_a_later_round_that_is_not_decided_is_not_claimed(monkeypatch):
    def undecided(_rules):
        raise UndecidedError

    search = search_for(*equal_pilots(4), aircraft=2, rounds=2)
    first = round_of(search, [0, 0, 1, 1], [5658, 5658, 5658, 5658])  # close in every pairing
    monkeypatch.setattr(later_rounds, "find_round", undecided)
    rules = search._rules(2)._replace(can_retune=False)
    assert search._later_round(rules, [first.heat_of], first) is None


def test_a_later_round_in_which_somebody_may_fly_nowhere_is_none():
    search = search_for(*equal_pilots(2), aircraft=1, rounds=2)
    first = round_of(search, [0, 1], [5658, 5658])
    rules = search._rules(2)._replace(allowed=np.array([[True, True], [False, False]]))
    assert search._later_round(rules, [first.heat_of], first) is None


def test_later_rounds_count_whom_everybody_has_met_and_start_from_turned_ones(monkeypatch):
    search = search_for(*equal_pilots(6), aircraft=2, rounds=3, rest_heats=0)
    seen = []
    monkeypatch.setattr(
        search,
        "_later_round",
        lambda rules, starts, first: seen.append((rules, starts)) or RoundPlan(starts[0], first.channel),
    )
    first = round_of(search, [0, 1, 2, 0, 1, 2], [5658, 5658, 5658, 5917, 5917, 5917])
    rounds = search._later_rounds(first, 2.0)
    assert [heats_of(one) for one in rounds[1:]] == [{(0, 5), (1, 3), (2, 4)}, {(0, 4), (1, 5), (2, 3)}]
    assert seen[0][0].met[0, 3] == 1
    assert (seen[1][0].met[0, 3], seen[1][0].met[0, 5], seen[1][0].met[0, 4]) == (1, 1, 0)
    assert len(seen[1][1]) == 3
    assert heats_of(RoundPlan(seen[1][1][2], first.channel)) == {(0, 5), (1, 3), (2, 4)}  # the round before
    rules = seen[0][0]
    assert (rules.can_retune, rules.channel_price) == (False, 0.0)
    assert rules.target_load == pytest.approx(10**-0.2)
    assert rules.repeat_price > 0


def heats_of(one):
    """Who flies with whom, in no order."""
    return {tuple(np.flatnonzero(one.heat_of == heat).tolist()) for heat in set(one.heat_of.tolist())}


# Bounds


def test_the_fullest_round_bounds_the_day():
    # Two fly the second round, two the first and the third, four the last.
    rules = [{}, {}, {"after": 3}, {"after": 3}]
    pilots = [replace(pilot, **own) for pilot, own in zip(equal_pilots(4), rules, strict=True)]
    search = search_for(*pilots, aircraft=4, rounds=4)
    assert search.bound.margin_db == pytest.approx(8.0 - 10 * np.log10(3), abs=0.01)
    early = [
        replace(pilot, before=2 if own else None) for pilot, own in zip(equal_pilots(4), rules, strict=True)
    ]
    search = search_for(*early, aircraft=4, rounds=4)
    assert search.bound.margin_db == pytest.approx(8.0 - 10 * np.log10(3), abs=0.01)
    before = [
        replace(pilot, before=1 if own else None) for pilot, own in zip(equal_pilots(4), rules, strict=True)
    ]
    search = search_for(*before, aircraft=4, rounds=2)  # two who never come
    assert search.bound.margin_db == pytest.approx(8.0)


# Moves and their price


def four_set_to(*mhz, **wishes):
    channels = (*ALL_BANDS, *[one for one in mhz if one])
    pilots = [Pilot(f"P{row}", tuple(sorted(set(channels))), current_mhz=own) for row, own in enumerate(mhz)]
    return search_for(*pilots, aircraft=4, **wishes)


def test_a_move_is_a_channel_other_than_the_one_that_is_set():
    search = four_set_to(5658, 5732, None, 5880)
    lowest = search.gear.mhz[0]
    assert lowest == 5658  # the very first channel counts as any other
    moved = round_of(search, [0] * 4, [5695, 5732, 5806, 5885])
    assert search._moves(moved.channel) == 2
    assert search._changed(moved.channel) == [0, 3]
    assert search._moves(round_of(search, [0] * 4, [5658, 5732, 5806, 5880]).channel) == 0


def test_who_cannot_use_the_channel_that_is_set_cannot_be_sent_back_to_it():
    # 5880 is known through another pilot.
    pilots = [Pilot("Wren", (5658, 5732), current_mhz=5880), Pilot("Rook", (5880, 5800), current_mhz=5880)]
    search = search_for(*pilots, aircraft=2)
    one = round_of(search, [0, 0], [5658, 5800])
    assert search._moves(one.channel) == 2
    assert search._changed(one.channel) == [1]


@pytest.mark.parametrize("most", [0, 1, 2, 3])
def test_no_more_than_so_many_are_moved(most):
    search = four_set_to(5658, 5678, 5700, 5725)
    free = search._first_round(search._starts())
    found = search._with_at_most(most, free)
    assert found is not None
    assert search._moves(found.channel) <= most


def test_where_hard_rules_need_more_moves_there_is_no_such_round():
    search = four_set_to(5658, 5665, 5732, 5880)  # two of them 7 MHz apart
    free = search._first_round(search._starts())
    assert search._with_at_most(0, free) is None
    assert search._with_at_most(1, free) is not None


def test_channels_are_sent_back_before_the_walk_begins(monkeypatch):
    search = four_set_to(5658, 5732, 5806, 5880)
    monkeypatch.setattr(search, "_improve", lambda _rules, start, _hottest: start)
    free = round_of(search, [0] * 4, [5695, 5740, 5845, 5917])
    assert mhz_of(search, search._with_at_most(1, free)) == [5695, 5732, 5806, 5880]
    assert mhz_of(search, search._with_at_most(0, free)) == [5658, 5732, 5806, 5880]


class Ladder(DaySearch):
    """A search in which a number of moves is a margin, so that prices can be read off."""

    def __init__(self, margins_db, price_db=3.0, free_moves=None):
        super().__init__(
            DayProblem(equal_pilots(2), retune_worth_db=price_db, aircraft=2), [25.0, 25.0], lambda *_: True
        )
        self.margins_db = margins_db
        self.asked = 0

    def _moves(self, channel):
        return int(channel[0])

    def _worst_db(self, one):
        return self.margins_db[int(one.channel[0])]

    def _with_at_most(self, changes, _start):
        self.asked += 1
        return rung(changes) if self.margins_db[changes] is not None else None


def rung(moves):
    return RoundPlan(np.array([0, 0]), np.array([moves, 0]))


@pytest.mark.parametrize(
    ("margins_db", "price_db", "moves"),
    [
        ([1.0, 2.0, 3.0, 3.9], 3.0, 0),  # all three moves together lift by less than 3 dB
        ([1.0, 2.0, 3.0, 4.0], 3.0, 3),  # just 3 dB
        ([1.0, 4.0, 4.1, 4.2], 3.0, 1),  # the first move brings it, the others nothing
        ([1.0, 2.0, 4.5, 5.0], 3.0, 2),
        ([1.0, 4.5, 5.0, 7.6], 3.0, 3),  # one move for 3.5 dB, two more for 3.1
        ([1.0, 4.5, 5.0, 7.4], 3.0, 1),
        ([1.0, 2.0, 3.0, 3.9], 1.0, 2),  # a move for each decibel, but not for nine tenths of one
        ([np.inf, np.inf, np.inf, np.inf], 3.0, 0),
    ],
)
def test_moves_are_as_few_as_lift_the_margin_by_their_price(margins_db, price_db, moves):
    kept, count, _ = Ladder(margins_db, price_db)._kept_channels(rung(len(margins_db) - 1))
    assert count == moves == kept.channel[0]


def test_fewer_moves_are_looked_for_by_halving():
    ladder = Ladder([1.0 + moves / 10 for moves in range(65)], price_db=6.0)
    assert ladder._kept_channels(rung(64))[1] == 60
    assert ladder.asked <= 1 + 2 * 6


def test_where_nothing_is_moved_there_is_nothing_to_keep():
    free = rung(0)
    assert Ladder([1.0])._kept_channels(free) == (free, 0, ())
    one = rung(1)
    assert Ladder([None, 4.0])._kept_channels(one) == (one, 1, ())


@pytest.mark.parametrize(("gain_db", "is_told"), [(0.04, False), (0.06, True), (2.9, True)])
def test_what_moving_would_bring_is_told_from_a_twentieth_of_a_decibel_on(gain_db, is_told):
    _, moves, notes = Ladder([1.0, 1.0, 1.0 + gain_db])._kept_channels(rung(2))
    assert moves == 0
    assert bool(notes) == is_told
    if is_told:
        assert f"moving 2 pilots instead of 0 would lift the worst margin by {gain_db:.1f} dB" in notes[0]


def test_what_was_worth_its_price_is_not_told_as_kept():
    _, moves, notes = Ladder([1.0, 5.0])._kept_channels(rung(1))
    assert (moves, notes) == (1, ())


# The day's set


def test_fewer_channels_are_taken_only_at_the_margin_wanted_and_with_no_more_moves(monkeypatch):
    search = search_for(*equal_pilots(4, (5658, 5695, 5732, 5800, 5880)), aircraft=2)
    first = round_of(search, [0, 0, 1, 1], [5658, 5880, 5695, 5800])
    few = round_of(search, [0, 0, 1, 1], [5658, 5880, 5658, 5880])
    near = round_of(search, [0, 0, 1, 1], [5658, 5695, 5658, 5695])  # as few, but 2.4 dB worse
    close = round_of(search, [0, 0, 1, 1], [5658, 5658, 5880, 5880])  # breaks the spacing
    found = {id(first): few}
    monkeypatch.setattr(search, "_improve", lambda _rules, start, _hottest: found.get(id(start), start))
    floor_db = search._worst_db(few) - 0.5
    assert search._fewer_channels([first, near, close], floor_db) is few
    found[id(first)] = near
    assert search._fewer_channels([first], floor_db) is first
    found[id(first)] = close
    assert search._fewer_channels([first], floor_db) is first
    assert search._fewer_channels([first, near], -10.0) is not first


def test_of_as_few_channels_those_of_the_better_margin_are_taken(monkeypatch):
    search = search_for(*equal_pilots(4, (5658, 5695, 5732, 5800, 5880)), aircraft=2)
    near = round_of(search, [0, 0, 1, 1], [5658, 5695, 5658, 5695])
    few = round_of(search, [0, 0, 1, 1], [5658, 5880, 5658, 5880])
    first = round_of(search, [0, 0, 1, 1], [5658, 5880, 5695, 5800])
    monkeypatch.setattr(search, "_improve", lambda _rules, start, _hottest: start)
    assert search._fewer_channels([first, near, few], -10.0) is few


def test_a_day_of_single_pilots_needs_one_channel():
    plan = plan_day(DayProblem(equal_pilots(3), aircraft=1, time_limit_s=None))
    assert len(plan.day_channels_mhz) == 1


def test_rules_for_fewer_channels_keep_the_moves_and_price_channels(monkeypatch):
    search = four_set_to(5658, 5732, 5806, None)
    seen = []
    monkeypatch.setattr(
        search, "_improve", lambda rules, start, hottest: seen.append((rules, hottest)) or start
    )
    first = round_of(search, [0] * 4, [5695, 5732, 5806, 5880])
    search._fewer_channels([first], search._worst_db(first) - 0.5)
    rules, hottest = seen[0]
    assert rules.most_changes == 1
    assert rules.channel_price == hottest == 1.0
    assert rules.target_load == pytest.approx(10 ** (-(search._worst_db(first) - 0.5) / 10))


# The walk


def recorded(search, monkeypatch):
    calls = []
    improve = anneal.improve

    def record(gear, rules, heats, heat_of, channel, steps, from_db, to_db, random):
        calls.append((steps, from_db, to_db))
        return improve(gear, rules, heats, heat_of, channel, steps, from_db, to_db, random)

    monkeypatch.setattr(anneal, "improve", record)
    return calls


@pytest.mark.parametrize(("count", "steps"), [(2, 4000), (20, 10_000), (100, 40_000)])
def test_a_walk_cools_evenly_from_the_hottest_to_the_coldest_in_pieces(monkeypatch, count, steps):
    search = search_for(*equal_pilots(count, tuned("R")), aircraft=4)
    calls = recorded(search, monkeypatch)
    search._improve(search._everybody(), spaced_start(search, [row % 4 for row in range(count)]), 3.0)
    assert steps <= sum(call[0] for call in calls) < steps + round_search.CHUNK_STEPS
    assert {call[0] for call in calls} == {round_search.CHUNK_STEPS}
    assert calls[0][1] == 3.0
    assert calls[-1][2] == pytest.approx(anneal.COLDEST_DB)
    ratios = [to_db / from_db for _, from_db, to_db in calls]
    assert ratios == pytest.approx([ratios[0]] * len(calls))
    assert [to_db for *_, to_db in calls[:-1]] == pytest.approx([from_db for _, from_db, _ in calls[1:]])


def test_a_walk_leaves_its_start_alone():
    search = search_for(*equal_pilots(4, tuned("R")), aircraft=2)
    start = round_of(search, [0, 0, 1, 1], [5658, 5695, 5658, 5695])
    search._improve(search._everybody(), start, 3.0)
    assert start.heat_of.tolist() == [0, 0, 1, 1]
    assert mhz_of(search, start) == [5658, 5695, 5658, 5695]


def test_a_walk_that_is_stopped_looks_no_further(monkeypatch):
    search = search_for(*equal_pilots(4), aircraft=2)
    search.keep_going = lambda *_: False
    calls = recorded(search, monkeypatch)
    start = spaced_start(search, [0, 0, 1, 1])
    search._improve(search._everybody(), start, 3.0)
    search._improve(search._everybody(), start, 3.0)
    assert len(calls) == 1
    assert search.was_stopped


def test_a_caller_that_stopped_the_search_is_not_asked_again():
    search = search_for(*equal_pilots(2), aircraft=2)
    asked = []
    search.keep_going = lambda *given: asked.append(given) or False
    assert search._go_on("stage", 7, None) is False
    assert search._go_on("stage", 8, None) is False
    assert asked == [("stage", 7, None)]
    search = search_for(*equal_pilots(2), aircraft=2)
    assert search._go_on("stage", 7, 1.5) is True


def test_a_rank_is_the_broken_rules_then_the_energy_as_it_stands_then_the_margin():
    search = search_for(*equal_pilots(4), aircraft=2)
    rules = search._everybody()
    sound = round_of(search, [0, 0, 1, 1], [5658, 5917, 5658, 5917])
    close = round_of(search, [0, 0, 1, 1], [5658, 5665, 5658, 5917])
    state = search.random.copy()
    broken, energy, margin = search._rank(rules, sound)
    assert (broken, margin) == (0.0, -search._worst_db(sound))
    assert energy < anneal.UNEQUAL
    assert search._rank(rules, close)[0] == 1.0
    assert (sound.heat_of.tolist(), mhz_of(search, sound)) == ([0, 0, 1, 1], [5658, 5917, 5658, 5917])
    assert (search.random == state).all()


def test_a_seed_is_where_the_random_numbers_begin():
    assert int(search_for(*equal_pilots(2)).random[0]) == SEED_OF_ONE
    assert int(search_for(*equal_pilots(2), seed=5).random[0]) == SEED_OF_ONE + 4


def test_prices_stand_in_their_order():
    # A broken rule before size, size before margins, a channel more or less before a repeated pairing.
    assert anneal.HARD > anneal.UNEQUAL > anneal.HOTTEST_DB > anneal.COLDEST_DB > 0
    assert (
        round_search.REDUCING_CHANNEL_PRICE_DB
        > round_search.REPEAT_PRICE_DB
        > round_search.FIRST_CHANNEL_PRICE_DB
        > 0
    )


@pytest.mark.parametrize(
    ("present", "sizes"), [(55, (5, 6)), (54, (4, 6)), (50, (4, 6)), (49, (3, 6)), (9, (0, 6))]
)
def test_heats_are_even_with_everybody_there_and_one_short_at_most_without(present, sizes):
    frame = Frame(heats=10, smallest=5, largest=6)
    assert heat_sizes(frame, present, 55) == sizes


@pytest.mark.parametrize("seed", [8, 49])
def test_rounds_without_those_who_left_are_as_good_as_the_full_one(seed):
    """Pilots leave after the first round; the heats that stay could fly on as they are."""
    day = mixed_day(seed)
    plan = plan_day(day)
    worst = [
        min(heat.worst_margin_db for heat in plan.heats if heat.round == number)
        for number in range(1, day.rounds + 1)
    ]
    assert min(worst) >= worst[0] - day.mix_worth_db
