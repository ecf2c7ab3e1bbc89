"""Open flying: the channel for who asks, the order of the queue, and leave to switch on in the pits."""

import itertools
import random
from dataclasses import replace

import numpy as np
import pytest

from server.allocator import open_flying
from server.allocator.heat import best_channels
from server.allocator.open_flying import (
    Place,
    Served,
    Up,
    Wait,
    Waiting,
    Why,
    do_fit,
    margins,
    offer,
    serve,
)
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.radio.grade import is_flyable
from server.radio.interference import heat_margins
from server.radio.site import Receiver, Site
from tests.allocator.days import ALL_BANDS, tuned
from tests.allocator.ups import stations, up, worst_db

DAY = DayProblem((), aircraft=6)
WREN = Pilot("Wren", ALL_BANDS)


def mixed_gear(seed, count):
    """Pilots of a club: most tune all bands, some one band or one channel; powers and antennas vary."""
    dice = random.Random(seed)
    return [
        Pilot(
            f"P{number}",
            dice.choice([ALL_BANDS, ALL_BANDS, tuned("R"), tuned("ABEF"), (5800,)]),
            dice.choice([(25.0,), (25.0, 100.0), (25.0, 200.0, 600.0), (200.0,)]),
            antenna := dice.choice(["rhcp", "rhcp", "lhcp", "linear"]),
            antenna,
            gain_dbi=dice.choice([0.0, 2.0]),
        )
        for number in range(count)
    ]


def filled(pilots, day):
    """Everybody asks one after the other, and whoever gets a place is up."""
    aloft = []
    for pilot in pilots:
        place = offer(pilot, aloft, day)
        if isinstance(place, Place):
            aloft.append(Up(pilot, place.mhz, place.power_mw))
    return aloft


def test_a_pilot_alone_keeps_the_channel_that_is_set():
    assert offer(replace(WREN, current_mhz=5800), [], DAY) == Place(5800, 25.0, None)


def test_the_second_of_two_goes_as_far_away_as_can_be():
    place = offer(WREN, [up("Otter", 5658)], DAY)
    assert isinstance(place, Place)
    assert place.mhz == max(ALL_BANDS)


@pytest.mark.parametrize("seed", range(12))
def test_no_channel_and_no_power_would_leave_a_better_worst_margin(seed):
    pilots = mixed_gear(seed, 5)
    aloft = filled(pilots[:-1], DAY)
    place = offer(pilots[-1], aloft, DAY)
    found = [
        worst_db([*aloft, Up(pilots[-1], mhz, step)])
        for mhz, step in itertools.product(pilots[-1].channels_mhz, pilots[-1].power_steps_mw)
        if all(abs(mhz - one.mhz) >= DAY.minimum_spacing_mhz for one in aloft)
    ]
    if isinstance(place, Place):
        # Half a dB of indifference, and a twentieth between two powers.
        assert worst_db([*aloft, Up(pilots[-1], place.mhz, place.power_mw)]) >= max(found) - 0.55 - 1e-9
    else:
        assert place.why is (Why.PICTURE if found else Why.NO_SPACE)
        assert not any(is_flyable(margin) for margin in found)


@pytest.mark.parametrize("seed", range(30))
def test_it_is_the_channel_that_the_search_of_one_heat_finds(seed):
    pilots = mixed_gear(seed, 5)
    day = replace(DAY, day_channels=(5695, 5732, 5769, 5806) if seed % 2 else "auto", common_power_mw=25.0)
    aloft = filled(pilots[:-1], day)
    newcomer = replace(pilots[-1], current_mhz=5769 if seed % 3 else None)
    place = offer(newcomer, aloft, day)
    fixed = [replace(one.pilot, channels_mhz=(one.mhz,), current_mhz=None) for one in aloft]
    powers = [*(one.power_mw for one in aloft), newcomer.power_at(25.0)]
    searched = best_channels(day_gear(day.with_pilots((*fixed, newcomer)), powers))
    assert (place.mhz if isinstance(place, Place) else None) == (
        searched.mhz[-1] if searched.mhz and is_flyable(searched.worst_margin_db) else None
    )


