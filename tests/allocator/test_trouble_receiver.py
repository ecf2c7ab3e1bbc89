"""The air at one receiver: loads and margins of scenes, by the radio model and by hand."""

import math
from dataclasses import replace

import pytest

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down
from server.allocator.trouble_air import Air, Flier, OnGround
from server.allocator.trouble_receiver import Scene, TroubledReceiver, margin_of, margins_of
from server.radio.interference import Station, heat_margins
from server.radio.outside import OutsideSignal
from server.radio.site import Site

# 25 mW from 80 m arrive with -69.79 dBm; noise of 27 MHz and 6 dB is -93.66 dBm; FM needs 10 dB more than it.
LINK_DB = 13.863


def flier(name, mhz, at=25.0):
    return Flier(Seat(Pilot(name, (mhz, 5695), power_steps_mw=(at,)), mhz, at))


def heard_at(place, *fliers, ground=(), down=(), site=None):
    return TroubledReceiver(Air(DayProblem((), site or Site()), fliers, ground, down), place)


WREN, OTTER, ROOK = flier("Wren", 5695), flier("Otter", 5715), flier("Rook", 5806, 200.0)
LOST = Down("Heron", 5730, 100.0, antenna="linear", gain_dbi=3.0)


def margins(*stations, site=None):
    return [slot.margin_db for slot in heat_margins(stations, site or Site()).slots]


STATIONS = (Station("Wren", 5695, 25.0), Station("Otter", 5715, 25.0), Station("Rook", 5806, 200.0))


class TestAsCalled:
    def test_loads_are_those_of_the_model_with_what_is_down(self):
        heard = heard_at(0, WREN, OTTER, ROOK, down=(LOST,))
        there = margins(*STATIONS, Station("Heron", 5730, 100.0, antenna="linear", gain_dbi=3.0))
        assert margins_of(heard.planned) == pytest.approx(tuple(there[:3]))
        assert heard.as_called == Scene((0, 1, 2, 3), (5695, 5715, 5806, 5730), heard.gear, 5695)
        assert (heard.near, heard.as_called.weaker_db, heard.as_called.signal) == (4, 0.0, None)

    @pytest.mark.parametrize("place", range(3))
    def test_one_left_out_is_a_heat_without_it(self, place):
        heard = heard_at(place, WREN, OTTER, ROOK)
        for other in {0, 1, 2} - {place}:
            rest = [one for number, one in enumerate(STATIONS) if number != other]
            margin_db = margins(*rest)[rest.index(STATIONS[place])]
            assert margin_of(heard.load_without(other)) == pytest.approx(margin_db)

    def test_the_pits_are_as_far_as_the_site_says(self):
        ground = (OnGround(Pilot("Quill", (5695,), current_mhz=5800, pin_mhz=(5800,)), 5695, 25.0),)
        for pit_m in (20.0, 60.0):
            heard = heard_at(0, WREN, ground=ground, site=Site(pit_m=pit_m))
            called = heard.as_called
            scene = replace(called, members=(0, 1), mhz=(5695, 5695))
            assert margins_of(heard.loads(scene)) == pytest.approx((20 * math.log10(pit_m / 80) - 28,))

    def test_half_way_is_the_middle_of_near_and_far_in_dB(self):
        assert heard_at(0, WREN, site=Site(near_m=5, far_m=500)).half_db == pytest.approx(20.0)

    def test_no_load_at_all_is_some_300_dB(self):
        assert margin_of(0.0) == margin_of(-1.0) == pytest.approx(300.0)
        assert margin_of(0.01) == pytest.approx(20.0)

    def test_bans_and_given_heats_of_the_day_change_nothing(self):
        pilots = tuple(one.seat.pilot for one in (WREN, OTTER))
        day = DayProblem(pilots, bans_mhz=(5695,), heats_given=(("Wren", "Otter"),))
        heard = TroubledReceiver(Air(day, (WREN, OTTER)), 0)
        assert margins_of(heard.planned) == pytest.approx(tuple(margins(*STATIONS[:2])))


