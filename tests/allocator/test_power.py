"""The power that everybody sets: the levels worth comparing, and which of them a plan takes."""

from dataclasses import replace

import pytest

from server.allocator.plan import Heat
from server.allocator.power import hot_transmitters, levels_to_try, levels_tried, power_level
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import plan_day
from server.radio.site import Site
from tests.allocator.days import ALL_BANDS, tuned
from tests.radio import slow_model
from tests.radio.slow_model import Flyer, Place

USUAL = (25.0, 200.0, 600.0)


def day_of(*pilots, **wishes):
    """Pilots as (steps, other rules)."""
    names = ("Wren", "Rook", "Coot", "Otter", "Sorrel", "Magpie")
    roster = tuple(
        Pilot(name, ALL_BANDS, steps, **own) for name, (steps, own) in zip(names, pilots, strict=False)
    )
    return DayProblem(roster, time_limit_s=None, **wishes)


def levels(day):
    return [level.common_mw for level in levels_to_try(day)]


def test_a_level_gives_everybody_the_highest_own_step_below_it():
    level = power_level(day_of((USUAL, {}), ((100.0, 400.0), {}), ((25.0,), {"power_mw": 50.0})), 300)
    assert (level.common_mw, level.powers_mw) == (300, (200.0, 100.0, 50.0))


@pytest.mark.parametrize("far_m", [80, 197, 198.5, 300])
def test_a_link_budget_is_enough_down_to_the_fade_allowance(far_m):
    # 25 mW keeps its 6 dB to 198 m.
    level = power_level(day_of((USUAL, {}), ((200.0,), {}), site=Site(far_m=far_m)), 25)
    weakest = slow_model.link_margin_db(Flyer("Wren", 5800, 25), Place(far_m=far_m))
    assert level.weakest_db == pytest.approx(weakest)
    assert level.is_enough == (weakest >= 6.0) == (far_m < 198)


def test_an_allowance_met_exactly_is_enough():
    day = day_of((USUAL, {}))
    weakest = power_level(day, 25).weakest_db
    receiver = Site().receiver
    exact = Site(receiver=type(receiver)(fade_allowance_db=weakest))
    assert power_level(day_of((USUAL, {}), site=exact), 25).is_enough


def test_the_own_antennas_count_in_the_link():
    day = day_of((USUAL, {}), (USUAL, {"antenna": "lhcp", "rx_antenna": "rhcp", "gain_dbi": 2.0}))
    matched = power_level(day_of((USUAL, {})), 25).weakest_db
    assert power_level(day, 25).weakest_db == pytest.approx(matched - 10.0 + 2.0)


def test_where_all_radiate_alike_only_the_lowest_level_is_worth_a_look():
    assert levels(day_of((USUAL, {}), (USUAL, {}))) == [25.0]


def test_where_powers_differ_every_step_that_anybody_has_is_compared():
    assert levels(day_of((USUAL, {}), ((100.0, 400.0), {}))) == [25.0, 100.0, 200.0, 400.0, 600.0]


def test_equal_powers_on_unequal_antennas_are_not_alike():
    assert levels(day_of((USUAL, {}), (USUAL, {"gain_dbi": 2.0}))) == [25.0, 200.0, 600.0]


def test_a_wish_of_the_director_is_the_only_level():
    assert levels(day_of((USUAL, {}), ((100.0,), {}), common_power_mw=400.0)) == [400.0]


def test_steps_of_a_pilot_whose_power_is_set_are_no_levels():
    assert levels(day_of(((25.0, 200.0), {}), ((800.0,), {"power_mw": 50.0}))) == [25.0, 200.0]


def test_where_every_power_is_set_the_highest_is_the_level():
    day = day_of((USUAL, {"power_mw": 50.0}), (USUAL, {"power_mw": 400.0}))
    (level,) = levels_to_try(day)
    assert (level.common_mw, level.powers_mw) == (400.0, (50.0, 400.0))


def test_levels_whose_link_does_not_hold_are_left_out_where_another_holds():
    # At 300 m 25 mW lacks 3.6 dB of its allowance, 200 mW does not.
    day = day_of((USUAL, {}), (USUAL, {}), site=Site(far_m=300))
    (level,) = levels_to_try(day)
    assert (level.common_mw, level.is_enough) == (200.0, True)


