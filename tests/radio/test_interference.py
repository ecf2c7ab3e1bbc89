import math
from dataclasses import replace

import pytest

from server.radio.grade import picture_grade
from server.radio.interference import (
    Station,
    heat_margins,
    margin_db,
    site_ceiling_db,
    unwanted_level_dbm,
    wanted_level_dbm,
)
from server.radio.outside import OutsideSignal
from server.radio.receiver import block_protection_db
from server.radio.site import PRESETS, Receiver, Site, with_receiver

BAND_R_MHZ = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def heat(*mhz, power_mw=25.0, **gear):
    """Pilots P1, P2, ... of one gear."""
    return [Station(f"P{x + 1}", f, power_mw, **gear) for x, f in enumerate(mhz)]


def margins(stations, site=None):
    return [slot.margin_db for slot in heat_margins(stations, site or Site()).slots]


# Levels


def test_own_aircraft_at_80_m_arrives_at_minus_69_8_dbm():
    # 13.98 dBm + 2 dBi - 85.78 dB of free space.
    assert wanted_level_dbm(Station("Wren", 5658, 25), Site()) == pytest.approx(-69.80, abs=0.01)


def test_level_does_not_depend_on_the_channel():
    low, high = Station("Wren", 5658, 25), Station("Wren", 5917, 25)
    assert wanted_level_dbm(low, Site()) == wanted_level_dbm(high, Site())


def test_power_and_gain_add_to_what_is_radiated():
    assert Station("Wren", 5800, 100, gain_dbi=2.5).eirp_dbm == pytest.approx(22.5)
    louder = wanted_level_dbm(Station("Wren", 5800, 250, gain_dbi=3), Site())
    assert louder - wanted_level_dbm(Station("Wren", 5800, 25), Site()) == pytest.approx(13.0)


@pytest.mark.parametrize(("rx_antenna", "lost_db"), [("rhcp", 0.0), ("linear", 3.0), ("lhcp", 10.0)])
def test_own_antennas_that_do_not_match_lower_the_wanted_level(rx_antenna, lost_db):
    matched = wanted_level_dbm(Station("Wren", 5800, 25), Site())
    assert matched - wanted_level_dbm(
        Station("Wren", 5800, 25, rx_antenna=rx_antenna), Site()
    ) == pytest.approx(lost_db)


def test_row_receives_and_column_transmits():
    left = Station("Left", 5800, 25, "lhcp", "lhcp")
    right = Station("Right", 5840, 250, "rhcp", "rhcp")
    level = unwanted_level_dbm([left, right], Site(), 8)
    # What is heard of the strong one by the other sense is 6 dB down, by its own sense it is not.
    assert level[1, 1] - level[0, 1] == pytest.approx(6.0)
    assert level[0, 0] - level[1, 0] == pytest.approx(6.0)
    assert level[0, 1] - level[0, 0] == pytest.approx(10.0 - 6.0)


def test_receiving_gain_lifts_wanted_and_unwanted_alike():
    assert margins(heat(5658, 5695), with_receiver(Site(), rx_gain_dbi=9)) == pytest.approx(
        margins(heat(5658, 5695))
    )


# Margins


def test_two_pilots_far_apart_lose_only_the_distance():
    # 28 dB of floor less 20 dB of distance; nothing mixes with two up.
    assert margins(heat(5658, 5917)) == pytest.approx([8.0, 8.0])


def test_one_carrier_20_mhz_away():
    assert margins(heat(5800, 5820)) == pytest.approx([-20 - 7.32] * 2, abs=0.005)


def test_margin_does_not_depend_on_a_power_that_all_share_while_nothing_mixes():
    assert margins(heat(5800, 5840, power_mw=600)) == pytest.approx(margins(heat(5800, 5840, power_mw=25)))


def test_a_stronger_neighbour_costs_its_decibels():
    weak, strong = Station("Weak", 5800, 25), Station("Strong", 5830, 250)
    assert margins([weak, strong]) == pytest.approx([-20 + 11.62 - 10, -20 + 11.62 + 10], abs=0.005)


