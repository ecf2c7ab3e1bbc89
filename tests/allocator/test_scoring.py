import math
import random

import numpy as np
import pytest

from server.allocator import scoring
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, gear_of, margins_db
from server.radio.interference import Station, heat_margins
from server.radio.receiver import protection_ratio_db
from server.radio.site import Receiver, Site
from tests.allocator.mixes import mix
from tests.radio import slow_model
from tests.radio.slow_model import Flyer, Place

WREN = Pilot("Wren", (5917, 5658, 5800))
OTTER = Pilot("Otter", (5658, 5732, 5945))


def gear(*pilots, powers_mw=None, **day):
    problem = DayProblem(pilots, one_heat=True, **day)
    return day_gear(problem, powers_mw or (25,) * len(pilots))


# The numbers of the kernel


def test_channels_are_those_that_anybody_may_use_ascending():
    found = gear(WREN, OTTER, bans_mhz=(5732,))
    assert found.mhz.tolist() == [5658, 5800, 5917, 5945]
    assert found.usable.tolist() == [[True, True, True, False], [True, False, False, True]]


def test_a_pin_leaves_only_its_channels():
    pinned = Pilot("Wren", (5658, 5800, 5917), pin_mhz=(5917, 5999))
    found = gear(pinned, OTTER)
    assert found.usable[0].tolist() == [False, False, True, False]


def test_current_channels_are_indices_or_none():
    pilots = (
        Pilot("Wren", (5658, 5800), current_mhz=5800),
        Pilot("Otter", (5658, 5732)),
        Pilot("Coot", (5658,), current_mhz=5999),
    )
    assert gear(*pilots).current.tolist() == [2, -1, -1]


@pytest.mark.parametrize(
    ("day_channels", "inside"),
    [("auto", [True] * 5), ("free", [True] * 5), ((5658, 5945), [True, False, False, False, True])],
)
def test_only_a_list_of_channels_leaves_some_outside_the_days_set(day_channels, inside):
    assert gear(WREN, OTTER, day_channels=day_channels).in_day_set.tolist() == inside


def test_levels_are_those_of_the_slow_model():
    pilots = (
        Pilot("Wren", (5658,), antenna="rhcp", rx_antenna="linear", gain_dbi=2.5),
        Pilot("Otter", (5732,), antenna="lhcp", rx_antenna="rhcp"),
        Pilot("Coot", (5800,), antenna="linear", rx_antenna="linear"),
    )
    found = gear(*pilots, powers_mw=(25, 600, 200))
    flyers = [
        Flyer(one.callsign, 0, power, one.antenna, one.rx_antenna, one.gain_dbi)
        for one, power in zip(pilots, (25, 600, 200), strict=True)
    ]
    for row, listener in enumerate(flyers):
        heard = [slow_model.heard_dbm(listener, talker, Place()) for talker in flyers]
        assert 10 * np.log10(found.level_mw[found.sense[row]]) == pytest.approx(heard)
    wanted = [slow_model.wanted_dbm(one, Place()) for one in flyers]
    assert 10 * np.log10(found.wanted_mw) == pytest.approx(wanted)


def test_one_row_of_levels_for_each_sense_that_listens():
    pilots = [
        Pilot(name, (5658,), rx_antenna=sense)
        for name, sense in zip("ABC", ("rhcp", "lhcp", "rhcp"), strict=True)
    ]
    found = gear(*pilots)
    assert found.level_mw.shape == (2, 3)
    assert found.sense.tolist() == [1, 0, 1]


@pytest.mark.parametrize(
    ("changes", "power_mw", "is_alike"),
    [
        ({}, 25, True),
        ({"current_mhz": 5658, "pin_mhz": (5658,)}, 25, True),  # channels are not gear
        ({"gain_dbi": 3.0}, 25, False),
        ({"rx_antenna": "linear"}, 25, False),
        ({"antenna": "lhcp", "rx_antenna": "lhcp"}, 25, False),
        ({}, 200, False),
    ],
)
def test_pilots_are_alike_when_the_sums_cannot_tell_them_apart(changes, power_mw, is_alike):
    pilots = (Pilot("Wren", (5658, 5800)), Pilot("Otter", (5658, 5732), **changes), Pilot("Coot", (5945,)))
    alike = gear(*pilots, powers_mw=(25, power_mw, 25)).alike.tolist()
    assert alike[0] == alike[2]
    assert (alike[0] == alike[1]) is is_alike


