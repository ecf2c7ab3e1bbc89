"""The roster: who comes, changes, leaves and comes back, with a channel at once."""

import json

import pytest

from server.services import aircraft, days, pilots
from server.services.errors import NotFoundError, RefusedError
from server.services.faults import FieldsError
from server.services.lineup import published_channels
from server.services.roster_rows import pilot_text, set_up_text
from server.services.stale_forms import Form, StaleFormError
from server.storage import logbook as stored_logbook
from server.storage import pilots as stored
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN
from tests.factories import NOW, make_day, make_published_plan

GEAR = {"tunes": "A B E F R", "power_mw": "25 200 600"}


@pytest.fixture
def day(session):
    return make_day(session)


def add(session, day, callsign="Wren", **typed):
    return pilots.add(session, day, {"callsign": callsign} | GEAR | typed, "desk", NOW)


def form(pilot, **typed):
    was = pilot_text(pilot)
    return Form(was | typed, was, pilot.version)


def set_up_form(one, **typed):
    was = set_up_text(one)
    return Form(was | typed, was, one.version)


def main_of(session, pilot):
    return stored.aircraft_of(session, pilot.id)[0]


def last_entry(session, day):
    return stored_logbook.newest_first(session, day.id, 1)[0]


def count_entries(session, day):
    return len(stored_logbook.newest_first(session, day.id, 1000))


def faults_of(act):
    with pytest.raises(FieldsError) as caught:
        act()
    return caught.value.faults


def test_a_pilot_who_checks_in_has_an_aircraft_a_link_and_a_channel_that_the_gear_has(session, day):
    wren = add(session, day, tunes="R", power_mw="25", antenna="lhcp")
    main = main_of(session, wren)
    assert (main.name, main.tunes, main.power_mw, main.antenna) == ("main", "R", "25", "lhcp")
    assert wren.flying_aircraft_id == main.id
    assert wren.provisional_mhz in (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)
    assert len(wren.link_token) >= 22  # 128 bits in six-bit letters


def test_two_pilots_get_links_that_have_nothing_in_common(session, day):
    assert add(session, day, "Wren").link_token != add(session, day, "Otter").link_token


def test_pilots_who_come_after_each_other_get_channels_apart(session, day):
    given = [add(session, day, name).provisional_mhz for name in ("Wren", "Otter", "Rook", "Quill")]
    spacing = [abs(one - other) for one in given for other in given if one != other]
    assert len(set(given)) == 4
    assert min(spacing) >= 20


def test_the_logbook_tells_who_came_with_what_and_nothing_private(session, day):
    add(session, day, name="Maximiliane", note="allergic to nuts", station_id="XY1ABC")
    entry = last_entry(session, day)
    assert (entry.who, entry.action) == ("desk", "pilot added")
    assert entry.text.startswith("Wren checked in: bands A B E F R, 40 channels; 25, 200, 600 mW")
    for private in ("Maximiliane", "allergic", "XY1ABC"):
        assert private not in entry.text + entry.data_json


@pytest.mark.parametrize("other", ["Wren", "wren", " WREN "])
def test_one_callsign_is_there_once(session, day, other):
    add(session, day, "Wren")
    message = faults_of(lambda: add(session, day, other))["callsign"]
    assert message == "Wren is checked in already: add a letter or a figure, or edit that pilot."


def test_a_callsign_of_someone_who_left_says_so(session, day):
    wren = add(session, day)
    pilots.set_state(session, day, wren, WITHDRAWN, "desk", NOW)
    assert (
        "is on the roster, withdrawn: bring that pilot back"
        in faults_of(lambda: add(session, day))["callsign"]
    )


def test_all_faults_come_together_and_nothing_is_stored(session, day):
    faults = faults_of(lambda: add(session, day, "=SUM(1)", tunes="Q", power_mw="lots", video="smell"))
    assert set(faults) == {"callsign", "tunes", "power_mw", "video", "centre_mhz", "width_mhz"}
    assert stored.of_day(session, day.id) == []


def test_gear_nobody_knows_is_kept_as_not_known_and_planned_on_what_nearly_every_set_has(session, day):
    wren = add(session, day, tunes="don't know", power_mw="?")
    assert main_of(session, wren).tunes == "?"
    (planned,) = pilots.problem_pilots(session, day)
    assert planned.power_steps_mw == (25,)
    assert wren.provisional_mhz in planned.channels_mhz
    assert 5658 not in planned.channels_mhz  # R1: an older set may lack band R


def test_a_day_with_its_roster_full_takes_nobody_more(session, day, monkeypatch):
    monkeypatch.setattr(pilots, "MOST_PILOTS", 1)
    add(session, day)
    with pytest.raises(RefusedError, match="1 pilots are on the roster"):
        add(session, day, "Otter")


