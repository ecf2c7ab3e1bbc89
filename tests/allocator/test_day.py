"""The search for a whole day: rules that hold through all rounds, channels that stay, opponents that mix."""

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest

from server.allocator import anneal, round_search
from server.allocator.checks import faults_of
from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem, Pilot
from server.allocator.round_search import RoundPlan
from server.allocator.solve import plan_day, warm_up
from server.radio.interference import Station, heat_margins, site_ceiling_db
from server.radio.site import Site
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned

NAMES = ("Wren", "Rook", "Coot", "Otter", "Sorrel", "Magpie", "Umber", "Teasel")


def roster(count, **rules):
    """Pilots of all bands; rules by callsign."""
    return tuple(Pilot(name, ALL_BANDS, **rules.get(name, {})) for name in NAMES[:count])


def day_of(count, rules=None, **wishes):
    return DayProblem(roster(count, **(rules or {})), time_limit_s=None, **wishes)


def search_for(day):
    return DaySearch(day, [pilot.power_at(25.0) for pilot in day.pilots], lambda *_: True)


def flights(plan, name):
    return [heat.number for heat in plan.heats if name in {slot.callsign for slot in heat.slots}]


def channels_of(plan):
    return {slot.callsign: slot.mhz for heat in plan.heats for slot in heat.slots}


# Rules through the rounds


def test_pilots_who_fly_together_do_so_in_every_round():
    day = day_of(8, {"Wren": {"together": frozenset({"Coot"})}}, aircraft=4, rounds=4)
    plan = plan_day(day)
    assert flights(plan, "Wren") == flights(plan, "Coot")
    assert faults_of(plan, day) == ()


def test_pilots_apart_never_meet_in_any_round():
    apart = {"Wren": {"apart": frozenset({"Rook"})}, "Coot": {"spotter": "Otter"}}
    plan = plan_day(day_of(6, apart, aircraft=3, rounds=5))
    assert not set(flights(plan, "Wren")) & set(flights(plan, "Rook"))
    assert not set(flights(plan, "Coot")) & set(flights(plan, "Otter"))


