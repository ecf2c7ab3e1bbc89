"""The authorisation matrix: every route of the application, asked by everybody, against one explicit table."""

import re
from dataclasses import replace

import pytest
from fastapi.routing import iter_route_contexts
from sqlmodel import SQLModel
from starlette.routing import Mount

from server.main import create_app
from server.services.roles import DIRECTOR, HELPER, ORGANIZER, may
from server.storage import clubs
from server.web.dependencies import PUBLIC
from tests.factories import FIRST_CLUB, NOW, make_day, make_pilot, make_signed_in
from tests.factories_snapshot import publish
from tests.services.called_days import released
from tests.web.conftest import ADDRESS, give_cookie

TABLE = """
everybody GET  /
everybody GET  /board/{code}
everybody GET  /board/{code}/state
everybody GET  /board/{code}/stream
everybody GET  /guide
everybody GET  /health
everybody HEAD /health
everybody GET  /join/{code}
everybody POST /join/{code}
everybody POST /look
everybody GET  /privacy
everybody GET  /ready
everybody HEAD /ready
everybody GET  /sign-in
everybody POST /sign-in
everybody GET  /slot/{token}
everybody GET  /slot/{token}/state
everybody GET  /slot/{token}/stream
everybody POST /slot/{token}/ask
everybody POST /slot/{token}/call/{slot_id}/{name}
everybody POST /slot/{token}/clearance
everybody POST /slot/{token}/clearances/{clearance_id}/{name}
everybody POST /slot/{token}/trouble
everybody POST /slot/{token}/turns/{turn_id}/{name}

helper    POST /sign-out
helper    GET  /days
helper    GET  /days/{code}
helper    GET  /days/{code}/bench
helper    GET  /days/{code}/check-in
helper    GET  /days/{code}/check-in/echo
helper    GET  /days/{code}/check-in/news
helper    GET  /days/{code}/check-in/roster
helper    GET  /days/{code}/import
helper    POST /days/{code}/import
helper    GET  /days/{code}/line/everybody-land
helper    POST /days/{code}/line/everybody-land
helper    GET  /days/{code}/paper
helper    GET  /days/{code}/paper/{kind}.pdf
helper    GET  /days/{code}/paper/{kind}.png
helper    POST /days/{code}/pilots
helper    GET  /days/{code}/pilots/{pilot_id}
helper    POST /days/{code}/pilots/{pilot_id}
helper    POST /days/{code}/pilots/{pilot_id}/aircraft/{aircraft_id}/fly
helper    GET  /days/{code}/pilots/{pilot_id}/bench
helper    GET  /days/{code}/pilots/{pilot_id}/bench/news
helper    POST /days/{code}/pilots/{pilot_id}/bench/clearance
helper    POST /days/{code}/pilots/{pilot_id}/bench/picture
helper    POST /days/{code}/pilots/{pilot_id}/bench/readings
helper    POST /days/{code}/pilots/{pilot_id}/bench/ticks/{item}
helper    POST /days/{code}/pilots/{pilot_id}/channel
helper    GET  /days/{code}/pilots/{pilot_id}/link
helper    POST /days/{code}/pilots/{pilot_id}/state

director  POST /days/{code}/bench
director  GET  /days/{code}/heat-sheet
director  GET  /days/{code}/line
director  POST /days/{code}/line/call
director  POST /days/{code}/line/clearances
director  POST /days/{code}/line/clearances/{clearance_id}/{name}
director  GET  /days/{code}/line/clock
director  POST /days/{code}/line/counts
director  POST /days/{code}/line/hours
director  POST /days/{code}/line/lift
director  POST /days/{code}/line/next-heat
director  POST /days/{code}/line/slots/{slot_id}/{name}
director  GET  /days/{code}/line/state
director  POST /days/{code}/line/step/{name}
director  GET  /days/{code}/line/stream
director  GET  /days/{code}/line/timeline
director  GET  /days/{code}/line/trouble
director  POST /days/{code}/line/trouble
director  GET  /days/{code}/line/trouble/state
director  GET  /days/{code}/line/trouble/stream
director  POST /days/{code}/line/trouble/{report_id}/{name}
director  POST /days/{code}/line/unasked
director  POST /days/{code}/line/undo
director  POST /days/{code}/line/walkers
director  GET  /days/{code}/logbook
director  GET  /days/{code}/open-flying
director  POST /days/{code}/open-flying
director  POST /days/{code}/open-flying/line
director  GET  /days/{code}/open-flying/state
director  GET  /days/{code}/open-flying/stream
director  POST /days/{code}/open-flying/turns/{turn_id}/undo
director  POST /days/{code}/open-flying/turns/{turn_id}/{name}
director  POST /days/{code}/paper
director  POST /days/{code}/pilots/{pilot_id}/link
director  GET  /days/{code}/plan
director  POST /days/{code}/plan/aircraft
director  POST /days/{code}/plan/bring-back
director  POST /days/{code}/plan/change
director  POST /days/{code}/plan/change/close
director  POST /days/{code}/plan/change/found
director  POST /days/{code}/plan/change/take
director  POST /days/{code}/plan/compare
director  POST /days/{code}/plan/compute
director  POST /days/{code}/plan/cure
director  POST /days/{code}/plan/edit
director  GET  /days/{code}/plan/job
director  POST /days/{code}/plan/job/cancel
director  POST /days/{code}/plan/job/close
director  POST /days/{code}/plan/job/use
director  POST /days/{code}/plan/next-heat
director  POST /days/{code}/plan/outside
director  POST /days/{code}/plan/outside/end
director  POST /days/{code}/plan/power
director  POST /days/{code}/plan/publish
director  GET  /days/{code}/plan/spectrum
director  POST /days/{code}/plan/undo
director  GET  /days/{code}/plan.csv
director  GET  /days/{code}/plan.json
director  GET  /days/{code}/plan/{number}
director  GET  /days/{code}/plan/{number}/spectrum
director  GET  /days/{code}/site
director  POST /days/{code}/site/preview

organizer POST /days
organizer POST /days/{code}/archive
organizer POST /days/{code}/bring-back
organizer POST /days/{code}/site
organizer GET  /days/{code}/export
organizer GET  /days/{code}/names
organizer POST /days/{code}/names/archive
organizer POST /days/{code}/names/copies
organizer POST /days/{code}/names/{pilot_id}/erase
organizer GET  /days/{code}/names/{pilot_id}/export
organizer POST /days/import
organizer GET  /patterns
organizer GET  /people
organizer POST /people/club
organizer POST /people/pass-phrases/{role}
organizer POST /people/sign-outs
organizer POST /people/sign-outs/{number}
"""

