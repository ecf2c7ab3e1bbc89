"""The planner as a whole: promises about finished days."""

import itertools
import random
from dataclasses import replace

import pytest

from server.allocator.checks import faults_of
from server.allocator.errors import Cancelled, ProblemError
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import how_many_can_fly, plan_day
from server.radio.interference import site_ceiling_db
from server.radio.site import Site
from tests.allocator.days import ALL_BANDS, equal_pilots, random_day, tuned


@pytest.mark.parametrize("seed", range(40))
def test_no_plan_of_a_random_day_breaks_a_rule_or_claims_too_much(seed: int) -> None:
    day = random_day(seed)
    plan = plan_day(day)
    assert faults_of(plan, day) == ()
    assert (plan.status == "infeasible") == (not plan.heats)
    assert bool(plan.conflicts) == (plan.status in ("infeasible", "unflyable"))


@pytest.mark.parametrize("seed", [3, 11, 20])
def test_same_question_gives_same_answer(seed: int) -> None:
    first, second = plan_day(random_day(seed)), plan_day(random_day(seed))
    assert replace(first, seconds=0.0) == replace(second, seconds=0.0)


@pytest.mark.parametrize(
    ("pilots", "aircraft", "rounds"),
    [(25, 5, 5), (9, 3, 3), (14, 2, 7)],
    ids=["25 pilots, 5 up, 5 rounds", "9 pilots, 3 up, 3 rounds", "14 pilots, 2 up, 7 rounds"],
)
def test_equal_gear_and_a_prime_number_of_heats_meets_nobody_twice(
    pilots: int, aircraft: int, rounds: int
) -> None:
    # Resolvable transversal designs from the lines of an affine plane of prime order: Handbook of
    # Combinatorial Designs (Colbourn, Dinitz), part III, from memory.
    day = DayProblem(equal_pilots(pilots), aircraft=aircraft, rounds=rounds, time_limit_s=None)
    plan = plan_day(day)
    assert (plan.status, plan.repeat_pairings, plan.retunes, plan.moves) == (
        "optimal",
        0,
        0,
        0,
    )
    assert len(plan.day_channels_mhz) == aircraft


def test_equal_gear_reaches_the_bound_with_as_few_channels_as_places() -> None:
    plan = plan_day(DayProblem(equal_pilots(18), aircraft=6, rounds=3, time_limit_s=None))
    assert plan.status == "optimal"
    assert plan.gap_db == pytest.approx(0.0, abs=0.005)
    assert len(plan.day_channels_mhz) == 6
    assert [len(heat.slots) for heat in plan.heats] == [6] * 9


@pytest.mark.parametrize("count", [24, 40, 64, 100])
def test_mixed_gear_of_one_power_comes_within_a_decibel_of_the_bound(count: int) -> None:
    dice = random.Random(count)
    pilots = tuple(
        Pilot(f"P{row:03}", dice.choice([ALL_BANDS, ALL_BANDS, tuned("R"), tuned("ABEF")]))
        for row in range(count)
    )
    plan = plan_day(DayProblem(pilots, aircraft=8, rounds=2, time_limit_s=None))
    assert plan.gap_db is not None
    assert plan.gap_db < 1.0
    assert len(plan.day_channels_mhz) == 8


def test_heats_are_as_equal_in_size_as_can_be() -> None:
    plan = plan_day(DayProblem(equal_pilots(20), aircraft=6, time_limit_s=None))
    assert sorted(len(heat.slots) for heat in plan.heats) == [5, 5, 5, 5]


def test_nobody_flies_two_heats_running_where_rounds_are_long_enough() -> None:
    day = DayProblem(equal_pilots(18), aircraft=6, rounds=4, rest_heats=1, time_limit_s=None)
    heats = plan_day(day).heats
    for earlier, later in itertools.pairwise(heats):
        both = {slot.callsign for slot in earlier.slots} & {slot.callsign for slot in later.slots}
        assert not both


