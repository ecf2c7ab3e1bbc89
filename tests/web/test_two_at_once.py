"""Two people at once: a form from a stale page saves nothing, shows both versions, and can be sent again."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import pytest
from sqlmodel import Session

from server.services import access, flight_line, open_flying
from server.services.roles import HELPER, ORGANIZER
from server.services.site_fields import fields_of
from server.storage import calls, clubs, days, turns
from server.storage import pilots as stored
from tests.factories import FIRST_CLUB, NOW, make_aircraft, make_day, make_pilot, make_signed_in
from tests.factories_snapshot import publish
from tests.web.conftest import give_cookie
from tests.web.forms_of_pages import form_of
from tests.web.test_who_may_do_what import LEAST

DAY = "/days/tern"

COMPARED = {
    "/days/{code}/line/hours": "what the page showed",
    "/days/{code}/line/lift": "which EVERYBODY LAND the page showed",
    "/days/{code}/line/next-heat": "what the page showed",
    "/days/{code}/open-flying": "what the page showed; closing lands everybody and always works",
    "/days/{code}/pilots/{pilot_id}": "versions of pilot and aircraft, and what the page showed",
    "/days/{code}/pilots/{pilot_id}/aircraft/{aircraft_id}/fly": "which aircraft the page showed",
    "/days/{code}/pilots/{pilot_id}/link": "the link that the page showed",
    "/days/{code}/pilots/{pilot_id}/state": "which state the page showed",
    "/days/{code}/plan/aircraft": "what the page showed, and the version of the draft",
    "/days/{code}/plan/compute": "the version of the draft, which it replaces",
    "/days/{code}/plan/next-heat": "what the page showed",
    "/days/{code}/plan/power": "what the page showed, and the version of the draft",
    "/days/{code}/site": "the version of the day, and what the page showed",
    "/people/club": "what the page showed",
    "/people/pass-phrases/{role}": "which phrase the page showed",
    "/days/{code}/import": "the roster that the page compared the list with",
    "/days/{code}/plan/bring-back": "the version of the draft",
    "/days/{code}/plan/change": "the version of the draft",
    "/days/{code}/plan/change/take": "the version of the draft, and the number of the job",
    "/days/{code}/plan/cure": "the number of the job",
    "/days/{code}/plan/edit": "the version of the draft",
    "/days/{code}/plan/job/use": "the version of the draft, and the number of the job",
    "/days/{code}/plan/publish": "the version of the draft, and every fact that the page showed",
    "/days/{code}/plan/undo": "the version of the draft",
    "/days/{code}/pilots/{pilot_id}/bench/picture": "the stage that the page showed",
    "/days/{code}/pilots/{pilot_id}/bench/readings": "the stage that the page showed",
    "/days/{code}/pilots/{pilot_id}/bench/ticks/{item}": "the gear that the page showed",
    "/days/{code}/pilots/{pilot_id}/bench/clearance": "the stage that the page showed",
    "/days/{code}/line/call": "the stage that the page showed",
    "/days/{code}/line/clearances/{clearance_id}/{name}": "the stage that the page showed",
    "/days/{code}/line/counts": "the stage that the page showed",
    "/days/{code}/line/slots/{slot_id}/{name}": "the stage that the page showed",
    "/days/{code}/line/step/{name}": "the stage that the page showed",
    "/days/{code}/line/trouble/{report_id}/{name}": "the stage that the page showed",
    "/days/{code}/line/undo": "the stage that the page showed",
    "/days/{code}/open-flying/turns/{turn_id}/{name}": "the stage that the page showed",
    "/slot/{token}/call/{slot_id}/{name}": "the stage that the page showed",
    "/slot/{token}/clearances/{clearance_id}/{name}": "the stage that the page showed",
    "/slot/{token}/turns/{turn_id}/{name}": "the stage that the page showed",
}
"""Each address that changes a thing which somebody else may have changed, with what it is compared by."""

NEEDS_NONE = {
    "/days": "makes a day",
    "/days/import": "makes a day",
    "/days/{code}/archive": "says which of two states is wished; a second press changes nothing",
    "/days/{code}/bring-back": "says which of two states is wished; a second press changes nothing",
    "/days/{code}/bench": "says which of two states is wished; a second press changes nothing",
    "/days/{code}/line/walkers": "says which of two states is wished; a second press changes nothing",
    "/days/{code}/line/everybody-land": "always works, whatever its page showed",
    "/days/{code}/line/clearances": "asks for a clearance, which is new",
    "/days/{code}/line/trouble": "makes a report",
    "/days/{code}/line/unasked": "notes somebody who is on; a second press changes nothing",
    "/days/{code}/names/archive": "cannot be undone, so a tick says that it is meant",
    "/days/{code}/names/copies": "removes what is there now; a second press changes nothing",
    "/days/{code}/names/{pilot_id}/erase": "as archive without names",
    "/days/{code}/open-flying/line": "one typed command, answered by what stands now",
    "/days/{code}/open-flying/turns/{turn_id}/undo": "only the end of a turn that nothing followed",
    "/days/{code}/paper": "kept with each tick and seen at once; a print names its own size and sections",
    "/days/{code}/pilots": "makes a pilot",
    "/days/{code}/pilots/{pilot_id}/channel": "chooses anew from what stands now; nothing is typed",
    "/days/{code}/plan/change/close": "puts an answer away; the plan is not changed",
    "/days/{code}/plan/change/found": "notes the end of a transmitter by its number; a second press is told",
    "/days/{code}/plan/compare": "computes a table; the plan is not changed",
    "/days/{code}/plan/job/cancel": "ends a job; the plan is not changed",
    "/days/{code}/plan/job/close": "puts an answer away; the plan is not changed",
    "/days/{code}/plan/outside": "notes a signal, which is new",
    "/days/{code}/plan/outside/end": "ends a signal by its number; a second press is told",
    "/days/{code}/site/preview": "saves nothing",
    "/join/{code}": "makes a pilot",
    "/look": "a choice of this browser alone",
    "/people/sign-outs": "ends what is there now; a second press changes nothing",
    "/people/sign-outs/{number}": "ends one by its number; a second press is told",
    "/sign-in": "makes a session",
    "/sign-out": "ends a session of this browser alone",
    "/slot/{token}/ask": "asks for a turn; a second press changes nothing",
    "/slot/{token}/clearance": "asks for a clearance, which is new",
    "/slot/{token}/trouble": "makes a report",
}
"""Every other address to which something is posted, with the reason why it needs no comparing."""


@dataclass(frozen=True)
class Case:
    """A form that two people have open at once.

    page      where it stands
    action    its address
    mine      what the later one typed or pressed
    theirs    what was saved meanwhile
    shown     words of the answer: what stands now, and what was sent
    saved     reads back what is saved
    """

    page: str
    action: str
    mine: dict[str, str]
    theirs: dict[str, str]
    shown: tuple[str, str]
    saved: Callable[[Session], str]


def day_in(session):
    return days.by_code(session, "tern")


def wren_in(session):
    return stored.of_day(session, day_in(session).id)[0]


def hours_in(session):
    line = calls.line_of(session, day_in(session).id)
    return f"{line.starts_at} {line.ends_by}"


CASES = {
    "site": Case(
        f"{DAY}/site",
        f"{DAY}/site",
        {"near_m": "12"},
        {"near_m": "10"},
        ("10", "12"),
        lambda session: fields_of(day_in(session))["near_m"],
    ),
    "pilot": Case(
        f"{DAY}/pilots/1",
        f"{DAY}/pilots/1",
        {"pilot-note": "leaves at four"},
        {"pilot-note": "leaves at three"},
        ("leaves at three", "leaves at four"),
        lambda session: wren_in(session).note,
    ),
    "gear": Case(
        f"{DAY}/pilots/1",
        f"{DAY}/pilots/1",
        {"1-antenna": "linear"},
        {"1-antenna": "lhcp"},
        ("Left-hand", "Linear"),
        lambda session: stored.aircraft_of(session, 1)[0].antenna,
    ),
    "hours": Case(
        f"{DAY}/line",
        f"{DAY}/line/hours",
        {"starts_at": "10:00", "ends_by": "16:00"},
        {"starts_at": "09:30", "ends_by": "17:00"},
        ("17:00", "16:00"),
        hours_in,
    ),
    "next heat": Case(
        f"{DAY}/plan",
        f"{DAY}/plan/next-heat",
        {"next_heat": "3"},
        {"next_heat": "2"},
        (">2</td>", ">3</td>"),
        lambda session: str(day_in(session).flown_heats),
    ),
    "club": Case(
        "/people",
        "/people/club",
        {"name": "Teal Club"},
        {"name": "Reed Club"},
        ("Reed Club", "Teal Club"),
        lambda session: clubs.by_id(session, FIRST_CLUB).name,
    ),
    "pass phrase": Case(
        "/people",
        f"/people/pass-phrases/{HELPER}",
        {},
        {},
        ("made at", "a new one"),
        lambda session: str(access.phrases_made(session, FIRST_CLUB).get(HELPER)),
    ),
    "state": Case(
        f"{DAY}/pilots/1",
        f"{DAY}/pilots/1/state",
        {"state": "withdrawn"},
        {"state": "no-show"},
        ("no-show", "withdrawn"),
        lambda session: wren_in(session).state,
    ),
    "aircraft": Case(
        f"{DAY}/pilots/1",
        f"{DAY}/pilots/1/aircraft/4/fly",
        {},
        {},
        ("spare 1", "spare 2"),
        lambda session: str(wren_in(session).flying_aircraft_id),
    ),
    "rule for the pits": Case(
        f"{DAY}/open-flying",
        f"{DAY}/open-flying",
        {"state": "open", "beside": "yes"},
        {"state": "closed"},
        ("closed", "open"),
        lambda session: str(open_flying.is_open(session, day_in(session))),
    ),
}
OTHER_ADDRESS = {"aircraft": f"{DAY}/pilots/1/aircraft/3/fly"}
"""Where the other person posts, if not at the same address."""


@pytest.fixture
def two(client, database):
    """Two organizers in two browsers, and a day with a plan of two heats; gives a way to become one of them."""
    with database.write() as session:
        day = make_day(session, code="tern", time_zone="Europe/Berlin", responsibility="I answer for it.")
        wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter", tunes="F")
        assert (wren.id, wren.flying_aircraft_id) == (1, 1)
        for number in (1, 2):
            make_aircraft(session, wren, name=f"spare {number}", position=number)
        publish(session, day, [[(wren, "R1")], [(otter, "F4")], [(wren, "R1")]])
        for one in ("early", "late"):
            make_signed_in(session, one, ORGANIZER)

    def become(one):
        give_cookie(client, one)
        return client

    return become


@pytest.fixture(params=CASES)
def case(request, two, database):
    if request.param == "rule for the pits":
        with database.write() as session:
            open_flying.open_up(session, day_in(session), False, "director", NOW)
    return request.param, CASES[request.param]


def saved(database, case):
    with database.read() as session:
        return case.saved(session)


def overtaken(two, database, case, headers=None):
    """The later one's answer, and what the other saved in the meantime."""
    name, case = case
    page = form_of(two("late").get(case.page).text, case.action)
    elsewhere = OTHER_ADDRESS.get(name, case.action)
    other = form_of(two("early").get(case.page).text, elsewhere)
    assert two("early").post(elsewhere, data=other | case.theirs).status_code in (200, 303)
    theirs = saved(database, case)
    answer = two("late").post(case.action, data=page | case.mine, headers=headers)
    assert answer.status_code == 409
    return answer, theirs


