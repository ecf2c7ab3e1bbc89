"""Lists from sign-up forms: what columns mean, which rows are good, and why the others are not."""

import pytest

from server.services import imports, pilots
from server.services.faults import FaultyInputError
from server.services.import_columns import guess
from server.services.imports import Wish, look_at
from server.storage import logbook
from server.storage import pilots as stored
from tests.factories import NOW, make_day

OWN_FORMAT = """callsign,tunes,power_mw,antenna,pin,apart,after
Wren,A B E F R,25 200 600,rhcp,,Otter,
Otter,R1-R8,25,lhcp,R1,,2
"""

CHANNELS = "Which channels can your transmitter tune?"
SIGN_UP = f"""Timestamp;Pilot name;E-mail;{CHANNELS};Power (mW);Antenna polarisation;Anything else?
1.5.2026;Wren;w@example.org;All bands;25/200;Right;-
1.5.2026;Otter;o@example.org;R only;25 mW;left hand;leaves at three
1.5.2026;Rook;r@example.org;purple;25;RHCP;
"""


@pytest.fixture
def day(session):
    return make_day(session)


def look(session, day, text, **wish):
    return look_at(session, day, Wish(text, **wish))


def reasons(seen):
    return {line: [str(fault) for fault in faults] for line, _, faults in seen.bad}


def callsigns(seen):
    return [row.reading.pilot.callsign for row in seen.good]


@pytest.mark.parametrize(
    ("columns", "fields"),
    [
        (["callsign", "tunes", "power_mw"], ["callsign", "tunes", "power_mw"]),
        (["Pilot", "Bands", "Power"], ["callsign", "tunes", "power_mw"]),
        (["Name", "Callsign"], ["name", "callsign"]),  # an own name wins over a likely one
        (["Pilot name", "Full name"], ["callsign", "name"]),
        ([CHANNELS], ["tunes"]),
        (["Goggles", "VTX", "Antenna gain"], ["receives", "tunes", "antenna_gain_dbi"]),
        (["Timestamp", "E-mail", ""], ["", "", ""]),
        (["Pilot", "Pilot"], ["callsign", ""]),  # each field once
    ],
)
def test_a_first_guess_of_what_columns_mean(columns, fields):
    assert list(guess(columns)) == fields


def test_our_own_format_comes_in_whole(session, day):
    seen = look(session, day, OWN_FORMAT)
    assert callsigns(seen) == ["Wren", "Otter"]
    imports.bring_in(session, day, seen, "director", NOW)
    wren, otter = stored.of_day(session, day.id)
    assert (wren.apart, otter.pin, otter.after_heat) == ("Otter", "R1", 2)
    assert pilots.problem_pilots(session, day)[0].apart == {"Otter"}


def test_a_sign_up_form_is_read_in_its_own_words(session, day):
    seen = look(session, day, SIGN_UP)
    assert seen.meaning == ("", "callsign", "", "tunes", "power_mw", "antenna", "note")
    assert callsigns(seen) == ["Wren", "Otter"]
    wren, otter = (row.reading for row in seen.good)
    assert (wren.text["tunes"], wren.text["power_mw"]) == ("A B E F R", "25 200")
    assert (otter.pilot.setup.antenna, otter.text["note"]) == ("lhcp", "leaves at three")


def test_a_bad_row_is_told_with_file_line_column_text_and_cure(session, day):
    (reason,) = reasons(look(session, day, SIGN_UP, file="signup.csv"))[4]
    assert reason.startswith(f"signup.csv:4: {CHANNELS}: “purple” is no band")
    assert reason.endswith("write bands, channels, ranges or MHz, such as A B E F R, R1-R8 or 5800")


def test_looking_changes_nothing(session, day):
    look(session, day, SIGN_UP)
    assert stored.of_day(session, day.id) == []


def test_only_good_rows_come_in_and_the_logbook_counts_them(session, day):
    added = imports.bring_in(session, day, look(session, day, SIGN_UP, file="signup.csv"), "director", NOW)
    assert [pilot.callsign for pilot in added] == ["Wren", "Otter"]
    assert all(pilot.provisional_mhz is None for pilot in added)  # given when they stand at the desk
    newest = logbook.newest_first(session, day.id, 1)[0]
    assert newest.text == "Brought in 2 pilots from signup.csv, left 1 out."


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_each_separator(session, day, separator):
    seen = look(session, day, f"Pilot{separator}Bands\nWren{separator}R\n")
    assert callsigns(seen) == ["Wren"]


def test_a_list_without_a_header_is_known_by_what_it_says(session, day):
    seen = look(session, day, "Wren\tABEFR\t25\nOtter\tR\t25 200\n")
    assert not seen.has_header
    assert seen.meaning == ("callsign", "tunes", "power_mw")
    assert callsigns(seen) == ["Wren", "Otter"]
    assert [row.line for row in seen.good] == [1, 2]


def test_the_screen_overrules_the_guess(session, day):
    seen = look(session, day, "A;B\nWren;R\n", meaning=("callsign", "tunes"), has_header=True)
    assert callsigns(seen) == ["Wren"]
    seen = look(session, day, "Pilot;B\nWren;R\n", meaning=("callsign",))  # of a list with fewer columns
    assert seen.meaning == ("callsign", "")