def test_mixing_and_spacing_are_those_of_the_day():
    found = gear(WREN, OTTER, minimum_spacing_mhz=37, site=Site(receiver=Receiver(iip3_dbm=-15)))
    assert found.mixing == pytest.approx(1000.0)
    assert found.spacing_mhz == 37


@pytest.mark.parametrize("floor_db", [-28, -27.3, -80, 27, 0])
def test_protection_table_holds_every_whole_offset_and_ends_on_the_floor(floor_db):
    table = scoring.protection_table(Site(receiver=Receiver(pr_floor_db=floor_db)))
    offsets = np.arange(len(table))
    assert 10 * np.log10(table) == pytest.approx(protection_ratio_db(offsets, floor_db))
    assert 10 * np.log10(table[-1]) == pytest.approx(floor_db)


def test_gear_of_some_pilots_keeps_their_rows():
    whole = gear(
        WREN,
        OTTER,
        Pilot("Coot", (5945,), rx_antenna="lhcp", current_mhz=5945),
        powers_mw=(25, 200, 600),
    )
    part = gear_of(whole, [2, 0])
    assert part.usable.tolist() == whole.usable[[2, 0]].tolist()
    assert part.level_mw.tolist() == whole.level_mw[:, [2, 0]].tolist()
    for name in ("sense", "wanted_mw", "alike", "current"):
        assert getattr(part, name).tolist() == [getattr(whole, name)[2], getattr(whole, name)[0]]
    assert (part.mhz is whole.mhz, part.spacing_mhz, part.mixing) == (True, 20, whole.mixing)


def test_a_station_is_the_pilot_on_a_channel_with_a_power():
    pilot = Pilot("Wren", (5658,), antenna="lhcp", rx_antenna="linear", gain_dbi=2.0)
    assert scoring.station(pilot, 5658, 200) == Station("Wren", 5658, 200, "lhcp", "linear", 2.0)


# Margins


@pytest.mark.parametrize("seed", range(40))
def test_margins_are_those_of_the_radio_model(seed):
    draw = random.Random(seed)
    heat = mix(seed, 2 + seed % 4, 12)
    mhz = [draw.choice(one.channels_mhz) for one in heat.problem.pilots]
    members = draw.sample(range(len(mhz)), draw.randint(2, len(mhz)))
    stations = [scoring.station(heat.problem.pilots[x], mhz[x], heat.powers_mw[x]) for x in members]
    slots = heat_margins(stations, heat.problem.site).slots
    margin, stressed = margins_db(heat.gear, members, [mhz[x] for x in members])
    assert margin.tolist() == pytest.approx([slot.margin_db for slot in slots])
    assert stressed.tolist() == pytest.approx([slot.stressed_margin_db for slot in slots])


def test_a_pilot_alone_has_an_infinite_margin():
    margin, stressed = margins_db(gear(WREN, OTTER), [1], [5732])
    assert (margin.tolist(), stressed.tolist()) == ([math.inf], [math.inf])


@pytest.mark.parametrize("margin_db", [-20.0, -0.59, 0.0, 3.22, 8.0])
def test_a_load_and_its_margin_are_one_thing(margin_db):
    load = scoring.load_of_margin_db(margin_db)
    assert load == pytest.approx(10 ** (-margin_db / 10))
    assert float(scoring.margin_of_load_db(load)) == pytest.approx(margin_db)


def test_people_are_shown_none_where_nothing_interferes():
    assert scoring.finite_or_none(math.inf) is None
    assert scoring.finite_or_none(np.float64(-0.5)) == -0.5
