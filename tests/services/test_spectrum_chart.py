"""The drawing against the numbers that it draws: places to scale, nothing over anything else."""

import itertools

import pytest

from server.radio.mixing import product_frequency_mhz, third_order_products
from server.services import snapshots
from server.services.cause_words import MINUS, TIMES
from server.services.drafts import DraftContent, DraftHeat, DraftSlot
from server.services.plan_basis import basis_of
from server.services.spectrum_chart import (
    LABEL_ROW,
    NARROW,
    PRODUCTS,
    ROOM_MHZ,
    SPOILS_AT,
    THINNEST_BLOCK,
    WIDE,
    charts,
    spectrum_chart,
)
from server.storage import pilots
from tests.services.planned_days import RACE_MHZ, day_with_pilots

EIGHT = ("Wren", "Otter", "Rook", "Quill", "Teasel", "Umber", "Vesper", "Zephyr")


def drawn_from(session, callsigns=EIGHT, mhz=RACE_MHZ, power_mw=25.0, **values):
    """The snapshot of a day of one heat, its pilots on these channels."""
    day = day_with_pilots(session, *callsigns, **values)
    ids = [pilot.id for pilot in pilots.of_day(session, day.id)]
    slots = tuple(DraftSlot(*slot, power_mw) for slot in zip(ids, mhz, strict=False))
    content = DraftContent((DraftHeat(1, slots),))
    return snapshots.compose(day, content, basis_of(session, day, content), None)


def chart_of(snapshot, width=WIDE, **values):
    chart = spectrum_chart(snapshot, snapshot["heats"][0], width, **values)
    assert chart is not None
    return chart


def mhz_at(chart, snapshot, x):
    """The frequency of a place, by the two ends of the axis."""
    low = snapshot["spectrum"]["low_mhz"] - ROOM_MHZ
    high = snapshot["spectrum"]["high_mhz"] + ROOM_MHZ
    return low + (x - chart.left) * (high - low) / (chart.right - chart.left)


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_a_mast_stands_at_its_frequency_on_a_foot_as_wide_as_the_signal(session, width):
    snapshot = drawn_from(session)
    chart = chart_of(snapshot, width)
    mhz_of_a_unit = mhz_at(chart, snapshot, 1) - mhz_at(chart, snapshot, 0)
    assert [mast.mhz for mast in chart.masts] == list(RACE_MHZ)
    for mast in chart.masts:
        assert mhz_at(chart, snapshot, mast.x) == pytest.approx(mast.mhz, abs=mhz_of_a_unit / 10)
        assert mast.foot_width * mhz_of_a_unit == pytest.approx(10, abs=mhz_of_a_unit / 10)
        assert mast.foot_x + mast.foot_width / 2 == pytest.approx(mast.x, abs=0.11)


def test_windows_are_as_wide_as_the_receiver_and_bear_the_margin(session):
    snapshot = drawn_from(session)
    chart = chart_of(snapshot)
    scale = (chart.right - chart.left) / (
        mhz_at(chart, snapshot, chart.right) - mhz_at(chart, snapshot, chart.left)
    )
    for window, mast, slot in zip(chart.windows, chart.masts, snapshot["heats"][0]["slots"], strict=True):
        assert window.width == pytest.approx(27 * scale, abs=0.1)
        assert window.x + window.width / 2 == pytest.approx(mast.x, abs=0.11)
        assert window.margin == f"{slot['margin_db']:+.1f}".replace("-", MINUS)


def test_products_hang_where_the_mixing_puts_them(session):
    snapshot = drawn_from(session, EIGHT[:4], (5658, 5690, 5745, 5800))
    chart = chart_of(snapshot)
    mixed = set(product_frequency_mhz(third_order_products(4), [5658, 5690, 5745, 5800]).tolist())
    assert {one.mhz for one in chart.products} <= mixed
    assert 2 * 5690 - 5658 in {one.mhz for one in chart.products}
    for one in chart.products:
        assert mhz_at(chart, snapshot, one.x) == pytest.approx(one.mhz, abs=0.05)


