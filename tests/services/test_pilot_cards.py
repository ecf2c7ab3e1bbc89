from server.services.pilot_cards import links_of_pilots, pilot_cards
from server.services.qr_codes import qr_svg
from tests.factories import make_day, make_pilot
from tests.services.heat_sheet_plans import make_sheet


def test_a_card_leads_to_the_pilots_own_page():
    sheet = make_sheet([[("Wren", "R1"), ("Otter", "R8")]])
    otter, wren = pilot_cards(sheet.heats, {1: "http://192.168.8.2:8000/slot/wren"})
    assert (otter["callsign"], otter["qr"]) == ("Otter", None)
    assert (wren["callsign"], wren["qr"]) == ("Wren", qr_svg("http://192.168.8.2:8000/slot/wren"))
    assert wren["stays"] == [{"channel": "R1", "mhz": 5658, "power_mw": 25, "heats": [1]}]


def test_links_are_those_of_the_day_under_the_address_for_phones(database):
    with database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000/")
        wren = make_pilot(session, day, "Wren")
        make_pilot(session, make_day(session, base_url="http://192.168.8.2:8000"), "Otter")
        assert links_of_pilots(session, day) == {wren.id: f"http://192.168.8.2:8000/slot/{wren.link_token}"}


def test_without_an_address_for_phones_there_are_no_links(database):
    with database.write() as session:
        day = make_day(session)
        make_pilot(session, day, "Wren")
        assert links_of_pilots(session, day) == {}


def test_a_fourth_channel_goes_to_a_second_card():
    cards = pilot_cards(make_sheet([[("Wren", label)] for label in ("R1", "R2", "R3", "R4")]).heats, {})
    assert [[stay["channel"] for stay in card["stays"]] for card in cards] == [["R1", "R2", "R3"], ["R4"]]
    assert [(card["part"], card["parts"]) for card in cards] == [(1, 2), (2, 2)]


def test_a_card_holds_twelve_heats():
    for count, parts in ((12, [list(range(1, 13))]), (13, [list(range(1, 13)), [13]])):
        cards = pilot_cards(make_sheet([[("Wren", "R1")]] * count).heats, {})
        assert [card["stays"][0]["heats"] for card in cards] == parts


def test_heats_of_several_channels_share_the_room_of_a_card():
    labels = ["R1"] * 8 + ["R2"] * 8
    first, second = pilot_cards(make_sheet([[("Wren", label)] for label in labels]).heats, {})
    assert [len(stay["heats"]) for stay in first["stays"]] == [8, 4]
    assert [(stay["channel"], stay["heats"]) for stay in second["stays"]] == [("R2", [13, 14, 15, 16])]
