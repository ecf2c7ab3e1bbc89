"""The ranking of causes: what the numbers must say in plain cases, and a small run of the simulation."""

import math
from dataclasses import replace

import pytest

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down
from server.allocator.trouble import Report, rank
from server.allocator.trouble_air import Air, Flier, OnGround
from server.allocator.trouble_effects import suspicions
from server.allocator.trouble_receiver import TroubledReceiver
from server.radio.interference import Station, heat_margins
from server.radio.outside import OutsideSignal
from server.radio.site import Site
from tests.allocator.troubled_heats import troubles
from tests.benchmarks.trouble_desk import measure, within

RACE_MHZ = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)
ALL_MHZ = tuple(sorted({*RACE_MHZ, 5705, 5685, 5665, 5645, 5885, 5905, 5740, 5745, 5752, 5760, 5780, 5800}))


def flier(name, mhz, steps=(25.0,), confirmed=True, channels=ALL_MHZ):
    return Flier(Seat(Pilot(name, channels, power_steps_mw=steps), mhz, 25.0), confirmed)


def air_of(*fliers, ground=(), down=(), site=None):
    return Air(DayProblem((), site or Site()), fliers, ground, down)


WREN, OTTER, ROOK = flier("Wren", 5695), flier("Otter", 5732), flier("Rook", 5806)


def chance_of(causes, kind, *who):
    return sum(one.chance for one in causes if one.kind == kind and (not who or one.who[: len(who)] == who))


def effects_of(air, kind, place=0):
    return [one for one in suspicions(TroubledReceiver(air, place)) if one.kind == kind]


class TestEffects:
    def test_a_wrong_channel_has_the_margin_of_the_model_with_the_pilot_there(self):
        air = air_of(WREN, replace(OTTER, is_confirmed=False), ROOK)
        for one in effects_of(air, "wrong channel"):
            if one.who == ("Otter",):
                stations = [
                    _station("Wren", 5695),
                    _station("Otter", one.mhz),
                    _station("Rook", 5806),
                ]
                margin_db = heat_margins(stations, Site()).slots[0].margin_db
                assert one.effect.margin_db == pytest.approx(margin_db)
                assert one.everybody_db[0] == pytest.approx(margin_db)

    def test_only_channels_that_the_gear_tunes_come_into_question(self):
        fixed = flier("Otter", 5732, channels=(5732,), confirmed=False)
        air = air_of(WREN, fixed, ROOK)
        assert not [one for one in effects_of(air, "wrong channel") if one.who == ("Otter",)]

    def test_who_is_on_another_channel_sees_it_on_the_own_picture_too(self):
        air = air_of(WREN, replace(OTTER, is_confirmed=False), ROOK)
        worst = min(effects_of(air, "wrong channel"), key=lambda one: one.everybody_db[1])
        assert worst.everybody_db[1] < 0

    def test_the_pits_are_heard_from_their_own_distance(self):
        ground = (OnGround(Pilot("Quill", (5695,)), 5695, 25.0),)
        (one,) = effects_of(air_of(WREN, ground=ground), "pits")
        # 25 mW from 30 m against 25 mW from 80 m, on the channel: 20 log10(30/80) - 28 dB.
        assert one.effect.alone_db == pytest.approx(20 * math.log10(30 / 80) - 28, abs=0.01)
        assert not one.effect.moves

    def test_a_cause_that_flies_is_twice_the_way_better_in_the_middle_and_one_on_the_ground_once(self):
        half_db = 10.0
        air = air_of(WREN, OTTER, ground=(OnGround(Pilot("Quill", (5695,)), 5695, 25.0),))
        (pits,) = effects_of(air, "pits")
        carrier = effects_of(air, "carrier")[0]
        assert pits.effect.usual_db == pytest.approx(pits.effect.alone_db + half_db)
        assert carrier.effect.usual_db == pytest.approx(carrier.effect.alone_db + 2 * half_db)

    def test_a_set_that_can_go_higher_may_have_been_left_there(self):
        air = air_of(WREN, flier("Otter", 5732, steps=(25.0, 250.0)))
        planned, loud = effects_of(air, "carrier")
        assert planned.effect.alone_db - loud.effect.alone_db == pytest.approx(10, abs=0.01)
        assert loud.rate > planned.rate

    def test_a_noted_signal_has_the_level_it_was_noted_with(self):
        site = Site(outside=(OutsideSignal(5695, 0, -80, "the camera van"),))
        found = [
            one for one in effects_of(air_of(WREN, site=site), "outside") if one.who == ("the camera van",)
        ]
        assert {round(one.effect.alone_db, 1) for one in found} == {round(-69.79 + 80 - 28, 1)}
        assert sum(one.rate for one in found) == pytest.approx(0.1)

    def test_a_weak_signal_drowns_in_noise_alone_and_in_the_others_among_them(self):
        alone = effects_of(air_of(WREN), "link")
        among = effects_of(air_of(WREN, OTTER, ROOK), "link")
        assert [one.effect.character for one in alone] == ["noise", "noise"]
        assert [one.effect.character for one in among] == ["beat", "beat"]
        # 25 mW from 80 m stand 13.9 dB above the threshold; 10 and 17 dB less, with 6 dB kept for fades.
        assert [one.effect.alone_db for one in alone] == pytest.approx([-2.1, -9.1], abs=0.1)

    def test_what_is_down_is_heard_as_near(self):
        air = air_of(WREN, down=(Down("Otter", 5695, 25.0),))
        (one,) = effects_of(air, "down")
        assert one.effect.alone_db == pytest.approx(-20 - 28, abs=0.01)


