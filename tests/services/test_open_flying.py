"""Open flying from the first press to the last, at the services and a real database."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlmodel import select

from server.services import days, down_transmitters, open_flying, pilots, trouble, turn_desk, turns
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.slots import slot_by_token
from server.services.turn_settling import settle
from server.services.turn_views import OpenFlyingNow
from server.storage import pilots as stored_pilots
from server.storage import turns as stored
from server.storage.tables import LogbookEntry
from tests.factories import NOW, make_aircraft, make_day, make_pilot
from tests.services.planned_days import SETTINGS

LATER = NOW + timedelta(minutes=1)


@pytest.fixture
def day(session):
    """Open, three places, and pilots may power up in the pits only by the director's word."""
    day = make_day(session, aircraft=3, **SETTINGS)
    open_flying.open_up(session, day, False, "director", NOW)
    return day


def ask(session, day, callsign, at=NOW, **gear):
    pilot = stored_pilots.by_callsign_key(session, day.id, callsign.casefold())
    return turns.ask(session, day, pilot or make_pilot(session, day, callsign, **gear), "pilot", at)


def press(session, day, turn, name, at=LATER, who="director"):
    turns.act(session, day, turn, turn.seen, name, who, at)
    return turn


def aloft(session, day, callsign, **gear):
    """A pilot who flies."""
    turn = press(session, day, ask(session, day, callsign, **gear), "set")
    if turn.stage == "ready":
        press(session, day, turn, "up")
    return press(session, day, turn, "clear")


def told(session):
    return [entry.text for entry in session.exec(select(LogbookEntry).order_by(LogbookEntry.id))]


def shown(session, day, turn):
    return OpenFlyingNow(session, day).my_turn(turn.pilot_id)


def test_who_asks_first_gets_the_first_place_and_a_channel(session, day):
    turn = ask(session, day, "Wren")
    assert (turn.stage, turn.place, turn.power_mw) == ("ready", 1, 25.0)
    assert shown(session, day, turn).word == "READY"
    assert told(session)[-2:] == ["Wren asks to fly.", f"Wren has place 1: R1 {turn.mhz} MHz at 25 mW."]


def test_the_provisional_channel_is_kept_where_it_is_as_good(session, day):
    assert ask(session, day, "Wren", provisional_mhz=5800).mhz == 5800


def test_a_second_press_of_ask_changes_nothing(session, day):
    first = ask(session, day, "Wren")
    before = told(session)
    assert ask(session, day, "Wren").id == first.id
    assert told(session) == before


def test_when_as_many_are_up_as_may_be_the_next_waits_and_is_called(session, day):
    first = aloft(session, day, "Wren")
    for name in ("Otter", "Rook"):
        ask(session, day, name)
    waits = ask(session, day, "Coot")
    assert (waits.stage, waits.mhz) == ("waiting", None)
    assert shown(session, day, waits).what_next.startswith("You are 1st of 1 in the queue. As many are up")
    press(session, day, first, "off")
    assert (waits.stage, waits.place) == ("ready", 1)


def test_nobody_is_seated_who_would_fall_below_do_not_fly(session, day):
    day.settings_json = (
        days.settings_of(day)
        .model_copy(update={"site": days.site_of(day).__class__(near_m=3)})
        .model_dump_json()
    )
    ask(session, day, "Wren", power_mw="800")
    waits = ask(session, day, "Otter", power_mw="25")
    assert waits.stage == "waiting"
    assert "a picture too bad to fly with" in waits.why


def test_closed_or_never_opened_nobody_can_ask(session):
    day = make_day(session, **SETTINGS)
    with pytest.raises(RefusedError, match="Open flying is closed"):
        ask(session, day, "Wren")
    open_flying.open_up(session, day, False, "director", NOW)
    open_flying.close(session, day, "director", NOW)
    with pytest.raises(RefusedError, match="Open flying is closed"):
        ask(session, day, "Otter")


def test_without_rules_it_cannot_be_opened(session):
    day = make_day(session)
    with pytest.raises(RefusedError, match="No rules are chosen"):
        open_flying.open_up(session, day, False, "director", NOW)