def test_an_archived_day_takes_no_change(session, day):
    wren = add(session, day)
    days.archive(session, day.code, NOW)
    for act in (
        lambda: add(session, day, "Otter"),
        lambda: pilots.edit(session, day, wren, form(wren, note="x"), "desk", NOW),
        lambda: pilots.set_state(session, day, wren, WITHDRAWN, "desk", NOW),
        lambda: pilots.give_channel(session, day, wren, "desk", NOW),
    ):
        with pytest.raises(RefusedError, match="archived"):
            act()


def test_a_pilot_of_another_day_is_not_found(session, day):
    wren = add(session, day)
    with pytest.raises(NotFoundError):
        pilots.pilot_of(session, make_day(session), wren.id)


def test_without_a_channel_within_the_rules_the_pilot_is_added_all_the_same(session, day):
    wren = add(session, day, tunes="E4")  # reaches into a flagged range
    assert wren.provisional_mhz is None
    assert wren.state == CHECKED_IN


def test_an_edit_is_kept_and_told(session, day):
    wren = add(session, day)
    pilots.edit(session, day, wren, form(wren, callsign="Wren 2", spotter="Ann", note="late"), "desk", NOW)
    assert (wren.callsign, wren.callsign_key, wren.spotter, wren.note) == ("Wren 2", "wren 2", "Ann", "late")
    assert last_entry(session, day).text == "Wren: changed callsign Wren → Wren 2, spotter none → Ann, note."


def test_an_edit_that_changes_nothing_leaves_no_trace(session, day):
    wren = add(session, day)
    before = count_entries(session, day)
    pilots.edit(session, day, wren, form(wren), "desk", NOW)
    assert count_entries(session, day) == before


def test_a_pin_moves_the_provisional_channel(session, day):
    wren = add(session, day)
    pilots.edit(session, day, wren, form(wren, pin="R3"), "desk", NOW)
    assert wren.provisional_mhz == 5732


def test_an_edit_that_leaves_the_channel_usable_keeps_it(session, day):
    add(session, day, "Otter")
    wren = add(session, day)
    given = wren.provisional_mhz
    main = main_of(session, wren)
    aircraft.change_set_up(session, day, wren, main, set_up_form(main, tunes=f"R {given}"), "desk", NOW)
    assert wren.provisional_mhz == given


def test_a_pilot_renamed_keeps_the_place_in_the_lists_of_others(session, day):
    wren = add(session, day)
    otter = add(session, day, "Otter", apart="Wren", spotter="wren")
    pilots.edit(session, day, wren, form(wren, callsign="Wren 2"), "desk", NOW)
    assert (otter.apart, otter.spotter) == ("Wren 2", "Wren 2")
    planned = pilots.problem_pilots(session, day)[1]
    assert planned.apart == {"Wren 2"}
    assert planned.spotter == "Wren 2"


def test_wishes_about_unknown_pilots_are_refused(session, day):
    message = faults_of(lambda: add(session, day, apart="Ghost"))["apart"]
    assert message.startswith("Nobody in the roster has this callsign")


def test_a_form_that_was_overtaken_shows_both_versions_and_keeps_what_was_typed(session, day):
    wren = add(session, day)
    page = form(wren)
    pilots.edit(session, day, wren, form(wren, note="leaves at three", spotter="Ann"), "desk", NOW)
    mine = Form(page.typed | {"note": "leaves at four", "name": "Maxi"}, page.was, page.version)
    with pytest.raises(StaleFormError) as caught:
        pilots.edit(session, day, wren, mine, "desk", NOW)
    stale = caught.value
    assert stale.theirs == {"note": "leaves at three", "spotter": "Ann"}
    assert stale.merged["note"] == "leaves at four"  # mine, where I typed
    assert stale.merged["spotter"] == "Ann"  # theirs, where I did not
    assert stale.merged["name"] == "Maxi"
    pilots.edit(session, day, wren, Form(stale.merged, pilot_text(wren), stale.version), "desk", NOW)
    assert (wren.note, wren.spotter, wren.name) == ("leaves at four", "Ann", "Maxi")


def test_an_overtaken_set_up_is_not_saved_over(session, day):
    wren = add(session, day)
    main = main_of(session, wren)
    page = set_up_form(main)
    aircraft.change_set_up(session, day, wren, main, set_up_form(main, tunes="R"), "desk", NOW)
    mine = Form(page.typed | {"power_mw": "25"}, page.was, page.version)
    with pytest.raises(StaleFormError) as caught:
        aircraft.change_set_up(session, day, wren, main, mine, "desk", NOW)
    assert caught.value.merged["tunes"] == "R"
    assert caught.value.merged["power_mw"] == "25"
    assert main.power_mw == "25 200 600"


def test_leaving_and_coming_back(session, day):
    wren = add(session, day)
    given = wren.provisional_mhz
    for state, action in (
        (WITHDRAWN, "pilot withdrawn"),
        (CHECKED_IN, "pilot brought back"),
        (NO_SHOW, "pilot no-show"),
        (CHECKED_IN, "pilot brought back"),
    ):
        pilots.set_state(session, day, wren, state, "desk", NOW)
        assert wren.state == state
        assert last_entry(session, day).action == action
    assert wren.provisional_mhz == given


