"""What follows from a site, against the worked values of the radio reference."""

import pytest

from server.radio.site import PRESETS, Site, with_receiver
from server.services.site_facts import site_facts, strongest
from tests.factories import make_aircraft, make_day, make_pilot

CLUB_FIELD = Site()


def test_the_ceiling_of_a_club_field_falls_with_every_aircraft():
    shown = {
        one.aircraft: (round(one.ceiling_db, 2), one.picture_grade)
        for one in site_facts(CLUB_FIELD, 6).ceilings
    }
    assert shown[6] == (1.01, 4.6)
    assert [grade for _, grade in shown.values()] == [5.0, 4.8, 4.7, 4.6, 4.5, 4.4]


def test_the_chosen_number_is_shown_even_beyond_the_usual_ones():
    assert [one.aircraft for one in site_facts(CLUB_FIELD, 12).ceilings] == [3, 4, 5, 6, 7, 8, 12]
    assert site_facts(CLUB_FIELD, 12).chosen.aircraft == 12
    assert site_facts(CLUB_FIELD, 4).chosen.aircraft == 4


def test_one_aircraft_alone_has_no_ceiling_and_a_perfect_picture():
    alone = site_facts(CLUB_FIELD, 1).chosen
    assert (alone.ceiling_db, alone.picture_grade) == (None, 5.0)


def test_a_course_that_comes_too_near_cannot_be_flown():
    assert site_facts(Site(near_m=2, far_m=300), 6).chosen.grade_word == "do not fly"


def test_25_mw_carries_198_m_with_fades_kept_and_395_m_to_the_threshold():
    weakest = site_facts(CLUB_FIELD, 6).reaches[0]
    assert (weakest.power_mw, round(weakest.kept_m), round(weakest.threshold_m)) == (25, 198, 395)
    assert weakest.is_enough


def test_a_course_longer_than_a_power_carries_is_marked():
    assert [one.is_enough for one in site_facts(Site(far_m=250), 6).reaches] == [False, True, True]


@pytest.mark.parametrize("name", PRESETS)
def test_near_and_far_differ_by_the_same_at_every_power(name):
    differences = {round(one.unwanted_dbm - one.wanted_dbm, 6) for one in site_facts(PRESETS[name], 6).levels}
    assert len(differences) == 1


def test_a_weak_receiver_close_to_strong_transmitters_is_overloaded():
    hall = with_receiver(Site(near_m=2, far_m=15), iip3_dbm=-20)
    assert [one.is_overloaded for one in site_facts(hall, 6).levels] == [False, True, True]


def test_without_pilots_the_usual_power_is_taken(session):
    found = strongest(session, make_day(session))
    assert (found.callsign, found.power_mw) == (None, 25)
    assert round(found.limit_m * 100, 1) == 1.4


def test_antenna_gain_and_spares_count_for_the_strongest(session):
    day = make_day(session)
    make_pilot(session, day, "Wren", power_mw="600")
    otter = make_pilot(session, day, "Otter")
    make_aircraft(session, otter, name="spare 1", power_mw="25 400", antenna_gain_dbi=3.0103)
    found = strongest(session, day)
    assert (found.callsign, found.power_mw, round(found.eirp_mw)) == ("Otter", 400, 800)


def test_gear_that_cannot_be_read_is_left_out(session):
    day = make_day(session)
    make_pilot(session, day, "Rook", power_mw="lots")
    make_pilot(session, day, "Wren", power_mw="200")
    assert strongest(session, day).callsign == "Wren"