class TestRanking:
    def test_another_picture_all_of_a_sudden_is_somebody_in_the_pits_on_the_channel(self):
        ground = (
            OnGround(Pilot("Quill", (5917,)), 5917, 25.0),
            OnGround(Pilot("Coot", (5695, 5917)), 5695, 25.0, is_next=True),
        )
        causes = rank(
            air_of(WREN, OTTER, ROOK, ground=ground), Report("Wren", "another picture", None, "suddenly")
        )
        assert causes[0].kind == "pits"
        assert causes[0].who[0] == "Coot"
        assert causes[0].mhz == 5695

    def test_flicker_when_somebody_unconfirmed_is_near_is_a_wrong_channel(self):
        otter = flier("Otter", 5771, channels=(5760, 5771), confirmed=False)
        air = air_of(flier("Wren", 5740), otter, flier("Rook", 5880))
        causes = rank(air, Report("Wren", "flicker", "Otter", "from the start"))
        assert (causes[0].kind, causes[0].who, causes[0].mhz) == ("wrong channel", ("Otter",), 5760)

    def test_a_seen_channel_makes_the_own_one_less_likely_and_the_link_more(self):
        report = Report("Wren", "snow far out")
        seen = rank(air_of(WREN, OTTER), report)
        unseen = rank(air_of(replace(WREN, is_confirmed=False), OTTER), report)
        assert chance_of(unseen, "own channel") > 5 * chance_of(seen, "own channel")
        assert seen[0].kind == "link"

    def test_silence_of_the_others_speaks_for_the_own_receiver(self):
        air = air_of(WREN, replace(OTTER, is_confirmed=False), ROOK)
        alone = rank(air, Report("Wren", "lines"))
        both = rank(air, Report("Wren", "lines", also=frozenset({"Otter"})))
        assert chance_of(both, "wrong channel", "Otter") > chance_of(alone, "wrong channel", "Otter")

    def test_chances_are_those_of_one_whole(self):
        causes = rank(air_of(WREN, OTTER, ROOK), Report("Wren", "lines"))
        assert 0 < sum(one.chance for one in causes) <= 1
        assert [one.chance for one in causes] == sorted((one.chance for one in causes), reverse=True)

    def test_who_does_not_fly_cannot_report(self):
        with pytest.raises(ValueError, match="Coot"):
            rank(air_of(WREN), Report("Coot", "lines"))

    def test_a_pilot_alone_has_only_the_own_set_the_pits_and_what_is_on_the_air(self):
        causes = rank(air_of(WREN), Report("Wren", "black"))
        assert {one.kind for one in causes} <= {"link", "own channel", "outside"}


def test_a_small_run_of_the_simulation_is_named_well():
    """The full run is tests.benchmarks.trouble_desk; this one holds the ranking to what it reached."""
    alone, one_test, two_tests = (places["all"] for places in measure(troubles(60, 11), 2))
    assert within(alone, 1) >= 0.4
    assert within(alone, 3) >= 0.65
    assert within(one_test, 1) >= within(alone, 1)
    assert within(two_tests, 1) >= 0.6
    assert within(two_tests, 3) >= 0.8


def _station(name, mhz):
    return Station(name, mhz, 25.0)