def test_every_address_to_which_something_is_posted_is_compared_or_says_why_not():
    posted = {path for method, path in LEAST if method == "POST"}
    assert posted == COMPARED.keys() | NEEDS_NONE.keys()
    assert not COMPARED.keys() & NEEDS_NONE.keys()


def test_the_later_one_sees_both_versions_and_nothing_is_overwritten(two, database, case):
    answer, theirs = overtaken(two, database, case)
    stands, yours = case[1].shown
    table = answer.text[answer.text.index("both-versions") :]
    assert stands in table
    assert yours in table
    assert "Keep what stands" in table
    assert saved(database, case[1]) == theirs


def test_the_later_one_can_put_the_own_version_from_the_answer(two, database, case):
    answer, theirs = overtaken(two, database, case)
    again = form_of(answer.text, case[1].action)
    assert two("late").post(case[1].action, data=again).status_code in (200, 303)
    if (
        case[0] == "paper"
    ):  # the size is not what the later one changed, yet it was sent as it stood on the page
        assert saved(database, case[1]) == "a4"
    elif case[0] != "pass phrase":  # at the same moment of the scripted clock
        assert saved(database, case[1]) != theirs


def test_who_changed_it_and_when_is_told(two, database, case):
    answer, _ = overtaken(two, database, case)
    told = re.search(r"since this page was loaded \((\w+), (\d\d:\d\d)\)", answer.text)
    assert told[1] == ORGANIZER


