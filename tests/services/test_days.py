"""Field days: how they are made, found and put away, and what is read of them."""

import json
from datetime import timedelta

import pytest

from server.radio.rules import RULE_SETS, facts_of
from server.services import days, flight_line, open_flying
from server.services.days import DaySettings, allowed_mhz, can_publish, create_day, settings_of
from server.services.errors import InputError, NotFoundError
from server.storage import logbook
from tests.factories import FIRST_CLUB, NOW, make_day
from tests.services.called_days import released
from tests.services.changed_days import published_day

TYPED = {"name": "Tern Meadow club day", "date": "2026-05-16", "time_zone": "Europe/Dublin"}
USUAL_BANDS = 39  # carriers of A B E F R, F8 and R7 being one, of which E4 touches the radars


def rules_of(key):
    return json.dumps({"key": key, **facts_of(RULE_SETS[key])})


def faults_of(session, **typed):
    with pytest.raises(InputError) as refused:
        create_day(session, FIRST_CLUB, {**TYPED, **typed}, NOW)
    return refused.value.faults


def test_a_new_day_has_a_code_of_four_letters_and_the_usual_settings(session):
    day = create_day(session, FIRST_CLUB, TYPED, NOW)
    assert len(day.code) == 4
    assert day.code.islower()
    assert (day.aircraft, day.rounds, day.heat_minutes) == (6, 1, 5)
    assert settings_of(day) == DaySettings()
    assert days.rule_set_of(day) is None


def test_a_new_day_stands_in_its_logbook(session):
    day = create_day(session, FIRST_CLUB, TYPED, NOW)
    entry = logbook.newest_first(session, day.id, 1)[0]
    assert entry.text == "Made the field day Tern Meadow club day of 2026-05-16."
    assert (entry.who, entry.action) == ("director", "day made")


def test_codes_do_not_come_twice(session):
    codes = {create_day(session, FIRST_CLUB, TYPED, NOW).code for _ in range(40)}
    assert len(codes) == 40


def test_a_wished_code_is_taken_once(session):
    assert create_day(session, FIRST_CLUB, {**TYPED, "code": "tern"}, NOW).code == "tern"
    assert "Another field day has the code tern" in faults_of(session, code="tern")["code"]


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("name", " \t ", "Name the field day"),
        ("name", "n" * 81, "80 characters; it has 81"),
        ("name", "Tern\u202eMeadow", "cannot be seen"),
        ("date", "", "The date is missing: write it as year-month-day, such as 2026-05-16."),
        ("date", "16/05/2026", "“16/05/2026” is not a date"),
        ("date", "20260516", "is not a date"),  # ISO too, but no date field sends it
        ("date", "2026-02-30", "The calendar has no 2026-02-30"),
        ("date", "0001-01-01", "1 is not a year for a field day"),
        ("time_zone", "", "The time zone is missing: write one such as"),
        ("time_zone", "Europe/Dubin", "write one such as Europe/Dublin."),
        ("time_zone", "../../etc/passwd", "is not a known time zone"),
        ("code", "TERN", "four small letters"),
        ("code", "ab1", "four small letters"),
    ],
)
def test_a_field_that_cannot_be_used_says_what_would_be_right(session, field, text, words):
    faults = faults_of(session, **{field: text})
    assert list(faults) == [field]
    assert words in faults[field]


def test_all_faults_of_a_form_come_at_once(session):
    assert set(faults_of(session, name="", date="soon", time_zone="Mars/Olympus")) == {
        "name",
        "date",
        "time_zone",
    }


def test_an_unknown_code_is_not_found(session):
    with pytest.raises(NotFoundError, match="no field day with the code zzzz"):
        days.day_with(session, "zzzz")


def test_the_current_day_is_the_newest_that_is_not_archived(session):
    first, second = create_day(session, FIRST_CLUB, TYPED, NOW), create_day(session, FIRST_CLUB, TYPED, NOW)
    assert days.current_day(session, FIRST_CLUB, NOW) == second
    days.archive(session, second.code, NOW)
    assert days.current_day(session, FIRST_CLUB, NOW) == first
    days.bring_back(session, second.code, NOW)
    assert days.current_day(session, FIRST_CLUB, NOW) == second


def somebody_flies(session, day):
    released(session, day)


def flies_openly(session, day):
    open_flying.open_up(session, day, False, "director", NOW)


def is_called_down(session, day):
    flight_line.everybody_land(session, day, "Storm.", "director", NOW)