def test_rules_that_are_taken_away_stop_the_queue_and_say_so(session, day):
    day.responsibility = None
    turn = ask(session, day, "Wren")
    assert (turn.stage, turn.why[:20]) == ("waiting", "No rules are chosen:")


@pytest.mark.parametrize(
    ("gear", "reason"),
    [
        ({"tunes": "E4"}, "leave Wren no channel"),
        ({"pin": "R1", "tunes": "F4"}, "pin is not among"),
        ({"state": "withdrawn"}, "Wren is withdrawn"),
        ({"state": "no-show"}, "Wren is no-show"),
    ],
)
def test_who_cannot_fly_at_all_is_told_why_instead_of_waiting(session, day, gear, reason):
    with pytest.raises(RefusedError, match=reason):
        ask(session, day, "Wren", **gear)


def test_other_than_analogue_video_is_agreed_on_by_people(session, day):
    pilot = make_pilot(session, day, "Wren")
    stored_pilots.aircraft_of(session, pilot.id)[0].video = "other"
    with pytest.raises(RefusedError, match="agree on its place with the director"):
        turns.ask(session, day, pilot, "pilot", NOW)


def test_an_archived_day_takes_nothing(session, day):
    turn = ask(session, day, "Wren")
    day.archived_at = NOW
    with pytest.raises(RefusedError, match="closed"):
        ask(session, day, "Otter")
    with pytest.raises(RefusedError, match="archived"):
        press(session, day, turn, "set")


def test_the_words_follow_the_turn(session, day):
    turn = ask(session, day, "Wren")
    words = [shown(session, day, turn).word]
    for name in ("set", "clear", "land"):
        press(session, day, turn, name)
        words.append(shown(session, day, turn).word)
    assert words == ["READY", "POWER UP", "FLY", "LAND"]


def test_nobody_powers_up_before_the_channel_is_confirmed(session, day):
    turn = ask(session, day, "Wren")
    settle(session, day, LATER)
    assert turn.stage == "ready"
    with pytest.raises(RefusedError, match="Ask first what Wren's transmitter is set to"):
        press(session, day, turn, "up")


def test_while_others_are_up_the_director_says_who_powers_up(session, day):
    aloft(session, day, "Wren")
    turn = press(session, day, ask(session, day, "Otter"), "set")
    assert (turn.stage, turn.why) == ("ready", "Others are up (Wren): the director says when to power up.")
    assert press(session, day, turn, "up").stage == "power up"


def test_two_who_confirm_are_not_both_let_on(session, day):
    first, second = ask(session, day, "Wren"), ask(session, day, "Otter")
    press(session, day, first, "set")
    press(session, day, second, "set")
    assert (first.stage, second.stage) == ("power up", "ready")


def test_who_waited_in_the_pits_is_let_on_when_the_air_is_clear(session, day):
    first = aloft(session, day, "Wren")
    second = press(session, day, ask(session, day, "Otter"), "set")
    press(session, day, first, "off")
    assert second.stage == "power up"


def test_where_the_day_allows_it_pits_power_up_beside_those_they_do_not_disturb(session, day):
    open_flying.open_up(session, day, True, "director", NOW)
    aloft(session, day, "Wren", tunes="R1")
    far = press(session, day, ask(session, day, "Otter", tunes="R8"), "set")
    near = press(session, day, ask(session, day, "Rook", tunes="R2", power_mw="25 800"), "set")
    assert far.stage == "power up"
    assert (near.stage, near.why[:43]) == ("ready", "Powering up now could spoil the picture of ")


def test_the_pit_mode_of_a_set_counts_when_it_has_one(session, day):
    open_flying.open_up(session, day, True, "director", NOW)
    aloft(session, day, "Wren", tunes="R1")
    turn = ask(session, day, "Rook", tunes="R2", power_mw="25 800")
    stored_pilots.aircraft_of(session, turn.pilot_id)[0].pit_power_mw = 0.1
    session.flush()
    settle(session, day, LATER)
    assert press(session, day, turn, "set").stage == "power up"


