"""The page Site & rules: what it shows, what it takes, and that nothing typed is lost."""

import html
import re
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.main import create_app
from server.services import days
from server.services.days import settings_of, site_of
from server.services.roles import ORGANIZER
from server.services.site_fields import LABELS, fields_of
from tests.factories import NOW, make_day, make_pilot
from tests.web.conftest import ADDRESS, signed_in_as

PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def code(database):
    with database.write() as session:
        return make_day(session).code


def day_of(database, code):
    with database.read() as session:
        return days.day_with(session, code)


def posted(database, code, **typed):
    """The form as a browser sends it: every field, what stood there before, and the version."""
    day = day_of(database, code)
    shown = fields_of(day)
    return {
        **shown,
        **typed,
        **{f"was_{name}": text for name, text in shown.items()},
        "version": str(day.version),
    }


def save(organizer, database, code, headers=None, **typed):
    return organizer.post(f"/days/{code}/site", data=posted(database, code, **typed), headers=headers or {})


def section(text, name):
    """The part of the page with this id, as text."""
    found = re.search(rf'<section id="{name}".*?</section>', text, re.S)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found[0])))


def test_every_field_of_the_day_stands_on_the_page(organizer, code):
    text = organizer.get(f"/days/{code}/site").text
    assert [name for name in LABELS if f'name="{name}"' not in text] == []
    assert text.count("button--primary") == 1


def test_the_top_says_what_is_published(organizer, code):
    assert "<span>Nothing is published</span>" in organizer.get(f"/days/{code}/site").text


def test_what_follows_from_the_distances_is_shown(organizer, code):
    flying = section(organizer.get(f"/days/{code}/site").text, "flying")
    assert "6 +1.0 dB 4.6 clean" in flying
    assert "8 −0.5 dB 4.4 specks" in flying  # noqa: RUF001 the sign that figures are shown with
    assert "25 mW 198 m 395 m" in flying


def test_what_follows_answers_while_somebody_types(organizer, database, code):
    answer = organizer.post(
        f"/days/{code}/site/preview", data=posted(database, code, near_m="10", far_m="50"), headers=PARTIAL
    )
    assert answer.text.count("<section") == 0
    assert "+7.0" in answer.text  # 28 less 20 log10(50/10) and 10 log10(6 - 1)
    assert site_of(day_of(database, code)).near_m == 8


def test_the_sketch_follows_the_distances_that_stand_in_the_fields(organizer, database, code):
    typed = posted(database, code, near_m="10", far_m="50", pit_m="20")
    text = organizer.post(f"/days/{code}/site/preview", data=typed, headers=PARTIAL).text
    for words in ("near 10 m", "pits 20 m", "far 50 m", "14.0 dB"):  # 20 log10(50/10)
        assert f">{words}</text>" in text
    assert '<div id="site-sketch" hx-swap-oob="true">' in text


@pytest.mark.parametrize("near_m", ["NaN", "", "9e9", "81"])
def test_what_follows_waits_for_distances_that_can_be_used(organizer, database, code, near_m):
    answer = organizer.post(
        f"/days/{code}/site/preview", data=posted(database, code, near_m=near_m), headers=PARTIAL
    )
    assert answer.status_code == 200
    assert "that can be used to see what follows" in answer.text
    assert "<svg" not in answer.text


@pytest.mark.parametrize(
    ("preset", "distances"), [("hall", "2 15 5"), ("club field", "8 80 30"), ("long field", "15 150 50")]
)
def test_a_preset_fills_the_distances_and_keeps_the_rest(organizer, database, code, preset, distances):
    data = posted(database, code, rounds="3", near_m="4") | {"preset": preset}
    text = organizer.post(f"/days/{code}/site/preview", data=data).text
    for name, value in zip(("near_m", "far_m", "pit_m"), distances.split(), strict=True):
        assert re.search(rf'<input id="{name}" name="{name}" type="text" value="{value}"', text)
    assert 'name="rounds" type="text" value="3"' in text
    assert "Nothing is saved yet" in text


def test_a_preset_of_the_receivers_fills_their_intercept_point(organizer, database, code):
    data = posted(database, code) | {"receiver_preset": "built into goggles"}
    text = organizer.post(f"/days/{code}/site/preview", data=data).text
    assert 'name="iip3_dbm" value="-15"' in text


def test_a_saved_page_leads_back_to_itself(organizer, database, code):
    answer = save(organizer, database, code, near_m="10", bans=["5732", "5800", "5790"])
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/days/{code}/site?saved=yes"
    day = day_of(database, code)
    assert site_of(day).near_m == 10
    assert settings_of(day).bans == (5732, 5790, 5800)
    assert "Saved. The logbook tells what changed." in organizer.get(answer.headers["location"]).text


def test_htmx_gets_the_form_anew_with_what_was_changed(organizer, database, code):
    answer = save(organizer, database, code, headers=PARTIAL, rounds="3")
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert "Changed rounds from 1 to 3." in answer.text
    assert "Saved 10:30:00" in answer.text  # 09:30 UTC in Dublin's summer