LEAST = {(method, path): role for role, method, path in map(str.split, filter(None, TABLE.splitlines()))}

EXAMPLES = {
    "item": "arming",
    "kind": "check-in-form",
    "name": "off",
    "role": "helper",
}
"""What stands in an address where a number would not do; 1 anywhere else."""

WRITES_BY_GET: dict[str, str] = {}
"""Addresses whose GET changes something, each with the reason. None does."""

CODE, NO_CODE, LINK = "tern", "nope", "private-link-of-wren"


@pytest.fixture
def app(settings):
    """Streams end after their first state."""
    app = create_app(replace(settings, stream_life_s=0), clock=lambda: NOW)
    yield app
    app.state.database.close()


@pytest.fixture
def other_club(database):
    with database.write() as session:
        return clubs.add(session, "Curlew Moor", NOW).id


@pytest.fixture
def field(database):
    """A day without pilots, so that what a press would do is refused after it was let in."""
    with database.write() as session:
        return make_day(session, code=CODE)


@pytest.fixture
def busy_field(database):
    """A day with a published plan and a heat in the air."""
    with database.write() as session:
        day = make_day(session, code=CODE, base_url=ADDRESS)
        pilots = [make_pilot(session, day, "Wren", link_token=LINK), make_pilot(session, day, "Otter")]
        publish(session, day, [[(pilot, mhz) for pilot, mhz in zip(pilots, ("R1", "R8"), strict=True)]])
        released(session, day, 1)
        return day


def served(app):
    for route in iter_route_contexts(app.routes):
        if not isinstance(route.original_route, Mount):
            yield from ((method, route.path) for method in route.methods)


def address_of(path, code=CODE, **parts):
    known = {"code": code, "token": LINK, **EXAMPLES, **parts}
    return re.sub(r"{(\w+)}", lambda found: known.get(found[1], "1"), path)


def ask(client, database, method, address, role, club_id=FIRST_CLUB):
    """Each request with a session of its own: a sign-out ends only that."""
    if role is not None:
        token = f"token {next(NUMBERS)}"
        with database.write() as session:
            make_signed_in(session, token, role, club_id=club_id)
        give_cookie(client, token)
    return client.request(method, address)