def test_the_length_of_a_product_is_its_level_and_the_line_spoils_a_picture(session):
    snapshot = drawn_from(session)
    snapshot["heats"][0] |= {
        "weakest_wanted_dbm": -60.0,
        "products": [
            {"mhz": 5700 + place, "level_dbm": level_dbm, "of": ["Wren", "Wren", "Otter"]}
            for place, level_dbm in enumerate((-88.0, -108.0, -127.0, -128.0, -40.0))
        ],
    }
    chart = chart_of(snapshot)
    # 28 dB below the weakest picture is the planning criterion; 40 dB below that there is nothing left.
    lengths = {one.mhz: one.length for one in chart.products}
    assert lengths == {5700: SPOILS_AT, 5701: SPOILS_AT / 2, 5702: pytest.approx(1.2), 5704: PRODUCTS}
    assert chart.spoils_y - chart.axis_y == SPOILS_AT
    assert chart.products[0].words == f"2 {TIMES} Wren {MINUS} Otter: 5700 MHz, {MINUS}88 dBm"


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("mhz", [RACE_MHZ, (5658, 5663, 5668, 5700, 5705, 5890, 5900, 5917)])
def test_no_flag_flies_across_a_mast_or_a_flag(session, width, mhz):
    chart = chart_of(drawn_from(session, mhz=mhz), width)
    for mast, other in itertools.permutations(chart.masts, 2):
        # At least six units a letter.
        end = mast.x + 5 + 6 * (len(mast.label) + 1 + len(mast.name))
        reaches_it = other.top <= mast.top + LABEL_ROW / 2
        assert not (mast.x < other.x <= end and reaches_it)


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_no_bracket_meets_another(session, width):
    chart = chart_of(drawn_from(session, mhz=(5658, 5663, 5668, 5700, 5705, 5890, 5900, 5917)), width)
    for one, other in itertools.combinations(chart.windows, 2):
        assert one.y != other.y or one.x + one.width < other.x
    assert max(one.y for one in chart.windows) < chart.scale_y < chart.height


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_a_long_callsign_is_cut_where_the_drawing_ends(session, width):
    chart = chart_of(drawn_from(session, ("W" * 24, "O" * 24), (5658, 5917)), width)
    for mast in chart.masts:
        assert mast.name.endswith("\N{HORIZONTAL ELLIPSIS}")
        assert mast.x + 5 + 6 * (len(mast.label) + 1 + len(mast.name)) < width
    assert [mast.callsign for mast in chart.masts] == ["W" * 24, "O" * 24]


def test_the_frame_is_the_rules_and_radars_are_hatched(session):
    snapshot = drawn_from(session)
    snapshot["spectrum"]["ranges_mhz"] = [[5650, 5925], [5470, 5500]]
    snapshot["spectrum"]["low_mhz"] = 5640
    chart = chart_of(snapshot)
    (frame,), (radars,) = chart.allowed, chart.flagged
    assert mhz_at(chart, snapshot, frame.x) == pytest.approx(5650, abs=0.1)
    assert mhz_at(chart, snapshot, frame.x + frame.width) == pytest.approx(5925, abs=0.1)
    assert frame.words == "5650\N{EN DASH}5925 MHz"
    assert mhz_at(chart, snapshot, radars.x + radars.width) == pytest.approx(5650, abs=0.1)


def test_the_words_say_what_the_drawing_shows(session):
    snapshot = drawn_from(session, EIGHT[:3], (5732, 5658, 5695), power_mw=200.0)
    words = chart_of(snapshot).words
    assert words.startswith("From the lowest frequency: Otter on R1 5658 MHz, margin ")
    assert words.index("Rook on R2 5695 MHz") < words.index("Wren on R3 5732 MHz")
    strongest = max(snapshot["heats"][0]["products"], key=lambda one: one["level_dbm"])
    assert f"lands on {strongest['mhz']} MHz" in words


