"""What each cause would do, form by form: rates, channels and margins, by the radio model with it there."""

import math
from dataclasses import replace

import pytest

from server.allocator import trouble_effects
from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down
from server.allocator.trouble_air import Air, Flier, OnGround
from server.allocator.trouble_effects import suspicions
from server.allocator.trouble_receiver import TroubledReceiver
from server.radio.interference import Station, heat_margins
from server.radio.outside import OutsideSignal
from server.radio.site import Site

TUNES = (5658, 5685, 5695, 5705, 5725, 5732, 5733, 5740, 5745, 5769, 5800, 5806)


def flier(name, mhz, steps=(25.0,), at=25.0, confirmed=False, channels=TUNES):
    return Flier(Seat(Pilot(name, channels, power_steps_mw=steps), mhz, at), confirmed)


WREN, OTTER, ROOK = flier("Wren", 5695), flier("Otter", 5732), flier("Rook", 5806)


def air_of(*fliers, ground=(), down=(), site=None):
    return Air(DayProblem((), site or Site()), fliers, ground, down)


def forms(air, kind, who=None, place=0):
    found = suspicions(TroubledReceiver(air, place))
    return [one for one in found if one.kind == kind and who in (None, one.who[0])]


def margins(*stations, site=None):
    """Margins by the radio model of (MHz, mW) each."""
    named = [Station(f"{number}", *one) for number, one in enumerate(stations)]
    return [slot.margin_db for slot in heat_margins(named, site or Site()).slots]


def part_db(whole_db, rest_db):
    """The margin that one part of an interference leaves, from that of the whole and of the rest."""
    return -10 * math.log10(10 ** (-whole_db / 10) - 10 ** (-rest_db / 10))


class TestCarriers:
    def test_one_with_a_higher_step_is_as_planned_or_on_its_highest(self):
        air = air_of(WREN, flier("Otter", 5720, steps=(25.0, 100.0, 250.0)), ROOK)
        found = forms(air, "carrier", "Otter")
        assert [(one.who, one.mhz, one.rate) for one in found] == [
            (("Otter",), 5720, 0.01),
            (("Otter",), 5720, 0.05),
        ]
        for one, power_mw in zip(found, (25.0, 250.0), strict=True):
            there = margins((5695, 25.0), (5720, power_mw), (5806, 25.0))
            assert one.everybody_db == pytest.approx(there)
            assert one.effect.margin_db == pytest.approx(there[0])
            assert one.effect.alone_db == pytest.approx(
                part_db(there[0], margins((5695, 25.0), (5806, 25.0))[0])
            )

    def test_one_on_its_highest_step_may_be_six_db_hotter_than_its_label(self):
        found = forms(air_of(WREN, OTTER), "carrier")
        assert [one.rate for one in found] == [0.01, 0.01]
        assert found[0].effect.alone_db - found[1].effect.alone_db == pytest.approx(6.0)

    def test_the_own_carrier_is_no_cause(self):
        assert {one.who for one in forms(air_of(WREN, OTTER, ROOK), "carrier", place=1)} == {
            ("Wren",),
            ("Rook",),
        }

    @pytest.mark.parametrize(("mhz", "character"), [(5707, "picture"), (5683, "picture"), (5708, "beat")])
    def test_a_carrier_within_12_mhz_shows_its_picture(self, mhz, character):
        (one, _) = forms(air_of(WREN, flier("Otter", mhz)), "carrier")
        assert (one.effect.character, one.effect.moves) == (character, True)