@pytest.mark.parametrize(
    ("rules", "rounds_flown"),
    [
        ({"after": 2}, [2, 3]),
        ({"after": 3}, [2, 3]),
        ({"before": 5}, [1, 2]),
        ({"before": 4}, [1, 2]),
        ({"after": 1, "before": 4}, [1, 2]),
        ({"after": 4}, [3]),
    ],
)
def test_a_pilot_flies_once_in_every_round_of_the_own_time(rules, rounds_flown):
    day = day_of(6, {"Wren": rules}, aircraft=3, rounds=3)
    plan = plan_day(day)
    own = flights(plan, "Wren")
    assert [(number + 1) // 2 for number in own] == rounds_flown
    assert all(number > rules.get("after", 0) and number < rules.get("before", 99) for number in own)
    assert faults_of(plan, day) == ()


@pytest.mark.parametrize("heat", [1, 2, 3, 4])
def test_a_heat_that_is_set_is_flown_in_whichever_round(heat):
    plan = plan_day(day_of(6, {"Wren": {"heat": heat}}, aircraft=3, rounds=2))
    assert heat in flights(plan, "Wren")


@pytest.mark.parametrize(("rest_heats", "rounds"), [(0, 3), (1, 4), (2, 4)])
def test_rest_is_kept_between_flights_across_rounds(rest_heats, rounds):
    pilots = equal_pilots(12)
    plan = plan_day(DayProblem(pilots, aircraft=4, rounds=rounds, rest_heats=rest_heats, time_limit_s=None))
    for pilot in pilots:
        own = flights(plan, pilot.callsign)
        assert all(later - earlier > rest_heats for earlier, later in pairwise(own))


def test_more_rest_than_a_round_can_give_is_as_much_as_it_can():
    pilots = equal_pilots(8)
    plan = plan_day(DayProblem(pilots, aircraft=4, rounds=3, rest_heats=9, time_limit_s=None))
    for pilot in pilots:
        assert [later - earlier for earlier, later in pairwise(flights(plan, pilot.callsign))] == [2, 2]


def test_new_opponents_come_before_rest_where_heats_are_no_larger_than_rounds_are_long():
    # Three heats of three: everybody can meet everybody anew, but only if each heat takes one of each before.
    plan = plan_day(DayProblem(equal_pilots(9), aircraft=3, rounds=3, rest_heats=2, time_limit_s=None))
    assert plan.repeat_pairings == 0


def test_a_later_round_that_cannot_hold_is_told_in_words():
    # Heat 3 is the first of the second round; the first round is sound.
    rules = {
        "Wren": {"heat": 3, "apart": frozenset({"Rook"})},
        "Rook": {"heat": 3},
    }
    plan = plan_day(day_of(4, rules, aircraft=2, rounds=2))
    assert plan.status == "infeasible"
    assert plan.conflicts[0].explanation.endswith("are set for heat 3.")


def test_where_the_walk_finds_no_sound_round_a_search_does(monkeypatch):
    # Without a single step everything rests on the starts, and each of them puts two into heat 3 who are apart.
    monkeypatch.setattr(anneal, "improve", no_steps(anneal.improve))
    rules = {
        "Wren": {"heat": 3, "apart": frozenset({"Rook", "Coot"})},
        "Rook": {"apart": frozenset({"Otter"})},
    }
    search = search_for(day_of(4, rules, aircraft=3, rounds=2))
    first = RoundPlan(np.array([1, 0, 0, 1]), np.array([0, 0, 20, 30]))
    second = search._rules(2)._replace(can_retune=False)
    found = search._later_round(second, [np.array([0, 0, 0, 1]), np.array([0, 0, 1, 1])], first)
    assert found is not None
    assert found.heat_of.tolist() == [0, 1, 1, 0]


def no_steps(improve):
    def at_once(gear, rules, heats, heat_of, channel, steps, from_db, to_db, random):
        return improve(gear, rules, heats, heat_of, channel, 0, from_db, to_db, random)

    return at_once


# Numbers


def test_margins_of_a_heat_are_those_of_the_radio_model():
    day = day_of(7, {"Rook": {"antenna": "lhcp", "rx_antenna": "lhcp"}}, aircraft=4, rounds=2)
    search = search_for(day)
    answer = search.run()
    margins = []
    for one in answer.rounds:
        for heat in range(answer.frame.heats):
            rows = np.flatnonzero(one.heat_of == heat)
            stations = [
                Station(
                    day.pilots[row].callsign,
                    int(answer.gear.mhz[one.channel[row]]),
                    25.0,
                    day.pilots[row].antenna,
                    day.pilots[row].rx_antenna,
                )
                for row in rows
            ]
            truth = heat_margins(stations, day.site).worst_margin_db
            assert search.heat_margin_db(one, heat) == pytest.approx(truth)
            margins.append(truth)
    assert min(margins) <= answer.bound_db + 1e-9


def test_a_heat_of_fewer_than_two_has_no_margin():
    day = day_of(3, aircraft=2)
    search = search_for(day)
    one = RoundPlan(np.array([0, 0, 1]), np.array([0, 20, 5]))
    assert search.heat_margin_db(one, 1) == np.inf
    assert np.isfinite(search.heat_margin_db(one, 0))


def test_a_quick_look_finds_margin_and_bound_of_one_round():
    margin, bound = search_for(day_of(8, aircraft=4)).first_round_margins_db()
    assert bound == pytest.approx(site_ceiling_db(4, Site()))
    assert bound - 0.01 <= margin <= bound + 1e-9


def test_everybody_alone_has_no_margin_and_no_bound():
    plan = plan_day(day_of(3, aircraft=1, rounds=2))
    assert (plan.status, plan.worst_margin_db, plan.bound_db, plan.gap_db) == ("optimal", None, None, None)
    assert [len(heat.slots) for heat in plan.heats] == [1] * 6


def test_steps_are_counted_as_nodes():
    told = []
    search = DaySearch(
        day_of(4, aircraft=2), [25.0] * 4, lambda stage, nodes, _: told.append((stage, nodes)) or True
    )
    search.run()
    steps = [nodes for stage, nodes in told if stage == "heats of the day"]
    assert steps == sorted(steps)
    assert steps[-1] == search.steps_done > 0
    assert steps[0] <= round_search.CHUNK_STEPS


@pytest.mark.parametrize("looks", [1, 5])
def test_a_search_that_is_stopped_keeps_every_hard_rule(looks):
    left = [looks]

    def keep_going(*_):
        left[0] -= 1
        return left[0] > 0

    rules = {"Wren": {"together": frozenset({"Rook"})}, "Coot": {"apart": frozenset({"Otter"})}}
    day = day_of(8, rules, aircraft=3, rounds=2)
    search = DaySearch(day, [25.0] * 8, keep_going)
    answer = search.run()
    assert search.was_stopped
    for one in answer.rounds:
        assert one.heat_of[0] == one.heat_of[1]
        assert one.heat_of[2] != one.heat_of[3]
        assert np.bincount(one.heat_of).max() <= 3


# Channels that are set


def set_to(pilots, mhz):
    return tuple(replace(pilot, current_mhz=own) for pilot, own in zip(pilots, mhz, strict=True))


def test_a_plan_as_good_as_it_gets_moves_nobody():
    best = plan_day(day_of(8, aircraft=4))
    pilots = tuple(replace(pilot, current_mhz=channels_of(best)[pilot.callsign]) for pilot in roster(8))
    again = plan_day(DayProblem(pilots, aircraft=4, rounds=2, time_limit_s=None))
    assert (again.moves, again.retunes) == (0, 0)
    assert channels_of(again) == channels_of(best)


def test_what_is_kept_for_less_than_the_price_is_told():
    # The even comb of band R is 1.7 dB below the best for four.
    pilots = set_to(equal_pilots(4), (5658, 5695, 5732, 5769))
    plan = plan_day(DayProblem(pilots, aircraft=4, time_limit_s=None, common_power_mw=25.0))
    assert plan.moves == 0
    assert plan.worst_margin_db < 3.2
    note = next(note for note in plan.search_notes if note.startswith("Channels already set were kept"))
    assert "instead of 0 would lift the worst margin by" in note
    assert "less than the 3 dB" in note


@pytest.mark.parametrize(("price_db", "is_moved"), [(1.0, True), (1.7, True), (1.8, False), (3.0, False)])
def test_the_price_of_a_retune_is_the_days(price_db, is_moved):
    # The even comb of band R is 1.7 dB below the best for four.
    pilots = set_to(equal_pilots(4), (5658, 5695, 5732, 5769))
    plan = plan_day(DayProblem(pilots, aircraft=4, retune_worth_db=price_db, time_limit_s=None))
    assert (plan.moves > 0) == is_moved


def test_one_move_is_made_where_one_is_enough():
    # Three sit well; P03 sits 20 MHz beside P02.
    pilots = set_to(equal_pilots(4), (5658, 5732, 5845, 5865))
    plan = plan_day(DayProblem(pilots, aircraft=4, time_limit_s=None))
    assert plan.moves == 1
    assert plan.worst_margin_db > 2.5


def test_a_channel_out_of_use_is_no_reason_to_move_anybody_else():
    pilots = set_to(equal_pilots(4), (5658, 5732, 5806, 5880))
    plan = plan_day(DayProblem(pilots, aircraft=4, bans_mhz=(5880,), time_limit_s=None))
    # The gear of one is set to what may not be used: that pilot has to move and is not counted as set.
    assert {name: mhz for name, mhz in channels_of(plan).items() if name != "P03"} == {
        "P00": 5658,
        "P01": 5732,
        "P02": 5806,
    }


# The day's set


def test_no_more_channels_than_fly_at_once_with_equal_gear():
    plan = plan_day(DayProblem(equal_pilots(10), aircraft=4, rounds=2, time_limit_s=None))
    assert len(plan.day_channels_mhz) == 4


def test_an_extra_channel_is_used_only_where_the_gear_needs_it():
    pilots = (*equal_pilots(7), Pilot("Otter", (5720,)))
    plan = plan_day(DayProblem(pilots, aircraft=4, time_limit_s=None))
    assert 5720 in plan.day_channels_mhz
    assert len(plan.day_channels_mhz) <= 5


def test_free_channels_are_not_reduced(monkeypatch):
    def never(*_):
        raise AssertionError("channels were reduced")

    warm_up()  # plans days of its own, where channels are reduced
    monkeypatch.setattr(DaySearch, "_fewer_channels", never)
    plan_day(DayProblem(equal_pilots(6), aircraft=3, day_channels="free", time_limit_s=None))
    plan_day(DayProblem(equal_pilots(6), aircraft=3, day_channels=tuned("R"), time_limit_s=None))


def test_fewer_channels_cost_no_more_than_the_mix_is_worth():
    pilots = (*equal_pilots(5), *(Pilot(f"R{row}", tuned("R")) for row in range(5)))
    free = plan_day(DayProblem(pilots, aircraft=5, day_channels="free", time_limit_s=None))
    few = plan_day(DayProblem(pilots, aircraft=5, time_limit_s=None))
    assert len(few.day_channels_mhz) <= len(free.day_channels_mhz)
    assert few.worst_margin_db >= free.worst_margin_db - 0.5 - 1e-6


def test_a_fixed_set_too_small_for_a_heat_is_left_by_some():
    day = DayProblem(equal_pilots(4), aircraft=4, day_channels=(5658, 5880), time_limit_s=None)
    plan = plan_day(day)
    assert faults_of(plan, day) == ()
    assert len({slot.mhz for slot in plan.heats[0].slots}) == 4
    assert any("outside the day's set" in warning for warning in plan.warnings)


def test_good_margins_do_not_hide_a_broken_rule():
    # 5658 and 5705 are closer than wanted, yet past the end of the protection ratio: the margin is as good as any.
    day = DayProblem(
        equal_pilots(3),
        aircraft=3,
        minimum_spacing_mhz=60,
        day_channels=(5658, 5705, 5780),
        time_limit_s=None,
    )
    assert faults_of(plan_day(day), day) == ()


def test_a_fixed_set_binds_whoever_has_a_channel_of_it():
    pilots = (*equal_pilots(3), Pilot("Otter", (5720, 5740)), Pilot("Umber", (5732, 5740)))
    day = DayProblem(pilots, aircraft=3, day_channels=(5658, 5732, 5806, 5880), time_limit_s=None)
    plan = plan_day(day)
    assert channels_of(plan)["Umber"] == 5732
    assert [warning.split()[0] for warning in plan.warnings] == ["Otter"]


# Opponents


def test_meetings_are_counted_over_all_rounds():
    search = search_for(day_of(4, aircraft=2, rounds=2))
    rounds = [
        RoundPlan(np.array([0, 0, 1, -1]), np.zeros(4, dtype=np.int64)),
        RoundPlan(np.array([0, 0, 1, 1]), np.zeros(4, dtype=np.int64)),
    ]
    met = search._meetings(rounds)
    assert (met[0, 1], met[1, 0], met[2, 3], met[0, 2], met[3, 0]) == (2, 2, 1, 0, 0)


@pytest.mark.parametrize("heats", [3, 4, 5])
def test_turned_rounds_meet_nobody_twice_where_heats_are_a_prime_power(heats):
    count = heats * heats
    search = search_for(DayProblem(equal_pilots(count), aircraft=heats, time_limit_s=None))
    first = RoundPlan(np.arange(count) % heats, np.arange(count) // heats)
    met = np.zeros((count, count), dtype=int)
    for shift in range(heats):
        turned = search._turned(first, shift)[0]
        assert np.bincount(turned).tolist() == [heats] * heats
        met += turned[:, np.newaxis] == turned[np.newaxis, :]
    assert max(met[x, y] for x, y in combinations(range(count), 2)) == 1


def test_a_turned_round_leaves_the_absent_out():
    search = search_for(day_of(4, aircraft=2))
    first = RoundPlan(np.array([0, -1, 1, 0]), np.array([0, 1, 2, 3]))
    assert search._turned(first, 1)[0].tolist() == [0, -1, 1, 1]


def test_opponents_mix_as_far_as_the_numbers_go():
    # Eight pilots in two heats of four: in two rounds each heat keeps two pairs at least, four in all.
    plan = plan_day(DayProblem(equal_pilots(8), aircraft=4, rounds=2, rest_heats=0, time_limit_s=None))
    assert plan.repeat_pairings == 4


def test_a_large_day_is_not_searched_longer_than_the_most_steps():
    search = search_for(DayProblem(equal_pilots(100), aircraft=4, time_limit_s=None))
    before = search.steps_done
    search._improve(search._everybody(), search._starts()[0], 1.0)
    chunks = -(-round_search.MOST_STEPS // round_search.CHUNK_STEPS)
    assert search.steps_done - before == chunks * round_search.CHUNK_STEPS