def test_a_row_that_is_in_the_roster_already_is_left_out(session, day):
    pilots.add(session, day, {"callsign": "WREN", "tunes": "R"}, "desk", NOW)
    seen = look(session, day, OWN_FORMAT.replace(",Otter,", ",,"))
    assert callsigns(seen) == ["Otter"]
    assert "WREN is checked in already" in reasons(seen)[2][0]


def test_of_two_rows_with_one_callsign_the_first_comes_in(session, day):
    seen = look(session, day, "callsign,tunes\nWren,R\nwren,A\n")
    assert [row.line for row in seen.good] == [2]
    assert "“wren” stands on line 2 already" in reasons(seen)[3][0]


def test_a_wish_about_a_row_that_is_left_out_is_a_fault_too(session, day):
    seen = look(session, day, "callsign,tunes,apart\nWren,R,Otter\nOtter,purple,\nRook,R,Wren\n")
    assert callsigns(seen) == []
    assert "nobody in the roster has this callsign" in reasons(seen)[2][0]
    assert set(reasons(seen)) == {2, 3, 4}  # Rook's wish falls with Wren


def test_missing_channels_count_as_not_known_where_the_screen_says_so(session, day):
    text = "callsign,tunes\nWren,\nOtter,R\n"
    assert callsigns(look(session, day, text)) == ["Otter"]
    seen = look(session, day, text, takes_unknown=True)
    assert callsigns(seen) == ["Wren", "Otter"]
    assert seen.good[0].reading.text["tunes"] == "?"


def test_a_list_of_names_alone_takes_all_gear_as_not_known(session, day):
    seen = look(session, day, "Pilot\nWren\nOtter\n")
    assert seen.takes_unknown
    assert [row.reading.text["tunes"] for row in seen.good] == ["?", "?"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("E-mail,Bands\nw@x,R\n", "no column holds the callsigns: choose Callsign above the column"),
        ("callsign,tunes\n", "there are no pilots in the list"),
    ],
)
def test_a_list_that_cannot_be_read_says_what_to_choose(session, day, text, says):
    seen = look(session, day, text, has_header=True)
    assert says in str(seen.faults[0])
    assert seen.good == ()


def test_two_columns_for_one_field_are_refused(session, day):
    seen = look(session, day, "a,b\nWren,R\n", meaning=("callsign", "callsign"), has_header=True)
    assert "2 columns are to be Callsign" in str(seen.faults[0])


@pytest.mark.parametrize("text", ["", "   \n", 'callsign,tunes\n"Wren,R\n', "a\0b\n"])
def test_a_text_that_is_no_table_is_refused_with_its_place(session, day, text):
    with pytest.raises(FaultyInputError) as caught:
        look(session, day, text, file="list.csv")
    assert str(caught.value).startswith("list.csv:")


def test_ten_thousand_rows_are_refused_with_the_line_and_the_cure(session, day):
    text = "callsign,tunes\n" + "".join(f"Pilot{number},R\n" for number in range(10_000))
    seen = look(session, day, text, file="all.csv")
    (fault,) = seen.faults
    assert str(fault).startswith("all.csv:502: whole file: “Pilot500, R”: the list has 10000 rows")
    assert "a field day holds 500 pilots" in fault.cure


def test_a_full_roster_of_five_hundred_comes_in(session, day):
    text = "callsign,tunes\n" + "".join(f"Pilot{number},A B E F R\n" for number in range(500))
    imports.bring_in(session, day, look(session, day, text), "director", NOW)
    assert len(stored.of_day(session, day.id)) == 500
    assert "room for 0 more" in str(look(session, day, "callsign,tunes\nWren,R\n").faults[0])


@pytest.mark.parametrize("callsign", ["=1+1", "+cmd", "-2", "@SUM(A1)"])
def test_a_callsign_that_a_spreadsheet_would_run_is_a_bad_row(session, day, callsign):
    seen = look(session, day, f'callsign,tunes,name\n"{callsign}",R,\nWren,R,=1+1\n')
    assert "starts like a spreadsheet formula" in reasons(seen)[2][0]
    assert seen.good[0].reading.text["name"] == "=1+1"  # text stays as it was written


def test_what_was_seen_changes_with_the_roster_the_list_and_the_columns(session, day):
    first = look(session, day, OWN_FORMAT)
    assert look(session, day, OWN_FORMAT).seen == first.seen
    assert look(session, day, OWN_FORMAT + "Rook,R,,,,,\n").seen != first.seen
    assert look(session, day, OWN_FORMAT, meaning=("callsign", "tunes", *[""] * 5)).seen != first.seen
    pilots.add(session, day, {"callsign": "Otter", "tunes": "R"}, "desk", NOW)
    assert look(session, day, OWN_FORMAT).seen != first.seen


def test_an_adult_is_present_where_a_row_says_yes(session, day):
    seen = look(session, day, "callsign,tunes,adult\nWren,R,Yes\nOtter,R,no\n")
    assert [row.reading.text["adult_present"] for row in seen.good] == ["yes", ""]
