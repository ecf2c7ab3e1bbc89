"""The desk's page: one line in, a channel out; the roster; one pilot's page."""

import html
import re
from dataclasses import replace

import pytest

from server.radio.channels import labels_at
from server.services import days, flight_line, pilots
from server.storage import logbook
from server.storage import pilots as stored
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN
from tests.factories import NOW, make_day, make_pilot

PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}
USUAL = "Wren ABEFR 25,200,600 r"
HOSTILE = '<script>alert("x")</script>'


@pytest.fixture
def day(database):
    with database.write() as session:
        return make_day(session, code="tern")


@pytest.fixture
def desk(director, day):
    return director


def type_line(desk, line, **form):
    return desk.post("/days/tern/pilots", data={"line": line} | form, headers=PARTIAL)


def roster(database):
    with database.read() as session:
        return {pilot.callsign: pilot for pilot in stored.of_day(session, 1)}


def flying(database, callsign="Wren"):
    with database.read() as session:
        pilot = roster(database)[callsign]
        return next(
            one for one in stored.aircraft_of(session, pilot.id) if one.id == pilot.flying_aircraft_id
        )


def add(database, callsign="Wren", **typed):
    with database.write() as session:
        day = days.day_with(session, "tern")
        return pilots.add(session, day, {"callsign": callsign, "tunes": "R"} | typed, "desk", NOW)


def text_of(markup):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", markup)))


def page_form(desk, database, callsign="Wren"):
    """What a browser would send back from the pilot's page without a touch."""
    page = desk.get(f"/days/tern/pilots/{roster(database)[callsign].id}").text
    form = re.search(r'<form id="pilot-form".*?</form>', page, re.S)[0]
    sent = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ("checkbox" not in tag or " checked" in tag):
            sent[name[1]] = value[1] if value else ""
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        sent[name] = (
            re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        )[1]
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>\n(.*?)</textarea>', form, re.S):
        sent[name] = text
    return sent


def test_the_desk_is_the_director_s(client, day):
    assert client.get("/days/tern/check-in").headers["Location"].startswith("/sign-in")
    assert type_line(client, USUAL).status_code == 403


def test_an_empty_day_says_how_pilots_come(desk):
    page = desk.get("/days/tern/check-in").text
    assert "Nobody is checked in yet" in page
    assert "/days/tern/import" in page
    assert "/join/tern" in page


def test_a_day_that_is_not_there_is_not_found(desk):
    assert desk.get("/days/nope/check-in").status_code == 404
    assert type_line(desk, USUAL).status_code == 200
    assert desk.post("/days/nope/pilots", data={"line": USUAL}).status_code == 404


def test_enter_adds_the_pilot_and_says_the_channel_to_set(desk, database):
    answer = type_line(desk, USUAL)
    wren = roster(database)["Wren"]
    assert answer.status_code == 200
    channel = f"{labels_at(wren.provisional_mhz)[0]} {wren.provisional_mhz} MHz"
    assert f"Set Wren to {channel} at 25 mW" in text_of(answer.text)
    assert "Right on the bench, wrong in the air:" in answer.text
    assert f'id="pilot-{wren.id}" data-changed' in answer.text


def test_the_line_is_empty_again_and_has_the_focus(desk):
    line = re.search(r'<input id="line".*?>', type_line(desk, USUAL).text, re.S)[0]
    assert 'value=""' in line
    assert "autofocus" in line


def test_without_script_the_answer_comes_after_a_redirect(desk, database):
    answer = desk.post("/days/tern/pilots", data={"line": USUAL})
    wren = roster(database)["Wren"]
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/days/tern/check-in?added={wren.id}")
    assert f"{wren.provisional_mhz}<small> MHz" in desk.get(answer.headers["Location"]).text


def test_a_line_that_cannot_be_taken_stays_with_its_fault(desk, database):
    for headers in (PARTIAL, {}):
        answer = desk.post("/days/tern/pilots", data={"line": "Wren ABEFR R9 25"}, headers=headers)
        assert answer.status_code == 422
        assert 'value="Wren ABEFR R9 25"' in answer.text
        assert "write R1 to R8" in answer.text
    assert roster(database) == {}


def test_a_callsign_twice_is_told_under_the_line(desk):
    type_line(desk, USUAL)
    answer = type_line(desk, "wren R 25")
    assert answer.status_code == 422
    assert "Wren is checked in already" in answer.text


def test_a_day_without_site_or_rules_takes_pilots(desk, database):
    assert type_line(desk, USUAL).status_code == 200
    assert roster(database)["Wren"].provisional_mhz


