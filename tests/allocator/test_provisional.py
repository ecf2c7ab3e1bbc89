"""A channel at once for a pilot at the desk."""

import itertools
from collections import Counter
from dataclasses import replace

import pytest

from server.allocator.problem import DayProblem, Pilot
from server.allocator.provisional import Provisional, provisional_channel
from server.radio.interference import Station, heat_margins
from server.radio.site import Site
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned


def holding(name, mhz, channels=ALL_BANDS, **other):
    """A pilot who has been at the desk."""
    return Pilot(name, channels, current_mhz=mhz, **other)


def checked_in(pilots, day):
    """Everybody at the desk one after the other; the offers and the pilots with what they were given."""
    offers, present = [], []
    for pilot in pilots:
        offer = provisional_channel(pilot, present, day)
        assert offer is not None
        offers.append(offer)
        present.append(replace(pilot, current_mhz=offer.mhz))
    return offers, present


def test_the_first_pilot_is_alone_in_the_first_heat():
    offer = provisional_channel(Pilot("Wren", ALL_BANDS), (), DayProblem(()))
    assert offer is not None
    assert (offer.margin_db, offer.heat, offer.in_heat) == (None, 1, 1)


def test_a_pilot_without_a_usable_channel_gets_none():
    day = DayProblem((), bans_mhz=(5800,))
    assert provisional_channel(Pilot("Wren", ()), (), day) is None
    assert provisional_channel(Pilot("Wren", (5800,)), (), day) is None
    assert provisional_channel(Pilot("Wren", (5700, 5800), pin_mhz=(5740,)), (), day) is None


def test_bans_and_pins_hold():
    day = DayProblem((), bans_mhz=(5945, 5917))
    for pin in ((), (5800, 5917)):
        offer = provisional_channel(Pilot("Wren", ALL_BANDS, pin_mhz=pin), [holding("Rook", 5665)], day)
        assert offer is not None
        assert offer.mhz not in day.bans_mhz
        assert offer.mhz == 5800 or not pin


def test_the_same_desk_gives_the_same_channels():
    day = DayProblem((), aircraft=4)
    assert checked_in(equal_pilots(9), day) == checked_in(equal_pilots(9), day)


def test_who_holds_no_channel_yet_does_not_count():
    day = DayProblem(())
    crowd = [holding("Rook", 5665), Pilot("Coot", ALL_BANDS), Pilot("Otter", ALL_BANDS)]
    newcomer = Pilot("Wren", ALL_BANDS)
    offer = provisional_channel(newcomer, crowd, day)
    assert offer == provisional_channel(newcomer, crowd[:1], day)
    assert offer is not None
    assert offer.in_heat == 2


def test_two_pilots_are_set_as_far_apart_as_nothing_is_lost():
    offer = provisional_channel(Pilot("Wren", ALL_BANDS), [holding("Rook", 5665)], DayProblem(()))
    assert offer == Provisional(5945, pytest.approx(8.0), 1, 2)


def test_the_margin_is_that_of_the_heat_with_the_newcomer():
    day = DayProblem((), common_power_mw=200.0)
    present = [
        holding("Rook", 5665, power_steps_mw=(25.0, 200.0), antenna="lhcp", rx_antenna="lhcp"),
        holding("Coot", 5740, gain_dbi=2.0, power_mw=100.0),
    ]
    offer = provisional_channel(Pilot("Wren", (5800, 5880), (25.0, 400.0)), present, day)
    assert offer is not None
    stations = [
        Station("Rook", 5665, 200.0, "lhcp", "lhcp"),
        Station("Coot", 5740, 100.0, gain_dbi=2.0),
        Station("Wren", offer.mhz, 25.0),
    ]
    assert offer.margin_db == pytest.approx(heat_margins(stations, day.site).worst_margin_db)


def test_without_a_wish_for_power_25_mw_are_counted():
    present = [holding("Rook", 5665, power_steps_mw=(25.0, 600.0))]
    offer = provisional_channel(Pilot("Wren", (5690,), (25.0, 26.0)), present, DayProblem(()))
    stations = [Station("Rook", 5665, 25.0), Station("Wren", 5690, 25.0)]
    assert offer is not None
    assert offer.margin_db == pytest.approx(heat_margins(stations, Site()).worst_margin_db)


