"""Who may do what: phrases made and shown once, sign-ins seen and ended, a pilot's link renewed."""

import re
from dataclasses import replace
from datetime import timedelta

import httpx
import pytest

from server.main import create_app
from server.services import access
from server.services.roles import DIRECTOR, HELPER, ORGANIZER
from server.services.sign_in_limits import Account
from server.storage import clubs, logbook, pilots
from server.web.dependencies import COOKIE
from tests.factories import FIRST_CLUB, NOW, make_day, make_logbook_entry, make_pilot, make_signed_in
from tests.serving import serving
from tests.web.forms_of_pages import form_of

PATIENCE_S = 10


def new_phrase(page):
    return re.search(r'class="new-phrase__words">([a-z]+(?: [a-z]+){5})</p>', page.text)[1]


@pytest.mark.parametrize("role", [ORGANIZER, DIRECTOR, HELPER])
def test_a_new_phrase_is_shown_once_and_lets_its_role_in(organizer, database, role):
    made = organizer.post(f"/people/pass-phrases/{role}")
    assert made.headers["Cache-Control"] == "no-store"
    phrase = new_phrase(made)
    assert phrase not in organizer.get("/people").text
    lasts = timedelta(hours=1)
    assert access.sign_in(database, Account(FIRST_CLUB, role), phrase, "127.0.0.1", NOW, lasts)


def test_of_an_old_phrase_it_is_told_only_where_there_was_one(organizer):
    first, second = (organizer.post("/people/pass-phrases/helper", data=shown) for shown in ({}, {}))
    assert "The old one is void" not in first.text
    assert "The old one is void" in second.text


def test_a_page_of_a_new_phrase_that_is_loaded_again_says_that_it_was_made_already(organizer):
    shown = form_of(organizer.get("/people").text, f"/people/pass-phrases/{HELPER}")
    first, again = (organizer.post(f"/people/pass-phrases/{HELPER}", data=shown) for _ in range(2))
    assert new_phrase(first) not in again.text
    assert again.status_code == 409
    assert "by this very press, if it was sent twice, or by somebody else" in again.text
    assert "Somebody else changed" not in again.text


def test_a_role_that_there_is_not_gets_no_phrase(organizer):
    assert organizer.post("/people/pass-phrases/pilot").status_code == 404


def test_the_page_says_which_roles_nobody_can_sign_in_as_yet(organizer):
    before = organizer.get("/people").text
    assert before.count("none yet: nobody can sign in as this") == 3
    organizer.post(f"/people/pass-phrases/{HELPER}")
    assert organizer.get("/people").text.count("none yet: nobody can sign in as this") == 2


def test_a_sign_in_is_seen_without_its_address_and_ended(organizer, database):
    with database.write() as session:
        number = make_signed_in(session, "desk", HELPER, came_from="this network").id
    page = organizer.get("/people").text
    assert "this network" in page
    assert "this browser" in page
    assert organizer.post(f"/people/sign-outs/{number}").headers["Location"] == "/people"
    assert "this network" not in organizer.get("/people").text
    assert organizer.post(f"/people/sign-outs/{number}").status_code == 404


def test_all_others_are_signed_out_at_once(organizer, database):
    with database.write() as session:
        make_signed_in(session, "desk", HELPER)
    organizer.post("/people/sign-outs")
    with database.read() as session:
        assert access.signed_in(session, "desk", NOW) is None
    assert organizer.get("/people").status_code == 200


def test_another_clubs_sign_ins_are_neither_seen_nor_ended(organizer, database):
    with database.write() as session:
        other = clubs.add(session, "Curlew Moor", NOW).id
        number = make_signed_in(session, "theirs", HELPER, club_id=other, came_from="elsewhere").id
    assert "elsewhere" not in organizer.get("/people").text
    assert organizer.post(f"/people/sign-outs/{number}").status_code == 404
    organizer.post("/people/sign-outs")
    with database.read() as session:
        assert access.signed_in(session, "theirs", NOW)


def test_a_club_is_named_and_no_two_alike(organizer, database):
    with database.write() as session:
        clubs.add(session, "Curlew Moor", NOW)
    assert organizer.post("/people/club", data={"name": " Tern  Meadow "}).status_code == 303
    assert 'value="Tern Meadow"' in organizer.get("/people").text
    refused = organizer.post("/people/club", data={"name": "Curlew Moor"})
    assert refused.status_code == 422
    assert "Another club has this name: write another." in refused.text
    assert "Write the club" in organizer.post("/people/club", data={"name": " "}).text
    assert organizer.post("/people/club", data={"name": "x" * 61}).status_code == 422


def test_neither_phrase_nor_token_comes_into_the_logbook(organizer, database):
    phrase = new_phrase(organizer.post(f"/people/pass-phrases/{HELPER}"))
    with database.write() as session:
        entries = logbook.newest_first(session, make_day(session).id, 99)
    assert [entry.action for entry in entries] == ["pass phrase made"]
    assert phrase not in str(entries)