NUMBERS = iter(range(10**6))


def outcome(answer):
    """ "let in", or how it was refused: sign in first, not this role, not there."""
    if answer.status_code == 303 and answer.headers["Location"].startswith("/sign-in?"):
        return "sign in"
    if answer.status_code == 403:
        return "sign in" if "Nobody is signed in here any more" in answer.text else "not this role"
    if answer.status_code == 404 and "There is no field day with the code" in answer.text:
        return "no such day"
    assert answer.status_code < 500, answer.text
    return "let in"


def test_every_route_has_its_line_in_the_table_and_every_line_a_route(app):
    assert set(served(app)) == set(LEAST)


@pytest.mark.parametrize("asker", ["nobody", "pilot", HELPER, DIRECTOR, ORGANIZER])
def test_who_is_let_in_where(app, client, database, field, asker):
    """A pilot holds a private link, and the Referer of its page: that opens nothing else."""
    role = asker if asker in (HELPER, DIRECTOR, ORGANIZER) else None
    if asker == "pilot":
        client.headers["Referer"] = f"{ADDRESS}/slot/{LINK}"
    found = {}
    for method, path in LEAST:
        found[method, path] = outcome(ask(client, database, method, address_of(path), role))
    expected = {}
    for at, least in LEAST.items():
        if least == PUBLIC or (role and may(role, least)):
            expected[at] = "let in"
        else:
            expected[at] = "not this role" if role else "sign in"
    assert found == expected


def of_a_day(path):
    return "{code}" in path and path.startswith("/days/")


def as_if_it_were(code, answer):
    """An answer with the code taken out of it."""
    return answer.status_code, answer.text.replace(code, "CODE"), answer.headers.get("Location")


@pytest.mark.parametrize("role", [HELPER, DIRECTOR, ORGANIZER])
def test_another_clubs_day_is_answered_like_one_that_does_not_exist(
    client, database, field, other_club, role
):
    for method, path in filter(lambda at: of_a_day(at[1]), LEAST):
        theirs, none = (
            ask(client, database, method, address_of(path, code), role, other_club)
            for code in (CODE, NO_CODE)
        )
        assert outcome(theirs) == "no such day", (method, path)
        assert as_if_it_were(CODE, theirs) == as_if_it_were(NO_CODE, none), (method, path)


def test_every_route_about_a_day_carries_its_code(app):
    """Which is what tells whose day it is: an id alone would belong to nobody."""
    for method, path in LEAST:
        if LEAST[method, path] != PUBLIC and not of_a_day(path):
            assert set(re.findall(r"{(\w+)}", path)) <= {"role", "number"}, path
            assert path.startswith(("/days", "/people", "/patterns", "/sign-out")), path


def test_the_days_of_another_club_are_not_listed(client, database, field, other_club):
    assert "/days/tern/" in ask(client, database, "GET", "/days", HELPER).text
    assert "/days/tern/" not in ask(client, database, "GET", "/days", ORGANIZER, other_club).text


def test_public_pages_are_found_whatever_the_club(client, database, other_club):
    with database.write() as session:
        day = make_day(session, code=CODE, club_id=other_club)
        make_pilot(session, day, "Wren", link_token=LINK)
    for path in ("/board/{code}", "/join/{code}", "/slot/{token}"):
        assert client.get(address_of(path)).status_code == 200


def dump(database):
    with database.read() as session:
        connection = session.connection()
        return {
            table.name: connection.execute(table.select()).all() for table in SQLModel.metadata.sorted_tables
        }


def test_no_get_changes_anything(client, database, busy_field):
    with database.write() as session:
        make_signed_in(session, "token", ORGANIZER)
    give_cookie(client, "token")
    before = dump(database)
    for path in sorted(path for method, path in LEAST if method == "GET" and path not in WRITES_BY_GET):
        answer = client.get(address_of(path))
        assert answer.status_code < 500, path
        assert dump(database) == before, path


LEADS = r'\b(href|action|formaction|hx-get|hx-post|data-stream|data-state-url)="(/[^"#?]*)'


def led_to(page):
    """Where the links, forms and scripts of a page lead on this server."""
    for tag in re.findall(r"<(?:a|form|button|div|section|main|details|input)\b[^>]*>", page):
        for name, address in re.findall(LEADS, tag):
            is_post = name == "hx-post" or (name == "action" and 'method="post"' in tag)
            is_button = name == "formaction" and 'formmethod="get"' not in tag
            yield "POST" if is_post or is_button else "GET", address


