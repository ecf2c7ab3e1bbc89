import json

import pytest

from server.services import days, slots
from server.services.day_now import DayNow
from server.services.errors import NotFoundError
from server.storage import published_plans
from server.storage.tables import NO_SHOW, WITHDRAWN
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish


@pytest.fixture
def day(session):
    return make_day(session)


@pytest.fixture
def wren(session, day):
    return make_pilot(session, day, "Wren", provisional_mhz=5695)


def slot_of(session, pilot):
    session.flush()
    return slots.slot_by_token(session, pilot.link_token)


def test_it_shows_all_heats_of_the_pilot_the_next_first(session, day, wren):
    otter = make_pilot(session, day, "Otter")
    heats = [[(otter, "R1")], [(wren, "F4"), (otter, "R1")], [(otter, "R1")], [(wren, "F4")]]
    publish(session, day, heats, heats_a_round=2)
    slot = slot_of(session, wren)
    assert slot.standing == "planned"
    assert [(heat.number, heat.round) for heat in slot.heats] == [(2, 1), (4, 2)]
    assert (slot.tuned.channel, slot.tuned.mhz, slot.heats[0].power_mw) == ("F4", 5800, 25)
    assert slot.provisional is None


def test_before_any_call_the_next_heat_is_ready_and_everybody_else_stays_off(session, day, wren):
    otter = make_pilot(session, day, "Otter")
    publish(session, day, [[(otter, "F4")], [(wren, "F4")]])
    first, second = slot_of(session, otter), slot_of(session, wren)
    assert (first.word, first.word_in_doubt, first.known_on) == ("READY", "STAY OFF", False)
    assert first.reason == "Your heat is next. Set the channel, do not power until you are called."
    assert (second.word, second.word_in_doubt, second.known_on) == ("STAY OFF", "STAY OFF", False)
    assert second.reason == "Not called yet. The director's voice outranks this screen."


def test_it_warns_of_channels_that_look_right_on_the_bench(session, day, wren):
    publish(session, day, [[(wren, "R4")]])  # 5769: B3 is 5771, F2 5760, A6 5765
    near = {(one.channel, one.mhz, one.offset_mhz) for one in slot_of(session, wren).tuned.lookalikes}
    assert {("B3", 5771, 2), ("F2", 5760, -9), ("A6", 5765, -4)} <= near
    assert all(0 < abs(offset) <= 15 for _, _, offset in near)


def test_another_name_of_the_same_carrier_is_right_too(session, day, wren):
    publish(session, day, [[(wren, "R7")]])
    tuned = slot_of(session, wren).tuned
    assert tuned.other_labels == ("F8",)
    assert 5880 not in {one.mhz for one in tuned.lookalikes}


def test_a_pilot_whom_the_plan_moved_is_told_from_where(session, day, wren):
    move = {"callsign": "Wren", "from_channel": "R2", "from_mhz": 5695, "to_channel": "F4", "to_mhz": 5800}
    publish(session, day, [[(wren, "F4")]], moves=[move])
    moved_from = slot_of(session, wren).moved_from
    assert (moved_from.channel, moved_from.mhz) == ("R2", 5695)


@pytest.mark.parametrize(("at", "told"), [("F4", 5695), ("R2", None)])
def test_a_newcomer_whom_the_first_plan_moves_off_the_provisional_channel_is_told(
    session, day, wren, at, told
):
    publish(session, day, [[(wren, at)]], newcomers=[wren.id])
    moved_from = slot_of(session, wren).moved_from
    assert (moved_from.mhz if moved_from else None) == told


def test_a_provisional_channel_of_long_ago_is_not_told_again(session, day, wren):
    publish(session, day, [[(wren, "F4")]], newcomers=[])
    assert slot_of(session, wren).moved_from is None


def test_before_a_plan_it_shows_the_provisional_channel(session, wren):
    slot = slot_of(session, wren)
    assert slot.standing == "no plan yet"
    assert (slot.tuned.channel, slot.tuned.mhz) == ("R2", 5695)
    assert ("A8", 5725) not in [(one.channel, one.mhz) for one in slot.tuned.lookalikes]
    assert ("E2", 5685, -10) in [(one.channel, one.mhz, one.offset_mhz) for one in slot.tuned.lookalikes]


