"""Bringing in a list on the screen: choose, look, correct, add."""

import html
import re

import pytest

from server.services import days, pilots
from server.storage import pilots as stored
from tests.factories import NOW, make_day

LIST = "Pilot,Bands,Power\nWren,ABEFR,25/200\nOtter,R,25\nRook,purple,25\n"
ADDRESS = "/days/tern/import"


@pytest.fixture
def desk(director, database):
    with database.write() as session:
        make_day(session, code="tern")
    return director


def look(desk, text=LIST, **form):
    return desk.post(ADDRESS, data={"text": text} | form)


def sent_back(page):
    """The form of a look as a browser sends it again."""
    form = {
        name: html.unescape(value)
        for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page)
    }
    for name, options in re.findall(r'<select id="(column-\d+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="(\w*)" selected', options)
        form[name] = chosen[1] if chosen else ""
    form |= dict.fromkeys(re.findall(r'type="checkbox" name="(\w+)" value="yes" checked', page), "yes")
    form["text"] = html.unescape(re.search(r"<textarea[^>]*>\n(.*?)</textarea>", page, re.S)[1])
    return form


def add(desk, page, **changed):
    return desk.post(ADDRESS, data=sent_back(page) | {"act": "add"} | changed)


def roster(database):
    with database.read() as session:
        return [pilot.callsign for pilot in stored.of_day(session, 1)]


def test_a_list_is_the_director_s_business(client):
    assert client.get(ADDRESS).status_code == 303
    assert client.post(ADDRESS, data={"text": LIST}).status_code == 403


def test_looking_shows_what_would_come_and_adds_nobody(desk, database):
    page = look(desk).text
    assert "Add 2 pilots, leave 1 out" in page
    assert "“purple” is no band, channel, range or MHz" in page
    assert roster(database) == []


def test_good_rows_come_in_when_somebody_says_so(desk, database):
    answer = add(desk, look(desk).text)
    assert answer.status_code == 303
    assert roster(database) == ["Wren", "Otter"]
    page = desk.get(answer.headers["Location"]).text
    assert "Brought in 2 pilots, left 1 out." in page
    assert "Give a channel" in page


def test_a_file_is_looked_at_like_a_pasted_list(desk, database):
    answer = desk.post(ADDRESS, data={"text": ""}, files={"file": ("signup.csv", LIST.encode(), "text/csv")})
    assert "in signup.csv. Nothing is added yet." in answer.text
    assert add(desk, answer.text).status_code == 303
    assert roster(database) == ["Wren", "Otter"]


def test_a_column_is_given_another_meaning_on_the_screen(desk):
    page = look(desk, "Who,What\nWren,R\n", has_header="yes").text
    form = sent_back(page) | {"column-0": "callsign", "column-1": "tunes", "act": "look", "has_header": "yes"}
    page = desk.post(ADDRESS, data=form).text
    assert "Add 1 pilot<" in page
    assert 'value="callsign" selected' in page


def test_columns_changed_just_before_adding_are_looked_at_first(desk, database):
    answer = add(desk, look(desk).text, **{"column-2": "note"})
    assert answer.status_code == 409
    assert "look once more" in answer.text
    assert roster(database) == []
    assert add(desk, answer.text).status_code == 303


def test_a_roster_that_changed_meanwhile_is_looked_at_first(desk, database):
    page = look(desk).text
    with database.write() as session:
        pilots.add(session, days.day_with(session, "tern"), {"callsign": "Otter", "tunes": "R"}, "desk", NOW)
    answer = add(desk, page)
    assert answer.status_code == 409
    assert "Otter is checked in already" in answer.text
    assert "Add 1 pilot, leave 2 out" in answer.text


def test_a_list_sent_twice_is_added_once(desk, database):
    page = look(desk).text
    assert add(desk, page).status_code == 303
    assert add(desk, page).status_code == 409
    assert roster(database) == ["Wren", "Otter"]


def test_a_row_mended_on_the_screen_comes_in(desk, database):
    form = sent_back(look(desk).text)
    page = desk.post(ADDRESS, data=form | {"text": form["text"].replace("purple", "F"), "act": "look"}).text
    assert add(desk, page).status_code == 303
    assert roster(database) == ["Wren", "Otter", "Rook"]


def test_cells_over_several_lines_survive_the_line_ends_of_a_browser(desk, database):
    text = 'callsign,tunes,note\nWren,R,"leaves\nat three"\n'
    page = look(desk, text).text
    form = sent_back(page)
    answer = add(desk, page, text=form["text"].replace("\n", "\r\n"))
    assert answer.status_code == 303
    assert roster(database) == ["Wren"]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b"callsign,tunes\nW\xe9n,R\n", "is not UTF-8"),
        ("callsign,tunes\nWren,R\n".encode("utf-16"), "the file is in UTF-16"),
        (b"PK\x03\x04\x00\x00", "NUL byte"),
        (b'callsign,tunes\n"Wren,R\n', "a quote starts on this line and does not end"),
        (b"x," * 200 + b"\nWren,R\n", "the list has 200 columns"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_the_cure(desk, database, data, says):
    answer = desk.post(ADDRESS, data={"text": "typed before"}, files={"file": ("list.csv", data, "text/csv")})
    assert answer.status_code == 422
    assert says in html.unescape(answer.text)
    assert "typed before" in answer.text
    assert roster(database) == []


def test_ten_thousand_rows_are_refused_and_nothing_typed_is_lost(desk, database):
    text = "callsign,tunes\n" + "".join(f"Pilot{number},R\n" for number in range(10_000))
    page = look(desk, text).text
    assert "the list has 10000 rows, and the roster has room for 500 more" in page
    assert "Pilot9999,R" in page
    assert add(desk, page).status_code == 409
    assert roster(database) == []


def test_a_list_larger_than_a_megabyte_is_still_read(desk):
    text = "callsign,tunes,note\n" + "".join(f"Pilot{number},R,{'x' * 3000}\n" for number in range(400))
    page = look(desk, text).text
    assert "400 with a fault" in page
    assert "a text of 3000 characters is too long".capitalize() in page


def test_markup_and_formulas_in_cells_are_shown_as_text(desk, database):
    text = 'callsign,tunes,name,"<b>x"\n<i>Wren,R,=HYPERLINK("http://x"),1\n"=cmd()",R,,\n'
    page = look(desk, text).text
    assert "<i>Wren" not in page
    assert "<b>x" not in page
    assert "starts like a spreadsheet formula" in page
    assert add(desk, page).status_code == 303
    assert roster(database) == ["<i>Wren"]
    assert "<i>Wren" not in desk.get("/days/tern/check-in").text


def test_an_archived_day_takes_no_list(desk, database):
    page = look(desk).text
    with database.write() as session:
        days.archive(session, "tern", NOW)
    answer = add(desk, page)
    assert "archived" in answer.text
    assert roster(database) == []
