import pytest

from server.services import logbook
from tests.factories import make_day, make_logbook_entry
from tests.services.called_days import released
from tests.services.changed_days import published_day


@pytest.fixture
def day_code(database):
    """A day with one entry more than stands on a page."""
    with database.write() as session:
        day = make_day(session, time_zone="Asia/Kolkata")
        for number in range(logbook.ENTRIES_ON_A_PAGE + 1):
            make_logbook_entry(session, day, f"Entry {number}.")
        return day.code


def test_the_newest_comes_first_in_the_time_of_the_field(director, day_code):
    text = director.get(f"/days/{day_code}/logbook").text
    assert text.index("Entry 50.") < text.index("Entry 1.")
    assert "16 May 15:00:00" in text  # 09:30 UTC at the factories' NOW


def test_older_entries_are_a_page_further_and_the_way_back_is_shown(director, day_code):
    first = director.get(f"/days/{day_code}/logbook").text
    assert "Entry 0." not in first
    assert "Newest</a>" not in first
    older = first.split(f'href="/days/{day_code}/logbook?before=')[1].split('"')[0]
    second = director.get(f"/days/{day_code}/logbook", params={"before": older}).text
    assert "Entry 0." in second
    assert "Entry 1." not in second
    assert "Older</a>" not in second
    assert "Newest</a>" in second


def test_what_was_written_is_text_and_never_markup(director, database):
    with database.write() as session:
        day = make_day(session)
        make_logbook_entry(session, day, "<script>alert(1)</script> came.")
    text = director.get(f"/days/{day.code}/logbook").text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; came." in text


def test_a_day_without_entries_says_what_will_stand_here(director, database):
    with database.write() as session:
        day = make_day(session)
    assert "Nothing here yet" in director.get(f"/days/{day.code}/logbook").text


def test_an_unknown_day_is_not_found(director):
    answer = director.get("/days/none/logbook")
    assert answer.status_code == 404
    assert "There is no field day with the code none." in answer.text


def test_the_day_stands_along_its_hours_above_the_newest_page_alone(director, database):
    with database.write() as session:
        day = published_day(session, code="tern")
        released(session, day)
    text = director.get("/days/tern/logbook").text
    assert "Heat 1 is up since 10:30." in text  # the factories' NOW in Dublin
    assert '<figure class="picture timeline">' not in director.get("/days/tern/logbook?before=5").text


def test_without_a_plan_the_logbook_says_what_brings_the_hours(director, day_code):
    text = director.get(f"/days/{day_code}/logbook").text
    assert "No hours to show yet" in text
    assert f'href="/days/{day_code}/plan"' in text.split("No hours to show yet")[1].split("</div>")[0]
