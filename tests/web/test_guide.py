"""The field guide: for everybody, with figures of the model, and on one sheet."""

import html

from server.radio.interference import site_ceiling_db
from server.radio.site import Site


def test_anybody_can_read_the_guide(client):
    answer = client.get("/guide")
    assert answer.status_code == 200
    assert "What Bandstand does not know" in answer.text
    assert "The director's voice outranks every screen" in html.unescape(answer.text)


def test_ceilings_are_those_of_the_usual_field(client):
    page = html.unescape(client.get("/guide").text)
    assert (Site().near_m, Site().far_m) == (8, 80)
    for aircraft in range(3, 9):
        shown = f"{site_ceiling_db(aircraft, Site()):+.1f}".replace("-", "\N{MINUS SIGN}")
        assert f"{shown}\N{NO-BREAK SPACE}dB" in page


def test_the_director_finds_it_at_the_foot_of_every_page(director):
    assert 'href="/guide"' in director.get("/days").text