def test_with_htmx_both_versions_come_on_top_of_the_page_or_as_its_form(two, database, case):
    answer, _ = overtaken(two, database, case, {"HX-Request": "true", "HX-Request-Type": "partial"})
    is_whole_form = case[0] in ("site", "pilot", "gear")
    assert is_whole_form or answer.headers["HX-Retarget"] == "#main"
    assert "both-versions" in answer.text
    assert is_whole_form or "<html" not in answer.text


def test_the_same_change_made_by_both_is_no_quarrel(two, database):
    page = form_of(two("late").get(f"{DAY}/line").text, f"{DAY}/line/hours")
    for one in ("early", "late"):
        typed = page | {"starts_at": "09:30", "ends_by": "17:00"}
        assert two(one).post(f"{DAY}/line/hours", data=typed).status_code == 303


def test_closing_open_flying_works_from_a_stale_page(two, database):
    with database.write() as session:
        open_flying.open_up(session, day_in(session), False, "director", NOW)
    page = form_of(two("late").get(f"{DAY}/open-flying").text, f"{DAY}/open-flying")
    two("early").post(f"{DAY}/open-flying", data=page | {"state": "open", "beside": "yes"})
    answer = two("late").post(f"{DAY}/open-flying", data=page | {"state": "closed"})
    assert answer.status_code == 303
    with database.read() as session:
        assert not turns.open_flying_of(session, day_in(session).id).is_open


