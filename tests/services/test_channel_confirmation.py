import pytest

from server.services import aircraft, flown_heats, open_flying, pilots, provisional, turns
from server.services.channel_confirmation import channel_now, confirmed_pilots, is_confirmed
from server.services.roster_rows import set_up_text
from server.services.stale_forms import Form
from server.storage import pilots as stored_pilots
from server.storage.tables import CHANNEL_IN_DOUBT, CHANNEL_WRONG
from tests.factories import NOW, make_aircraft, make_picture_check, make_pilot
from tests.services.changed_days import id_of, published_day
from tests.services.planned_days import day_with_pilots


@pytest.fixture
def day(session):
    return day_with_pilots(session, "Otter")


def checked(session, day, **values):
    pilot = make_pilot(session, day, "Wren", **{"provisional_mhz": 5732} | values)
    make_picture_check(session, pilot, pilot.provisional_mhz)
    return pilot


def holds(session, day, pilot):
    """Asked for one pilot and for the whole day, which have to agree."""
    alone = is_confirmed(session, pilot)
    assert (pilot.id in confirmed_pilots(session, day)) == alone
    return alone


def test_nobody_is_confirmed_before_a_picture_check(session, day):
    pilot = make_pilot(session, day, "Wren", provisional_mhz=5732)
    assert not holds(session, day, pilot)


def test_a_check_on_the_channel_to_set_confirms_it(session, day):
    assert holds(session, day, checked(session, day))


@pytest.mark.parametrize("verdict", [CHANNEL_WRONG, CHANNEL_IN_DOUBT])
def test_any_later_check_that_is_not_right_ends_it(session, day, verdict):
    pilot = checked(session, day)
    make_picture_check(session, pilot, 5732, verdict)
    assert not holds(session, day, pilot)


def test_it_says_nothing_about_another_channel(session, day):
    pilot = checked(session, day)
    pilot.provisional_mhz = 5733
    assert not holds(session, day, pilot)


def test_without_a_channel_nothing_is_confirmed(session, day):
    pilot = checked(session, day)
    pilot.provisional_mhz = None
    assert not holds(session, day, pilot)


def test_a_changed_set_up_ends_it_even_when_it_is_changed_back(session, day):
    pilot = checked(session, day)
    main = stored_pilots.aircraft_of(session, pilot.id)[0]
    for power in ("200", "25"):
        text = set_up_text(main)
        form = Form({**text, "power_mw": power}, text, main.version)
        aircraft.change_set_up(session, day, pilot, main, form, "desk", NOW)
    assert not holds(session, day, pilot)


def test_a_swap_ends_it_even_when_it_is_swapped_back(session, day):
    pilot = checked(session, day)
    main, spare = stored_pilots.aircraft_of(session, pilot.id)[0], make_aircraft(session, pilot)
    aircraft.fly(session, day, pilot, spare, "desk", NOW)
    assert not holds(session, day, pilot)
    aircraft.fly(session, day, pilot, main, "desk", NOW)
    assert channel_now(session, day, pilot) == 5732
    assert not holds(session, day, pilot)


def test_another_provisional_channel_ends_it_even_when_the_old_one_comes_back(session, day):
    pilot = checked(session, day, tunes="R5")
    provisional.keep_or_give(session, day, pilot)
    assert pilot.provisional_mhz == 5806
    pilot.provisional_mhz = 5732
    assert not holds(session, day, pilot)


def test_the_published_channel_counts_before_the_provisional_one(session):
    day = published_day(session)
    wren = pilots.pilot_of(session, day, id_of(session, day, "Wren"))
    wren.provisional_mhz = 5880
    make_picture_check(session, wren, 5658)
    assert channel_now(session, day, wren) == 5658
    assert holds(session, day, wren)


def test_the_next_heat_on_the_same_channel_keeps_it(session):
    day = published_day(session, rounds=2)
    wren = pilots.pilot_of(session, day, id_of(session, day, "Wren"))
    make_picture_check(session, wren, 5658)
    flown_heats.next_heat(session, day, 2, NOW)
    assert holds(session, day, wren)


def test_a_place_at_open_flying_counts_first_and_another_channel_ends_it(session, day):
    open_flying.open_up(session, day, False, "director", NOW)
    pilot = make_pilot(session, day, "Wren", tunes="R5", provisional_mhz=5732)
    make_picture_check(session, pilot, 5732)
    turn = turns.ask(session, day, pilot, "director", NOW)
    assert channel_now(session, day, pilot) == turn.mhz == 5806
    assert not holds(session, day, pilot)
    turns.act(session, day, turn, turn.seen, "off", "director", NOW)
    assert channel_now(session, day, pilot) == 5732
    assert not holds(session, day, pilot)


def test_a_place_on_the_checked_channel_keeps_it(session, day):
    open_flying.open_up(session, day, False, "director", NOW)
    pilot = make_pilot(session, day, "Wren", tunes="R5", provisional_mhz=5806)
    make_picture_check(session, pilot, 5806)
    turns.ask(session, day, pilot, "director", NOW)
    assert holds(session, day, pilot)