class TestProducts:
    # 2 x 5695 - 5658 = 5732: the product of Otter and Rook falls on Wren.
    LOUD = (flier("Wren", 5732), flier("Otter", 5695, at=200.0), flier("Rook", 5658, at=200.0))

    def test_a_receiver_overloaded_sooner_lets_products_rise_by_twice_as_much(self):
        first, second = forms(air_of(*self.LOUD), "product")
        assert first.effect.alone_db - second.effect.alone_db == pytest.approx(2 * 6.0)
        for one, iip3_dbm in ((first, -20.0), (second, -26.0)):
            site = Site(receiver=replace(Site().receiver, iip3_dbm=iip3_dbm))
            there = margins((5732, 25.0), (5695, 200.0), (5658, 200.0), site=site)[0]
            assert one.effect.margin_db == pytest.approx(there)
            assert one.everybody_db[0] == pytest.approx(there)

    def test_makers_are_named_in_order_and_share_the_rate(self):
        found = forms(air_of(*self.LOUD), "product")
        assert [(one.who, one.mhz) for one in found] == [(("Otter", "Rook"), None)] * 2
        assert [one.rate for one in found] == pytest.approx([0.015, 0.015])

    def test_it_is_a_beat_that_falls_by_four_ways_in_the_middle_of_the_course(self):
        for one in forms(air_of(*self.LOUD), "product"):
            assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 40.0)
            assert (one.effect.character, one.effect.moves) == ("beat", True)

    def test_others_are_as_called(self):
        called = margins((5732, 25.0), (5695, 200.0), (5658, 200.0))
        for one in forms(air_of(*self.LOUD), "product"):
            assert one.everybody_db[1:] == pytest.approx(called[1:])

    def test_a_receiver_is_never_worse_than_the_model_allows(self):
        site = Site(receiver=replace(Site().receiver, iip3_dbm=-35.0))
        first, second = forms(air_of(*self.LOUD, site=site), "product")
        assert first.effect.alone_db == pytest.approx(second.effect.alone_db)

    def test_the_four_strongest_are_listed_with_their_shares(self):
        many = [flier(f"P{n}", mhz, at=200.0) for n, mhz in enumerate((5658, 5695, 5769, 5806, 5843))]
        air = air_of(flier("Wren", 5732), *many)
        found = forms(air, "product")
        assert len(found) == 8
        for few, iip3_dbm in ((found[:4], -20.0), (found[4:], -26.0)):
            site = Site(receiver=replace(Site().receiver, iip3_dbm=iip3_dbm))
            named = [Station(one.seat.pilot.callsign, one.seat.mhz, one.seat.power_mw) for one in air.fliers]
            loads = {}
            for term in heat_margins(named, site).slots[0].terms:
                if term.kind == "products":
                    makers = tuple(sorted(set(term.of)))
                    loads[makers] = loads.get(makers, 0.0) + 10 ** (-term.margin_db / 10)
            strongest = sorted(loads.values(), reverse=True)[:4]
            assert [loads[one.who] for one in few] == pytest.approx(strongest)
            shares = [load / sum(loads.values()) for load in strongest]
            assert [one.rate for one in few] == pytest.approx([0.015 * share for share in shares])


class TestWrongChannels:
    @pytest.mark.parametrize(("confirmed", "rate"), [(False, 0.08), (True, 0.005)])
    def test_neighbours_that_the_gear_tunes_share_the_rate_and_a_twin_is_right(self, confirmed, rate):
        # Within 15 MHz of 5732 the catalogue has 5725, 5733, 5740 and 5745; 5733 no receiver tells apart.
        air = air_of(flier("Wren", 5769), flier("Otter", 5732, confirmed=confirmed))
        found = forms(air, "wrong channel", "Otter")
        assert [(one.mhz, one.rate) for one in found] == [
            (mhz, pytest.approx(rate / 3)) for mhz in (5725, 5740, 5745)
        ]

    def test_its_own_pilot_sees_an_off_tune_picture(self):
        air = air_of(flier("Wren", 5769), OTTER, ROOK)
        found = {one.mhz: one for one in forms(air, "wrong channel", "Otter")}
        # 8 MHz off lose 0.6 dB, 13 MHz 3.57 dB; the link has 13.9 dB but hides 5 dB, less three for each dB lost.
        assert found[5740].everybody_db[1] == pytest.approx(5.0 - 3 * 0.6)
        assert found[5745].everybody_db[1] == pytest.approx(5.0 - 3 * (2.7 + 1.3 * 2 / 3))
        for mhz, one in found.items():
            there = margins((5769, 25.0), (mhz, 25.0), (5806, 25.0))
            assert [one.everybody_db[0], one.everybody_db[2]] == pytest.approx([there[0], there[2]])
            rest_db = margins((5769, 25.0), (5806, 25.0))[0]
            assert one.effect.alone_db == pytest.approx(part_db(there[0], rest_db))
            assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 20.0)
            assert one.effect.moves

    def test_the_own_neighbours_are_no_wrong_channel_of_somebody_else(self):
        air = air_of(WREN, flier("Otter", 5732, channels=(5732, 5733)))
        assert forms(air, "wrong channel") == []
        assert forms(air, "wrong channel", place=1) != []


