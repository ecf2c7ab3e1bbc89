import pytest

from server.services.spectrum_strips import label_rows, strip
from tests.services.heat_sheet_plans import make_sheet


def test_a_strip_shows_the_carriers_of_its_heat_from_the_left():
    sheet = make_sheet([[("Wren", "R8"), ("Otter", 5810), ("Rook", "R1")]])
    shown = strip(sheet.plan, sheet.heats[0])
    assert [(one["mhz"], one["label"], one["row"]) for one in shown["carriers"]] == [
        (5658, "R1", 0),
        (5810, "", 0),
        (5917, "R8", 0),
    ]
    assert (shown["low"], shown["high"]) == (5645 - 16, 5945 + 16)
    assert (shown["ranges"], shown["occupied"]) == ([[5650, 5925]], 10)


def test_what_is_down_or_from_outside_is_shown_in_the_heats_ahead_only():
    outside = [{"centre_mhz": 5745, "width_mhz": 20}, {"centre_mhz": 5640, "width_mhz": 40}]
    sheet = make_sheet(
        [[("Wren", "R1")], [("Wren", "R1")]],
        flown_heats=1,
        down=[{"callsign": "Rook", "mhz": 5800}],
        outside=[*outside, {"centre_mhz": 5200, "width_mhz": 20}],
    )
    flown, ahead = (strip(sheet.plan, heat) for heat in sheet.heats)
    assert ([one["label"] for one in flown["carriers"]], flown["outside"]) == (["R1"], [])
    assert [(one["label"], one["is_down"]) for one in ahead["carriers"]] == [("R1", False), ("DOWN", True)]
    assert ahead["outside"] == [(5735.0, 5755.0), (5629, 5660.0)]  # cut where the strip ends


def test_a_plan_that_was_stored_without_its_spectrum_has_no_strip():
    sheet = make_sheet([[("Wren", "R1")]], spectrum=None)
    assert strip(sheet.plan, sheet.heats[0]) is None


@pytest.mark.parametrize(
    ("places", "rows"),
    [
        ([5658, 5668, 5700], [0, 0, 0]),  # just beside each other
        ([5658, 5667, 5668], [0, 1, 0]),
        ([5658, 5660, 5662], [0, 1, 2]),
        ([], []),
    ],
)
def test_labels_that_would_meet_go_to_different_rows(places, rows):
    assert label_rows(places, 10) == rows
