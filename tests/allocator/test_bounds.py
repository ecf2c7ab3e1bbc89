"""What no plan of a day can beat: never below what enumeration of every plan of tiny days reaches."""

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest

from server.allocator.bounds import DayBound
from server.allocator.checks import faults_of
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import frame_of
from server.allocator.scoring import day_gear
from server.allocator.solve import plan_day
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned
from tests.radio import slow_model
from tests.radio.slow_model import Flyer, Place


def tiny_day(seed):
    """One or two heats of two to four pilots with few channels, mixed powers and antennas."""
    dice = random.Random(seed)
    pilots = tuple(
        Pilot(
            f"P{number}",
            tuple(sorted(dice.sample((5658, 5680, 5705, 5740, 5790), dice.randint(2, 3)))),
            (dice.choice((25.0, 25.0, 200.0)),),
            antenna=dice.choice(("rhcp", "rhcp", "lhcp", "linear")),
            rx_antenna=dice.choice(("rhcp", "rhcp", "lhcp")),
        )
        for number in range(dice.randint(3, 4))
    )
    wish = dice.choice(("apart", "together", "note"))
    if wish != "note":
        pilots = (replace(pilots[0], **{wish: frozenset({"P1"})}), *pilots[1:])
    return DayProblem(pilots, aircraft=dice.randint(2, 3), rounds=dice.randint(1, 2), time_limit_s=None)