@pytest.mark.parametrize("in_use", [somebody_flies, flies_openly, is_called_down])
def test_a_day_on_which_somebody_may_be_on_stays_the_current_one_beside_one_made_later(session, in_use):
    flown = published_day(session)
    create_day(session, FIRST_CLUB, TYPED, NOW)
    assert days.current_day(session, FIRST_CLUB, NOW) != flown
    in_use(session, flown)
    session.flush()
    assert days.current_day(session, FIRST_CLUB, NOW) == flown
    assert days.current_day(session, FIRST_CLUB, NOW + timedelta(days=7)) != flown


def test_an_archived_day_is_listed_and_publishes_nothing(session):
    day = create_day(session, FIRST_CLUB, TYPED, NOW)
    day.responsibility = "The club's radio officer decides."
    days.archive(session, day.code, NOW)
    assert day in days.all_days(session, FIRST_CLUB)
    assert "bring it back first" in can_publish(day)


def test_archiving_twice_is_one_line_of_the_logbook(session):
    day = create_day(session, FIRST_CLUB, TYPED, NOW)
    days.archive(session, day.code, NOW)
    days.archive(session, day.code, NOW)
    actions = [entry.action for entry in logbook.newest_first(session, day.id, 9)]
    assert actions == ["day archived", "day made"]


def test_without_rules_the_usual_bands_are_allowed_less_what_touches_the_radars(session):
    allowed = allowed_mhz(make_day(session))
    assert len(allowed) == USUAL_BANDS - 1
    assert 5645 not in allowed  # E4 reaches into 5600-5650
    assert 5362 not in allowed  # L1, a band that is not in use


def test_both_edges_of_a_carrier_must_lie_inside_the_rules(session):
    allowed = allowed_mhz(make_day(session, rule_set_json=rules_of("eu-short-range")))
    assert 5865 in allowed  # A1 reaches to 5870
    assert 5725 not in allowed  # A8 reaches down to 5720


def test_rules_that_test_the_necessary_width_leave_less(session):
    facts = {**facts_of(RULE_SETS["eu-short-range"]), "tested_width": "necessary"}
    day = make_day(session, rule_set_json=json.dumps({"key": "own", **facts}))
    assert days.tested_width_mhz(day) == 18
    assert 5732 not in allowed_mhz(day)  # R3 reaches down to 5723


def test_bans_hold_by_frequency_whatever_the_label(session):
    day = make_day(session, settings_json=DaySettings(bans=(5880,)).model_dump_json())
    assert 5880 not in allowed_mhz(day)  # F8 and R7


def test_flagged_ranges_stay_out_whatever_the_rules_hold(session):
    facts = {**facts_of(RULE_SETS["us-amateur"]), "ranges": [[5300, 5950]]}
    settings = DaySettings(allowed_bands=("A", "B", "E", "F", "R", "L"))
    day = make_day(
        session,
        rule_set_json=json.dumps({"key": "own", **facts}),
        settings_json=settings.model_dump_json(),
    )
    allowed = allowed_mhz(day)
    assert not {5645, 5621, 5362, 5399, 5436} & set(allowed)
    assert 5473 in allowed  # L4 lies clear of both ranges


def test_a_carrier_without_a_label_is_judged_by_the_rules_alone(session):
    day = make_day(session, rule_set_json=rules_of("eu-short-range"))
    assert allowed_mhz(day, [5790, 5700, 5790]) == (5790,)


def test_nothing_can_be_published_before_rules_or_responsibility(session):
    day = make_day(session)
    assert "No rules are chosen" in can_publish(day)
    day.rule_set_json = rules_of("eu-short-range")
    assert can_publish(day) is None


def test_responsibility_in_words_is_enough(session):
    assert can_publish(make_day(session, responsibility="I hold the permit of 3 May.")) is None


def test_more_aircraft_than_the_rules_allow_cannot_be_published(session):
    day = make_day(session, rule_set_json=rules_of("japan-amateur-video"), aircraft=4)
    assert "3 transmitters at once, and 4 aircraft" in can_publish(day)
    day.aircraft = 3
    assert can_publish(day) is None


def test_the_copy_of_the_rules_comes_back_as_it_was_stored(session):
    day = make_day(session, rule_set_json=rules_of("japan-amateur-video"))
    assert days.rule_set_of(day) == RULE_SETS["japan-amateur-video"]