def test_closing_lands_everybody_and_keeps_the_queue(session, day):
    flies = aloft(session, day, "Wren")
    waits_for_word = ask(session, day, "Otter")
    ask(session, day, "Rook")
    queued = ask(session, day, "Coot")
    open_flying.close(session, day, "director", LATER)
    words = [shown(session, day, turn).word for turn in (flies, waits_for_word, queued)]
    assert words == ["LAND", "STAY OFF", "STAY OFF"]
    press(session, day, flies, "off")
    assert queued.stage == "waiting"
    open_flying.open_up(session, day, False, "director", LATER)
    assert queued.stage == "ready"


def test_after_ten_minutes_holder_and_desk_are_nudged_once(session, day):
    turn = ask(session, day, "Wren")
    settle(session, day, NOW + timedelta(minutes=9, seconds=59))
    assert turn.nudged_at is None
    for minutes in (10, 11):
        settle(session, day, NOW + timedelta(minutes=minutes))
    assert turn.nudged_at == NOW + timedelta(minutes=10)
    assert told(session).count("Wren has had the place for 10 minutes.") == 1
    assert shown(session, day, turn).is_nudged
    assert OpenFlyingNow(session, day).desk().places[0][1].is_nudged


def test_of_two_who_press_at_once_the_second_is_told_what_the_first_did(session, day):
    turn = aloft(session, day, "Wren")
    seen = turn.seen
    turns.act(session, day, turn, seen, "off", "pilot", LATER)
    with pytest.raises(OvertakenError, match="Wren landed and powered off already"):
        turns.act(session, day, turn, seen, "land", "director", LATER)


def test_a_phone_that_slept_cannot_confirm_a_channel_that_it_does_not_show(session, day):
    turn = ask(session, day, "Wren", tunes="R1 R8")
    seen = turn.seen
    day.settings_json = days.settings_of(day).model_copy(update={"bans": (turn.mhz,)}).model_dump_json()
    settle(session, day, LATER)
    assert turn.seen != seen
    with pytest.raises(OvertakenError, match="changed since this page was loaded"):
        turns.act(session, day, turn, seen, "set", "pilot", LATER)


@pytest.mark.parametrize(("name", "stage"), [("clear", "ready"), ("fly-on", "ready"), ("seat", "ready")])
def test_what_is_not_to_be_done_now_is_refused(session, day, name, stage):
    turn = ask(session, day, "Wren")
    assert turn.stage == stage
    with pytest.raises(RefusedError, match="not at that point"):
        press(session, day, turn, name)


def test_what_nobody_knows_is_not_found(session, day):
    turn = ask(session, day, "Wren")
    with pytest.raises(NotFoundError):
        press(session, day, turn, "explode")
    with pytest.raises(NotFoundError):
        turns.turn_of(session, make_day(session), turn.id)


def test_a_pilot_acts_on_the_own_turn_alone(session, day):
    wren, otter = ask(session, day, "Wren"), ask(session, day, "Otter")
    pilot = pilots.pilot_of(session, day, wren.pilot_id)
    for turn, name in ((otter, "off"), (wren, "up"), (wren, "land")):
        with pytest.raises(NotFoundError):
            turns.act_of_pilot(session, day, pilot, turn.id, turn.seen, name, LATER)
    turns.act_of_pilot(session, day, pilot, wren.id, wren.seen, "off", LATER)
    assert wren.ended_how == "gave the place back"


def test_who_withdraws_leaves_queue_and_place_but_not_the_air(session, day):
    flies, ready = aloft(session, day, "Wren"), ask(session, day, "Otter")
    for turn in (flies, ready):
        pilots.set_state(
            session, day, pilots.pilot_of(session, day, turn.pilot_id), "withdrawn", "desk", LATER
        )
    assert shown(session, day, flies).word == "LAND"
    settle(session, day, LATER)
    assert (flies.stage, flies.ended_at) == ("landing", None)
    assert ready.ended_how == "left the day"


def test_gear_that_changed_asks_for_the_channel_to_be_set_anew(session, day):
    turn = ask(session, day, "Wren")
    aloft(session, day, "Otter")
    press(session, day, turn, "set")
    _retune(session, turn, "A B E F R L")
    assert shown(session, day, turn).word == "STAY OFF"
    settle(session, day, LATER)
    assert (turn.stage, turn.confirmed_at) == ("ready", None)