def test_faults_stand_under_their_fields_and_nothing_typed_is_lost(organizer, database, code):
    typed = {
        "near_m": "NaN",
        "rounds": "9" * 40,
        "iip3_dbm": '"><b>',
        "responsibility": "I hold the permit.",
        "own_ranges": "5850-5650",
        "own_source": "Permit",
        "rules": "own",
        "bans": ["5732", "R9"],
    }
    answer = save(organizer, database, code, headers=PARTIAL, **typed)
    assert answer.status_code == 422
    text = html.unescape(answer.text)
    for name in ("near_m", "rounds", "iip3_dbm", "own_ranges", "bans"):
        assert f'id="{name}-error"' in text
    assert 'value="NaN"' in text
    assert "9" * 40 in text
    assert ">\nI hold the permit.</textarea>" in text
    assert "5850-5650" in text
    assert 'value="5732" checked' in text
    assert 'value="R9"' in text
    assert '"><b>' not in answer.text
    assert fields_of(day_of(database, code))["near_m"] == "8"


def test_distances_the_wrong_way_round_are_told(organizer, database, code):
    answer = save(organizer, database, code, near_m="80", far_m="8")
    assert answer.status_code == 422
    assert "Far (8 m) is less than near (80 m): give at least 80 m" in answer.text


def test_an_unknown_rule_set_is_told(organizer, database, code):
    answer = save(organizer, database, code, rules="atlantis")
    assert answer.status_code == 422
    assert "There is no rule set “atlantis”" in answer.text


def test_an_overtaken_form_shows_both_versions_and_can_be_saved_again(organizer, database, code):
    mine = posted(database, code, rounds="4", pit_m="20")
    save(organizer, database, code, near_m="10", pit_m="44")
    answer = organizer.post(f"/days/{code}/site", data=mine)
    assert answer.status_code == 409
    text = " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())
    assert "Near 10 8 as the page showed it: you did not change it" in text
    assert "Pits 44 20" in text
    version = re.search(r'name="version" value="(\d+)"', answer.text)[1]
    again = posted(database, code, rounds="4", pit_m="20") | {"version": version}
    assert organizer.post(f"/days/{code}/site", data=again).status_code == 303
    site = site_of(day_of(database, code))
    assert (site.near_m, site.pit_m) == (10, 20)


@pytest.mark.parametrize("version", ["", "x", "-1", "9" * 30])
def test_a_form_that_does_not_say_what_it_showed_saves_nothing(organizer, database, code, version):
    data = posted(database, code, rounds="4") | {"version": version}
    data = {name: text for name, text in data.items() if not name.startswith("was_")}
    assert organizer.post(f"/days/{code}/site", data=data).status_code == 409
    assert day_of(database, code).rounds == 1


def test_an_upload_in_place_of_text_is_no_text(organizer, database, code):
    data = posted(database, code)
    del data["near_m"]
    answer = organizer.post(f"/days/{code}/site", data=data, files={"near_m": ("near.txt", b"8")})
    assert answer.status_code == 422
    assert "This is empty: give a number from 0.5 to 1000 m." in answer.text


def test_rule_sets_are_listed_with_source_and_how_sure_they_are(organizer, code):
    rules = section(organizer.get(f"/days/{code}/site").text, "rules-part")
    assert "Local rules and the licensed operator decide." in rules
    assert "Source: 47 CFR 15.249; 15.247(a), 2024. Read in a copy of a public page." in rules
    assert "From memory, not confirmed by reading." in rules
    assert "26 of our frequencies fall inside: A1–A7 , B1–B8 , F1–F7 , R3–R6" in rules  # noqa: RUF001
    assert "5350–5460 MHz and 5600–5650 MHz are flagged whatever is chosen" in rules  # noqa: RUF001
    assert "E4 (5645 MHz)" in rules


def test_the_invented_permit_is_offered_to_the_day_that_chose_it_alone(organizer, database, code):
    assert "Tern Meadow club permit" not in organizer.get(f"/days/{code}/site").text
    save(organizer, database, code, rules="tern-meadow")
    assert "Tern Meadow club permit" in organizer.get(f"/days/{code}/site").text


def test_nothing_on_the_page_is_called_legal(organizer, database, code):
    save(organizer, database, code, rules="eu-short-range")
    assert "legal" not in organizer.get(f"/days/{code}/site").text.lower()


def test_publishing_waits_for_rules_or_responsibility(organizer, database, code):
    assert "No publishing yet" in organizer.get(f"/days/{code}/site").text
    save(organizer, database, code, responsibility="I hold the permit of 3 May.")
    assert "No publishing yet" not in organizer.get(f"/days/{code}/site").text


def test_the_axis_tells_of_each_channel_why_it_is_out(organizer, database, code):
    save(organizer, database, code, rules="eu-short-range", bans="5800")
    titles = re.findall(r"<title>(.*?)</title>", section_markup(organizer, code, "channels"))
    said = {title.split(",")[0]: title for title in titles}
    assert said["A1"].startswith("A1, 5865 MHz: in use.")
    assert "outside 5725-5875 MHz" in said["A8"]
    assert "into 5600-5650 MHz, where radars work" in said["E4"]
    assert said["F4"].startswith("F4, 5800 MHz: out of use today.")
    assert "R7" in said
    assert "F8" in said