def test_a_pilot_alone_makes_no_product(session):
    chart = chart_of(drawn_from(session, ("Wren",)))
    assert chart.words == "From the lowest frequency: Wren on R1 5658 MHz, alone. No product lands anywhere."
    assert (chart.products, chart.windows[0].margin) == ((), "alone")


def test_a_pilot_on_trial_leaves_a_mark_where_the_channel_was(session):
    snapshot = drawn_from(session, EIGHT[:2], (5658, 5732))
    before = snapshot["heats"][0]
    wren, otter = before["slots"]
    after = {**before, "slots": [{**wren, "mhz": 5695}, otter]}
    chart = spectrum_chart(snapshot, after, WIDE, before)
    assert chart.moved == wren["pilot_id"]
    assert mhz_at(chart, snapshot, chart.was_x) == pytest.approx(5658, abs=0.1)
    assert spectrum_chart(snapshot, before, WIDE, before).was_x is None


def test_a_transmitter_that_is_still_on_stands_in_every_heat_ahead(session):
    snapshot = drawn_from(session, EIGHT[:2], (5658, 5732))
    snapshot["down"] = [{"callsign": "Rook", "mhz": 5800}]
    lost = chart_of(snapshot).masts[-1]
    assert (lost.pilot_id, lost.label, lost.name, lost.mhz) == (None, "DOWN", "Rook", 5800)
    assert "Rook on 5800 MHz, down and still on" in chart_of(snapshot).words
    assert len(chart_of(snapshot).windows) == 2
    assert len(chart_of({**snapshot, "flown_heats": 1}).masts) == 2


def test_on_a_phone_the_height_stays_while_a_pilot_is_stepped(session):
    heights = {
        charts(snapshot, snapshot["heats"][0], is_steady=True)[1].height
        for snapshot in (
            drawn_from(session, EIGHT[:3], (5658, 5740, mhz)) for mhz in (5660, 5700, 5745, 5917)
        )
    }
    assert len(heights) == 1


def test_a_plan_stored_without_a_drawing_has_none(session):
    snapshot = drawn_from(session)
    heat = snapshot.pop("heats")[0]
    assert charts({**snapshot, "spectrum": None}, heat) == ()
    assert charts(snapshot, {**heat, "slots": []}) == ()
    del heat["products"]
    assert charts(snapshot, heat) == ()


VAN = {
    "centre_mhz": 5745.0,
    "width_mhz": 20.0,
    "level_dbm": -62.4,
    "words": "the outside signal at 5745 MHz",
}


class TestOutsideSignals:
    def test_a_block_stands_on_the_axis_as_wide_as_it_is(self, session):
        snapshot = drawn_from(session) | {"outside": [VAN]}
        chart = chart_of(snapshot)
        (block,) = chart.outside
        assert mhz_at(chart, snapshot, block.x) == pytest.approx(5735, abs=0.2)
        assert mhz_at(chart, snapshot, block.x + block.width) == pytest.approx(5755, abs=0.2)
        assert block.top + block.height == chart.axis_y
        assert block.level == f"{MINUS}62"
        assert block.words == f"The outside signal at 5745 MHz, 20 MHz wide, {MINUS}62 dBm"
        assert f"{block.words}." in chart.words

    def test_a_carrier_is_wide_enough_to_be_seen_and_has_no_room_for_its_level(self, session):
        (block,) = chart_of(drawn_from(session) | {"outside": [VAN | {"width_mhz": 0.0}]}).outside
        assert block.width == THINNEST_BLOCK
        assert block.level == ""
        assert "a carrier" in block.words

    def test_one_beyond_the_channels_is_told_and_not_drawn(self, session):
        chart = chart_of(drawn_from(session) | {"outside": [VAN | {"centre_mhz": 5400.0}]})
        assert chart.outside == ()
        assert "20 MHz wide" in chart.words

    def test_heats_that_were_flown_and_older_plans_show_none(self, session):
        snapshot = drawn_from(session) | {"outside": [VAN], "flown_heats": 1}
        assert chart_of(snapshot).outside == ()
        del snapshot["outside"]
        assert chart_of(snapshot).outside == ()
