import pytest

from server.services.errors import NotFoundError
from server.services.heat_sheets import heat_sheet, published_sheet
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.heat_sheet_plans import make_sheet


@pytest.fixture
def day_code(database):
    """A day with plans 1 and 2."""
    with database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000/")
        wren = make_pilot(session, day, "Wren")
        publish(session, day, [[(wren, "R1")]])
        publish(session, day, [[(wren, "R2")]])
        return day.code


def test_the_latest_plan_is_shown_and_the_others_are_named(database, day_code):
    with database.read() as session:
        _, sheet = heat_sheet(session, day_code)
    assert (sheet.number, sheet.replaced_by, sheet.other_numbers) == (2, None, (1,))
    assert sheet.heats[0]["slots"][0]["channel"] == "R2"


def test_an_earlier_plan_says_what_replaced_it(database, day_code):
    with database.read() as session:
        sheet = published_sheet(session, day_code, 1)
    assert (sheet.number, sheet.replaced_by, sheet.other_numbers) == (1, 2, (2,))
    assert sheet.heats[0]["slots"][0]["channel"] == "R1"


def test_a_number_that_was_never_published_is_not_found(database, day_code):
    with database.read() as session, pytest.raises(NotFoundError, match=r"No plan 7 .* the latest is plan 2"):
        heat_sheet(session, day_code, 7)


def test_before_publishing_there_is_a_day_and_no_sheet(database):
    with database.write() as session:
        code = make_day(session).code
    with database.read() as session:
        day, sheet = heat_sheet(session, code)
        assert (day.code, sheet) == (code, None)
        with pytest.raises(NotFoundError, match="No plan of Tern Meadow club day is published yet"):
            published_sheet(session, code)


def test_the_board_lies_at_the_address_chosen_for_phones(database, day_code):
    with database.read() as session:
        assert published_sheet(session, day_code).board_url == f"http://192.168.8.2:8000/board/{day_code}"
    assert make_sheet([[("Wren", "R1")]], base_url=None).board_url is None


@pytest.mark.parametrize(
    ("time_zone", "words"),
    [
        ("Europe/Dublin", "16 May 2026, 10:30 (Europe/Dublin)"),  # summer time: an hour ahead of UTC
        ("Asia/Kolkata", "16 May 2026, 15:00 (Asia/Kolkata)"),
        ("Pacific/Kiritimati", "16 May 2026, 23:30 (Pacific/Kiritimati)"),
        ("Pacific/Midway", "15 May 2026, 22:30 (Pacific/Midway)"),  # still the day before
    ],
)
def test_the_moment_of_publishing_is_that_of_the_field(time_zone, words):
    assert make_sheet([[("Wren", "R1")]], time_zone=time_zone).published_words == words


def test_channels_stand_by_frequency_with_who_is_on_them_and_when_nobody_is():
    sheet = make_sheet([[("Wren", "R8"), ("Otter", "R1")], [("Rook", "R8")], [("Otter", "R1")]])
    low, high = sheet.channels
    assert (low.mhz, low.labels, low.free_heats) == (5658, ("R1",), (2,))
    assert [(slot["heat"], slot["callsign"]) for slot in low.slots] == [(1, "Otter"), (3, "Otter")]
    assert low.heats_of_pilots == {"Otter": [1, 3]}
    assert (high.mhz, high.free_heats, list(high.heats_of_pilots)) == (5917, (3,), ["Wren", "Rook"])


def test_two_labels_of_one_frequency_are_one_channel():
    sheet = make_sheet([[("Wren", "R7")], [("Otter", "F8")]])
    assert [(use.mhz, use.labels) for use in sheet.channels] == [(5880, ("R7", "F8"))]


def test_a_frequency_without_a_label_is_a_channel_too():
    (use,) = make_sheet([[("Wren", 5810)]]).channels
    assert (use.mhz, use.labels) == (5810, ())


def test_a_heat_without_anybody_is_left_out():
    assert [heat["heat"] for heat in make_sheet([[("Wren", "R1")], [], [("Wren", "R1")]]).heats] == [1, 3]


def test_a_pilot_who_changes_channel_is_told_from_which():
    sheet = make_sheet([[("Wren", "R1"), ("Otter", "R8")], [("Wren", "F4"), ("Otter", "R8")]])
    wren, otter = sheet.heats[1]["slots"]
    assert wren["retuned_from"]["channel"] == "R1"
    assert otter["retuned_from"] is None
    assert all(slot["retuned_from"] is None for slot in sheet.heats[0]["slots"])


@pytest.mark.parametrize(
    ("low", "high", "span"),
    [(2.0, 4.6, [2.0, 4.6]), (4.1, 4.6, None), (4.0, 4.6, [4.0, 4.6])],  # shown from 0.6 on
)
def test_a_grade_that_depends_on_the_receiver_has_its_span(low, high, span):
    sheet = make_sheet([[("Wren", "R1")]])
    sheet.plan["heats"][0]["slots"][0].update(grade_low=low, grade_high=high)
    assert sheet.heats[0]["slots"][0]["grade_span"] == (tuple(span) if span else None)


RULES = {"name": "Club permit", "source": "invented", "year": 2026, "tag": "own", "conditions": ""}


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        (
            {**RULES, "responsibility": None},
            "Within the rules chosen for this day: Club permit (invented, 2026). "
            "Local rules and the licensed operator decide.",
        ),
        (
            {**RULES, "year": None, "responsibility": None},
            "Within the rules chosen for this day: Club permit (invented). "
            "Local rules and the licensed operator decide.",
        ),
        (  # what the director answers for may lie outside, so nothing is said to lie inside
            {**RULES, "responsibility": "I, Jo Example, answer for it."},
            "Rules chosen for this day: Club permit (invented, 2026). The director took responsibility in "
            "words; the logbook keeps them. Local rules and the licensed operator decide.",
        ),
        (
            {**dict.fromkeys(RULES), "responsibility": "I, Jo Example, answer for it."},
            "No rules are chosen for this day. The director took responsibility in words; the logbook keeps "
            "them. Local rules and the licensed operator decide.",
        ),
    ],
)
def test_what_the_plan_was_judged_by(rules, words):
    assert make_sheet([[("Wren", "R1")]], rules=rules).rules_words == words


def test_distances_are_those_of_the_snapshot():
    known = [{"name": "near_m", "value": 8.0}, {"name": "far_m", "value": 80}]
    assert "between 8 and 80 m" in make_sheet([[("Wren", "R1")]], assumptions=known).distances_words
    assert make_sheet([[("Wren", "R1")]], assumptions=known[:1]).distances_words == ""