def test_gear_nobody_knows_is_marked_with_what_is_taken(desk):
    answer = text_of(type_line(desk, "Wren ?").text)
    assert "Channels not known: A B F taken. Look at the set when it is here." in answer
    assert "1 with gear not known" in answer


def test_a_pilot_without_a_channel_is_told_why(desk, database):
    answer = text_of(type_line(desk, "Wren E4 25").text)
    assert (
        "Wren is on the roster, without a channel. The day's rules, bands and bans leave Wren no channel"
        in answer
    )
    assert roster(database)["Wren"].state == CHECKED_IN


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("Wren 5:3", "R3 5732 MHz on push-button gear 5:3"),
        ("Wren ABEFR 25,200 l", "left-hand antenna"),
        ("Wren ABEFR 25", "Enter adds"),
        ("Wren R9", "names a channel that band R does not have"),
        ("Wren ?", "channels not known: A B F taken"),
        ("Kit R s:Otter", "spotter Otter"),
        ("Wren", "The channels are missing"),
    ],
)
def test_the_echo_says_what_is_understood(desk, database, line, says):
    answer = desk.get("/days/tern/check-in/echo", params={"line": line}, headers=PARTIAL)
    assert says in text_of(answer.text)
    assert roster(database) == {}


def test_the_echo_of_nothing_is_the_hint(desk):
    assert "nobody knows" in desk.get("/days/tern/check-in/echo", params={"line": " "}).text


def test_the_echo_knows_the_gear_of_others(desk, database):
    add(database, tunes="F4", antenna="lhcp")
    answer = text_of(desk.get("/days/tern/check-in/echo", params={"line": "Otter =Wren"}).text)
    assert "F4 5800 MHz" in answer
    assert "left-hand antenna" in answer


def test_a_line_goes_on_in_fields_with_what_was_understood(desk):
    page = desk.get("/days/tern/check-in", params={"line": "Wren abf 25,200 l", "by": "fields"}).text
    assert 'id="callsign" name="callsign" type="text" value="Wren"' in page
    assert 'value="A B F"' in page
    assert 'value="25 200"' in page
    assert '<option value="lhcp" selected>' in page


def test_fields_add_a_pilot_too(desk, database):
    form = {"by": "fields", "callsign": "Big Bird", "tunes": "all bands", "power_mw": "25/200", "name": "Ann"}
    answer = desk.post("/days/tern/pilots", data=form | {"adult_present": "yes"}, headers=PARTIAL)
    assert answer.status_code == 200
    pilot, one = roster(database)["Big Bird"], flying(database, "Big Bird")
    assert (pilot.name, pilot.adult_present) == ("Ann", True)
    assert (one.tunes, one.power_mw) == ("A B E F R", "25 200")


def test_fields_that_cannot_be_taken_keep_what_was_typed(desk, database):
    form = {"by": "fields", "callsign": "", "tunes": "Q7", "power_mw": "much", "note": "typed with care"}
    answer = desk.post("/days/tern/pilots", data=form, headers=PARTIAL)
    assert answer.status_code == 422
    for kept in (
        'value="Q7"',
        'value="much"',
        'value="typed with care"',
        'id="callsign-error"',
        'id="tunes-error"',
    ):
        assert kept in answer.text
    assert roster(database) == {}


def test_the_primary_button_belongs_to_the_form_in_use(desk):
    assert 'form="desk-line">Check in<' in desk.get("/days/tern/check-in").text
    assert 'form="desk-fields">Check in<' in desk.get("/days/tern/check-in?by=fields").text


@pytest.mark.parametrize("field", ["name", "note", "spotter", "station_id"])
def test_markup_in_what_was_typed_is_shown_as_text(desk, database, field):
    wren = add(database, **{field: HOSTILE})
    for address in (
        "/days/tern/check-in",
        f"/days/tern/pilots/{wren.id}",
        f"/days/tern/check-in?added={wren.id}",
    ):
        page = desk.get(address).text
        assert HOSTILE not in page
    assert "&lt;script&gt;" in desk.get(f"/days/tern/pilots/{wren.id}").text


def test_markup_in_a_callsign_and_a_faulty_line_is_shown_as_text(desk):
    type_line(desk, '"<b>Wren" R 25')
    for page in (desk.get("/days/tern/check-in").text, type_line(desk, "<i>x R9").text):
        assert "<b>Wren" not in page
        assert "<i>x" not in page