def routes_by_pattern():
    """The first that fits is the one that answers; those without places in them come first."""
    for method, path in sorted(LEAST, key=lambda at: at[1].count("{name}") + at[1].count("{number}")):
        yield method, re.compile(re.sub(r"{\w+}", "[^/]+", path)), LEAST[method, path]


def needed_for(method, address):
    return next(
        (least for by, pattern, least in routes_by_pattern() if by == method and pattern.fullmatch(address)),
        None,
    )


@pytest.mark.parametrize("role", [HELPER, DIRECTOR])
def test_a_page_leads_only_where_its_reader_may_go(client, database, busy_field, role):
    with database.write() as session:
        make_signed_in(session, "token", role)
    give_cookie(client, "token")
    pages = [
        path
        for (method, path), least in LEAST.items()
        if method == "GET" and least != PUBLIC and may(role, least)
    ]
    for path in pages:
        page = client.get(address_of(path))
        if "text/html" not in page.headers.get("Content-Type", ""):
            continue
        for method, address in led_to(page.text):
            least = needed_for(method, address)
            assert least is not None or address.startswith("/static/"), (path, address)
            if (role, method, address) != (
                DIRECTOR,
                "POST",
                f"/days/{CODE}/site",
            ):  # says so, without a button
                assert least in (None, PUBLIC) or may(role, least), (path, method, address)


@pytest.mark.parametrize(
    ("role", "method", "path", "says"),
    [
        (HELPER, "GET", "/days/tern/plan?heat=1", "Only the director or the organizer may do this."),
        (HELPER, "POST", "/days/tern/plan/publish", "Only the director or the organizer may do this."),
        (DIRECTOR, "POST", "/days/tern/site", "Only the organizer may do this."),
    ],
)
def test_who_may_not_reads_who_may_and_how_to_sign_in_as_that(
    client, database, field, role, method, path, says
):
    answer = ask(client, database, method, path, role)
    least = DIRECTOR if role == HELPER else ORGANIZER
    assert says in answer.text
    assert f"You are signed in as {role}." in answer.text
    assert f"/sign-in?role={least}" in answer.text
    assert ("next=/days/tern/plan%3Fheat%3D1" in answer.text) == (method == "GET")


def test_a_part_of_a_page_that_may_not_be_is_said_on_top_of_it(client, database, field):
    client.headers["HX-Request"] = "true"
    answer = ask(client, database, "POST", "/days/tern/plan/publish", HELPER)
    assert answer.status_code == 403
    assert answer.headers["HX-Retarget"] == "#main"
    assert 'href="/sign-in?role=director&amp;next=/" target="_blank"' in answer.text


def test_only_the_directors_word_clears_a_transmitter_at_the_bench(client, database, busy_field):
    form = {"step": "override", "clearance": "1", "words": "the field is empty"}
    for role, status in ((HELPER, 403), (DIRECTOR, 409)):
        with database.write() as session:
            make_signed_in(session, role, role)
        give_cookie(client, role)
        answer = client.post("/days/tern/pilots/1/bench/clearance", data=form)
        assert (answer.status_code == 403) == (status == 403)


def test_the_logbook_says_which_role_did_it(client, database, field):
    for role in (HELPER, DIRECTOR, ORGANIZER):
        with database.write() as session:
            make_signed_in(session, role, role)
        give_cookie(client, role)
        line = {"line": f"{role} all 25 r", "by": "line"}
        assert client.post("/days/tern/pilots", data=line).status_code == 303
    rows = dump(database)["logbook_entry"]
    assert [row.who for row in rows if row.action == "pilot added"] == [HELPER, DIRECTOR, ORGANIZER]


def test_a_helper_who_calls_everybody_down_stays_at_the_desk(client, database, busy_field):
    answer = ask(client, database, "POST", "/days/tern/line/everybody-land", HELPER)
    assert answer.headers["Location"] == "/days/tern/check-in"
    page = ask(client, database, "GET", "/days/tern/check-in", HELPER).text
    assert "everybody-land-now" in page
    assert "/line/lift" not in page


def test_every_organizers_page_names_who_may_do_what(client, database, field):
    assert 'href="/people"' in ask(client, database, "GET", "/days", ORGANIZER).text
    assert 'href="/people"' not in ask(client, database, "GET", "/days", DIRECTOR).text
