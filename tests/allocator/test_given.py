"""Heats that are given: who flies with whom stays, everybody keeps one channel, and what is proved is true."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from server.allocator.checks import faults_of
from server.allocator.given import channels_for_heats
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import margins_db
from server.allocator.solve import plan_day
from tests.allocator import brute_force
from tests.allocator.brute_force import Entry
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned

FEW = (5658, 5690, 5725, 5760, 5800, 5850)


def answer_for(day, heats, powers=None):
    return channels_for_heats(day, heats, powers or [25.0] * len(day.pilots), lambda *_: True)


def mhz_of(answer):
    return [int(answer.gear.mhz[f]) if f >= 0 else None for f in answer.channel]


def worst_db(answer, heats):
    return min(
        float(margins_db(answer.gear, heat, answer.gear.mhz[answer.channel[list(heat)]])[0].min())
        for heat in heats
    )


def few(count, **gear):
    return DayProblem(tuple(Pilot(f"P{row}", FEW, **gear) for row in range(count)), time_limit_s=None)


def test_heats_without_repeats_get_what_each_has_by_itself():
    day = replace(few(6), day_channels="free")
    answer = answer_for(day, [[0, 1, 2], [3, 4, 5]])
    assert not answer.is_repeated
    for heat, alone in zip([[0, 1, 2], [3, 4, 5]], answer.alone, strict=True):
        assert tuple(answer.gear.mhz[answer.channel[heat]]) == alone.mhz
        assert alone.is_exact


def test_each_heat_by_itself_is_as_enumeration_finds_it():
    pilots = (
        Pilot("Wren", FEW[:4], current_mhz=5690),
        Pilot("Rook", FEW[1:], (200.0,), antenna="lhcp", rx_antenna="lhcp"),
        Pilot("Coot", FEW, pin_mhz=(5658, 5850)),
    )
    day = DayProblem(pilots, day_channels="free", time_limit_s=None)
    answer = answer_for(day, [[0, 1, 2]], [25.0, 200.0, 25.0])
    entries = [
        Entry("Wren", FEW[:4], 25, current_mhz=5690),
        Entry("Rook", FEW[1:], 200, "lhcp", "lhcp"),
        Entry("Coot", (5658, 5850)),
    ]
    verdict = brute_force.best(entries)
    assert mhz_of(answer) == list(verdict.mhz)
    assert answer.bound_db == pytest.approx(verdict.best_worst_db, abs=1e-6)


def test_the_bound_is_that_of_the_worst_heat_alone():
    day = DayProblem(
        (*equal_pilots(4), *(Pilot(f"R{row}", tuned("R")) for row in range(4))), time_limit_s=None
    )
    answer = answer_for(day, [[0, 1, 2], [4, 5, 6, 7], [3]])
    assert answer.bound_db == pytest.approx(3.22, abs=0.005)
    assert [len(alone.mhz) for alone in answer.alone] == [3, 4, 1]


def test_a_pilot_in_no_heat_has_no_channel():
    assert mhz_of(answer_for(few(3), [[0, 2]]))[1] is None


def test_a_later_heat_stays_within_the_channels_of_those_before():
    answer = answer_for(few(6), [[0, 1, 2], [3, 4, 5]])
    assert len(set(mhz_of(answer))) == 3
    assert worst_db(answer, [[0, 1, 2], [3, 4, 5]]) >= answer.bound_db - 0.5 - 1e-9


def test_a_fixed_set_of_channels_is_preferred_from_the_first_heat_on():
    day = replace(few(3), day_channels=(5690, 5760, 5850))
    assert set(mhz_of(answer_for(day, [[0, 1, 2]]))) == {5690, 5760, 5850}


def test_without_care_for_channels_each_heat_takes_what_serves_it_best():
    # The second heat hears a transmitter that the first does not, so its own best channels are others.
    pilots = tuple(Pilot(f"P{row}", ALL_BANDS, (600.0,) if row < 4 else (25.0,)) for row in range(8))
    day = DayProblem(pilots, day_channels="free", time_limit_s=None)
    powers = [600.0] * 4 + [25.0] * 4
    answer = answer_for(day, [[0, 1, 2, 3], [4, 5, 6, 7]], powers)
    for heat, alone in zip([[0, 1, 2, 3], [4, 5, 6, 7]], answer.alone, strict=True):
        assert tuple(answer.gear.mhz[answer.channel[heat]]) == alone.mhz


def test_pilots_who_fly_again_keep_their_channel_and_no_single_move_would_help():
    heats = [[0, 1], [1, 2], [2, 3], [3, 0]]
    answer = answer_for(few(4), heats)
    assert answer.is_repeated
    channel = answer.channel.copy()
    best = sorted_margins(answer, heats, channel)
    assert best[0] > -np.inf
    for pilot in range(4):
        for f in range(len(FEW)):
            moved = channel.copy()
            moved[pilot] = f
            assert sorted_margins(answer, heats, moved) <= best


def sorted_margins(answer, heats, channel):
    margins = []
    for heat in heats:
        mhz = answer.gear.mhz[channel[heat]]
        if any(abs(a - b) < 20 for a, b in itertools.combinations(mhz.tolist(), 2)):
            return [-np.inf]
        margins.append(round(float(margins_db(answer.gear, heat, mhz)[0].min()), 3))
    return sorted(margins)


def test_few_moves_reach_what_enumeration_of_all_channels_reaches():
    heats = [[0, 1], [1, 2], [2, 0]]
    answer = answer_for(few(3), heats)
    best = max(
        min(sorted_margins(answer, heats, np.array(channel)))
        for channel in itertools.product(range(len(FEW)), repeat=3)
    )
    assert worst_db(answer, heats) == pytest.approx(best, abs=0.001)


def test_who_flies_most_often_chooses_first():
    # P0 flies three times, and only one of the two channels serves all three heats.
    pilots = (
        Pilot("P0", (5658, 5720)),
        Pilot("P1", (5720, 5800)),
        Pilot("P2", (5710, 5720)),
        Pilot("P3", (5720,)),
    )
    day = DayProblem(pilots, time_limit_s=None)
    heats = [[0, 1], [0, 2], [0, 3]]
    assert mhz_of(answer_for(day, heats))[0] == 5658


def test_where_heats_one_by_one_lead_nowhere_lasting_channels_are_found_all_the_same():
    # The first heat alone would put P0 on 5658 and P1 on 5850; then P2, on 5850 only, could not fly with P1.
    pilots = (
        Pilot("P0", (5658, 5760)),
        Pilot("P1", (5690, 5850)),
        Pilot("P2", (5850,)),
        Pilot("P3", (5658,)),
    )
    day = DayProblem(
        pilots,
        heats_given=(("P0", "P1"), ("P1", "P2"), ("P0", "P3")),
        time_limit_s=None,
    )
    answer = answer_for(day, [[0, 1], [1, 2], [0, 3]])
    assert mhz_of(answer) == [5760, 5690, 5850, 5658]
    assert faults_of(plan_day(day), day) == ()


def test_a_heat_of_a_plan_is_proved_just_where_it_has_its_own_best_channels():
    names = (("P0", "P1", "P2"), ("P3", "P4", "P5"))
    proved = plan_day(replace(few(6), day_channels="free", heats_given=names))
    assert [heat.proved for heat in proved.heats] == [True, True]
    assert (proved.status, proved.moves) in (("optimal", 0), ("feasible", 0))
    assert "The channels of each are the best by all six stages." in proved.search_notes[0]
    clash = (("P0", "P1"), ("P1", "P2"), ("P2", "P0"))
    kept = plan_day(replace(few(3), heats_given=clash))
    assert not all(heat.proved for heat in kept.heats)
    assert "not proved" in kept.search_notes[0]


def test_rules_of_who_flies_when_do_not_bind_given_heats():
    pilots = (
        Pilot("P0", FEW, after=3, together=frozenset({"P2"})),
        Pilot("P1", FEW, before=1, heat=2),
        Pilot("P2", FEW),
    )
    day = DayProblem(pilots, heats_given=(("P0", "P1"), ("P2",)), time_limit_s=None)
    plan = plan_day(day)
    assert [len(heat.slots) for heat in plan.heats] == [2, 1]
    assert faults_of(plan, day) == ()


def test_two_who_must_be_apart_cannot_be_given_one_heat():
    pilots = (Pilot("P0", FEW, apart=frozenset({"P1"})), Pilot("P1", FEW))
    plan = plan_day(DayProblem(pilots, heats_given=(("P1",), ("P0", "P1")), time_limit_s=None))
    assert plan.status == "infeasible"
    assert plan.conflicts[0].rules[0] == "P0 and P1 never share a heat"


def test_rounds_of_given_heats_count_how_often_their_pilots_have_flown():
    names = (("P0", "P1"), ("P2", "P3"), ("P0", "P2"), ("P1",), ("P0", "P3"))
    plan = plan_day(replace(few(4), heats_given=names))
    assert [heat.round for heat in plan.heats] == [1, 1, 2, 2, 3]
    assert plan.repeat_pairings == 0


def test_pairs_that_meet_again_and_channels_that_change_are_counted():
    pilots = (
        *(replace(pilot, current_mhz=5658) for pilot in few(3).pilots[:2]),
        Pilot("P2", FEW),
    )
    names = (("P0", "P1", "P2"), ("P0", "P1"), ("P1", "P0"))
    plan = plan_day(DayProblem(pilots, heats_given=names, time_limit_s=None))
    assert plan.repeat_pairings == 2
    assert (plan.moves, plan.retunes) == (1, 0)


def test_single_moves_are_looked_at_by_the_worst_of_all_pilots_of_a_heat():
    # P1 flies with the weak P2 and the strong P3: what counts is what the weak one hears.
    day = DayProblem(
        (
            Pilot("P0", (5658,)),
            Pilot("P1", (5690, 5700, 5760)),
            Pilot("P2", (5720,), antenna="lhcp", rx_antenna="rhcp"),
        ),
        time_limit_s=None,
    )
    heats = [[0, 1], [1, 2]]
    answer = answer_for(day, heats)
    best = max(
        min(sorted_margins(answer, heats, np.array([0, f, index_of(answer, 5720)])))
        for f in range(len(answer.gear.mhz))
        if answer.gear.usable[1, f]
    )
    assert worst_db(answer, heats) == pytest.approx(best, abs=0.001)


def index_of(answer, mhz):
    return int(np.searchsorted(answer.gear.mhz, mhz))


def test_who_is_set_to_a_channel_is_moved_for_the_price_of_a_retune_and_no_less():
    # Beside P2 either channel of P1 is as good, so the first heat keeps what P1 is set to. P0 then hears it 22
    # or 37 MHz away, which costs 32 or 2.4 dB.
    heats = [[1, 2], [0, 1]]
    for near_mhz, is_set, is_moved in ((5680, True, True), (5695, True, False), (5695, False, True)):
        pilots = (
            Pilot("P0", (5658,)),
            Pilot("P1", (near_mhz, 5800), current_mhz=near_mhz if is_set else None),
            Pilot("P2", (5900,)),
        )
        answer = answer_for(DayProblem(pilots, time_limit_s=None), heats)
        assert (mhz_of(answer)[1] == 5800) == is_moved


def test_a_budget_is_shared_by_the_heats_and_what_is_not_proved_is_not_claimed():
    heats = (tuple(f"P{n:02}" for n in range(8)), tuple(f"P{n:02}" for n in range(8, 14)))
    day = DayProblem(equal_pilots(14), heats_given=heats, node_limit=60, time_limit_s=None)
    plan = plan_day(day)
    assert [heat.proved for heat in plan.heats] == [False, False]
    assert 40 <= plan.nodes <= 60
    assert plan.bound_db is not None
    assert plan.bound_db >= -0.59 - 0.005
    assert plan.search_notes == (
        "Heats are given. The search for their channels was stopped early; the bound says how far they may be.",
    )


def test_all_nodes_are_counted_and_who_flies_once_is_no_repeat():
    answer = answer_for(replace(few(5), day_channels="free"), [[0, 1, 2], [3, 4]])
    assert answer.nodes == 2 * sum(alone.nodes for alone in answer.alone)
    assert (answer.is_exact, answer.is_repeated) == (True, False)
    assert answer_for(few(3), [[0, 1], [1, 2]]).is_repeated
    assert not answer_for(replace(few(5), node_limit=8), [[0, 1, 2], [3, 4]]).is_exact
