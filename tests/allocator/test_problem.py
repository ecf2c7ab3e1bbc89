"""The question to the planner: what a pilot may be given, and which questions are refused."""

import pytest

from server.allocator.errors import AllocatorError, ProblemError
from server.allocator.problem import DayProblem, Pilot

STEPS = (25.0, 200.0, 600.0)


def crowd(count):
    return tuple(Pilot(f"P{number:02}", (5658, 5732)) for number in range(count))


def test_a_pilot_may_choose_all_that_the_gear_tunes_ascending():
    assert Pilot("Wren", (5732, 5658, 5732)).choices_mhz == (5658, 5732)


@pytest.mark.parametrize(
    ("pin", "choices"),
    [
        ((5658,), (5658,)),
        ((5806, 5658), (5658, 5806)),
        ((5800,), ()),  # pinned to a channel that the gear does not have
        ((5800, 5732), (5732,)),
    ],
)
def test_a_pin_leaves_what_is_both_pinned_and_tunable(pin, choices):
    assert Pilot("Wren", (5658, 5732, 5806), pin_mhz=pin).choices_mhz == choices


def test_what_is_banned_today_is_nobodys_choice():
    day = DayProblem(crowd(1), bans_mhz=(5732,))
    assert day.choices_mhz(day.pilots[0]) == (5658,)
    assert day.choices_mhz(Pilot("Otter", (5732, 5806), pin_mhz=(5732,))) == ()


@pytest.mark.parametrize(
    ("common_mw", "power_mw"),
    [
        (25, 25),
        (199, 25),
        (200, 200),  # a step at the level is not above it
        (599, 200),
        (10_000, 600),
        (10, 25),  # all steps above: the lowest
    ],
)
def test_power_is_the_highest_own_step_not_above_the_common_level(common_mw, power_mw):
    assert Pilot("Wren", (5658,), STEPS).power_at(common_mw) == power_mw
    assert Pilot("Wren", (5658,), STEPS[::-1]).power_at(common_mw) == power_mw


def test_a_power_that_the_director_set_outranks_the_common_level():
    assert Pilot("Wren", (5658,), STEPS, power_mw=400).power_at(25) == 400


def test_a_day_has_the_defaults_that_the_pages_show():
    day = DayProblem(())
    assert (day.minimum_spacing_mhz, day.aircraft, day.rounds, day.rest_heats) == (20, 6, 1, 1)
    assert (day.day_channels, day.common_power_mw, day.heats_given, day.one_heat) == (
        "auto",
        "auto",
        None,
        False,
    )
    assert (day.retune_worth_db, day.mix_worth_db) == (3.0, 0.5)
    assert (day.node_limit, day.time_limit_s, day.seed) == (20_000_000, 10.0, 1)
    assert (day.site.near_m, day.site.far_m) == (8, 80)


def test_a_pilot_has_the_defaults_of_the_roster():
    pilot = Pilot("Wren", (5658,))
    assert (pilot.power_steps_mw, pilot.gain_dbi, pilot.antenna, pilot.rx_antenna) == (
        (25.0,),
        0.0,
        "rhcp",
        "rhcp",
    )


@pytest.mark.parametrize(
    ("pilots", "wishes", "words"),
    [
        (crowd(1) * 2, {}, "P00 stands in the roster twice: give every pilot a callsign of their own"),
        ((*crowd(3), *crowd(2)), {}, "P00 stands in the roster twice"),
        (crowd(1), {"aircraft": 0}, "0 aircraft at once: give a number from 1 to 12"),
        (crowd(1), {"aircraft": 13}, "13 aircraft at once"),
        (crowd(1), {"rounds": 0}, "0 rounds: give at least one round"),
        (crowd(1), {"retune_worth_db": 0.0}, "a retune worth 0 dB: give more than 0 dB"),
        (crowd(13), {"one_heat": True}, "a heat of 13 pilots: split it: at most 12 can share the air"),
        (crowd(13), {"heats_given": ((), tuple(f"P{n:02}" for n in range(13)))}, "a heat of 13 pilots"),
        (crowd(2), {"heats_given": (("P00", "P01"), ("P00", "Rook", "Coot"))}, "Coot is in a given heat"),
    ],
)
def test_a_question_that_contradicts_itself_is_refused_with_a_cure(pilots, wishes, words):
    with pytest.raises(ProblemError) as refusal:
        DayProblem(pilots, **wishes)
    assert str(refusal.value).startswith(words)


@pytest.mark.parametrize(
    ("pilots", "wishes"),
    [
        (crowd(1), {"aircraft": 1, "rounds": 1}),
        (crowd(20), {"aircraft": 12, "retune_worth_db": 0.1}),
        (crowd(12), {"one_heat": True}),
        (crowd(20), {"heats_given": (tuple(f"P{n:02}" for n in range(12)),)}),
        ((), {}),
    ],
)
def test_questions_at_the_edge_are_taken(pilots, wishes):
    assert DayProblem(pilots, **wishes).pilots == pilots


def test_a_refusal_says_what_is_wrong_and_what_would_be_right():
    refusal = ProblemError("0 rounds", "give at least one round")
    assert isinstance(refusal, AllocatorError)
    assert (refusal.problem, refusal.cure) == ("0 rounds", "give at least one round")


def test_the_same_day_with_other_pilots_keeps_everything_else():
    day = DayProblem(crowd(3), aircraft=2, rounds=4, bans_mhz=(5658,))
    other = day.with_pilots(crowd(1))
    assert other.pilots == crowd(1)
    assert (other.aircraft, other.rounds, other.bans_mhz) == (2, 4, (5658,))