def test_band_r_at_600_mw_is_unflyable():
    found = margins(heat(*BAND_R_MHZ, power_mw=600))
    assert [round(margin, 2) for margin in found] == [
        -12.25,
        -13.03,
        -13.36,
        -13.36,
        -13.36,
        -13.36,
        -13.03,
        -12.25,
    ]


def test_three_pilots_on_an_even_comb_meet_their_products():
    # By hand at 600 mW: C = -55.99, P = -35.99 dBm; the outer receiver hears carriers at 37 and 74 MHz and
    # 2 B - C on its own channel, the middle one two carriers at 37 MHz and no product near.
    carriers = 10 ** ((20 - 25.62) / 10) + 10 ** ((20 - 28) / 10)
    on_channel = 10 ** ((-3 * 35.99 + 20 + 28 + 55.99) / 10)
    outer = -10 * math.log10(carriers + on_channel)
    middle = -10 * math.log10(2 * 10 ** ((20 - 25.62) / 10))
    found = margins(heat(5658, 5695, 5732, power_mw=600))
    assert found == pytest.approx([outer, middle, outer], abs=0.02)


def test_terms_add_up_to_the_margin():
    for slot in heat_margins(heat(5658, 5695, 5752, 5843, power_mw=600), Site()).slots:
        total = sum(10 ** (-term.margin_db / 10) for term in slot.terms)
        assert float(margin_db(total)) == pytest.approx(slot.margin_db)
        assert len(slot.terms) == 3 + 9


def test_the_wanted_carrier_takes_part_in_no_product():
    for slot in heat_margins(heat(5658, 5695, 5752, 5843), Site()).slots:
        assert all(slot.callsign not in term.of for term in slot.terms)


def test_worst_of_the_heat_is_the_least_of_its_slots():
    found = heat_margins(heat(5658, 5695, 5752, power_mw=600), Site())
    assert found.worst_margin_db == min(slot.margin_db for slot in found.slots)
    assert found.stressed_margin_db == min(slot.stressed_margin_db for slot in found.slots)
    assert found.site_ceiling_db == site_ceiling_db(3, Site())


def test_slots_stand_in_the_order_given():
    found = heat_margins(heat(5917, 5658, 5752), Site())
    assert [slot.callsign for slot in found.slots] == ["P1", "P2", "P3"]


def test_a_pilot_alone_has_no_margin_and_the_best_grade():
    found = heat_margins(heat(5800), Site())
    slot = found.slots[0]
    assert (slot.margin_db, slot.stressed_margin_db) == (None, None)
    assert (slot.picture_grade, slot.grade_low, slot.grade_high) == (5.0, 5.0, 5.0)
    assert (slot.limiting_cause.kind, slot.limiting_cause.largest_term, slot.terms) == ("none", None, ())
    assert (slot.limiting_cause.share, slot.limiting_cause.by_pilot) == (0.0, ())
    assert (found.worst_margin_db, found.stressed_margin_db, found.site_ceiling_db) == (None, None, None)
    assert not slot.is_overloaded


def test_nobody_is_a_heat_without_margins():
    found = heat_margins([], Site())
    assert (found.slots, found.worst_margin_db, found.site_ceiling_db) == ((), None, None)


# Stress and span


def test_stressed_margin_is_the_margin_with_an_intercept_point_10_db_lower():
    stations = heat(*BAND_R_MHZ[:5], power_mw=200)
    poor = margins(stations, with_receiver(Site(), iip3_dbm=-20))
    stressed = [slot.stressed_margin_db for slot in heat_margins(stations, Site()).slots]
    assert stressed == pytest.approx(poor)


def test_stress_changes_nothing_where_nothing_mixes():
    for slot in heat_margins(heat(5800, 5840), Site()).slots:
        assert slot.stressed_margin_db == pytest.approx(slot.margin_db)