class TestChanged:
    def test_a_louder_one_is_so_at_every_receiver_and_the_gear_itself_stays(self):
        heard = heard_at(0, WREN, OTTER, ROOK)
        before = heard.gear.level_mw.copy()
        level_mw = heard.louder(1, 10.0).level_mw
        assert level_mw[:, 1] == pytest.approx(10 * before[:, 1])
        assert level_mw[:, [0, 2]] == pytest.approx(before[:, [0, 2]])
        assert heard.gear.level_mw == pytest.approx(before)

    def test_one_is_retuned_and_the_others_stay(self):
        heard = heard_at(0, WREN, OTTER, ROOK, down=(LOST,))
        assert heard.retuned(1, 5800) == (5695, 5800, 5806, 5730)
        assert heard.retuned(0, 5800) == (5800, 5715, 5806, 5730)

    def test_an_outside_signal_counts_by_its_level_and_protection_ratio_alone(self):
        site = Site(outside=(OutsideSignal(5695, 0, -50),))
        heard = heard_at(0, WREN, OTTER, site=site)
        loads = heard.loads_of(OutsideSignal(5695, 0, -80))
        # 25 mW arrive from 80 m with -69.79 dBm; on the channel 28 dB are needed.
        assert margin_of(loads[0]) == pytest.approx(-69.79 + 80 - 28, abs=0.01)
        assert loads[1] < loads[0] / 10


class TestMargins:
    def test_who_is_far_is_weaker_by_twice_half_the_way(self):
        heard = heard_at(0, WREN, OTTER)
        assert heard.margin_db(heard.as_called, far=(1,)) == pytest.approx(margins(*STATIONS[:2])[0] + 20.0)
        assert heard.margin_db(heard.as_called) == pytest.approx(margins(*STATIONS[:2])[0])

    def test_all_counts_dB_by_dB_for_the_own_signal(self):
        heard = heard_at(0, WREN, OTTER)
        called = heard.margin_db(heard.as_called)
        assert heard.margin_db(heard.as_called, nearer_db=6.0) == pytest.approx(called + 6.0)
        weaker = replace(heard.as_called, weaker_db=10.0)
        assert heard.margin_db(weaker) == pytest.approx(called - 10.0)
        # Twelve MHz off lose 2.7 dB.
        off = replace(heard.as_called, own_mhz=5707)
        assert heard.margin_db(off) == pytest.approx(called - 2.7)

    def test_a_signal_of_the_scene_comes_on_top(self):
        heard = heard_at(0, WREN, OTTER)
        signal = OutsideSignal(5700, 10.0, -75.0)
        there = margins(*STATIONS[:2], site=Site(outside=(signal,)))
        assert heard.margin_db(replace(heard.as_called, signal=signal)) == pytest.approx(there[0])

    def test_a_weak_link_alone_drowns_in_noise_six_dB_early_and_comes_back_nearer(self):
        heard = heard_at(0, WREN)
        weaker = replace(heard.as_called, weaker_db=10.0)
        assert heard.over_noise_db(10.0) == pytest.approx(LINK_DB - 10.0 - 6.0, abs=0.01)
        assert heard.margin_db(weaker) == pytest.approx(LINK_DB - 16.0, abs=0.01)
        assert heard.margin_db(weaker, nearer_db=6.0) == pytest.approx(LINK_DB - 10.0, abs=0.01)
        assert heard.margin_db(heard.as_called) == pytest.approx(300.0)

    def test_an_own_transmitter_off_tune_is_distorted_whatever_the_link(self):
        heard = heard_at(0, WREN)
        assert heard.margin_db(replace(heard.as_called, own_mhz=5705)) == pytest.approx(5.0 - 3 * 1.5)
        # 18 MHz off lose 14 dB: less is left of the link than the 5 dB that hide nothing, until it is nearer.
        far = replace(heard.as_called, own_mhz=5713)
        assert heard.margin_db(far) == pytest.approx(LINK_DB - 14.0 - 42.0, abs=0.01)
        assert heard.margin_db(far, nearer_db=3.0) == pytest.approx(LINK_DB + 3.0 - 56.0, abs=0.01)
        assert heard.margin_db(far, nearer_db=9.0) == pytest.approx(5.0 - 42.0)
        assert heard.off_tune_db(0, 5695) == pytest.approx(5.0)

    def test_the_link_of_somebody_else_is_their_own(self):
        heard = heard_at(0, WREN, OTTER, ROOK)
        # 200 mW are 9 dB more than 25 mW; 20 MHz off lose 20 dB.
        assert heard.off_tune_db(2, 5826) == pytest.approx(LINK_DB + 9.03 - 20.0 - 60.0, abs=0.01)
        assert heard.off_tune_db(1, 5735) == pytest.approx(LINK_DB - 20.0 - 60.0, abs=0.01)