def test_where_no_link_holds_the_highest_level_is_taken_and_flagged():
    day = day_of((USUAL, {}), (USUAL, {}), site=Site(near_m=80, far_m=2000))
    (level,) = levels_to_try(day)
    assert (level.common_mw, level.is_enough) == (600.0, False)
    plan = plan_day(day)
    assert plan.common_power_mw == 600.0
    (chosen,) = [level for level in plan.levels if level.is_chosen]
    kept = slow_model.link_margin_db(Flyer("Wren", 5800, 600), Place(far_m=2000))
    assert (chosen.common_mw, chosen.is_link_enough) == (600.0, False)
    assert chosen.link_db == pytest.approx(kept)


def test_every_level_is_told_with_its_reach_and_the_chosen_one_marked():
    plan = plan_day(day_of((USUAL, {}), ((200.0,), {}), (USUAL, {}), aircraft=3, common_power_mw=25.0))
    assert [(level.common_mw, level.is_chosen) for level in plan.levels] == [
        (25.0, True),
        (200.0, False),
        (600.0, False),
    ]
    # 25 mW keeps 13.86 dB at 80 m: 7.86 dB above the 6 dB wanted, and free space takes 20 dB a decade.
    assert plan.levels[0].kept_m == pytest.approx(80 * 10 ** (7.863 / 20), abs=0.1)
    assert plan.levels[0].threshold_m == pytest.approx(80 * 10 ** (13.863 / 20), abs=0.1)
    assert plan.levels[0].worst_margin_db == pytest.approx(plan.worst_margin_db)


def test_a_level_is_measured_on_the_heats_and_channels_of_the_plan():
    day = day_of((USUAL, {}), (USUAL, {}), (USUAL, {}), one_heat=True)
    plan = plan_day(day)
    for level in plan.levels:
        flyers = [Flyer(slot.callsign, slot.mhz, level.common_mw) for slot in plan.heats[0].slots]
        worst = min(slow_model.margin_db(own, flyers, Place()) for own in flyers)
        assert level.worst_margin_db == pytest.approx(worst, abs=1e-6)


def test_a_level_is_for_all_where_everybody_sets_just_it():
    plan = plan_day(day_of((USUAL, {}), ((25.0, 200.0), {}), ((25.0,), {})))
    assert [level.is_for_all for level in plan.levels] == [True, False, False]


def test_pilots_who_fly_alone_leave_a_level_without_a_margin():
    plan = plan_day(day_of((USUAL, {}), (USUAL, {}), aircraft=1))
    assert [level.worst_margin_db for level in plan.levels] == [None] * 3


def test_a_level_that_the_plan_has_is_listed_though_nobodys_gear_has_it():
    day = day_of((USUAL, {}), (USUAL, {}))
    heats = plan_day(day).heats
    assert [level.common_mw for level in levels_tried(day, heats, 50.0)] == [25.0, 50.0, 200.0, 600.0]
    wished = day_of((USUAL, {}), (USUAL, {}), common_power_mw=100.0)
    assert [level.common_mw for level in levels_tried(wished, heats, 25.0)] == [25.0, 100.0, 200.0, 600.0]


def test_who_cannot_go_low_is_named_with_what_it_costs_the_others():
    day = day_of((USUAL, {}), (USUAL, {}), (USUAL, {}), ((200.0,), {}), one_heat=True, common_power_mw=25.0)
    plan = plan_day(day)
    (hot,) = plan.hot_transmitters
    assert (hot.callsign, hot.power_mw, hot.is_set, hot.heat) == ("Otter", 200.0, False, 1)
    slots = plan.heats[0].slots

    def others_margin(otter_mw):
        flyers = [Flyer(one.callsign, one.mhz, otter_mw if one.callsign == "Otter" else 25) for one in slots]
        return min(
            (slow_model.margin_db(own, flyers, Place()), own.callsign)
            for own in flyers
            if own.callsign != "Otter"
        )

    margin_db, sufferer = others_margin(200)
    assert (hot.margin_db, hot.sufferer) == (pytest.approx(margin_db), sufferer)
    assert hot.margin_at_common_db == pytest.approx(others_margin(25)[0])
    assert hot.cost_db == pytest.approx(others_margin(25)[0] - others_margin(200)[0])
    assert hot.cost_db > 3


def test_a_power_that_the_director_set_is_told_as_such():
    day = day_of((USUAL, {}), ((25.0,), {"power_mw": 100.0}), ((10.0, 25.0), {}), common_power_mw=25.0)
    (hot,) = plan_day(day).hot_transmitters
    assert (hot.callsign, hot.power_mw, hot.is_set) == ("Rook", 100.0, True)