def section_markup(organizer, code, name):
    text = organizer.get(f"/days/{code}/site").text
    return re.search(rf'<section id="{name}".*?</section>', text, re.S)[0]


def test_the_axis_is_drawn_without_inline_style(organizer, code):
    assert "style=" not in section_markup(organizer, code, "channels")


def test_every_frequency_of_the_table_can_be_ticked_once(organizer, code):
    values = re.findall(r'name="bans" value="(\d+)"', section_markup(organizer, code, "channels"))
    assert len(values) == len(set(values)) == 47
    assert values == sorted(values)


def test_the_field_network_is_a_part_of_the_radio_plan(organizer, code):
    phones = section(organizer.get(f"/days/{code}/site").text, "phones")
    assert "149–165 lie on 5735–5835 MHz and 100–144 on 5490–5730 MHz" in phones  # noqa: RUF001
    assert "36–48" in phones  # noqa: RUF001


def test_addresses_of_this_machine_are_offered_to_phones(organizer, monkeypatch, code):
    monkeypatch.setattr("server.services.base_urls.own_addresses", lambda: ("192.168.8.2", "10.0.0.7"))
    phones = section_markup(organizer, code, "phones")
    assert 'value="http://192.168.8.2:8000"' in phones
    assert 'value="http://10.0.0.7:8000"' in phones


def test_a_machine_without_a_network_says_what_to_do(organizer, monkeypatch, code):
    monkeypatch.setattr("server.services.base_urls.own_addresses", tuple)
    assert "join it to the field's network" in section(organizer.get(f"/days/{code}/site").text, "phones")


def test_a_changed_address_says_which_codes_are_void_in_the_time_of_the_field(organizer, database, code):
    save(organizer, database, code, base_url="http://192.168.8.2:8000")
    data = posted(database, code) | {"base_url": "other", "base_url_other": "10.0.0.7:8000"}
    organizer.post(f"/days/{code}/site", data=data)
    phones = section(organizer.get(f"/days/{code}/site").text, "phones")
    assert "printed with http://192.168.8.2:8000 before 16 May 10:30:00 are void" in phones
    assert day_of(database, code).base_url == "http://10.0.0.7:8000"


def test_an_address_that_this_machine_does_not_have_is_told(organizer, database, monkeypatch, code):
    monkeypatch.setattr("server.services.base_urls.own_addresses", lambda: ("10.0.0.7",))
    save(organizer, database, code, base_url="http://192.168.8.2:8000")
    assert "does not have http://192.168.8.2:8000 now" in organizer.get(f"/days/{code}/site").text


def test_a_name_that_the_server_does_not_answer_under_is_told(organizer, database, code):
    save(organizer, database, code, base_url="https://field.example")
    assert "BANDSTAND_ALLOWED_HOSTS=field.example" in organizer.get(f"/days/{code}/site").text


def test_the_strongest_transmitter_sets_the_distance_of_the_caution(organizer, database, code):
    assert "1.4 cm" in organizer.get(f"/days/{code}/site").text  # 25 mW, nobody checked in
    with database.write() as session:
        day = days.day_with(session, code)
        make_pilot(session, day, "Wren")
        make_pilot(session, day, "Otter", power_mw="25 200 600")
        make_pilot(session, day, "Rook", power_mw="lots")
    cautions = section(organizer.get(f"/days/{code}/site").text, "cautions")
    assert "Otter's with 600 mW" in cautions
    assert "6.9 cm" in cautions
    for words in ("propellers off", "Fit the antenna, then power", "Test the failsafe", "20 cm"):
        assert words in cautions


def test_strangers_neither_see_nor_change_the_site(client, database, code):
    assert client.get(f"/days/{code}/site").status_code == 303
    assert client.post(f"/days/{code}/site", data=posted(database, code, rounds="4")).status_code == 403
    assert client.post(f"/days/{code}/site/preview", data={}).status_code == 403
    assert day_of(database, code).rounds == 1


def test_an_unknown_day_has_no_site(organizer):
    assert organizer.get("/days/zzzz/site").status_code == 404
    assert organizer.post("/days/zzzz/site", data={}).status_code == 404
    assert organizer.post("/days/zzzz/site/preview", data={"preset": "hall"}).status_code == 404


def test_an_address_of_plain_http_is_warned_of_where_https_alone_is_spoken(settings, database, code):
    with database.write() as session:
        days.day_with(session, code).base_url = "http://192.168.8.2:8000"
    spoken = replace(settings, certificate=Path("own.pem"))
    with TestClient(create_app(spoken, lambda: NOW), ADDRESS, headers={"Origin": ADDRESS}) as browser:
        page = signed_in_as(ORGANIZER, browser, database).get(f"/days/{code}/site").text
    assert "this server speaks https only" in page