def test_span_is_the_grade_with_the_intercept_point_5_db_to_either_side():
    stations = heat(*BAND_R_MHZ[:6], power_mw=200)
    low = margins(stations, with_receiver(Site(), iip3_dbm=-15))
    high = margins(stations, with_receiver(Site(), iip3_dbm=-5))
    slots = heat_margins(stations, Site()).slots
    assert [slot.grade_low for slot in slots] == [picture_grade(margin) for margin in low]
    assert [slot.grade_high for slot in slots] == [picture_grade(margin) for margin in high]
    assert all(slot.grade_low < slot.picture_grade < slot.grade_high for slot in slots)


@pytest.mark.parametrize(
    ("low", "high", "is_shown"), [(4.0, 4.5, False), (4.0, 4.6, True), (4.4, 4.4, False), (2.0, 4.6, True)]
)
def test_span_is_shown_where_it_is_wider_than_half_a_grade(low, high, is_shown):
    slot = heat_margins(heat(5800, 5840), Site()).slots[0]
    assert replace(slot, grade_low=low, grade_high=high).depends_on_receiver is is_shown


def test_grade_and_its_word_follow_the_margin():
    slot = heat_margins(heat(5800, 5830), Site()).slots[0]
    assert slot.margin_db == pytest.approx(-8.38, abs=0.005)
    assert (slot.picture_grade, slot.grade_word) == (3.4, "lines")


# Site ceiling


@pytest.mark.parametrize(
    ("count", "ceiling_db"), [(2, 8.0), (3, 4.99), (4, 3.23), (6, 1.01), (8, -0.45), (1, None), (0, None)]
)
def test_site_ceiling_of_a_club_field(count, ceiling_db):
    found = site_ceiling_db(count, Site())
    assert found == (ceiling_db if ceiling_db is None else pytest.approx(ceiling_db, abs=0.005))


def test_site_ceiling_follows_the_distances_and_the_floor():
    assert site_ceiling_db(2, PRESETS["hall"]) == pytest.approx(28 - 17.50, abs=0.005)
    assert site_ceiling_db(2, Site(receiver=Receiver(pr_floor_db=-34))) == pytest.approx(14.0)


@pytest.mark.parametrize("power_mw", [25, 200, 600])
@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 7, 8])
def test_no_set_of_equal_gear_beats_the_site_ceiling(count, power_mw):
    found = heat_margins(heat(*(5300 + 80 * x * x for x in range(count)), power_mw=power_mw), Site())
    assert found.worst_margin_db <= found.site_ceiling_db + 1e-9


def test_the_ceiling_is_reached_where_nothing_mixes():
    found = heat_margins(heat(*(5300 + 100 * x * x for x in range(4)), power_mw=0.1), Site())
    assert found.worst_margin_db == pytest.approx(found.site_ceiling_db, abs=0.001)


# Causes


def test_shares_of_the_terms_sum_to_one_and_fall():
    for slot in heat_margins(heat(*BAND_R_MHZ, power_mw=200), Site()).slots:
        shares = [term.share for term in slot.terms]
        assert sum(shares) == pytest.approx(1.0)
        assert shares == sorted(shares, reverse=True)
        assert slot.limiting_cause.largest_term == slot.terms[0]


@pytest.mark.parametrize(("power_mw", "kind"), [(25, "carriers"), (600, "products")])
def test_cause_by_kind_is_the_larger_half(power_mw, kind):
    for slot in heat_margins(heat(*BAND_R_MHZ, power_mw=power_mw), Site()).slots:
        of_kind = sum(term.share for term in slot.terms if term.kind == kind)
        assert slot.limiting_cause.kind == kind
        assert slot.limiting_cause.share == pytest.approx(of_kind)
        assert slot.limiting_cause.share >= 0.5


def test_share_of_a_pilot_is_what_goes_away_without_that_pilot():
    stations = heat(5658, 5695, 5752, 5843, 5880, power_mw=400)
    slot = heat_margins(stations, Site()).slots[1]
    total = 10 ** (-slot.margin_db / 10)
    for by_pilot in slot.limiting_cause.by_pilot:
        rest = [one for one in stations if one.callsign != by_pilot.callsign]
        without = next(one for one in heat_margins(rest, Site()).slots if one.callsign == "P2").margin_db
        assert by_pilot.share == pytest.approx(1 - 10 ** (-without / 10) / total)


