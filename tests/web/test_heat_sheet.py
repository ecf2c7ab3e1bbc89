import json
import re

import pytest

from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish

FILES = ("plan.csv", "plan.json")


@pytest.fixture
def day_code(database):
    """A day on which plan 2, where Wren flies on R2, has replaced plan 1, where it was R1."""
    with database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000")
        wren = make_pilot(session, day, "Wren", name="Jo Example")
        otter = make_pilot(session, day, "<b>Otter</b>", name="Sam Example")
        publish(session, day, [[(wren, "R1"), (otter, "R8")]])
        publish(session, day, [[(wren, "R2"), (otter, "R8")], [(wren, "R2")]])
        return day.code


def words_of(html: str) -> str:
    return " ".join(re.sub(r"<svg.*?</svg>|<[^>]+>", " ", html, flags=re.S).split())


def test_the_page_shows_the_latest_plan_by_heat(director, day_code):
    text = words_of(director.get(f"/days/{day_code}/heat-sheet").text)
    assert "Plan 2, published 16 May 2026, 10:30 (Europe/Dublin)" in text
    assert "Replaces plan 1: throw away its sheets." in text
    assert "Within the rules chosen for this day: Club permit (invented, 2026)." in text
    assert (
        "Heat 1 Round 1 worst margin +1.0 dB ; +1.0 dB is the most possible here Wren R2 5695 MHz 25 mW"
        in text
    )
    assert "Heat 2" in text
    assert "do not use this sheet" not in text


def test_the_page_shows_a_plan_by_channel(director, day_code):
    text = words_of(director.get(f"/days/{day_code}/heat-sheet?by=channel").text)
    assert "R2 5695 MHz MHz in every heat 1 Wren 25 mW right-hand 2 Wren 25 mW right-hand" in text
    assert "R8 5917 MHz MHz nobody in heat 2 1 &lt;b&gt;Otter&lt;/b&gt;" in text


def test_the_page_shows_a_plan_by_pilot(director, database):
    with database.write() as session:
        day = make_day(session)
        wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter")
        publish(session, day, [[(wren, "R1")], [(otter, "R8")], [(wren, "R1")], [(wren, "F4")]])
    text = words_of(director.get(f"/days/{day.code}/heat-sheet?by=pilot").text)
    assert (
        "Power Heats Otter R8 5917 MHz 25 mW 2 Wren R1 5658 MHz 25 mW 1, 3 "
        "Wren, then retune to F4 5800 MHz 25 mW 4" in text
    )


def test_an_earlier_plan_is_shown_as_it_was_with_the_way_to_the_present_one(director, day_code):
    html = director.get(f"/days/{day_code}/heat-sheet?plan=1").text
    assert "Plan 2 has replaced this plan: do not use this sheet." in words_of(html)
    assert f'href="/days/{day_code}/heat-sheet">Show plan 2</a>' in html
    assert "Wren R1 5658 MHz" in words_of(html)


def test_every_printed_page_repeats_plan_and_time(director, day_code):
    for by, columns in (("heat", 7), ("pilot", 4), ("channel", 4)):
        html = director.get(f"/days/{day_code}/heat-sheet?plan=1&by={by}").text
        head = re.search(r"<thead>(.*?)</thead>", html, re.S)[1]
        assert f'class="only-print sheet__running"><td colspan="{columns}">' in head
        assert "Plan 1, published 16 May 2026, 10:30 (Europe/Dublin)" in head
        assert "replaced by plan 2: do not use" in head
        assert len(re.findall(r'<tbody class="keep-together">', html)) >= 1


def test_nobodys_name_is_on_the_sheet_or_in_a_file(director, day_code):
    for address in ("heat-sheet", "heat-sheet?by=channel", "plan.csv", "plan.json"):
        assert "Example" not in director.get(f"/days/{day_code}/{address}").text


def test_before_publishing_the_page_says_what_comes_first(director, database):
    with database.write() as session:
        code = make_day(session).code
    answer = director.get(f"/days/{code}/heat-sheet")
    assert answer.status_code == 200
    assert "No plan is published yet" in answer.text
    assert f'href="/days/{code}/paper"' in answer.text
    assert "button--primary" not in answer.text


def test_without_an_address_for_phones_the_page_says_why_there_is_no_code(director, database):
    with database.write() as session:
        day = make_day(session)
        publish(session, day, [[(make_pilot(session, day), "R1")]])
    html = director.get(f"/days/{day.code}/heat-sheet").text
    assert "No address for phones is chosen" in html
    assert 'class="qr"' not in html


def test_every_file_of_the_page_can_be_had(director, day_code):
    html = director.get(f"/days/{day_code}/heat-sheet?plan=1").text
    addresses = re.findall(rf'href="(/days/{day_code}/[^"]*\.(?:pdf|csv|json)[^"]*)"', html)
    assert len(addresses) == 3
    for address in addresses:
        answer = director.get(address.replace("&amp;", "&"))
        assert answer.status_code == 200, address
        assert answer.headers["Content-Disposition"].startswith("attachment; filename=")


def test_the_files_hold_what_was_published(director, day_code):
    plan = json.loads(director.get(f"/days/{day_code}/plan.json?plan=1").content)
    assert (plan["schema"], plan["number"]) == (1, 1)
    rows = director.get(f"/days/{day_code}/plan.csv").content.decode("utf-8-sig").splitlines()
    assert len(rows) == 1 + 3
    assert ",Wren,R2,5695,25," in rows[1]


@pytest.mark.parametrize("file", FILES)
def test_no_file_before_publishing(director, database, file):
    with database.write() as session:
        code = make_day(session).code
    answer = director.get(f"/days/{code}/{file}")
    assert answer.status_code == 404
    assert "is published yet: publish one in Channel plan." in answer.text


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("heat-sheet?plan=9", 404),
        ("heat-sheet?plan=two", 422),
        ("heat-sheet?plan=999999999999999999999999", 404),
        ("heat-sheet?by=name", 422),
    ],
)
def test_what_does_not_exist_is_refused_with_a_page(director, day_code, query, status):
    answer = director.get(f"/days/{day_code}/{query}")
    assert answer.status_code == status
    assert "<h1>" in answer.text


def test_strangers_get_neither_page_nor_file(client, day_code):
    for address in ("heat-sheet", *FILES):
        assert client.get(f"/days/{day_code}/{address}").status_code == 303