def test_a_ready_place_whose_channel_goes_out_of_use_gets_another_at_once(session, day):
    turn = ask(session, day, "Wren", tunes="R1 R8")
    day.settings_json = days.settings_of(day).model_copy(update={"bans": (5658,)}).model_dump_json()
    settle(session, day, LATER)
    assert (turn.stage, turn.mhz) == ("ready", 5917)


def test_who_may_be_on_is_never_moved_but_in_doubt(session, day):
    turn = aloft(session, day, "Wren", tunes="R1 R8")
    day.settings_json = days.settings_of(day).model_copy(update={"bans": (5658,)}).model_dump_json()
    settle(session, day, LATER)
    assert (turn.stage, turn.mhz) == ("flying", 5658)
    assert shown(session, day, turn).word == "ASK THE DIRECTOR"
    with pytest.raises(RefusedError, match="out of use for Wren"):
        press(session, day, turn, "set")


def test_gear_that_changed_in_the_air_is_in_doubt_until_somebody_asked(session, day):
    turn = aloft(session, day, "Wren")
    _retune(session, turn, "A B E F R L")
    assert shown(session, day, turn).word == "ASK THE DIRECTOR"
    press(session, day, turn, "set")
    assert shown(session, day, turn).word == "FLY"


def test_an_aircraft_of_other_video_leaves_the_place_in_doubt(session, day):
    turn = aloft(session, day, "Wren")
    stored_pilots.aircraft_of(session, turn.pilot_id)[0].video = "other"
    session.flush()
    settle(session, day, LATER)
    assert shown(session, day, turn).word == "ASK THE DIRECTOR"


def test_a_pilot_whose_spotter_flies_waits_and_is_passed(session, day):
    spotter = aloft(session, day, "Otter")
    waits = ask(session, day, "Wren", spotter="Otter")
    assert waits.why == "Otter is up: Wren's spotter, or not to fly beside Wren."
    assert [ask(session, day, name).stage for name in ("Rook", "Coot")] == ["ready", "ready"]
    press(session, day, spotter, "off")
    assert waits.stage == "ready"


def test_who_finds_no_channel_is_passed_over_once_and_then_comes_first(session, day):
    first = aloft(session, day, "Otter", tunes="R4")
    waits = ask(session, day, "Umber", tunes="R4")
    assert ask(session, day, "Rook").stage == "ready"
    assert (
        ask(session, day, "Coot").why
        == "Umber came first and was passed over already: nobody more goes before."
    )
    press(session, day, first, "off")
    assert (waits.stage, waits.passed_over) == ("ready", 1)


def test_the_director_seats_before_others_and_nobody_counts_as_passed(session, day):
    for name, channel in (("Otter", "R4"), ("Umber", "R4"), ("Rook", "R8")):
        ask(session, day, name, tunes=channel)
    coot = ask(session, day, "Coot")
    assert coot.stage == "waiting"
    press(session, day, coot, "seat")
    assert coot.stage == "ready"
    assert [turn.passed_over for turn in stored.live(session, day.id)] == [0, 1, 0, 0]


def test_even_the_director_seats_nobody_where_no_place_is(session, day):
    for name in ("Wren", "Otter", "Rook"):
        ask(session, day, name)
    with pytest.raises(RefusedError, match="As many are up as may be"):
        press(session, day, ask(session, day, "Coot"), "seat")


def test_who_is_called_to_land_keeps_the_place_until_the_transmitter_is_off(session, day):
    turn = aloft(session, day, "Wren")
    press(session, day, turn, "land")
    assert (turn.stage, turn.ended_at) == ("landing", None)
    press(session, day, turn, "off")
    assert turn.ended_how == "landed and powered off"


def test_who_is_called_back_before_the_picture_was_clear_may_be_on_and_powers_off(session, day):
    turn = press(session, day, ask(session, day, "Wren"), "set")
    press(session, day, turn, "land")
    assert shown(session, day, turn).word == "DISARM THEN POWER OFF"
    assert press(session, day, turn, "fly-on").stage == "power up"