def test_the_roster_is_found_filtered_and_counted(desk, database):
    states = {"Wren": CHECKED_IN, "Otter": WITHDRAWN, "Rook": NO_SHOW, "Quill": CHECKED_IN}
    for callsign, state in states.items():
        pilot_id = add(
            database, callsign, tunes="?" if callsign == "Quill" else "R", name=f"{callsign}s name"
        ).id
        with database.write() as session:
            day = days.day_with(session, "tern")
            pilots.set_state(session, day, pilots.pilot_of(session, day, pilot_id), state, "desk", NOW)

    def shown(**query):
        page = desk.get("/days/tern/check-in/roster", params=query, headers=PARTIAL).text
        return re.findall(r'<th scope="row"><a class="callsign"[^>]*>([^<]+)', page)

    assert shown() == ["Otter", "Quill", "Rook", "Wren"]
    assert shown(q="OT") == ["Otter"]
    assert shown(q="wrens na") == ["Wren"]
    assert shown(only="withdrawn") == ["Otter"]
    assert shown(only="gear not known") == ["Quill"]
    assert shown(only="nonsense") == shown()
    page = desk.get("/days/tern/check-in", params={"q": "zz"}).text
    assert "2 checked in" in page
    assert "1 withdrawn · 1 no-show" in text_of(page)
    assert "Nobody among the 4 on the roster passes this filter." in page


def test_the_row_of_who_was_just_withdrawn_stays_for_undo_whatever_is_filtered(desk, database):
    wren = add(database)
    form = {"state": "withdrawn", "only": "checked in", "q": ""}
    answer = desk.post(f"/days/tern/pilots/{wren.id}/state", data=form, headers=PARTIAL)
    assert "Bring back" in answer.text
    assert f'id="pilot-{wren.id}"' in answer.text
    assert roster(database)["Wren"].state == WITHDRAWN
    desk.post(f"/days/tern/pilots/{wren.id}/state", data={"state": "checked in"}, headers=PARTIAL)
    assert roster(database)["Wren"].state == CHECKED_IN


def test_without_script_a_button_leads_back_to_its_row(desk, database):
    wren = add(database)
    answer = desk.post(f"/days/tern/pilots/{wren.id}/state", data={"state": "no-show"})
    assert answer.headers["Location"] == f"/days/tern/check-in#pilot-{wren.id}"
    assert desk.post(f"/days/tern/pilots/{wren.id}/state", data={"state": "gone"}).status_code == 422


def test_the_answer_is_gone_once_the_addition_is_undone(desk, database):
    wren = add(database)
    assert "Set <strong" in desk.get(f"/days/tern/check-in?added={wren.id}").text
    answer = desk.post(f"/days/tern/pilots/{wren.id}/state", data={"state": "withdrawn"}, headers=PARTIAL)
    assert 'id="answer" hx-swap-oob="true">\n</div>' in answer.text
    for pilot_id in (wren.id, 999):
        assert "Set <strong" not in desk.get(f"/days/tern/check-in?added={pilot_id}").text


def roster_news(desk):
    """Where the page asks whether the roster changed."""
    return html.unescape(
        re.search(r'hx-get="([^"]+/check-in/news[^"]+)"', desk.get("/days/tern/check-in").text)[1]
    )


def test_the_page_hears_that_the_roster_changed_elsewhere(desk, database):
    wren = add(database)
    news = roster_news(desk)
    assert desk.get(news, headers=PARTIAL).status_code == 204
    desk.post(f"/days/tern/pilots/{wren.id}/state", data={"state": "no-show"})
    assert "The roster changed since it was shown." in desk.get(news, headers=PARTIAL).text


def test_what_leaves_the_roster_as_it_is_is_no_news_of_it(desk, database):
    add(database)
    news = roster_news(desk)
    with database.write() as session:
        day = days.day_with(session, "tern")
        flight_line.everybody_land(session, day, "Air ambulance.", "director", NOW)
        assert database.order(session, day.id) > int(re.search(r"since=(\d+)", news)[1])
    assert desk.get(news, headers=PARTIAL).status_code == 204


def test_a_pilot_s_link_is_shown_on_demand_with_its_code(desk, database):
    wren = add(database)
    assert wren.link_token not in desk.get("/days/tern/check-in").text
    for headers in (PARTIAL, {}):
        answer = desk.get(f"/days/tern/pilots/{wren.id}/link", headers=headers)
        assert f"/slot/{wren.link_token}" in answer.text
        assert "<svg" in answer.text


def test_codes_lead_to_the_address_chosen_for_the_day(desk, database):
    with database.write() as session:
        days.day_with(session, "tern").base_url = "http://192.168.8.2:8000"
    page = desk.get("/days/tern/check-in").text
    assert "192.168.8.2:8000/join/tern" in page
    assert "Phones cannot reach this address" not in page


