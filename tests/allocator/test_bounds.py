"""What no plan of a day can beat: never below what enumeration of every plan of tiny days reaches."""

import itertools
import math
import random

import numpy as np
import pytest

from server.allocator.bounds import day_bound_db
from server.allocator.checks import faults_of
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import Frame
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
    return DayProblem(pilots, aircraft=dice.randint(2, 3), rounds=dice.randint(1, 2), time_limit_s=None)


def best_of_all_rounds_db(day):
    """The best worst margin of any first round: every way to fly, every way to tune."""
    count = len(day.pilots)
    numbers = range(-(-count // day.aircraft))
    best = -math.inf
    for channels in itertools.product(*(pilot.channels_mhz for pilot in day.pilots)):
        flyers = [
            Flyer(pilot.callsign, mhz, pilot.power_steps_mw[0], pilot.antenna, pilot.rx_antenna)
            for pilot, mhz in zip(day.pilots, channels, strict=True)
        ]
        for heat_of in itertools.product(numbers, repeat=count):
            heats = [[flyers[row] for row in range(count) if heat_of[row] == heat] for heat in numbers]
            if all(len(heat) <= day.aircraft and is_spaced(heat) for heat in heats):
                margins = [slow_model.margin_db(one, heat, Place()) for heat in heats for one in heat]
                best = max(best, min(margins))
    return best


def is_spaced(heat):
    return all(abs(a.mhz - b.mhz) >= 20 for a, b in itertools.combinations(heat, 2))


@pytest.mark.parametrize("seed", range(16))
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


def bound(pilots, heats, smallest, largest, powers=None, there=None):
    """Bound of a round of these pilots in heats of so many."""
    day = DayProblem(tuple(pilots), aircraft=max(1, largest))
    powers = powers or [25.0] * len(pilots)
    rows = range(len(pilots)) if there is None else there
    return day_bound_db(day, day_gear(day, powers), powers, Frame(heats, smallest, largest), rows, None)


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
    assert bound(pilots, 1, len(pilots), len(pilots)) == pytest.approx(bound_db, abs=0.005)


def test_the_largest_heat_decides_over_equal_gear():
    assert bound(equal_pilots(20), 3, 6, 8) == pytest.approx(-0.59, abs=0.005)


def test_nobody_is_bounded_alone():
    assert bound(equal_pilots(3), 3, 1, 1) == math.inf


@pytest.mark.parametrize(("channels", "count"), [((5658, 5680), 2), ((5658, 5680, 5703), 3)])
def test_as_many_channels_as_places_bound_the_day_by_what_they_allow(channels, count):
    flyers = [Flyer(str(mhz), mhz) for mhz in channels]
    worst = min(slow_model.margin_db(one, flyers, Place()) for one in flyers)
    assert bound(equal_pilots(count, channels), 1, count, count) == pytest.approx(worst)


def test_a_day_of_fewer_channels_than_places_is_bounded_by_the_carriers_alone():
    # Three places of two channels: no such heat exists, yet some round of smaller heats may.
    three = bound(equal_pilots(3, (5658, 5917)), 1, 3, 3)
    assert three == pytest.approx(28 - 20 - 10 * math.log10(2))


def test_a_weak_own_picture_bounds_the_day():
    # Left-hand on the aircraft, right-hand at the goggles: 10 dB less of the own carrier.
    pilots = [*equal_pilots(3), Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp")]
    assert bound(pilots, 2, 2, 2) == pytest.approx(8.0 - 10.0)
    assert bound(pilots, 4, 1, 1) == math.inf


def test_who_misses_the_fullest_round_does_not_bound_it():
    pilots = [*equal_pilots(3), Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp")]
    assert bound(pilots, 2, 2, 2, there=[0, 1, 2]) == pytest.approx(8.0)


def test_a_pilot_hears_the_weakest_of_the_others_at_best():
    # Wren at 25 mW hears one of 200 mW and two of 25 mW: in a heat of three the two weak ones.
    powers = [25.0, 25.0, 25.0, 200.0]
    three = 8.0 - 10 * math.log10(2)
    assert bound(equal_pilots(4), 2, 3, 3, powers) == pytest.approx(three)
    # With everybody up the strong one is heard as well: 1 + 1 + 8 times the level.
    assert bound(equal_pilots(4), 1, 4, 4, powers) == pytest.approx(8.0 - 10 * math.log10(10))


def test_the_weakest_of_the_largest_heat_hears_only_stronger_ones():
    # 25, 100 and 400 mW, two up: the weak one hears at least 100 mW, the next at least 400 mW: 8 dB less 6.02.
    powers = [25.0, 100.0, 400.0]
    assert bound(equal_pilots(3), 2, 1, 2, powers) == pytest.approx(8.0 - 10 * math.log10(4))


def test_opposite_senses_are_credited():
    pilots = [
        Pilot("Wren", ALL_BANDS),
        Pilot("Rook", ALL_BANDS, antenna="lhcp", rx_antenna="lhcp"),
    ]
    assert bound(pilots, 1, 2, 2) == pytest.approx(8.0 + 6.0)


def test_gain_counts_as_power_does():
    pilots = [Pilot("Wren", ALL_BANDS), Pilot("Rook", ALL_BANDS, gain_dbi=3.0)]
    assert bound(pilots, 1, 2, 2) == pytest.approx(8.0 - 3.0)
    equal = [Pilot(f"P{number}", ALL_BANDS, gain_dbi=3.0) for number in range(8)]
    louder = [25.0 * 10**0.3] * 8
    assert bound(equal, 1, 8, 8) == pytest.approx(bound(equal_pilots(8), 1, 8, 8, louder))


def test_equal_gear_of_much_power_is_bounded_by_its_products_too():
    weak, strong = bound(equal_pilots(8), 1, 8, 8), bound(equal_pilots(8), 1, 8, 8, [600.0] * 8)
    assert strong < weak - 1.0


def test_banned_channels_do_not_lift_the_bound():
    day = DayProblem(equal_pilots(4), aircraft=4, bans_mhz=tuple(set(ALL_BANDS) - set(tuned("R"))))
    value = day_bound_db(day, day_gear(day, [25.0] * 4), [25.0] * 4, Frame(1, 4, 4), range(4), None)
    assert value == pytest.approx(3.22, abs=0.005)


def test_a_plan_is_not_above_its_bound_where_the_weakest_flies_alone_in_a_thin_round():
    # Five pilots leave after the first round; Wren, with 10 dB less of the own carrier, comes for the second.
    pilots = [Pilot(f"P{number}", ALL_BANDS, before=3) for number in range(5)]
    pilots.append(Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp", after=2))
    day = DayProblem(tuple(pilots), aircraft=3, rounds=2, time_limit_s=None)
    plan = plan_day(day)
    assert faults_of(plan, day) == ()
    assert plan.bound_db == pytest.approx(8.0 - 10 * np.log10(2))


def test_the_bound_counts_on_no_more_pilots_in_a_heat_than_have_to_be():
    # Four pilots in two heats of up to three: one may fly alone, the others as three.
    plan = plan_day(DayProblem(equal_pilots(4), aircraft=3, time_limit_s=None))
    assert plan.bound_db == pytest.approx(8.0)
    # Five in two heats of up to three: everybody has company.
    weak = Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="rhcp")
    plan = plan_day(DayProblem((*equal_pilots(4), weak), aircraft=3, time_limit_s=None))
    assert plan.bound_db == pytest.approx(8.0 - 10.0)
    plan = plan_day(DayProblem((*equal_pilots(3), weak), aircraft=3, time_limit_s=None))
    assert plan.bound_db == pytest.approx(8.0)
