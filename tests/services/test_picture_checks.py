import json

import pytest

from server.radio.receiver import off_tune_loss_db
from server.services import aircraft, picture_checks
from server.services.channel_confirmation import channel_now, is_confirmed
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.lineup import flying_of
from server.services.picture_checks import check_of_now, readings_of, seen_of
from server.storage import logbook, pilots
from tests.factories import NOW, make_aircraft, make_pilot
from tests.services.planned_days import day_with_pilots


@pytest.fixture
def day(session):
    return day_with_pilots(session, "Otter")


@pytest.fixture
def wren(session, day):
    return make_pilot(session, day, "Wren", provisional_mhz=5732)


def flying(session, pilot):
    return flying_of(pilot, pilots.aircraft_of(session, pilot.id))


def seen(session, day, pilot):
    check = check_of_now(session, day, pilot)
    return seen_of(check, flying(session, pilot), channel_now(session, day, pilot))


def answer(session, day, pilot, said):
    return picture_checks.answer(session, day, pilot, said, seen(session, day, pilot), "desk", NOW)


def read(session, day, pilot, tuned, level, unit="dB"):
    typed = {"tuned": str(tuned), "level": str(level), "unit": unit}
    return picture_checks.read(session, day, pilot, typed, seen(session, day, pilot), "desk", NOW)


def follow(session, day, pilot, truth_mhz):
    """Read where it is asked for, without error, until it is settled."""
    check = answer(session, day, pilot, "no")
    while check.verdict == "in doubt":
        tuning = readings_of(check, flying(session, pilot)).next_mhz
        check = read(session, day, pilot, tuning, round(-50 - float(off_tune_loss_db(tuning - truth_mhz))))
    return check


def newest(session, day):
    return logbook.newest_first(session, day.id, 1)[0]


def test_a_yes_confirms_the_channel_and_says_who_and_when(session, day, wren):
    check = answer(session, day, wren, "yes")
    assert (check.verdict, check.who, check.at, check.mhz) == ("right", "desk", NOW, 5732)
    assert is_confirmed(session, wren)
    assert newest(session, day).text == ("Wren: picture check, on R3 5732: the desk's receiver shows it.")


def test_a_no_leaves_it_in_doubt(session, day, wren):
    assert answer(session, day, wren, "no").verdict == "in doubt"
    assert not is_confirmed(session, wren)
    assert "R3 5732 is in doubt" in newest(session, day).text


def test_readings_that_are_asked_for_find_the_right_channel(session, day, wren):
    check = follow(session, day, wren, 5732)
    assert (check.verdict, json.loads(check.found_json)) == ("right", [])
    assert check.chance > 0.99
    assert len(json.loads(check.readings_json)) <= 4
    assert is_confirmed(session, wren)


def test_readings_that_are_asked_for_find_the_wrong_channel_and_say_which(session, day, wren):
    check = follow(session, day, wren, 5740)
    assert (check.verdict, json.loads(check.found_json)) == ("wrong", [5740])
    assert not is_confirmed(session, wren)
    assert newest(session, day).text.endswith("It is on F1 5740, not on R3 5732.")
    assert json.loads(newest(session, day).data_json)["found_mhz"] == [5740]


def test_a_channel_that_the_gear_should_not_have_is_found_all_the_same(session, day):
    fixed = make_pilot(session, day, "Teasel", tunes="R3", provisional_mhz=5732)
    assert json.loads(follow(session, day, fixed, 5745).found_json)[0] == 5745


def test_an_old_page_answers_nothing(session, day, wren):
    old = seen(session, day, wren)
    answer(session, day, wren, "no")
    with pytest.raises(OvertakenError, match="changed since this page was loaded"):
        picture_checks.answer(session, day, wren, "yes", old, "desk", NOW)
    old = seen(session, day, wren)
    wren.provisional_mhz = 5806
    with pytest.raises(OvertakenError):
        picture_checks.answer(session, day, wren, "yes", old, "desk", NOW)
    aircraft.fly(session, day, wren, make_aircraft(session, wren, name="spare"), "desk", NOW)
    with pytest.raises(OvertakenError, match="aircraft or its set-up changed"):
        picture_checks.answer(session, day, wren, "yes", old, "desk", NOW)


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"tuned": "R", "level": "-50"}, "tuned", "one channel"),
        ({"tuned": "", "level": "-50"}, "tuned", "No channel is listed"),
        ({"tuned": "scan", "level": "-50"}, "tuned", "no band, channel, range or MHz"),
        ({"tuned": "R3", "level": ""}, "level", "the number that the receiver shows"),
        ({"tuned": "R3", "level": "strong"}, "level", "the number that the receiver shows"),
        ({"tuned": "R3", "level": "2.5", "unit": "bars"}, "level", "Count the bars"),
        ({"tuned": "R3", "level": "-50", "unit": "search"}, "unit", "Choose dB or bars"),
    ],
)
def test_a_reading_that_is_none_is_refused_in_words(session, day, wren, typed, field, words):
    with pytest.raises(InputError) as refusal:
        picture_checks.read(session, day, wren, typed, seen(session, day, wren), "desk", NOW)
    assert words in refusal.value.faults[field]
    assert check_of_now(session, day, wren) is None