def test_phones_are_not_sent_to_localhost_without_a_word(desk, monkeypatch):
    monkeypatch.setattr("server.services.base_urls.own_addresses", lambda: ())
    assert "Phones cannot reach this address" in desk.get("/days/tern/check-in").text
    monkeypatch.setattr("server.services.base_urls.own_addresses", lambda: ("192.168.8.7",))
    assert "192.168.8.7:8000/join/tern" in desk.get("/days/tern/check-in").text


@pytest.mark.parametrize(
    ("host", "origins", "is_said"),
    [
        ("127.0.0.1", (), True),
        ("0.0.0.0", (), False),
        ("127.0.0.1", ("https://day.example",), False),
    ],
)
def test_a_server_that_listens_for_itself_alone_does_not_invite_phones(
    desk, app, monkeypatch, host, origins, is_said
):
    monkeypatch.setattr("server.services.base_urls.own_addresses", lambda: ("192.168.8.7",))
    listening = replace(app.state.settings, host=host, public_origins=origins)
    monkeypatch.setattr(app.state, "settings", listening)
    page = desk.get("/days/tern/check-in").text
    assert ("Phones cannot reach this address" in page) == is_said


def test_the_pilot_s_page_sent_back_untouched_changes_nothing(desk, database):
    wren = add(database, note="one\ntwo", adult_present="yes", antenna="lhcp", receives="R1-R4", pin="R1")
    before = (roster(database)["Wren"], flying(database), entries(database))
    answer = desk.post(f"/days/tern/pilots/{wren.id}", data=page_form(desk, database))
    assert answer.status_code == 303
    after = (roster(database)["Wren"], flying(database), entries(database))
    assert after == before


def entries(database):
    with database.read() as session:
        return len(logbook.newest_first(session, 1, 1000))


def test_pilot_gear_and_a_spare_are_saved_together(desk, database):
    wren = add(database)
    main = flying(database)
    sent = page_form(desk, database) | {
        "pilot-note": "leaves at three",
        f"{main.id}-tunes": "abf",
        f"{main.id}-power_mw": "25/200",
        "new-tunes": "R",
    }
    answer = desk.post(f"/days/tern/pilots/{wren.id}", data=sent)
    assert answer.headers["Location"] == f"/days/tern/pilots/{wren.id}?saved=true"
    assert roster(database)["Wren"].note == "leaves at three"
    assert (flying(database).tunes, flying(database).power_mw) == ("A B F", "25 200")
    page = desk.get(answer.headers["Location"]).text
    assert "Saved." in page
    assert "Fly spare 1" in page


def test_one_fault_on_the_page_saves_nothing_and_loses_nothing(desk, database):
    wren = add(database)
    main = flying(database)
    sent = page_form(desk, database) | {"pilot-note": "typed with care", f"{main.id}-tunes": "Q7"}
    answer = desk.post(f"/days/tern/pilots/{wren.id}", data=sent)
    assert answer.status_code == 422
    assert "typed with care" in answer.text
    assert f'id="{main.id}-tunes-error"' in answer.text
    assert roster(database)["Wren"].note == ""
    assert flying(database).tunes == "R"


def test_a_new_pin_is_held_against_the_new_gear(desk, database):
    wren = add(database)
    main = flying(database)
    sent = page_form(desk, database) | {"pilot-pin": "F4", f"{main.id}-tunes": "F"}
    assert desk.post(f"/days/tern/pilots/{wren.id}", data=sent).status_code == 303
    assert roster(database)["Wren"].provisional_mhz == 5800
    answer = desk.post(
        f"/days/tern/pilots/{wren.id}", data=page_form(desk, database) | {f"{main.id}-tunes": "R"}
    )
    assert answer.status_code == 422
    assert "pins a channel that this gear cannot use" in answer.text


def test_a_callsign_that_reads_like_a_channel_is_refused_and_kept_in_the_line(desk, database):
    answer = desk.post("/days/tern/pilots", data={"line": "R3 all 25 r", "by": "line"})
    assert answer.status_code == 422
    assert "R3 is a channel" in answer.text
    assert "such as R3-Wren" in answer.text
    assert 'value="R3 all 25 r"' in answer.text
    assert not roster(database)


def test_who_is_called_like_a_channel_already_can_be_edited_and_nobody_is_renamed_so(desk, database):
    with database.write() as session:
        r3 = make_pilot(session, days.day_with(session, "tern"), "R3")
    address = f"/days/tern/pilots/{r3.id}"
    assert (
        desk.post(address, data=page_form(desk, database, "R3") | {"pilot-note": "by bus"}).status_code == 303
    )
    assert roster(database)["R3"].note == "by bus"
    refused = desk.post(address, data=page_form(desk, database, "R3") | {"pilot-callsign": "F8"})
    assert refused.status_code == 422
    assert "F8 is a channel" in refused.text


