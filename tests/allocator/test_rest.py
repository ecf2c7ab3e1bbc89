"""What is left of a day: heats ahead, seats for those who join, powers, and who can fly no more."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator.plan import Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down, RestOfDay, frame_of_rest

RACE = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def pilot(name, mhz=None, **gear):
    return Pilot(name, **{"channels_mhz": RACE, "current_mhz": mhz} | gear)


WREN, OTTER, ROOK, QUILL = (
    pilot("Wren", 5658),
    pilot("Otter", 5695),
    pilot("Rook", 5732),
    pilot("Quill", 5769),
)


def heat(number, round_number, *pilots, power_mw=25.0):
    slots = tuple(Slot(one.callsign, one.current_mhz, power_mw) for one in pilots)
    return Heat(number, round_number, slots, None, None, True)


TWO_ROUNDS = (
    heat(1, 1, WREN, OTTER),
    heat(2, 1, ROOK, QUILL),
    heat(3, 2, WREN, ROOK),
    heat(4, 2, OTTER, QUILL),
)


def rest_of(*pilots, heats=TWO_ROUNDS, first_open=1, down=(), **day):
    problem = DayProblem(pilots, **{"aircraft": 3, "rounds": 2} | day)
    return RestOfDay(problem, heats, first_open, 25.0, down)


def members(frame):
    return [(one.number, one.round, one.was, one.pilots) for one in frame.heats]


class TestHeats:
    def test_those_ahead_keep_their_numbers_and_pilots(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, first_open=2))
        assert members(frame) == [(2, 1, 2, (2, 3)), (3, 2, 3, (0, 2)), (4, 2, 4, (1, 3))]
        assert frame.seats == ()

    def test_who_flies_no_more_is_out_and_an_empty_heat_with_them(self):
        frame = frame_of_rest(rest_of(WREN, OTTER))
        assert members(frame) == [(1, 1, 1, (0, 1)), (2, 2, 3, (0,)), (3, 2, 4, (1,))]

    def test_a_pilot_without_a_channel_is_stuck_and_out(self):
        frame = frame_of_rest(
            rest_of(WREN, OTTER, ROOK, pilot("Quill", 5769, channels_mhz=(5769,)), bans_mhz=(5769,))
        )
        assert frame.stuck == (3,)
        assert members(frame)[1] == (2, 1, 2, (2,))


class TestSeats:
    def test_a_newcomer_needs_one_in_every_round_where_there_is_room(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")))
        assert [(seat.pilot, seat.round, seat.heats) for seat in frame.seats] == [
            (4, 1, (0, 1)),
            (4, 2, (2, 3)),
        ]
        assert frame.missed == ()

    def test_a_full_round_that_has_not_begun_gets_one_heat_more(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), aircraft=2))
        assert [one.was for one in frame.heats] == [1, 2, None, 3, 4, None]
        assert [one.number for one in frame.heats] == [1, 2, 3, 4, 5, 6]
        assert [one.round for one in frame.heats] == [1, 1, 1, 2, 2, 2]
        assert [seat.heats for seat in frame.seats] == [(2,), (5,)]

    def test_a_full_round_that_has_begun_is_missed(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), aircraft=2, first_open=2))
        assert [one.was for one in frame.heats] == [2, 3, 4, None]
        assert [seat.round for seat in frame.seats] == [2]
        assert frame.missed == ((4, 1),)

    def test_a_heat_apart_can_be_wished_for(self):
        rest = rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), first_open=2)
        frame = frame_of_rest(rest, has_extra_heats=True)
        assert [one.was for one in frame.heats] == [2, 3, 4, None]
        assert [seat.heats for seat in frame.seats] == [(0,), (1, 2, 3)]

    def test_who_has_flown_a_round_needs_no_seat_in_it(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, first_open=4))
        assert members(frame) == [(4, 2, 4, (1, 3))]
        assert frame.seats == ()

    @pytest.mark.parametrize(
        ("wish", "heats"),
        [
            ({"apart": frozenset({"Wren"})}, [(1,), (3,)]),
            ({"spotter": "Otter"}, [(1,), (2,)]),
            ({"together": frozenset({"Rook"})}, [(1,), (2,)]),
            ({"after": 1}, [(1,), (2, 3)]),
            ({"before": 4}, [(0, 1), (2,)]),
            ({"heat": 4}, [(0, 1), (3,)]),
            ({"after": 2}, [(2, 3)]),
        ],
    )
    def test_the_wishes_of_a_newcomer_hold(self, wish, heats):
        frame = frame_of_rest(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late", **wish)))
        assert [seat.heats for seat in frame.seats] == heats


class TestGear:
    def test_published_powers_stay_and_newcomers_follow_the_common_level(self):
        heats = (heat(1, 1, WREN, OTTER, power_mw=200.0),)
        steps = {"power_steps_mw": (25.0, 200.0, 600.0)}
        frame = frame_of_rest(
            rest_of(
                replace(WREN, **steps),
                replace(OTTER, **steps, power_mw=600.0),
                pilot("Late", **steps),
                heats=heats,
            )
        )
        assert frame.powers_mw == (200.0, 600.0, 25.0)

    def test_a_spare_without_the_published_step_follows_the_common_level(self):
        heats = (heat(1, 1, WREN, OTTER, power_mw=200.0),)
        spare = replace(WREN, power_steps_mw=(25.0, 400.0))
        assert frame_of_rest(rest_of(spare, OTTER, heats=heats)).powers_mw == (25.0, 25.0)

    def test_who_cannot_keep_the_channel_must_choose(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, pilot("Late"), bans_mhz=(5658,)))
        assert frame.gear.mhz[frame.stay[1]] == 5695
        assert frame.stay.tolist() == [-1, int(np.searchsorted(frame.gear.mhz, 5695)), -1]
        assert frame.is_set.tolist() == [True, True, False]

    def test_a_pin_made_since_is_kept_to(self):
        frame = frame_of_rest(rest_of(replace(WREN, pin_mhz=(5880,)), OTTER))
        assert frame.stay[0] == -1
        assert frame.gear.mhz[frame.gear.usable[0]].tolist() == [5880]

    def test_others_stay_off_a_lost_transmitter_by_the_spacing(self):
        frame = frame_of_rest(rest_of(WREN, OTTER, down=(Down("Rook", 5678, 25.0),)))
        assert frame.gear.mhz[frame.gear.usable[0]].tolist() == [5658, *RACE[2:]]
        near = frame_of_rest(rest_of(WREN, OTTER, down=(Down("Rook", 5677, 25.0),)))
        assert near.gear.mhz[near.gear.usable[0]].tolist() == list(RACE[2:])

    def test_a_lost_transmitter_is_heard_and_hears_nothing(self):
        lost = Down("Rook", 5800, 600.0, "lhcp", 2.0)
        frame = frame_of_rest(rest_of(WREN, OTTER, down=(lost,), bans_mhz=(5800,)))
        assert frame.gear.mhz[frame.gear.usable[2]].tolist() == [5800]
        assert frame.gear.wanted_mw[2] == np.inf
        # 600 mW and 2 dBi are 15.8 dB above 25 mW; the crossed antenna takes 6 dB.
        over = frame.gear.level_mw[0, 2] / frame.gear.level_mw[0, 1]
        assert 10 * np.log10(over) == pytest.approx(15.8 - 6.0, abs=0.01)
        assert len(set(frame.gear.alike.tolist())) == 2

    def test_two_lost_transmitters_are_never_taken_for_one_another(self):
        lost = (Down("Rook", 5740, 25.0), Down("Quill", 5840, 25.0))
        alike = frame_of_rest(rest_of(WREN, OTTER, down=lost)).gear.alike.tolist()
        assert alike[0] == alike[1]
        assert len({alike[0], alike[2], alike[3]}) == 3