def test_every_other_pilot_has_a_share_the_largest_first():
    cause = heat_margins(heat(5658, 5695, 5752, 5843, power_mw=600), Site()).slots[0].limiting_cause
    assert sorted(one.callsign for one in cause.by_pilot) == ["P2", "P3", "P4"]
    assert [one.share for one in cause.by_pilot] == sorted(
        (one.share for one in cause.by_pilot), reverse=True
    )


def test_equal_shares_stand_in_the_order_of_the_callsigns():
    stations = [Station(name, f, 25) for name, f in (("Wren", 5600), ("Otter", 5700), ("Coot", 5800))]
    by_pilot = heat_margins(stations, Site()).slots[1].limiting_cause.by_pilot
    assert [one.callsign for one in by_pilot] == ["Coot", "Wren"]


def test_largest_term_says_who_where_and_how_far_above():
    stations = [Station("Wren", 5658, 25), Station("Otter", 5695, 25), Station("Coot", 5880, 25)]
    term = heat_margins(stations, Site()).slots[0].limiting_cause.largest_term
    assert (term.of, term.kind, term.at_mhz, term.offset_mhz) == (("Otter",), "carriers", 5695, 37)
    assert term.margin_db == pytest.approx(-20 + 25.62, abs=0.005)
    assert term.level_dbm == pytest.approx(-49.80, abs=0.01)
    assert heat_margins(stations, Site()).slots[1].limiting_cause.largest_term.offset_mhz == -37


def test_a_product_is_named_by_its_makers():
    slot = heat_margins(heat(5658, 5695, 5732, 5806, power_mw=600), Site()).slots[0]
    found = {term.of: (term.at_mhz, term.offset_mhz) for term in slot.terms if term.kind == "products"}
    assert found[("P2", "P2", "P3")] == (5658, 0)
    assert found[("P2", "P3", "P4")] == (5621, -37)
    assert found[("P3", "P4", "P2")] == (5843, 185)
    assert len(found) == 9


# Link budget and overload


def test_link_budget_of_25_mw_on_a_club_field():
    slot = heat_margins(heat(5800), Site()).slots[0]
    assert slot.link_margin_db == pytest.approx(13.86, abs=0.005)
    assert slot.is_link_enough
    assert (round(slot.range_kept_m), round(slot.range_threshold_m)) == (198, 395)


def test_link_is_enough_down_to_the_allowance():
    slot = heat_margins(heat(5800), Site(far_m=197.8)).slots[0]
    assert slot.link_margin_db > 6
    assert slot.is_link_enough
    beyond = heat_margins(heat(5800), Site(far_m=197.9)).slots[0]
    assert beyond.link_margin_db < 6
    assert not beyond.is_link_enough


def test_a_link_margin_of_just_the_allowance_is_enough():
    link_db = heat_margins(heat(5800), Site()).slots[0].link_margin_db
    just = with_receiver(Site(), fade_allowance_db=link_db)
    assert heat_margins(heat(5800), just).slots[0].is_link_enough


def test_ranges_do_not_depend_on_where_the_site_ends():
    near, far = (heat_margins(heat(5800), Site(far_m=far_m)).slots[0] for far_m in (15, 150))
    assert near.range_kept_m == pytest.approx(far.range_kept_m)
    assert near.range_threshold_m == pytest.approx(far.range_threshold_m)


def test_link_margin_does_not_depend_on_the_others():
    alone, beside = heat(5800), heat(5800, 5840)
    assert (
        heat_margins(alone, Site()).slots[0].link_margin_db
        == heat_margins(beside, Site()).slots[0].link_margin_db
    )