@pytest.mark.parametrize("seed", range(6))
def test_the_margin_told_is_the_worst_of_all_who_are_up(seed):
    pilots = mixed_gear(seed, 4)
    aloft = filled(pilots[:-1], DAY)
    place = offer(pilots[-1], aloft, DAY)
    if isinstance(place, Place):
        everybody = [*aloft, Up(pilots[-1], place.mhz, place.power_mw)]
        assert place.worst_margin_db == pytest.approx(worst_db(everybody))


def test_the_channel_that_is_set_is_kept_where_it_is_as_good():
    beside = [up("Otter", 5658)]
    best = offer(WREN, beside, DAY)
    assert isinstance(best, Place)
    kept = offer(replace(WREN, current_mhz=5865), beside, DAY)
    assert (best.mhz, kept) == (max(ALL_BANDS), Place(5865, 25.0, best.worst_margin_db))


def test_bans_and_pins_bind_the_newcomer_alone():
    day = replace(DAY, bans_mhz=(5658, 5945))
    pinned = replace(WREN, pin_mhz=(5917, 5945))
    place = offer(pinned, [up("Otter", 5658)], day)
    assert isinstance(place, Place)
    assert place.mhz == 5917


@pytest.mark.parametrize(
    ("newcomer", "day"),
    [
        (Pilot("Wren", ()), DAY),
        (Pilot("Wren", (5800,)), replace(DAY, bans_mhz=(5800,))),
        (Pilot("Wren", (5800,), pin_mhz=(5740,)), DAY),
        (Pilot("Wren", ()), replace(DAY, aircraft=1)),  # said before that the places are taken
    ],
)
def test_without_a_channel_of_the_day_there_is_no_place(newcomer, day):
    assert offer(newcomer, [up("Otter", 5658)], day) == Wait(Why.NO_CHANNEL)


def test_the_last_place_is_given_and_no_more():
    beside = [up("Otter", 5658), up("Rook", 5917)]
    assert isinstance(offer(WREN, beside, replace(DAY, aircraft=3)), Place)
    assert offer(WREN, beside, replace(DAY, aircraft=2)) == Wait(Why.FULL)


@pytest.mark.parametrize(
    ("mine", "others"),
    [
        ({"spotter": "Otter"}, {}),
        ({}, {"spotter": "Wren"}),
        ({"apart": frozenset({"Otter"})}, {}),
        ({}, {"apart": frozenset({"Wren"})}),
    ],
)
def test_nobody_flies_beside_a_spotter_or_one_kept_apart(mine, others):
    beside = [up("Rook", 5800), up("Otter", 5658, **others)]
    assert offer(replace(WREN, **mine), beside, DAY) == Wait(Why.APART, ("Otter",))


def test_wishes_about_others_stand_in_nobodys_way():
    newcomer = replace(WREN, spotter="Sorrel", apart=frozenset({"Coot"}))
    assert isinstance(offer(newcomer, [up("Otter", 5658, spotter="Rook")], DAY), Place)


def test_a_channel_must_keep_the_spacing():
    fixed = Pilot("Wren", (5800,))
    day = replace(DAY, minimum_spacing_mhz=60)
    assert offer(fixed, [up("Otter", 5741)], day) == Wait(Why.NO_SPACE)
    assert offer(fixed, [up("Otter", 5740)], day) == Place(5800, 25.0, pytest.approx(8.0))


def test_nobody_gets_a_place_that_leaves_a_picture_below_do_not_fly():
    # 25 mW at 80 m beside 800 mW at 3 m: 43.6 dB to bear, and the protection ratio gives 28.
    day = replace(DAY, site=Site(near_m=3))
    answer = offer(Pilot("Wren", (5917,)), [up("Otter", 5658, 800.0)], day)
    assert answer == Wait(Why.PICTURE, ("Wren",))
    assert worst_db([up("Wren", 5917), up("Otter", 5658, 800.0)], day.site) < -13.4