def test_a_spotter_never_flies_with_the_pilot_spotted_for() -> None:
    pilots = [*equal_pilots(5), Pilot("Otter", ALL_BANDS, spotter="P00")]
    plan = plan_day(DayProblem(tuple(pilots), aircraft=3, rounds=3, time_limit_s=None))
    for heat in plan.heats:
        assert not {"Otter", "P00"} <= {slot.callsign for slot in heat.slots}


def test_a_late_pilot_joins_the_rounds_that_remain() -> None:
    pilots = [*equal_pilots(5), Pilot("Otter", ALL_BANDS, after=2)]
    plan = plan_day(DayProblem(tuple(pilots), aircraft=3, rounds=2, time_limit_s=None))
    assert [heat.number for heat in plan.heats for slot in heat.slots if slot.callsign == "Otter"] in (
        [3],
        [4],
    )


def test_channels_that_are_set_stay_where_a_retune_is_not_worth_its_price() -> None:
    best = plan_day(DayProblem(equal_pilots(6), aircraft=6, time_limit_s=None))
    set_to = {slot.callsign: slot.mhz for slot in best.heats[0].slots}
    neighbour = max(mhz for mhz in ALL_BANDS if mhz < set_to["P02"])
    pilots = tuple(
        replace(pilot, current_mhz=neighbour if pilot.callsign == "P02" else set_to[pilot.callsign])
        for pilot in equal_pilots(6)
    )
    kept = plan_day(DayProblem(pilots, aircraft=6, time_limit_s=None, minimum_spacing_mhz=1))
    assert kept.moves == 0
    assert kept.worst_margin_db is not None
    assert best.worst_margin_db is not None
    assert best.worst_margin_db - kept.worst_margin_db < 3.0


def test_a_retune_worth_its_price_is_made_and_no_other() -> None:
    # P01 sits 20 MHz beside P00: moving one of them lifts the day by far more than 3 dB.
    at = [5658, 5678, 5750, 5800, 5860, 5917]
    pilots = tuple(
        Pilot(f"P{row:02}", tuple(sorted({*ALL_BANDS, *at})), current_mhz=mhz) for row, mhz in enumerate(at)
    )
    plan = plan_day(DayProblem(pilots, aircraft=6, time_limit_s=None))
    assert 1 <= plan.moves <= 3
    assert plan.retunes == 0
    assert plan.worst_margin_db is not None
    assert plan.worst_margin_db > -3.0


def test_a_fixed_set_of_channels_is_kept_and_who_cannot_is_named() -> None:
    fixed = (5658, 5732, 5806, 5880)
    pilots = [*equal_pilots(7), Pilot("Otter", (5845,))]
    plan = plan_day(DayProblem(tuple(pilots), aircraft=4, day_channels=fixed, time_limit_s=None))
    assert set(plan.day_channels_mhz) == {*fixed, 5845}
    assert any("Otter" in warning and "5845" in warning for warning in plan.warnings)


def test_given_heats_keep_who_flies_with_whom_and_one_channel_all_day() -> None:
    heats = (("P00", "P01", "P02"), ("P03", "P04", "P05"), ("P00", "P03", "P04"))
    day = DayProblem(equal_pilots(6), heats_given=heats, time_limit_s=None)
    plan = plan_day(day)
    assert [{slot.callsign for slot in heat.slots} for heat in plan.heats] == [set(heat) for heat in heats]
    assert [heat.round for heat in plan.heats] == [1, 1, 2]
    assert faults_of(plan, day) == ()


def test_given_heats_without_repeats_are_proved_one_by_one() -> None:
    heats = (("P00", "P01", "P02"), ("P03", "P04", "P05"))
    plan = plan_day(DayProblem(equal_pilots(6), heats_given=heats, time_limit_s=None))
    assert plan.status in ("optimal", "feasible")
    assert plan.gap_db is not None
    assert plan.gap_db <= 0.5 + 1e-6