def test_a_second_press_of_withdraw_changes_nothing(session, day):
    wren = add(session, day)
    pilots.set_state(session, day, wren, WITHDRAWN, "desk", NOW)
    before = count_entries(session, day)
    pilots.set_state(session, day, wren, WITHDRAWN, "desk", NOW)
    assert count_entries(session, day) == before


def test_only_who_is_checked_in_is_planned(session, day):
    for name, state in (("Wren", CHECKED_IN), ("Otter", WITHDRAWN), ("Rook", NO_SHOW)):
        pilots.set_state(session, day, add(session, day, name), state, "desk", NOW)
    assert [one.callsign for one in pilots.problem_pilots(session, day)] == ["Wren"]


def test_the_planner_sees_what_transmitter_and_goggles_share_within_the_day(session, day):
    add(session, day, tunes="R1 R2 E4 F4", receives="R E", antenna="lhcp", antenna_gain_dbi="2")
    (planned,) = pilots.problem_pilots(session, day)
    assert planned.channels_mhz == (5658, 5695)  # E4 is flagged, the goggles have no F
    assert (planned.antenna, planned.rx_antenna, planned.gain_dbi) == ("lhcp", "lhcp", 2)
    assert planned.power_steps_mw == (25, 200, 600)
    assert planned.labels[5658] == "R1"
    assert planned.current_mhz in planned.channels_mhz


def test_the_published_channel_counts_before_the_provisional_one(session, day):
    wren = add(session, day)
    snapshot = {
        "heats": [
            {"slots": [{"pilot_id": wren.id, "mhz": 5880}]},
            {"slots": [{"pilot_id": wren.id, "mhz": 5917}]},
        ]
    }
    make_published_plan(session, day, json.dumps(snapshot))
    assert published_channels(session, day) == {wren.id: 5880}  # what the first flight sets
    assert pilots.problem_pilots(session, day)[0].current_mhz == 5880


def test_wishes_about_someone_who_left_do_not_reach_the_planner(session, day):
    otter = add(session, day, "Otter")
    add(session, day, apart="Otter", spotter="Otter")
    pilots.set_state(session, day, otter, WITHDRAWN, "desk", NOW)
    (planned,) = pilots.problem_pilots(session, day)
    assert planned.apart == frozenset()
    assert planned.spotter is None


def test_other_video_is_kept_and_not_planned(session, day):
    wren = add(session, day, tunes="", video="other", centre_mhz="5770,5", width_mhz="20")
    assert wren.provisional_mhz is None
    assert pilots.problem_pilots(session, day) == []
    assert main_of(session, wren).centre_mhz == 5770.5


def test_a_spare_flies_when_somebody_says_so(session, day):
    wren = add(session, day, tunes="R")
    spare = aircraft.add_spare(session, day, wren, {"tunes": "F", "power_mw": "25"}, "desk", NOW)
    assert spare.name == "spare 1"
    assert pilots.problem_pilots(session, day)[0].channels_mhz[0] == 5658
    aircraft.fly(session, day, wren, spare, "desk", NOW)
    assert last_entry(session, day).text == "Wren flies spare 1 from now on. Check its picture."
    assert pilots.problem_pilots(session, day)[0].channels_mhz[0] == 5740
    assert wren.provisional_mhz in range(5740, 5881)


def test_a_spare_that_cannot_use_the_pin_is_not_flown(session, day):
    wren = add(session, day, tunes="R", pin="R1")
    spare = aircraft.add_spare(session, day, wren, {"tunes": "F"}, "desk", NOW)
    assert (
        "clear the pin first"
        in faults_of(lambda: aircraft.fly(session, day, wren, spare, "desk", NOW))["tunes"]
    )


def test_an_aircraft_of_another_pilot_is_not_found(session, day):
    wren, otter = add(session, day), add(session, day, "Otter")
    with pytest.raises(NotFoundError):
        aircraft.aircraft_of(session, wren, otter.flying_aircraft_id)


def test_a_pilot_s_aircraft_are_few(session, day):
    wren = add(session, day)
    for _ in range(9):
        aircraft.add_spare(session, day, wren, {"tunes": "F"}, "desk", NOW)
    with pytest.raises(RefusedError, match="10 aircraft"):
        aircraft.add_spare(session, day, wren, {"tunes": "F"}, "desk", NOW)


def test_a_channel_can_be_chosen_anew(session, day):
    wren = add(session, day)
    wren.provisional_mhz = None
    pilots.give_channel(session, day, wren, "desk", NOW)
    assert wren.provisional_mhz
    assert last_entry(session, day).text == f"Wren: provisional channel {wren.provisional_mhz} MHz."