@pytest.mark.parametrize(("count", "aircraft"), [(6, 6), (8, 8), (4, 4)])
def test_a_full_heat_checked_in_one_by_one_is_nearly_as_good_as_one_that_was_planned(count, aircraft):
    best = {4: 3.22, 6: 1.0, 8: -0.59}[count]
    offers, _ = checked_in(equal_pilots(count), DayProblem((), aircraft=aircraft))
    assert offers[-1].margin_db >= best - 0.5
    assert [offer.in_heat for offer in offers] == list(range(1, count + 1))


@pytest.mark.parametrize(("count", "aircraft"), [(12, 6), (18, 6), (12, 4)])
def test_a_day_checked_in_one_by_one_uses_as_few_channels_as_fly_at_once(count, aircraft):
    offers, _ = checked_in(equal_pilots(count), DayProblem((), aircraft=aircraft))
    held = Counter(offer.mhz for offer in offers)
    assert len(held) == aircraft
    assert set(held.values()) == {count // aircraft}


def test_heats_fill_evenly():
    offers, _ = checked_in(equal_pilots(12), DayProblem((), aircraft=6))
    filled = Counter(offer.heat for offer in offers[6:])
    assert filled == {1: 3, 2: 3}
    assert offers[-1].in_heat == 6


def test_a_newcomer_goes_to_the_emptiest_heat():
    # Three up at once, two heats: Rook and Coot begin one each, Otter, on Rook's channel, goes to Coot.
    present = [holding("Rook", 5665), holding("Coot", 5945), holding("Otter", 5665)]
    offer = provisional_channel(Pilot("Wren", ALL_BANDS), present, DayProblem((), aircraft=3))
    assert offer is not None
    assert (offer.heat, offer.in_heat) == (1, 2)
    assert offer.margin_db == pytest.approx(8.0)


def test_a_fuller_heat_is_better_where_the_emptiest_would_cost_a_retune():
    # Four up, four here: Coot's heat holds one pilot, but on Wren's only channel.
    only = (5800,)
    present = [
        holding("Rook", 5665),
        holding("Coot", 5800),
        holding("Otter", 5945),
        holding("Sorrel", 5665),
        holding("Magpie", 5740),
    ]
    day = DayProblem((), aircraft=3)
    offer = provisional_channel(Pilot("Wren", only), present, day)
    assert offer is not None
    # Heats are filled in turn: Rook, Otter, Magpie; Coot, Sorrel. The first is full, the second would clash.
    assert (offer.heat, offer.in_heat) == (2, 3)
    roomier = provisional_channel(Pilot("Wren", only), present, replace(day, aircraft=4))
    assert roomier is not None
    assert (roomier.heat, roomier.in_heat) == (1, 4)
    assert roomier.margin_db is not None


def test_where_every_heat_is_full_another_begins():
    present = [holding("Rook", 5665), holding("Coot", 5945)]
    offer = provisional_channel(Pilot("Wren", ALL_BANDS), present, DayProblem((), aircraft=1))
    assert offer is not None
    assert (offer.margin_db, offer.heat, offer.in_heat) == (None, 3, 1)


def test_pilots_on_close_channels_are_thought_of_in_different_heats():
    # Both hold 5800, four places in two heats: they are kept apart, so each heat has one of them.
    present = [holding("Rook", 5800), holding("Coot", 5800)]
    offer = provisional_channel(Pilot("Wren", ALL_BANDS), present, DayProblem((), aircraft=2))
    assert offer is not None
    assert offer.margin_db == pytest.approx(8.0)


def test_gear_that_knows_no_good_channel_gets_the_best_it_has():
    # Nothing of a good set for six: the margin decides among 5800 beside Rook, 5780 nearer, 5860 farther.
    present = [holding("Rook", 5820)]
    offer = provisional_channel(Pilot("Wren", (5780, 5800, 5859)), present, DayProblem(()))
    assert offer is not None
    assert offer.mhz in (5780, 5859)


def test_of_equal_margins_the_widest_and_then_the_lowest_channel_is_taken():
    # No pair keeps such a spacing, so no set is good; past 38.19 MHz every offset has the same margin.
    day = DayProblem((), minimum_spacing_mhz=500)
    offer = provisional_channel(Pilot("Wren", (5740, 5700, 5900, 5850)), [holding("Rook", 5800)], day)
    assert offer is not None
    assert offer.mhz == 5700


def test_a_small_roster_of_channels_is_enough():
    offer = provisional_channel(Pilot("Wren", (5800,)), [holding("Rook", 5800, (5800,))], DayProblem(()))
    assert offer is not None
    assert offer.mhz == 5800
    assert offer.margin_db < -30  # on one channel in one heat: the plan will part them


def test_spacing_is_kept_where_the_gear_allows_it():
    day = DayProblem((), aircraft=8, minimum_spacing_mhz=30)
    _, present = checked_in(equal_pilots(8), day)
    held = sorted(pilot.current_mhz for pilot in present)
    assert min(b - a for a, b in itertools.pairwise(held)) >= 30


def test_pilots_of_band_r_alone_share_its_channels_evenly():
    offers, _ = checked_in(equal_pilots(8, tuned("R")), DayProblem((), aircraft=4))
    held = Counter(offer.mhz for offer in offers)
    assert max(held.values()) == 2
    assert offers[3].margin_db >= 3.22 - 0.5


def test_a_channel_in_use_comes_before_one_that_no_other_pilot_holds():
    # One up at once, so nothing is near: of two channels in use the one that fewer hold.
    present = [holding("Rook", 5945), holding("Coot", 5945), holding("Otter", 5800)]
    for choices, mhz in (((5665, 5945), 5945), ((5665, 5800, 5945), 5800)):
        offer = provisional_channel(Pilot("Wren", choices), present, DayProblem((), aircraft=1))
        assert offer is not None
        assert offer.mhz == mhz


def test_a_channel_in_use_is_good_enough_with_the_margin_of_a_full_heat():
    # Three up, two heats: Rook; Coot and Otter. 36 MHz from Rook is less than the best that two can have.
    gear = (5665, 5701, 5945)
    present = [holding("Rook", 5665, gear), holding("Coot", 5701, gear), holding("Otter", 5665, gear)]
    day = DayProblem((), aircraft=3, minimum_spacing_mhz=36)
    offer = provisional_channel(Pilot("Wren", gear), present, day)
    assert offer == Provisional(5701, pytest.approx(3.6, abs=0.05), 1, 2)


def test_a_channel_in_use_is_not_taken_where_it_spoils_the_heat():
    present = [holding("Rook", 5665), holding("Coot", 5690), holding("Otter", 5665)]
    offer = provisional_channel(Pilot("Wren", (5690, 5945)), present, DayProblem((), aircraft=3))
    assert offer == Provisional(5945, pytest.approx(8.0, abs=0.05), 1, 2)


def test_of_heats_that_are_good_enough_the_emptiest_and_then_the_first_is_taken():
    present = [holding("Rook", 5665), holding("Coot", 5945), holding("Otter", 5665)]
    patient = DayProblem((), aircraft=3, retune_worth_db=20.0)
    found = [provisional_channel(Pilot("Wren", ALL_BANDS), some, patient) for some in (present, present[:2])]
    assert [(offer.heat, offer.in_heat) for offer in found if offer] == [(1, 2), (1, 3)]
    pairs = provisional_channel(Pilot("Wren", ALL_BANDS), present[:2], DayProblem((), aircraft=2))
    assert pairs is not None
    assert (pairs.heat, pairs.in_heat) == (1, 2)


def test_the_widest_channel_is_that_with_the_farthest_nearest_neighbour():
    # No set keeps such a spacing, so all are equally poor.
    day = DayProblem((), aircraft=3, minimum_spacing_mhz=500)
    present = [holding("Rook", 5665), holding("Coot", 5945)]
    offer = provisional_channel(Pilot("Wren", (5740, 5805)), present, day)
    assert offer is not None
    assert offer.mhz == 5805