def test_a_pilots_new_link_voids_the_old_one(director, database):
    with database.write() as session:
        day = make_day(session, code="tern")
        wren = make_pilot(session, day, "Wren", join_id="a" * 22)
    address = f"/days/tern/pilots/{wren.id}/link"
    assert wren.link_token in director.get(f"/join/tern?me={wren.join_id}").text
    assert "Make a new link" in director.get(address).text
    renewed = director.post(address, data={"seen": wren.link_token}, follow_redirects=True).text
    assert "This link is new: the old one and its code are void, on paper too." in renewed
    with database.read() as session:
        new = pilots.of_day(session, day.id)[0].link_token
        assert logbook.newest_first(session, day.id, 1)[0].who == DIRECTOR
    assert director.get(f"/slot/{wren.link_token}").status_code == 404
    assert director.get(f"/slot/{new}").status_code == 200
    assert new not in director.get(f"/join/tern?me={wren.join_id}").text  # whoever has that address neither
    assert len(new) >= 22  # 128 bits and more


@pytest.mark.parametrize("headers", [{}, {"HX-Request": "true", "HX-Request-Type": "partial"}])
def test_an_old_page_does_not_void_a_link_that_was_just_handed_out(director, database, headers):
    with database.write() as session:
        wren = make_pilot(session, make_day(session, code="tern"), "Wren")
    address = f"/days/tern/pilots/{wren.id}/link"
    shown = form_of(director.get(address).text, address)
    assert director.post(address, data=shown).status_code == 303
    with database.read() as session:
        handed_out = pilots.of_day(session, 1)[0].link_token
    again = director.post(address, data=shown, headers=headers)
    assert again.status_code == 409
    assert "Wren has a new link since this page was loaded" in again.text
    assert f'name="seen" value="{handed_out}"' in again.text
    assert director.get(f"/slot/{handed_out}").status_code == 200


def test_a_helper_sees_a_pilots_link_and_cannot_renew_it(helper, database):
    with database.write() as session:
        wren = make_pilot(session, make_day(session, code="tern"), "Wren")
    page = helper.get(f"/days/tern/pilots/{wren.id}/link")
    assert page.status_code == 200
    assert "Make a new link" not in page.text


def test_an_open_stream_ends_with_its_session_and_tells_nothing_more(settings, database):
    """Within a heartbeat, or before the next state, whatever comes first."""
    with database.write() as session:
        day = make_day(session, code="tern")
        make_signed_in(session, "token", DIRECTOR)
    app = create_app(replace(settings, heartbeat_s=0.1), clock=lambda: NOW)
    with serving(app) as address:
        asked = {"cookies": {COOKIE: "token"}, "timeout": PATIENCE_S}
        with httpx.stream("GET", f"{address}/days/tern/line/stream", **asked) as answer:
            lines = answer.iter_lines()
            assert any(line == "event: state" for line in lines)
            assert any(line == "event: hb" for line in lines)
            with database.write() as session:
                access.sign_others_out(session, FIRST_CLUB, "", NOW)
                make_logbook_entry(session, day, "Not to be heard.")
            assert "Not to be heard" not in "".join(lines)  # it ends: else this would wait in vain
    app.state.database.close()


@pytest.mark.parametrize("signed_in", [False, True])
def test_a_server_of_several_clubs_shows_no_clubs_day_as_everybodys(client, database, signed_in):
    with database.write() as session:
        other = clubs.add(session, "Curlew Moor", NOW).id
        make_day(session, code="tern", club_id=other)
        ours = make_day(session, code="wren")
        make_signed_in(session, "token", HELPER)
    if signed_in:
        client.cookies.set(COOKIE, "token", domain="localhost.local")
        assert client.get("/").headers["Location"] == f"/days/{ours.code}/check-in"
    else:
        page = client.get("/").text
        assert "Which board?" in page
        assert "wren" not in page
        assert client.get("/?code=Tern").headers["Location"] == "/board/tern"
        unknown = client.get("/?code=zzzz")
        assert unknown.status_code == 404
        assert "There is no field day with the code zzzz." in unknown.text


def test_no_secret_comes_into_the_programs_log(organizer, app, database, caplog):
    caplog.set_level("DEBUG")
    with database.write() as session:
        wren = make_pilot(session, make_day(session, code="tern"), "Wren")
    app.get("/breaks")(lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        organizer.get("/breaks")
    phrase = new_phrase(organizer.post(f"/people/pass-phrases/{HELPER}"))
    organizer.post("/sign-in", data={"role": HELPER, "pass_phrase": phrase})
    organizer.get(f"/slot/{wren.link_token}")
    secrets = (phrase, wren.link_token, organizer.cookies[COOKIE], "token-of-the-organizer")
    said = "".join(record.getMessage() for record in caplog.records if not record.name.startswith("httpx"))
    assert [secret for secret in secrets if secret in said] == []


def test_a_page_with_a_private_link_is_named_to_no_other_site(client, database):
    with database.write() as session:
        wren = make_pilot(session, make_day(session, code="tern"), "Wren")
    page = client.get(f"/slot/{wren.link_token}")
    assert page.headers["Referrer-Policy"] == "same-origin"
    assert re.findall(r'(?:href|src|action)="(?!/|#|data:)[^"]*"', page.text) == []


def test_what_plain_http_means_is_said_where_it_is_spoken(organizer):
    page = organizer.get("/people").text
    assert "This page came by plain http. Whoever is on the same network can read" in page