def test_a_loud_transmitter_that_flies_alone_costs_nobody_anything():
    day = day_of((USUAL, {}), ((200.0,), {}), aircraft=1, common_power_mw=25.0)
    (hot,) = plan_day(day).hot_transmitters
    assert (hot.callsign, hot.sufferer, hot.heat, hot.cost_db) == ("Rook", None, None, 0.0)
    assert replace(hot, margin_db=1.0).cost_db == replace(hot, margin_at_common_db=1.0).cost_db == 0.0


def test_only_the_heats_of_a_loud_transmitter_count():
    day = day_of(
        (USUAL, {}),
        ((200.0,), {}),
        (USUAL, {}),
        (USUAL, {}),
        common_power_mw=25.0,
        heats_given=(("Coot", "Otter"), ("Wren", "Rook")),
    )
    (hot,) = plan_day(day).hot_transmitters
    assert (hot.sufferer, hot.heat) == ("Wren", 2)


def test_when_six_fly_25_mw_for_all_is_taken():
    plan = plan_day(day_of(*[(USUAL, {})] * 6))
    assert plan.common_power_mw == 25.0
    assert {slot.power_mw for heat in plan.heats for slot in heat.slots} == {25.0}


def test_the_level_with_the_best_worst_margin_is_taken():
    # Rook has 200 mW only: 25 mW beside it is drowned, 200 mW for all is even.
    plan = plan_day(day_of((USUAL, {}), (USUAL, {}), ((200.0,), {}), aircraft=3))
    assert plan.common_power_mw == 200.0
    assert {slot.power_mw for slot in plan.heats[0].slots} == {200.0}


@pytest.mark.parametrize("kind", [{"one_heat": True}, {"aircraft": 2}, {"heats_given": (("Wren", "Rook"),)}])
def test_of_levels_that_tie_the_lower_is_taken(kind):
    # Two make no products, so their margins do not depend on a power that both share.
    day = day_of((USUAL, {}), (USUAL, {"gain_dbi": 2.0}), **kind)
    assert plan_day(day).common_power_mw == 25.0


def test_margins_less_than_a_twentieth_of_a_decibel_apart_are_a_tie():
    # Coot is a little louder than 25 mW. Following it lifts the others by 0.02 dB, or by 0.13 dB.
    near = [((25.0, 25.2), {}), ((25.0, 25.2), {}), ((25.2,), {})]
    assert plan_day(day_of(*near, one_heat=True)).common_power_mw == 25.0
    less_near = [((25.0, 26.5), {}), ((25.0, 26.5), {}), ((27.0,), {})]
    assert plan_day(day_of(*less_near, one_heat=True)).common_power_mw == 26.5


@pytest.mark.parametrize("kind", [{"one_heat": True}, {"heats_given": (("Wren", "Rook", "Coot"),)}])
def test_one_heat_and_given_heats_choose_their_level_as_days_do(kind):
    plan = plan_day(day_of((USUAL, {}), (USUAL, {}), ((200.0,), {}), **kind))
    assert plan.common_power_mw == 200.0


def test_the_worst_of_several_given_heats_decides_the_level():
    # Sorrel and Magpie alone would not care; Coot's 200 mW drown Wren at 25.
    day = day_of(
        (USUAL, {}),
        (USUAL, {}),
        ((200.0,), {}),
        (USUAL, {}),
        heats_given=(("Rook", "Otter"), ("Wren", "Coot")),
    )
    assert plan_day(day).common_power_mw == 200.0


def test_pilots_of_one_band_are_powered_by_their_own_margins():
    # Band R alone: its even spacing feeds on power, so 25 mW stays best while all can go there.
    pilots = tuple(
        Pilot(name, tuned("R"), USUAL, gain_dbi=gain) for name, gain in zip("abcdef", (0, 1) * 3, strict=True)
    )
    plan = plan_day(DayProblem(pilots, one_heat=True, time_limit_s=None))
    assert plan.common_power_mw == 25.0


def test_levels_are_tried_once_for_the_same_day():
    day = day_of(((25.0, 200.0), {}), ((25.0, 200.0), {}))
    heats = plan_day(day).heats
    assert levels_tried(day, list(heats), 25.0) is levels_tried(replace(day), heats, 25.0)


def test_a_day_that_everybody_left_has_no_levels_and_nobody_too_hot():
    day, empty = DayProblem(()), [Heat(1, 1, (), None, None, True)]
    assert levels_tried(day, empty, 25.0) == ()
    assert hot_transmitters(day, empty, 25.0) == ()