def test_given_heats_that_no_lasting_channels_allow_are_flown_with_one_change() -> None:
    # Three pilots, two channels, each pair meets once: somebody has to retune.
    pilots = tuple(Pilot(name, (5700, 5800)) for name in ("Wren", "Rook", "Coot"))
    heats = (("Wren", "Rook"), ("Rook", "Coot"), ("Coot", "Wren"))
    day = DayProblem(pilots, heats_given=heats, time_limit_s=None)
    plan = plan_day(day)
    assert (plan.status, plan.retunes) == ("optimal", 1)
    assert faults_of(plan, day) == ()


def test_one_heat_says_what_it_proved() -> None:
    plan = plan_day(DayProblem(equal_pilots(8), one_heat=True, time_limit_s=None))
    assert plan.status == "optimal"
    assert plan.bound_db == pytest.approx(-0.59, abs=0.005)
    assert plan.worst_margin_db is not None
    assert plan.worst_margin_db >= plan.bound_db - 0.5 - 1e-6
    assert plan.heats[0].proved


def test_an_unflyable_heat_offers_one_heat_more_first() -> None:
    plan = plan_day(DayProblem(equal_pilots(6, tuned("F")), one_heat=True, time_limit_s=None))
    assert plan.status == "unflyable"
    assert plan.conflicts[0].cures[0].startswith("Fly one more heat")
    assert plan.conflicts[0].is_cured_by_one_heat_more


@pytest.mark.parametrize(("near_m", "far_m"), [(8, 80), (2, 15), (15, 150)])
def test_no_day_of_equal_gear_beats_the_site_ceiling(near_m: float, far_m: float) -> None:
    site = Site(near_m=near_m, far_m=far_m)
    plan = plan_day(DayProblem(equal_pilots(10), site, aircraft=5, time_limit_s=None))
    ceiling = site_ceiling_db(5, site)
    assert ceiling is not None
    assert plan.worst_margin_db is not None
    assert plan.worst_margin_db <= ceiling + 1e-9
    assert plan.site_ceiling_db == pytest.approx(ceiling)


def test_more_in_the_air_means_fewer_heats_and_no_better_pictures() -> None:
    rows = how_many_can_fly(DayProblem(equal_pilots(16), time_limit_s=None), minutes_a_heat=5)
    assert [row.aircraft for row in rows] == [3, 4, 5, 6, 7, 8]
    assert [row.heats for row in rows] == [6, 4, 4, 3, 3, 2]
    assert [row.minutes for row in rows] == [30, 20, 20, 15, 15, 10]
    margins = [row.worst_margin_db for row in rows]
    assert all(a >= b - 0.1 for a, b in itertools.pairwise(margins) if a is not None and b is not None)


def test_an_empty_roster_is_refused_in_words() -> None:
    with pytest.raises(ProblemError, match="check pilots in first"):
        plan_day(DayProblem(()))


def test_the_caller_can_cancel() -> None:
    with pytest.raises(Cancelled):
        plan_day(DayProblem(equal_pilots(18), rounds=3), keep_going=lambda _progress: False)


def test_a_stopped_search_says_so() -> None:
    plan = plan_day(DayProblem(equal_pilots(8), one_heat=True, node_limit=200, time_limit_s=None))
    assert plan.status == "feasible"
    assert not plan.heats[0].proved
    assert plan.gap_db is not None
    assert plan.gap_db >= 0.0
    assert any("stopped" in note for note in plan.search_notes)


def test_a_negative_margin_in_a_sentence_has_a_true_minus() -> None:
    fixed = tuple(Pilot(name, (mhz,)) for name, mhz in (("Wren", 5740), ("Rook", 5750), ("Coot", 5760)))
    plan = plan_day(DayProblem(fixed, aircraft=3, minimum_spacing_mhz=1, time_limit_s=None))
    assert plan.status == "unflyable"
    assert "worst margin \N{MINUS SIGN}" in plan.conflicts[0].cures[0]