def test_those_whose_picture_would_suffer_are_named():
    day = replace(DAY, site=Site(near_m=3))
    hot = Pilot("Otter", (5658,), (800.0,))
    assert offer(hot, [up("Wren", 5917), up("Rook", 5800)], day) == Wait(Why.PICTURE, ("Wren", "Rook"))


def test_the_lowest_own_step_that_carries_is_taken_where_it_does_as_well():
    assert offer(replace(WREN, power_steps_mw=(600.0, 25.0, 200.0)), [], DAY) == Place(5658, 25.0, None)


def test_more_power_is_taken_where_it_lifts_the_worst_margin():
    weak = Pilot("Wren", (5917,), (25.0, 100.0, 800.0))
    place = offer(weak, [up("Otter", 5658, 100.0)], DAY)
    assert isinstance(place, Place)
    assert place.power_mw == 100.0


def test_of_two_steps_that_are_as_good_the_lower_is_taken():
    place = offer(Pilot("Wren", (5917,), (25.0, 25.1)), [up("Otter", 5658)], DAY)
    assert isinstance(place, Place)
    assert place.power_mw == 25.0


def test_an_aircraft_flies_unless_it_is_said_to_be_down():
    assert not Up(WREN, 5800, 25.0).is_down


def test_a_step_that_does_not_carry_is_passed_over():
    far = replace(DAY, site=Site(near_m=20, far_m=300))  # 25 mW keeps its allowance to 198 m (radio-model)
    assert offer(replace(WREN, power_steps_mw=(25.0, 200.0)), [], far) == Place(5658, 200.0, None)
    assert offer(replace(WREN, power_steps_mw=(5.0, 25.0)), [], far) == Place(5658, 25.0, None)


def test_a_common_level_and_a_power_set_by_the_director_stand():
    common = replace(DAY, common_power_mw=200.0)
    steps = replace(WREN, power_steps_mw=(25.0, 100.0, 600.0))
    assert offer(steps, [], common) == Place(5658, 100.0, None)
    assert offer(replace(steps, power_mw=600.0), [], common) == Place(5658, 600.0, None)
    assert offer(replace(steps, power_mw=600.0), [], DAY) == Place(5658, 600.0, None)


def test_a_channel_of_the_days_set_is_taken_where_it_is_as_good():
    day = replace(DAY, day_channels=(5800,))
    assert offer(WREN, [], day) == Place(5800, 25.0, None)


def test_the_queue_is_served_in_its_order():
    queue = [Waiting(Pilot(name, ALL_BANDS)) for name in ("Wren", "Rook", "Coot")]
    served = serve(queue, [], replace(DAY, aircraft=2))
    assert [type(one.answer) for one in served] == [Place, Place, Wait]
    assert served[2] == Served(Wait(Why.FULL), 0)


def fixed(name, mhz=5800, **rules):
    return Pilot(name, (mhz,), **rules)


def test_who_does_not_fit_lets_one_pass_and_then_nobody():
    aloft = [up("Otter", 5800)]
    queue = [
        Waiting(fixed("Umber")),
        Waiting(replace(WREN, channels_mhz=tuned("R"))),
        Waiting(Pilot("Coot", (5658,))),
    ]
    served = serve(queue, aloft, DAY)
    assert served[0] == Served(Wait(Why.NO_SPACE), 1)
    assert isinstance(served[1].answer, Place)
    assert served[2] == Served(Wait(Why.TURN, ("Umber",)), 0)


def test_who_was_passed_over_once_is_not_passed_again():
    queue = [Waiting(fixed("Umber"), passed_over=1), Waiting(WREN)]
    served = serve(queue, [up("Otter", 5800)], DAY)
    assert served == (Served(Wait(Why.NO_SPACE), 1), Served(Wait(Why.TURN, ("Umber",)), 0))