class TestPits:
    @pytest.mark.parametrize(
        ("how", "rate"), [({}, 0.004), ({"is_next": True}, 0.012), ({"is_on": True}, 0.5)]
    )
    def test_seven_in_ten_come_up_on_their_last_channel(self, how, rate):
        ground = (OnGround(Pilot("Quill", (5658, 5695, 5732)), 5732, 25.0, **how),)
        found = {one.mhz: one.rate for one in forms(air_of(WREN, ground=ground), "pits")}
        assert found == {
            5658: pytest.approx(0.1 * rate),
            5695: pytest.approx(0.1 * rate),
            5732: pytest.approx(0.8 * rate),
        }

    def test_where_nobody_knows_the_last_channel_all_are_as_likely(self):
        ground = (OnGround(Pilot("Quill", (5658, 5695)), None, 25.0),)
        assert [one.rate for one in forms(air_of(WREN, ground=ground), "pits")] == pytest.approx(
            [0.002, 0.002]
        )

    def test_a_last_channel_that_the_gear_no_longer_tunes_counts_too(self):
        ground = (OnGround(Pilot("Quill", (5658,)), 5700, 25.0),)
        found = {one.mhz: one.rate for one in forms(air_of(WREN, ground=ground), "pits")}
        assert found == {5658: pytest.approx(0.3 * 0.004), 5700: pytest.approx(0.7 * 0.004)}

    def test_a_channel_45_mhz_off_is_within_reach_and_one_farther_is_not(self):
        ground = (OnGround(Pilot("Quill", (5649, 5650, 5740, 5741)), None, 400.0),)
        assert [one.mhz for one in forms(air_of(WREN, ground=ground), "pits")] == [5650, 5740]

    def test_each_is_named_with_the_own_power(self):
        ground = (
            OnGround(Pilot("Quill", (5695,)), 5695, 25.0),
            OnGround(Pilot("Coot", (5695,)), 5695, 250.0),
        )
        quill, coot = forms(air_of(WREN, OTTER, ground=ground, down=(Down("Heron", 5806, 25.0),)), "pits")
        assert (quill.who, coot.who) == (("Quill",), ("Coot",))
        assert quill.effect.alone_db - coot.effect.alone_db == pytest.approx(10.0)
        assert quill.effect.character == "picture"
        # From 30 m, heard by Otter 37 MHz off as well: weaker than Wren from 8 m by 20 log10(30/8) = 11.5 dB.
        assert quill.everybody_db[1] < forms(air_of(WREN, OTTER), "link")[0].everybody_db[1]


class TestOwnSide:
    def test_what_is_down_is_a_cause_beside_all_as_called(self):
        lost = Down("Heron", 5705, 25.0)
        (one,) = forms(air_of(WREN, OTTER, down=(lost,)), "down")
        there = margins((5695, 25.0), (5732, 25.0), (5705, 25.0))
        assert (one.who, one.mhz, one.rate) == (("Heron",), 5705, 0.15)
        assert one.everybody_db == pytest.approx(there[:2])
        assert one.effect.alone_db == pytest.approx(part_db(there[0], margins((5695, 25.0), (5732, 25.0))[0]))
        assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 10.0)
        assert (one.effect.character, one.effect.moves) == ("picture", False)

    @pytest.mark.parametrize(("confirmed", "rate"), [(False, 0.08), (True, 0.005)])
    def test_the_own_transmitter_on_a_neighbour_is_seen_off_tune(self, confirmed, rate):
        found = forms(air_of(flier("Wren", 5695, confirmed=confirmed)), "own channel")
        assert [(one.who, one.mhz) for one in found] == [(("Wren",), 5685), (("Wren",), 5705)]
        for one in found:
            # Ten MHz off lose 1.5 dB.
            assert one.rate == pytest.approx(rate / 2)
            assert one.effect.alone_db == pytest.approx(5.0 - 3 * 1.5)
            assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 10.0)
            assert one.everybody_db == pytest.approx((one.effect.margin_db,))
            assert one.effect.margin_db == pytest.approx(0.5)
            assert (one.effect.character, one.effect.moves) == ("off tune", False)

    def test_an_own_signal_off_tune_is_weaker_against_the_others_and_nearer_to_them(self):
        air = air_of(WREN, flier("Otter", 5720))
        found = {one.mhz: one for one in forms(air, "own channel")}
        called = margins((5695, 25.0), (5720, 25.0))[0]
        assert called < 0.5 + 1.5
        for mhz, one in found.items():
            assert one.effect.margin_db == pytest.approx(called - 1.5)
            assert one.everybody_db[1] == pytest.approx(margins((mhz, 25.0), (5720, 25.0))[1])

    def test_a_weak_link_is_noise_where_the_others_leave_more(self):
        first, second = forms(air_of(WREN), "link")
        assert first.effect.alone_db - second.effect.alone_db == pytest.approx(7.0)
        for one in (first, second):
            assert (one.who, one.mhz, one.rate) == (("Wren",), None, 0.015)
            assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 10.0)
            assert one.effect.margin_db == one.effect.alone_db
            assert one.everybody_db == pytest.approx((one.effect.margin_db,))
            assert (one.effect.character, one.effect.moves) == ("noise", False)

    def test_among_others_a_weak_link_loses_against_them_dB_by_dB(self):
        called = margins((5695, 25.0), (5732, 25.0), (5806, 25.0))
        for one, weaker_db in zip(forms(air_of(WREN, OTTER, ROOK), "link"), (10.0, 17.0), strict=True):
            assert one.effect.alone_db == pytest.approx(called[0] - weaker_db)
            assert one.effect.usual_db == pytest.approx(one.effect.alone_db + 20.0)
            assert one.effect.margin_db == one.effect.alone_db
            assert one.everybody_db == pytest.approx([one.effect.margin_db, *called[1:]])
            assert (one.effect.character, one.effect.moves) == ("beat", True)