def test_a_receiver_is_overloaded_above_its_compression_point():
    # 1 W into 2 dBi at 1.58 m is -19.70 dBm, at 1.56 m -19.58 dBm; compression is at -19.64 dBm.
    for near_m, is_overloaded in ((1.58, False), (1.56, True)):
        stations = [Station("Wren", 5800, 25), Station("Otter", 5840, 1000)]
        slots = heat_margins(stations, Site(near_m=near_m)).slots
        assert [slot.is_overloaded for slot in slots] == [is_overloaded, False]


class TestOutsideSignals:
    """25 mW at 80 m arrive with -69.8 dBm: 13.98 dBm + 2 dBi - 85.77 dB."""

    WANTED_DBM = -69.79

    def site(self, *signals):
        return replace(Site(), outside=signals)

    def test_a_pilot_alone_has_the_margin_that_the_signal_leaves(self):
        slot = heat_margins([Station("Wren", 5745, 25)], self.site(OutsideSignal(5745, 0, -90))).slots[0]
        assert slot.margin_db == pytest.approx(self.WANTED_DBM + 90 - 28, abs=0.01)
        assert slot.limiting_cause.kind == "outside"
        assert slot.limiting_cause.share == pytest.approx(1)
        assert slot.limiting_cause.by_pilot == ()

    def test_it_adds_to_the_others_and_makes_no_product(self):
        crowd = [Station("Wren", 5658, 25), Station("Otter", 5695, 25), Station("Rook", 5740, 25)]
        quiet, heard = (
            heat_margins(crowd, Site()),
            heat_margins(crowd, self.site(OutsideSignal(5700, 20, -95))),
        )
        for before, after in zip(quiet.slots, heard.slots, strict=True):
            own = [term for term in after.terms if term.is_outside]
            assert len(own) == 1
            expected = 10 ** (-before.margin_db / 10) + 10 ** (-own[0].margin_db / 10)
            assert 10 ** (-after.margin_db / 10) == pytest.approx(expected)
            assert len(after.terms) == len(before.terms) + 1

    def test_a_term_says_where_it_lies_and_how_strong_it_is(self):
        stations = [Station("Wren", 5732, 25), Station("Otter", 5880, 25)]
        slot = heat_margins(stations, self.site(OutsideSignal(5745, 20, -70))).slots[0]
        term = next(term for term in slot.terms if term.kind == "outside")
        assert term.of == ("the outside signal at 5745 MHz",)
        assert (term.at_mhz, term.offset_mhz, term.level_dbm) == (5745, 13, -70)
        needed_db = float(block_protection_db(13, 20))
        assert term.margin_db == pytest.approx(self.WANTED_DBM + 70 - needed_db, abs=0.01)

    def test_stress_and_span_leave_it_as_it_is(self):
        slot = heat_margins([Station("Wren", 5745, 25)], self.site(OutsideSignal(5745, 20, -85))).slots[0]
        assert slot.stressed_margin_db == slot.margin_db
        assert slot.grade_low == slot.grade_high == slot.picture_grade

    def test_a_signal_named_like_a_pilot_is_nobodys_share(self):
        stations = [Station("Wren", 5732, 25), Station("Otter", 5880, 25)]
        site = self.site(OutsideSignal(5745, 20, -70, "Otter"))
        (otter,) = heat_margins(stations, site).slots[0].limiting_cause.by_pilot
        assert otter.share < 0.01

    def test_one_that_is_strong_enough_overloads_a_receiver(self):
        alone = [Station("Wren", 5658, 25)]
        assert heat_margins(alone, self.site(OutsideSignal(5900, 20, -15))).slots[0].is_overloaded
        assert not heat_margins(alone, self.site(OutsideSignal(5900, 20, -25))).slots[0].is_overloaded

    def test_the_lower_floor_of_a_better_receiver_lets_less_of_it_in(self):
        site = with_receiver(self.site(OutsideSignal(5900, 20, -40)), pr_floor_db=-40)
        slot = heat_margins([Station("Wren", 5658, 25)], site).slots[0]
        assert slot.margin_db == pytest.approx(self.WANTED_DBM + 40 + 40, abs=0.01)