def test_everybody_ahead_who_does_not_fit_counts_who_passes():
    queue = [Waiting(fixed("Umber")), Waiting(fixed("Quill")), Waiting(WREN)]
    served = serve(queue, [up("Otter", 5800)], DAY)
    assert [one.passed_over for one in served] == [1, 1, 0]


def test_who_has_been_passed_over_comes_first_once_it_fits():
    queue = [Waiting(fixed("Umber"), passed_over=1), Waiting(WREN)]
    served = serve(queue, [up("Otter", 5658)], DAY)
    assert [type(one.answer) for one in served] == [Place, Place]


def test_who_waits_for_company_to_land_is_passed_without_a_count():
    queue = [
        Waiting(replace(WREN, spotter="Otter"), 1),
        *(Waiting(Pilot(name, ALL_BANDS)) for name in ("Rook", "Coot")),
    ]
    served = serve(queue, [up("Otter", 5658)], DAY)
    assert served[0] == Served(Wait(Why.APART, ("Otter",)), 1)
    assert [type(one.answer) for one in served[1:]] == [Place, Place]


def test_nobody_passes_who_would_make_the_wait_longer():
    queue = [
        Waiting(replace(WREN, apart=frozenset({"Otter", "Rook"}))),
        Waiting(Pilot("Rook", ALL_BANDS)),
        Waiting(Pilot("Coot", ALL_BANDS)),
    ]
    served = serve(queue, [up("Otter", 5658)], DAY)
    assert served[1] == Served(Wait(Why.COMPANY, ("Wren",)), 0)
    assert isinstance(served[2].answer, Place)


def test_of_two_who_spot_for_each_other_the_first_flies_first():
    queue = [Waiting(replace(WREN, spotter="Rook")), Waiting(Pilot("Rook", ALL_BANDS, spotter="Wren"))]
    first, second = serve(queue, [], DAY)
    assert isinstance(first.answer, Place)
    assert second == Served(Wait(Why.APART, ("Wren",)), 0)


def test_who_has_no_channel_today_holds_up_nobody():
    queue = [Waiting(Pilot("Umber", ())), Waiting(WREN), Waiting(Pilot("Coot", ALL_BANDS))]
    served = serve(queue, [], DAY)
    assert served[0] == Served(Wait(Why.NO_CHANNEL), 0)
    assert [type(one.answer) for one in served[1:]] == [Place, Place]


def test_who_cannot_fly_before_a_lost_aircraft_is_found_holds_up_nobody():
    aloft = [up("Otter", 5800, is_down=True), up("Rook", 5917)]
    queue = [Waiting(fixed("Umber"), passed_over=1), Waiting(fixed("Quill", 5658), passed_over=0)]
    served = serve(queue, aloft, DAY)
    assert served[0] == Served(Wait(Why.NO_SPACE), 1)
    assert isinstance(served[1].answer, Place)


def test_a_lost_aircraft_elsewhere_changes_nothing_for_the_queue():
    aloft = [up("Otter", 5658, is_down=True), up("Rook", 5800)]
    queue = [Waiting(fixed("Umber"), passed_over=1), Waiting(WREN)]
    assert serve(queue, aloft, DAY)[1] == Served(Wait(Why.TURN, ("Umber",)), 0)


def test_when_all_places_are_taken_everybody_is_told_so():
    queue = [Waiting(fixed("Umber"), passed_over=1), Waiting(WREN)]
    served = serve(queue, [up("Otter", 5800)], replace(DAY, aircraft=1))
    assert [one.answer for one in served] == [Wait(Why.FULL), Wait(Why.FULL)]


def test_an_empty_queue_is_served_with_nothing():
    assert serve([], [up("Otter", 5800)], DAY) == ()