def test_two_parts_that_were_overtaken_are_one_choice(desk, database):
    wren = add(database)
    main = flying(database)
    mine, theirs = (
        page_form(desk, database) | {"pilot-note": text, f"{main.id}-tunes": tunes}
        for text, tunes in (("mine", "F"), ("theirs", "A"))
    )
    desk.post(f"/days/tern/pilots/{wren.id}", data=theirs)
    answer = desk.post(f"/days/tern/pilots/{wren.id}", data=mine)
    assert answer.text.count("Somebody else changed Wren") == 2
    assert answer.text.count("Save mine</button>") == 1


def test_an_overtaken_page_shows_both_versions_and_saves_after_a_second_look(desk, database):
    wren = add(database)
    main = flying(database)
    mine = page_form(desk, database) | {"pilot-note": "mine", f"{main.id}-power_mw": "25 200"}
    theirs = page_form(desk, database) | {"pilot-note": "theirs", "pilot-spotter": "Ann"}
    assert desk.post(f"/days/tern/pilots/{wren.id}", data=theirs).status_code == 303

    answer = desk.post(f"/days/tern/pilots/{wren.id}", data=mine)
    assert answer.status_code == 409
    assert "Somebody else changed Wren since this page was loaded (director, " in answer.text
    assert ">\nmine</textarea>" in answer.text
    assert "Saved meanwhile by somebody else: theirs" in answer.text
    assert 'value="25 200"' in answer.text
    assert roster(database)["Wren"].note == "theirs"
    assert flying(database).power_mw == ""


def test_swapping_aircraft_and_choosing_anew_by_button(desk, database):
    wren = add(database)
    desk.post(f"/days/tern/pilots/{wren.id}", data=page_form(desk, database) | {"new-tunes": "F"})
    with database.read() as session:
        spare = stored.aircraft_of(session, wren.id)[1]
    assert desk.post(f"/days/tern/pilots/{wren.id}/aircraft/{spare.id}/fly").status_code == 303
    assert flying(database).name == "spare 1"
    answer = desk.post(f"/days/tern/pilots/{wren.id}/channel", data={"back": "pilot"})
    assert answer.headers["Location"] == f"/days/tern/pilots/{wren.id}"


def test_a_pilot_of_another_day_is_not_found_under_this_one(desk, database):
    wren = add(database)
    with database.write() as session:
        make_day(session, code="moor")
    for part in ("", "/link"):
        assert desk.get(f"/days/moor/pilots/{wren.id}{part}").status_code == 404
    assert desk.post(f"/days/moor/pilots/{wren.id}/state", data={"state": "withdrawn"}).status_code == 404


def test_a_channel_that_the_day_no_longer_allows_is_marked(desk, database):
    wren = add(database, tunes="R1")
    with database.write() as session:
        days.day_with(session, "tern").settings_json = days.DaySettings(bans=(5658,)).model_dump_json()
    page = desk.get("/days/tern/check-in").text
    assert "not allowed today" in page
    assert f'id="give-{wren.id}"' in page


def test_a_callsign_alone_calls_up_who_is_on_the_roster_and_gives_a_channel(desk, database):
    add(database, tunes="R1")
    with database.write() as session:
        stored.by_callsign_key(session, 1, "wren").provisional_mhz = None
    assert "is on the roster Enter says the channel" in text_of(
        desk.get("/days/tern/check-in/echo", params={"line": "wren"}).text
    )
    assert "Set Wren to R1 5658 MHz" in text_of(type_line(desk, "wren").text)
    before = entries(database)
    assert "Set Wren to R1 5658 MHz" in text_of(type_line(desk, "wren").text)
    assert entries(database) == before


def test_giving_a_channel_says_it_as_large_as_at_check_in(desk, database):
    wren = add(database, tunes="R1")
    answer = desk.post(f"/days/tern/pilots/{wren.id}/channel", headers=PARTIAL)
    assert "Set Wren to R1 5658 MHz" in text_of(answer.text)
    assert 'id="line"' not in answer.text  # a line that is being typed stays
    answer = desk.post(f"/days/tern/pilots/{wren.id}/channel")
    assert answer.headers["Location"] == f"/days/tern/check-in?added={wren.id}"


def test_pilots_see_their_provisional_channel_at_once(desk, database, client):
    type_line(desk, "Wren R1 25")
    wren = roster(database)["Wren"]
    assert "5658" in client.get(f"/slot/{wren.link_token}").text