def test_an_aircraft_that_is_down_keeps_its_channel_until_it_is_found(session, day):
    turn = aloft(session, day, "Wren", tunes="R4")
    press(session, day, turn, "down")
    assert shown(session, day, turn).word == "DOWN, STILL ON"
    assert ask(session, day, "Umber", tunes="R4").stage == "waiting"
    assert [ask(session, day, name).stage for name in ("Rook", "Coot")] == ["ready", "ready"]
    assert press(session, day, turn, "fly-on").stage == "flying"


def test_undo_of_landed_brings_the_place_back_and_takes_it_from_who_was_not_on(session, day):
    turn = aloft(session, day, "Wren")
    for name in ("Otter", "Rook"):
        ask(session, day, name)
    next_one = ask(session, day, "Coot")
    press(session, day, turn, "off")
    assert next_one.stage == "ready"
    turns.restore(session, day, turn, "director", LATER)
    assert (turn.stage, turn.place, turn.ended_at) == ("flying", 1, None)
    assert (next_one.stage, next_one.mhz) == ("waiting", None)


def test_undo_is_refused_once_somebody_else_may_be_on_the_channel(session, day):
    turn = aloft(session, day, "Wren", tunes="R4")
    next_one = ask(session, day, "Umber", tunes="R4")
    press(session, day, turn, "off")
    press(session, day, next_one, "set")
    assert next_one.stage == "power up"
    with pytest.raises(RefusedError, match=r"call by voice: land, and power off R4 5769 MHz"):
        turns.restore(session, day, turn, "director", LATER)


def test_undo_brings_back_the_old_place_in_the_queue(session, day):
    for name in ("Wren", "Otter", "Rook"):
        ask(session, day, name)
    first, second = ask(session, day, "Coot"), ask(session, day, "Quill")
    press(session, day, first, "off")
    turns.restore(session, day, first, "director", LATER)
    assert OpenFlyingNow(session, day).board().queue == ("Coot", "Quill")
    assert second.stage == "waiting"


def test_what_came_back_already_or_asked_anew_is_not_undone_twice(session, day):
    turn = ask(session, day, "Wren")
    press(session, day, turn, "off")
    turns.restore(session, day, turn, "director", LATER)
    with pytest.raises(OvertakenError, match="Wren is back already"):
        turns.restore(session, day, turn, "director", LATER)
    press(session, day, turn, "off")
    ask(session, day, "Wren")
    with pytest.raises(RefusedError, match="has asked again since"):
        turns.restore(session, day, turn, "director", LATER)


def test_while_it_is_open_nobody_without_a_place_reads_a_channel_to_set(session, day):
    pilot = make_pilot(session, day, "Wren", provisional_mhz=5800)
    page = slot_by_token(session, pilot.link_token)
    assert (page.may_ask, page.tuned, page.word) == (True, None, "STAY OFF")
    turns.ask(session, day, pilot, "pilot", NOW)
    page = slot_by_token(session, pilot.link_token)
    assert (page.may_ask, page.tuned.mhz, page.word) == (False, 5800, "READY")


def test_a_stale_page_asks_the_director_once_the_transmitter_is_known_to_be_on(session, day):
    turn = press(session, day, ask(session, day, "Wren"), "set")
    pilot = pilots.pilot_of(session, day, turn.pilot_id)
    assert slot_by_token(session, pilot.link_token).word_in_doubt == "STAY OFF"
    press(session, day, turn, "clear")
    assert slot_by_token(session, pilot.link_token).word_in_doubt == "ASK THE DIRECTOR"


def test_the_board_names_callsigns_places_and_what_is_free(session, day):
    turn = aloft(session, day, "Wren", name="Somebody Private")
    board = OpenFlyingNow(session, day).board()
    assert [place.callsign for place in board.places] == ["Wren", "", ""]
    assert (board.places[0].mhz, board.places[0].state) == (turn.mhz, "in the air")
    assert "Private" not in repr(board)


def test_the_board_shows_nothing_while_nobody_flies_so(session):
    day = make_day(session, **SETTINGS)
    assert OpenFlyingNow(session, day).board() is None
    open_flying.open_up(session, day, False, "director", NOW)
    assert OpenFlyingNow(session, day).board().is_open
    open_flying.close(session, day, "director", NOW)
    assert OpenFlyingNow(session, day).board() is None