def best_of_all_rounds_db(day):
    """The best worst margin of any first round, heats as equal as can be: every way to fly, every way to tune."""
    count = len(day.pilots)
    numbers = range(-(-count // day.aircraft))
    best: dict[int, float] = {}
    for channels in itertools.product(*(pilot.channels_mhz for pilot in day.pilots)):
        flyers = [
            Flyer(pilot.callsign, mhz, pilot.power_steps_mw[0], pilot.antenna, pilot.rx_antenna)
            for pilot, mhz in zip(day.pilots, channels, strict=True)
        ]
        for heat_of in itertools.product(numbers, repeat=count):
            heats = [[row for row in range(count) if heat_of[row] == heat] for heat in numbers]
            aloft = [[flyers[row] for row in heat] for heat in heats]
            fits = all(len(heat) <= day.aircraft for heat in heats) and all(map(is_spaced, aloft))
            if fits and keeps_wishes(day, heat_of):
                spread = max(1, max(map(len, heats)) - min(map(len, heats)))
                margin = min(slow_model.margin_db(one, heat, Place()) for heat in aloft for one in heat)
                best[spread] = max(best.get(spread, -math.inf), margin)
    # Unequal heats only where no others are possible.
    return best.get(1, max(best.values(), default=-math.inf))


def keeps_wishes(day, heat_of):
    rows = {pilot.callsign: row for row, pilot in enumerate(day.pilots)}
    return all(
        all(heat_of[rows[other]] == heat_of[row] for other in pilot.together)
        and all(heat_of[rows[other]] != heat_of[row] for other in pilot.apart)
        for row, pilot in enumerate(day.pilots)
    )


def is_spaced(heat):
    return all(abs(a.mhz - b.mhz) >= 20 for a, b in itertools.combinations(heat, 2))


@pytest.mark.parametrize("seed", range(24))
def test_no_plan_of_a_tiny_day_beats_its_bound(seed):
    day = tiny_day(seed)
    best = best_of_all_rounds_db(day)
    plan = plan_day(day)
    if plan.status == "infeasible":
        assert best == -math.inf
        return
    assert plan.worst_margin_db is not None
    assert plan.bound_db is not None
    assert plan.worst_margin_db <= best + 1e-6
    assert plan.bound_db >= best - 1e-6


def bound(pilots, heats, powers=None, is_fair=True, **wishes):
    """Bound of a day of these pilots in so many heats, searched until it is proved."""
    day = DayProblem(tuple(pilots), **{"aircraft": -(-len(pilots) // heats), **wishes})
    gear = day_gear(day, powers or [pilot.power_at(25.0) for pilot in pilots])
    found = DayBound(day, gear, frame_of(day), None, is_fair)
    found.lower(-np.inf)
    return found.margin_db


@pytest.mark.parametrize(
    ("pilots", "bound_db"),
    [
        # 8 equal pilots of A B E F R, 4 pilots of band R: values given for the default site at 25 mW.
        (equal_pilots(8), -0.59),
        (equal_pilots(4, tuned("R")), 3.22),
        # Two pilots far apart: 28 dB of selectivity less the 20 dB of the distances.
        (equal_pilots(2), 8.0),
    ],
)
def test_equal_gear_is_bounded_by_the_best_heat_of_so_many(pilots, bound_db):
    assert bound(pilots, 1) == pytest.approx(bound_db, abs=0.005)


def test_the_largest_heat_decides_over_equal_gear():
    assert bound(equal_pilots(20), 3, aircraft=8) == pytest.approx(0.18, abs=0.005)


def test_nobody_is_bounded_alone():
    assert bound(equal_pilots(3), 3) == math.inf


@pytest.mark.parametrize(("channels", "count"), [((5658, 5680), 2), ((5658, 5680, 5703), 3)])
def test_as_many_channels_as_places_bound_the_day_by_what_they_allow(channels, count):
    flyers = [Flyer(str(mhz), mhz) for mhz in channels]
    worst = min(slow_model.margin_db(one, flyers, Place()) for one in flyers)
    assert bound(equal_pilots(count, channels), 1) == pytest.approx(worst)


def test_channels_too_few_for_a_heat_bound_the_day_by_every_size_they_allow():
    # Three on two channels need two heats, one of them alone.
    assert bound(equal_pilots(3, (5658, 5917)), 2, aircraft=2) == pytest.approx(28 - 20)


def test_a_weak_own_picture_bounds_the_day():
    # Left-hand on the aircraft, right-hand at the goggles: 10 dB less of the own carrier.
    pilots = [*equal_pilots(3), Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp")]
    assert bound(pilots, 2) == pytest.approx(8.0 - 10.0 + 6.0 - 6.0)
    assert bound(pilots, 4) == math.inf


def test_who_misses_the_fullest_round_does_not_bound_it():
    pilots = [*equal_pilots(4), Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp", after=2)]
    assert bound(pilots, 2, aircraft=3) == pytest.approx(8.0)


def test_one_loud_transmitter_is_heard_by_all_of_its_heat():
    powers = [25.0, 25.0, 25.0, 200.0]
    # Somebody at 25 mW flies with the one of 200 mW, 9 dB louder.
    assert bound(equal_pilots(4), 2, powers) == pytest.approx(8.0 - 10 * math.log10(8))
    assert bound(equal_pilots(4), 1, powers) == pytest.approx(8.0 - 10 * math.log10(10), abs=0.01)


def test_loud_transmitters_are_best_gathered_in_one_heat():
    # Two of 200 mW and four of 25 mW in three heats: the loud ones among themselves are as well off as the others.
    assert bound(equal_pilots(6), 3, [25.0] * 4 + [200.0] * 2) == pytest.approx(8.0)
    # Three of 200 mW: one is left over, and flies with a weak one.
    assert bound(equal_pilots(6), 3, [25.0] * 3 + [200.0] * 3) == pytest.approx(8.0 - 10 * math.log10(8))


def test_loud_pilots_who_must_not_meet_cannot_be_gathered():
    pilots = list(equal_pilots(6))
    pilots[4] = replace(pilots[4], apart=frozenset({"P05"}))
    powers = [25.0] * 4 + [200.0] * 2
    assert bound(pilots, 3, powers) == pytest.approx(8.0 - 10 * math.log10(8))


def test_a_loud_pilot_who_flies_together_with_a_weak_one_is_heard_there():
    pilots = list(equal_pilots(6))
    pilots[5] = replace(pilots[5], together=frozenset({"P00"}))
    powers = [25.0] * 4 + [200.0] * 2
    assert bound(pilots, 3, powers) == pytest.approx(8.0 - 10 * math.log10(8))


def test_wishes_among_pilots_of_the_most_frequent_kind_do_not_count():
    pilots = list(equal_pilots(6))
    pilots[0] = replace(pilots[0], together=frozenset({"P01"}), apart=frozenset({"P02"}))
    assert bound(pilots, 3) == pytest.approx(8.0)


def test_some_heat_holds_its_part_of_those_who_can_tune_little():
    # Five of eight have three channels 20 MHz apart: one of the two heats of four holds three of them.
    narrow = equal_pilots(5, (5700, 5720, 5740))
    pilots = [*narrow, *(Pilot(f"Q{row}", ALL_BANDS) for row in range(3))]
    crowded = [Flyer(str(mhz), mhz) for mhz in (5700, 5720, 5740)]
    worst = min(slow_model.margin_db(one, crowded, Place()) for one in crowded)
    assert bound(pilots, 2) <= worst + 1e-6
    assert bound(equal_pilots(8), 2) > worst + 1.0


def test_opposite_senses_are_credited():
    pilots = [Pilot("Wren", ALL_BANDS), Pilot("Rook", ALL_BANDS, antenna="lhcp", rx_antenna="lhcp")]
    assert bound(pilots, 1) == pytest.approx(8.0 + 6.0)


def test_gain_counts_as_power_does():
    pilots = [Pilot("Wren", ALL_BANDS), Pilot("Rook", ALL_BANDS, gain_dbi=3.0)]
    assert bound(pilots, 1) == pytest.approx(8.0 - 3.0)
    equal = [Pilot(f"P{number}", ALL_BANDS, gain_dbi=3.0) for number in range(8)]
    assert bound(equal, 1) == pytest.approx(bound(equal_pilots(8), 1, [25.0 * 10**0.3] * 8))


def test_equal_gear_of_much_power_is_bounded_by_its_products_too():
    assert bound(equal_pilots(5), 1, [600.0] * 5) < bound(equal_pilots(5), 1) - 0.1


def test_banned_channels_do_not_lift_the_bound():
    bans = tuple(set(ALL_BANDS) - set(tuned("R")))
    assert bound(equal_pilots(4), 1, bans_mhz=bans) == pytest.approx(3.22, abs=0.005)


def test_fair_heats_are_bounded_by_their_own_size_and_others_by_what_may_fly():
    # Four pilots in two heats of up to three: two and two, unless one flies alone.
    weak = Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp")
    pilots = [*equal_pilots(3), weak]
    assert bound(pilots, 2, aircraft=3) == pytest.approx(8.0 - 10.0)
    assert bound(pilots, 2, aircraft=3, is_fair=False) == pytest.approx(8.0 - 10 * math.log10(2))


def test_a_plan_of_unequal_heats_has_the_bound_of_all_heats():
    # Three who fly together, and one who may not: no two heats of two.
    pilots = list(equal_pilots(3))
    pilots[0] = replace(pilots[0], together=frozenset({"P01", "P02"}))
    weak = Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp", apart=frozenset({"P00"}))
    plan = plan_day(DayProblem((*pilots, weak), aircraft=3, time_limit_s=None))
    assert sorted(len(heat.slots) for heat in plan.heats) == [1, 3]
    assert plan.bound_db == pytest.approx(8.0 - 10 * math.log10(2))
    assert plan.status == "optimal"


def test_a_plan_is_not_above_its_bound_where_the_weakest_flies_alone_in_a_thin_round():
    # Five pilots leave after the first round; Wren, with 10 dB less of the own carrier, comes for the second.
    pilots = [Pilot(f"P{number}", ALL_BANDS, before=3) for number in range(5)]
    pilots.append(Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp", after=2))
    day = DayProblem(tuple(pilots), aircraft=3, rounds=2, time_limit_s=None)
    plan = plan_day(day)
    assert faults_of(plan, day) == ()
    assert plan.bound_db == pytest.approx(8.0 - 10 * np.log10(2))


def test_a_bound_is_lowered_no_further_than_to_what_is_enough():
    day = DayProblem(equal_pilots(8), aircraft=8)
    found = DayBound(day, day_gear(day, [25.0] * 8), frame_of(day), None)
    ceiling = found.margin_db
    assert ceiling == pytest.approx(8.0 - 10 * math.log10(7), abs=0.01)
    found.lower(ceiling)
    assert found.margin_db == ceiling
    found.lower(-1.0)
    assert found.margin_db == pytest.approx(-0.59, abs=0.005)