class TestOutside:
    def test_a_signal_that_nobody_noted_is_right_on_the_channel(self):
        found = forms(air_of(WREN), "outside")
        assert [(one.effect.character, one.rate) for one in found] == [
            ("picture", pytest.approx(0.002)),
            ("beat", pytest.approx(0.002)),
            ("noise", pytest.approx(0.001)),
        ]
        assert {one.mhz for one in found} == {5695}
        assert {one.scene.signal for one in found} == {OutsideSignal(5695, 10.0, -75.0)}

    @pytest.mark.parametrize(("centre_mhz", "rate"), [(5740, 0.0025), (5650, 0.0025), (5741, 0.005)])
    def test_one_noted_within_45_mhz_makes_another_half_as_likely(self, centre_mhz, rate):
        site = Site(outside=(OutsideSignal(centre_mhz, 20, -60, "the mast"),))
        found = [one for one in forms(air_of(WREN, site=site), "outside") if one.who != ("the mast",)]
        assert sum(one.rate for one in found) == pytest.approx(rate)

    @pytest.mark.parametrize(
        ("width_mhz", "shares"),
        [(12.0, {"picture": 0.4, "beat": 0.4, "noise": 0.2}), (12.1, {"noise": 1.0})],
    )
    def test_a_block_wider_than_12_mhz_is_noise(self, width_mhz, shares):
        site = Site(outside=(OutsideSignal(5700.4, width_mhz, -75, "the mast"),))
        found = forms(air_of(WREN, site=site), "outside", "the mast")
        assert {one.effect.character: one.rate for one in found} == {
            character: pytest.approx(0.1 * share) for character, share in shares.items()
        }
        assert {one.mhz for one in found} == {5700}
        assert not any(one.effect.moves for one in found)

    def test_a_noted_signal_is_counted_once_and_another_comes_on_top(self):
        noted = OutsideSignal(5695, 0, -80, "the mast")
        site = Site(outside=(noted,))
        air = air_of(WREN, OTTER, site=site)
        (mast, *_), other = forms(air, "outside", "the mast"), forms(air, "outside")[-1]
        called = margins((5695, 25.0), (5732, 25.0), site=site)
        assert mast.everybody_db == pytest.approx(called)
        assert mast.scene.signal is None
        both = Site(outside=(noted, OutsideSignal(5695, 10.0, -75.0)))
        assert other.everybody_db == pytest.approx(margins((5695, 25.0), (5732, 25.0), site=both))
        assert other.effect.margin_db == pytest.approx(other.everybody_db[0])
        assert other.effect.usual_db == pytest.approx(other.effect.alone_db + 10.0)


def test_a_cause_that_alone_leaves_25_db_or_more_is_none():
    # On the own channel a carrier from the pits needs 28 dB: 20 log10(30/80) - 28 = -36.5 dB at equal powers.
    def left(alone_db):
        power_mw = 25.0 * 10 ** ((-36.519 - alone_db) / 10)
        ground = (OnGround(Pilot("Quill", (5695,)), 5695, power_mw),)
        return forms(air_of(WREN, ground=ground), "pits")

    assert len(left(24.9)) == 1
    assert left(25.1) == []


@pytest.mark.parametrize("down", [(), (Down("Heron", 5769, 25.0),)])
def test_the_air_of_a_cause_gives_the_margin_that_the_cause_is_told_with(down):
    air = air_of(
        flier("Wren", 5732),
        flier("Otter", 5695, steps=(25.0, 200.0), at=200.0),
        flier("Rook", 5658, steps=(25.0, 400.0), at=200.0),
        ground=(OnGround(Pilot("Quill", (5725,)), 5725, 100.0),),
        down=down,
        site=Site(outside=(OutsideSignal(5740, 5, -70, "the mast"),)),
    )
    heard = TroubledReceiver(air, 0)
    found = suspicions(heard)
    assert len({one.kind for one in found}) == 7 + len(down)
    for one in found:
        # What is down makes products too, which those of the heat leave out.
        if one.kind != "product" or not down:
            assert heard.margin_db(one.scene) == pytest.approx(one.effect.margin_db, abs=1e-6)


def test_a_cause_that_leaves_just_what_counts_as_faint_is_none(monkeypatch):
    air = air_of(WREN, OTTER, ROOK)
    least = max(forms(air, "carrier"), key=lambda one: one.effect.alone_db)
    monkeypatch.setattr(trouble_effects, "FAINT_DB", least.effect.alone_db)
    found = forms(air, "carrier")
    assert found
    assert all(one.effect.alone_db < least.effect.alone_db for one in found)