@pytest.mark.parametrize("site", [Site(), Site(near_m=15, far_m=150, receiver=Receiver(iip3_dbm=-20))])
def test_margins_are_those_of_the_radio_model(site):
    day = replace(DAY, site=site, bans_mhz=ALL_BANDS)
    aloft = filled(mixed_gear(3, 5), DAY)
    expected = [slot.margin_db for slot in heat_margins(stations(aloft), site).slots]
    assert margins(aloft, day) == pytest.approx(expected)
    assert margins(aloft[:1], DAY) == [None]
    assert margins([], DAY) == []


@pytest.mark.parametrize(
    ("pilots", "day", "expected"),
    [
        ([up("Wren", 5658), up("Otter", 5917)], DAY, True),
        ([up("Wren", 5658), up("Otter", 5917)], replace(DAY, aircraft=2), True),
        ([up("Wren", 5658), up("Otter", 5917)], replace(DAY, aircraft=1), False),
        ([up("Wren", 5720), up("Otter", 5800)], replace(DAY, minimum_spacing_mhz=80), True),
        ([up("Wren", 5800), up("Otter", 5721)], replace(DAY, minimum_spacing_mhz=80), False),
        ([up("Wren", 5658), up("Otter", 5917, 800.0)], replace(DAY, site=Site(near_m=3)), False),
        ([], DAY, True),
    ],
)
def test_who_may_be_up_together(pilots, day, expected):
    assert do_fit(pilots, day) is expected


def test_a_channel_just_the_indifference_below_the_best_is_as_good():
    # A tenth and two tenths are a little more than three tenths in floating point.
    worst_db = [(5658, 0.1 + 0.2), (5695, 0.0), (5732, -1e-6), (5769, -0.9)]
    assert open_flying._within(worst_db, 0.3) == [5658, 5695]
    assert open_flying._within([(5658, -np.inf), (5695, -np.inf)], 0.3) == [5658, 5695]


@pytest.mark.parametrize(("above_db", "power_mw"), [(0.05, 25.0), (0.06, 200.0), (-1.0, 25.0)])
def test_more_power_is_taken_from_a_twentieth_of_a_decibel_on(monkeypatch, above_db, power_mw):
    found = {25.0: 0.0, 200.0: above_db}
    monkeypatch.setattr(open_flying, "_best_at", lambda step, *_rest: Place(5800, step, found[step]))
    place = offer(replace(WREN, power_steps_mw=(25.0, 200.0)), [up("Otter", 5658)], DAY)
    assert place == Place(5800, power_mw, found[power_mw])


def test_a_step_that_leaves_everybody_alone_is_as_good_as_can_be(monkeypatch):
    found = {25.0: 5.0, 200.0: None}
    monkeypatch.setattr(open_flying, "_best_at", lambda step, *_rest: Place(5800, step, found[step]))
    assert offer(replace(WREN, power_steps_mw=(25.0, 200.0)), [], DAY) == Place(5800, 200.0, None)


@pytest.mark.parametrize(
    ("gear", "held", "margin_db", "key"),
    [
        ({}, [5658, 5732], [3.0, 1.26, 2.0], (False, False, -68, (-1.3, -2.0, -3.0), 5800)),
        ({"current_mhz": 5800}, [5658], [3.0, 1.0], (False, False, -142, (-1.0, -3.0), 5800)),
        ({"current_mhz": 5658}, [], [3.0], (True, False, 0, (-3.0,), 5800)),
    ],
)
def test_channels_as_good_are_told_apart_by_change_set_spacing_margins_and_frequency(
    gear, held, margin_db, key
):
    newcomer = replace(WREN, **gear)
    assert open_flying._preference(5800, newcomer, held, np.array(margin_db), DAY) == key
    for day_channels, is_outside in (((5658,), True), ((5658, 5800), False)):
        day = replace(DAY, day_channels=day_channels)
        assert open_flying._preference(5800, newcomer, held, np.array(margin_db), day)[1] is is_outside