def test_what_was_typed_can_be_edited_further_in_the_answer(two, database):
    answer, _ = overtaken(two, database, ("club", CASES["club"]))
    assert '<input name="name" value="Teal Club"' in answer.text
    again = form_of(answer.text, "/people/club") | {"name": "Teal and Reed Club"}
    assert two("late").post("/people/club", data=again).status_code == 303
    assert saved(database, CASES["club"]) == "Teal and Reed Club"


@pytest.mark.parametrize(
    ("action", "sent", "other"),
    [
        ("aircraft", {"aircraft": "4", "was_aircraft": "6"}, {"aircraft": "3"}),
        ("power", {"common_power_mw": "25", "was_common_power_mw": "auto"}, {"common_power_mw": "200"}),
    ],
)
def test_a_choice_that_plans_at_once_is_compared_too(two, database, action, sent, other):
    with database.write() as session:
        hill = make_day(session, code="hill")
        for callsign in ("Rook", "Quill"):
            make_pilot(session, hill, callsign, power_mw="25 200")
    two("early").post(f"/days/hill/plan/{action}", data=other)
    answer = two("late").post(f"/days/hill/plan/{action}", data=sent)
    assert answer.status_code == 409
    assert "both-versions" in answer.text


def test_a_planning_does_not_replace_a_draft_that_its_page_did_not_show(two, database):
    with database.write() as session:
        hill = make_day(session, code="hill")
        for callsign in ("Wren", "Rook"):
            make_pilot(session, hill, callsign)
    page = form_of(two("late").get("/days/hill/plan").text, "/days/hill/plan/compute")
    assert page == {"version": "0"}
    put_in = {"act": "put in", "version": "0", "callsigns": "Wren Rook"}
    assert two("early").post("/days/hill/plan/edit", data=put_in).status_code == 303
    answer = two("late").post("/days/hill/plan/compute", data=page)
    assert answer.status_code == 409
    assert "Not made: Plan the channels, which replaces the draft." in answer.text


def test_an_everybody_land_that_the_page_did_not_show_is_not_lifted(two, database):
    early, late = (NOW + timedelta(minutes=minutes) for minutes in (0, 9))
    with database.write() as session:
        flight_line.everybody_land(session, day_in(session), "Dogs", "director", early)
    shown = form_of(two("late").get(f"{DAY}/line").text.split('id="line-bar"')[1], f"{DAY}/line/lift")
    with database.write() as session:
        flight_line.lift(session, day_in(session), "director", late)
        flight_line.everybody_land(session, day_in(session), "An air ambulance", "director", late)
    answer = two("late").post(f"{DAY}/line/lift", data=shown)
    assert answer.status_code == 409
    assert "An air ambulance" in answer.text
    assert two("late").get(f"{DAY}/line/everybody-land").json()["on"]
    again = form_of(answer.text.split("both-versions")[1], f"{DAY}/line/lift")
    assert two("late").post(f"{DAY}/line/lift", data=again).status_code == 303
    assert not two("late").get(f"{DAY}/line/everybody-land").json()["on"]
