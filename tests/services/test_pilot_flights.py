import pytest

from server.services.pilot_flights import Stay, flights_of_pilots
from tests.services.heat_sheet_plans import make_sheet


def test_heats_on_one_channel_are_one_stay_and_a_retune_begins_another():
    sheet = make_sheet(
        [[("Wren", "R1")], [("Otter", "R8")], [("Wren", "R1")], [("Wren", "F4")]], heats_a_round=2
    )
    otter, wren = sheet.pilots
    assert wren.stays == (Stay("R1", 5658, 25, ((1, 1), (3, 2))), Stay("F4", 5800, 25, ((4, 2),)))
    assert otter.stays == (Stay("R8", 5917, 25, ((2, 1),)),)


def test_a_way_back_is_a_stay_of_its_own():
    (wren,) = make_sheet([[("Wren", label)] for label in ("R1", "R2", "R1")]).pilots
    assert [stay.channel for stay in wren.stays] == ["R1", "R2", "R1"]


def test_another_power_is_another_stay():
    heats = make_sheet([[("Wren", "R1")], [("Wren", "R1")]]).heats
    heats[1]["slots"][0]["power_mw"] = 200
    (wren,) = flights_of_pilots(heats)
    assert [(stay.power_mw, stay.heats) for stay in wren.stays] == [(25, ((1, 1),)), (200, ((2, 1),))]


@pytest.mark.parametrize(
    "callsigns",
    [
        ["aardvark", "Biscuit", "Zebra"],  # capitals do not count
        ["Écureuil", "Egret", "Élan"],  # nor do accents
        ["7up", "Wren", "Κίσσα", "Дрозд"],  # figures, Latin, Greek, Cyrillic
    ],
)
def test_pilots_stand_as_in_an_index(callsigns):
    sheet = make_sheet([[(callsign, "R1")] for callsign in reversed(callsigns)])
    assert [pilot.callsign for pilot in sheet.pilots] == callsigns