def test_a_late_pilot_keeps_the_provisional_channel(session, day, wren):
    publish(session, day, [[(make_pilot(session, day, "Otter"), "R1")]])
    slot = slot_of(session, wren)
    assert (slot.standing, slot.tuned.mhz, slot.heats) == ("not in the plan", 5695, ())


@pytest.mark.parametrize(
    ("tunes", "label"),
    [
        ("F R", "F8"),
        ("R F", "R7"),  # the pilot's own first name for 5880 MHz
        ("5880", "F8"),  # no name given: the catalogue's first
        ("?", "F8"),
        ("all bands", "F8"),
        ("nonsense", "F8"),
    ],
)
def test_the_provisional_channel_has_the_name_that_its_pilot_uses(session, day, tunes, label):
    pilot = make_pilot(session, day, "Otter", tunes=tunes, provisional_mhz=5880)
    assert slot_of(session, pilot).tuned.channel == label


def test_without_a_channel_there_is_none_to_show(session, day):
    assert slot_of(session, make_pilot(session, day, "Otter")).tuned is None


@pytest.mark.parametrize(("state", "standing"), [(WITHDRAWN, "withdrawn"), (NO_SHOW, "no-show")])
def test_who_has_left_gets_no_channel_to_set(session, day, wren, state, standing):
    publish(session, day, [[(wren, "F4")]])
    wren.state = state
    slot = slot_of(session, wren)
    assert (slot.standing, slot.tuned, slot.heats, slot.word) == (standing, None, (), "STAY OFF")
    assert "desk" in slot.reason


def test_a_link_of_a_day_that_is_over_shows_no_channel(session, day, wren):
    publish(session, day, [[(wren, "F4")]])
    days.archive(session, day.code, NOW)
    slot = slot_of(session, wren)
    assert (slot.standing, slot.tuned) == ("day over", None)


def test_a_renamed_pilot_learns_what_the_published_plan_calls_out(session, day, wren):
    publish(session, day, [[(wren, "F4")]])
    wren.callsign, wren.callsign_key = "Wren 2", "wren 2"
    slot = slot_of(session, wren)
    assert (slot.callsign, slot.called) == ("Wren 2", "Wren")


def test_a_replaced_link_shows_nothing(session, wren):
    old = wren.link_token
    wren.link_token = "a-new-one"
    session.flush()
    with pytest.raises(NotFoundError):
        slots.slot_by_token(session, old)
    assert slots.slot_by_token(session, "a-new-one").callsign == "Wren"


def test_the_pages_of_a_day_are_those_behind_its_links(session, day, wren):
    otter = make_pilot(session, day, "Otter", state=WITHDRAWN)
    make_pilot(session, make_day(session), "Stranger")
    publish(session, day, [[(wren, "F4")]])
    session.flush()
    assert slots.slots_of_day(session, DayNow(session, day)) == [
        slot_of(session, wren),
        slot_of(session, otter),
    ]


def test_it_says_how_good_the_picture_will_be_and_why(session, day, wren):
    plan = publish(session, day, [[(wren, "F4")], [(wren, "F4")]])
    snapshot = json.loads(plan.snapshot_json)
    ((first,), (second,)) = (heat["slots"] for heat in snapshot["heats"])
    first |= {
        "picture_grade": 3.8,
        "grade_word": "specks",
        "margin_db": -6.04,
        "cause_words": "Otter is near",
    }
    second |= {"picture_grade": 5.0, "grade_word": "clean", "margin_db": None, "cause_words": "Flies alone"}
    published_plans.publish(session, day.id, json.dumps(snapshot), "1", NOW, "director")
    one, other = slot_of(session, wren).heats
    assert (one.picture, one.why) == ("3.8 specks, \N{MINUS SIGN}6.0 dB", "Otter is near")
    assert (other.picture, other.why) == ("5.0 clean", "Flies alone")