def test_places_keep_their_numbers(session, day):
    first, second = ask(session, day, "Wren"), ask(session, day, "Otter")
    press(session, day, first, "off")
    assert second.place == 2
    assert ask(session, day, "Rook").place == 1


def test_the_desks_line_asks_and_helps_along(session, day):
    make_pilot(session, day, "Big Bird", callsign_key="big bird")
    stages = []
    for line in ("big bird", "Big Bird set", "big bird clear", "Big Bird OFF"):
        turn = turn_desk.do_line(session, day, line, "director", NOW)
        stages.append(turn.ended_how or turn.stage)
    assert stages == ["ready", "power up", "flying", "landed and powered off"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("", "Type a callsign"),
        ("Wrem", "Nobody called Wrem is on the roster. With the same first letter: Wren"),
        ("Otter", "Nobody called Otter is on the roster: check the pilot in first"),
        ("Wren away", "away is no word for a turn: use set, up,"),
        ("Wren off", "Wren has no place and is not in the queue"),
    ],
)
def test_a_line_that_cannot_be_done_says_what_would_be_right(session, day, line, words):
    make_pilot(session, day, "Wren")
    with pytest.raises(InputError) as refused:
        turn_desk.do_line(session, day, line, "director", NOW)
    assert words in refused.value.faults["line"]


def test_every_act_of_a_button_is_an_act(session, day):
    offered = set()
    turn = ask(session, day, "Wren")
    for name in ("set", "clear", "land", "fly-on", "down"):
        offered |= set(OpenFlyingNow(session, day).desk().places[0][1].acts)
        press(session, day, turn, name)
    assert {"set", "land", "clear", "off", "down", "fly-on"} <= offered <= set(turns.ACTS)


def test_the_database_itself_refuses_a_channel_twice(session, day):
    ask(session, day, "Wren")
    second = ask(session, day, "Otter")
    second.mhz = stored.live(session, day.id)[0].mhz
    with pytest.raises(Exception, match=r"UNIQUE constraint failed: turn|uq_turn_live_mhz"):
        session.flush()
    session.rollback()


def test_of_two_who_ask_for_the_last_place_at_once_one_gets_it_and_the_other_waits(database):
    with database.write() as session:
        day = make_day(session, aircraft=1, **SETTINGS)
        pilots_here = [make_pilot(session, day, name) for name in ("Wren", "Otter")]
        open_flying.open_up(session, day, False, "director", NOW)
    at_once = threading.Barrier(2)

    def ask_now(pilot):
        at_once.wait()
        with database.write() as session:
            turns.ask(session, session.merge(day), session.merge(pilot), "pilot", NOW)

    with ThreadPoolExecutor(2) as phones:
        list(phones.map(ask_now, pilots_here))
    with database.read() as session:
        assert [turn.stage for turn in stored.live(session, day.id)] == ["ready", "waiting"]


def _retune(session, turn, tunes):
    stored_pilots.aircraft_of(session, turn.pilot_id)[0].tunes = tunes
    session.flush()


def test_who_powers_up_can_report_a_problem_before_the_first_clear_picture(session, day):
    turn = press(session, day, ask(session, day, "Wren"), "set")
    assert turn.stage == "power up"
    wren = pilots.pilot_of(session, day, turn.pilot_id)
    assert slot_by_token(session, wren.link_token).trouble.told == ""
    trouble.report(session, day, wren, {"symptom": "black"}, "pilot", LATER)
    assert slot_by_token(session, wren.link_token).trouble.told == "black, or no picture"


def test_whose_aircraft_is_lost_has_no_place_to_get_ready_for_until_a_spare_is_chosen(session, day):
    turn = ask(session, day, "Wren")
    wren = stored_pilots.by_callsign_key(session, day.id, "wren")
    down_transmitters.report(session, day, wren, NOW, (5658, 25.0), "desk")
    settle(session, day, NOW)
    assert (turn.ended_how, slot_by_token(session, wren.link_token).word) == (
        "is down, still on",
        "DOWN, STILL ON",
    )
    with pytest.raises(RefusedError, match="choose a spare at the desk"):
        ask(session, day, "Wren")
    wren.flying_aircraft_id = make_aircraft(session, wren, "R").id
    session.flush()
    assert ask(session, day, "Wren").stage == "ready"