@pytest.mark.parametrize("level", ["-48", "\N{MINUS SIGN}48", "-48.0", "-48,0"])
def test_a_level_is_read_as_people_write_it(session, day, wren, level):
    check = read(session, day, wren, "r3", level)
    assert json.loads(check.readings_json) == [{"tuned_mhz": 5732, "level": -48.0, "unit": "dB"}]


def test_one_tuning_is_read_once_and_the_meter_stays_the_same(session, day, wren):
    read(session, day, wren, 5732, 5, "bars")
    with pytest.raises(InputError, match="R3 5732 was read already"):
        read(session, day, wren, "R3", 4)
    check = read(session, day, wren, "F1", 4, "dB")
    assert [one["unit"] for one in json.loads(check.readings_json)] == ["bars", "bars"]


def test_bars_leave_the_verdict_to_people(session, day, wren):
    for tuned, bars in ((5732, 5), (5752, 2), (5705, 1)):
        check = read(session, day, wren, tuned, bars, "bars")
    assert (check.verdict, check.chance) == ("in doubt", None)
    readings = readings_of(check, flying(session, wren))
    assert readings.is_consistent is True
    assert 5732 in readings.consistent_mhz
    check = picture_checks.decide(session, day, wren, "right", seen(session, day, wren), "desk", NOW)
    assert check.verdict == "right"
    assert is_confirmed(session, wren)


def test_bars_that_contradict_the_channel_cannot_be_taken_for_right(session, day, wren):
    for tuned, bars in ((5732, 2), (5752, 5)):
        read(session, day, wren, tuned, bars, "bars")
    with pytest.raises(RefusedError, match="Nothing that was read speaks for R3 5732"):
        picture_checks.decide(session, day, wren, "right", seen(session, day, wren), "desk", NOW)
    check = picture_checks.decide(session, day, wren, "wrong", seen(session, day, wren), "desk", NOW)
    assert check.verdict == "wrong"
    assert 5732 not in json.loads(check.found_json)
    assert 5752 in json.loads(check.found_json)


def test_without_a_reading_nothing_can_be_decided_by_word(session, day, wren):
    answer(session, day, wren, "no")
    with pytest.raises(RefusedError, match="Nothing that was read"):
        picture_checks.decide(session, day, wren, "right", seen(session, day, wren), "desk", NOW)


def undo(session, day, pilot):
    picture_checks.take_back(session, day, pilot, seen(session, day, pilot), "desk", NOW)
    return check_of_now(session, day, pilot)


def test_an_answer_is_undone(session, day, wren):
    answer(session, day, wren, "yes")
    assert undo(session, day, wren) is None
    assert not is_confirmed(session, wren)
    assert newest(session, day).action == "picture check undone"


def test_the_last_reading_is_undone_and_what_it_settled_with_it(session, day, wren):
    count = len(json.loads(follow(session, day, wren, 5740).readings_json))
    check = undo(session, day, wren)
    assert (check.verdict, check.chance, json.loads(check.found_json)) == ("in doubt", None, [])
    assert len(json.loads(check.readings_json)) == count - 1


def test_a_verdict_by_word_is_undone_before_the_readings_are(session, day, wren):
    for tuned, bars in ((5732, 2), (5752, 5)):
        read(session, day, wren, tuned, bars, "bars")
    picture_checks.decide(session, day, wren, "wrong", seen(session, day, wren), "desk", NOW)
    check = undo(session, day, wren)
    assert (check.verdict, len(json.loads(check.readings_json))) == ("in doubt", 2)
    assert len(json.loads(undo(session, day, wren).readings_json)) == 1


def test_set_anew_everything_starts_again(session, day, wren):
    follow(session, day, wren, 5740)
    picture_checks.start_again(session, day, wren, seen(session, day, wren), "desk", NOW)
    assert check_of_now(session, day, wren) is None
    assert newest(session, day).text == "Wren: set anew to R3 5732, to be checked again."


def test_more_than_a_dozen_readings_are_refused(session, day, wren):
    tunings = (5645, 5658, 5665, 5685, 5695, 5705, 5725, 5733, 5740, 5745, 5752, 5760)
    for tuned in tunings:
        read(session, day, wren, tuned, 3, "bars")
    with pytest.raises(RefusedError, match="12 readings are enough"):
        read(session, day, wren, 5765, 3, "bars")


def test_without_a_channel_or_a_picture_there_is_nothing_to_check(session, day, wren):
    old = seen(session, day, wren)
    wren.provisional_mhz = None
    with pytest.raises(RefusedError, match="no channel yet"):
        picture_checks.answer(session, day, wren, "yes", old, "desk", NOW)
    flying(session, wren).video = "other"
    session.flush()
    seen_now = seen_of(None, flying(session, wren), 5732)
    with pytest.raises(RefusedError, match="Other than analogue video"):
        picture_checks.answer(session, day, wren, "yes", seen_now, "desk", NOW)


def test_only_yes_and_no_are_answers(session, day, wren):
    with pytest.raises(InputError):
        answer(session, day, wren, "search says yes")
