import pytest

from server.services import call_slots, flight_line
from server.services.line_desk import line_desk
from tests.factories import NOW
from tests.services.called_days import call_heat, press, released, step, words
from tests.services.changed_days import happen, id_of, published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def desk(session, day):
    session.flush()
    return line_desk(session, day, NOW)


def row(session, day, callsign):
    return next(one for one in desk(session, day).call.rows if one.callsign == callsign)


def test_a_row_offers_what_may_be_pressed_now_the_usual_first(session, day):
    call_heat(session, day)
    assert row(session, day, "Wren").acts == ("picture is clear", "stand down", "down")
    assert row(session, day, "Otter").acts == ("leave out", "on unasked")  # no turn while Wren powers up
    press(session, day, "Wren", "picture is clear")
    assert row(session, day, "Wren").acts == ("not clear", "stand down", "down")


def test_every_act_that_is_offered_is_taken(session, day):
    released(session, day)
    for act in row(session, day, "Wren").acts:
        with session.begin_nested() as tried:
            press(session, day, "Wren", act)
            tried.rollback()


def test_a_row_says_what_the_pilots_own_page_says_also_of_a_lost_spare(session, day):
    happen(session, day, "down", pilot=id_of(session, day, "Otter"))
    call_heat(session, day, override="It lies far behind the hill.")
    own_pages = words(session, day)
    assert all(one.word == own_pages[one.callsign] for one in desk(session, day).call.rows)
    assert row(session, day, "Otter").word == "DOWN, STILL ON"


def test_under_everybody_land_nothing_is_offered_that_sends_anybody_up(session, day):
    released(session, day)
    flight_line.everybody_land(session, day, "", "director", NOW)
    assert row(session, day, "Wren").acts == ("landed", "down")


def test_after_everybody_land_the_key_sees_them_down_and_then_lifts_it(session, day):
    released(session, day)
    flight_line.everybody_land(session, day, "", "director", NOW)
    said = [desk(session, day).step.words]
    step(session, day, "all landed")
    said.append(desk(session, day).step.words)
    step(session, day, "end")
    said.append(desk(session, day).step.words)
    assert said == [
        "Landed: Wren, Otter",
        "Wren, Otter off. Heat 1 is over, does not count",
        "Lift EVERYBODY LAND",
    ]


def test_while_walkers_hold_up_a_turn_the_key_says_that_they_are_gone(session, day):
    flight_line.set_walkers(session, day, True, "director", NOW)
    call_heat(session, day)
    assert desk(session, day).step.words == "The field is clear of walkers"


def test_a_heat_of_which_nobody_is_left_is_stopped(session, day):
    call_heat(session, day, only={id_of(session, day, "Wren")})
    press(session, day, "Wren", "stand down")
    press(session, day, "Wren", "off")
    assert desk(session, day).step.words == "Stop heat 1: nobody flies"


def test_nobody_is_released_by_the_key_beside_who_stood_down_and_may_be_on(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "picture is clear")
    press(session, day, "Otter", "stand down")
    assert desk(session, day).step.words == "Otter is off now"
    press(session, day, "Otter", "off")
    assert desk(session, day).step.words == "Release heat 1: Wren"


def test_of_many_the_key_says_how_many(session):
    day = published_day(session, "Wren", "Otter", "Rook", "Quill", aircraft=4)
    released(session, day)
    step(session, day, "land")
    assert desk(session, day).step.words == "Landed: all 4"
    step(session, day, "all landed")
    assert desk(session, day).step.words == "All 4 off. Heat 1 is over, counts as flown"


def test_the_next_heat_says_what_is_in_its_way_and_has_no_key(session, day):
    happen(session, day, "down", pilot=id_of(session, day, "Quill"))
    found = desk(session, day)
    assert found.step is None
    assert [one.callsign for one in found.next.seats if one.blocked] == ["Otter"]
    assert [one.callsign for one in found.lost] == ["Quill"]


def test_the_next_heat_names_whose_channel_was_not_checked(session, day):
    assert desk(session, day).next.unchecked == ("Wren", "Otter")


def test_the_rest_of_a_heat_is_named_as_such(session, day):
    assert not desk(session, day).next.rest_of
    call_heat(session, day, only={id_of(session, day, "Otter")})
    found = desk(session, day).next
    assert (found.number, found.rest_of, [one.callsign for one in found.seats]) == (1, True, ["Wren"])


def test_flights_are_counted_for_everybody_here(session, day):
    released(session, day)
    assert desk(session, day).flights == (("Wren", 1), ("Otter", 1), ("Rook", 0), ("Quill", 0))


def test_the_moment_of_its_clock_is_that_of_the_last_row_where_none_is_given(session, day):
    call_heat(session, day)
    assert line_desk(session, day).clock.at == NOW


def test_the_undo_says_what_it_would_do(session, day):
    call_heat(session, day)
    assert desk(session, day).undo == call_slots.undo_seen(session, day)
