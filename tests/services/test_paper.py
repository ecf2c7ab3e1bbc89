"""The text of each PDF file is what the snapshot says, on every page and in both sizes of paper."""

import io
import re
from datetime import date
from functools import cache

import pytest
from pypdf import PdfReader

from server.services import paper
from server.services.paper import CheckInForm
from server.services.typesetting import as_pdf
from server.web.templating import make_templates
from tests.factories import make_day
from tests.services.heat_sheet_plans import LABELS, large_sheet, make_sheet

SIZES_PT = {"a4": (595, 842), "letter": (612, 792)}
PLAN_LINE = "Plan 4, published 16 May 2026, 10:30 (Europe/Dublin)"
HOSTILE = (
    "#strong[*x*] $a^2$",
    "\\ _a_ `b` <lab> @ref",
    "// c /* d */ ~ -- ---",
    "[ ] { } ( ) ] } )",
    '#sys.inputs "q" #{1}',
    "<b>&amp;</b> = == - + /",
)


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page, each space or line end as one space."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def sizes_of(pdf: bytes) -> set[tuple[int, int]]:
    boxes = [page.mediabox for page in PdfReader(io.BytesIO(pdf)).pages]
    return {(round(box.width), round(box.height)) for box in boxes}


def unspaced(text: str) -> str:
    """What is said, wherever its lines end."""
    return re.sub(r"\s", "", text)


@pytest.fixture(scope="module")
def sheet():
    """Two heats of which one has a pilot alone, another a pilot who changes channel."""
    sheet = make_sheet(
        [[("Wren", "R1"), ("Otter", "R8")], [("Wren", "F4")]],
        replaces=3,
        warnings=["Rook cannot go below 200 mW."],
        moves=[
            {
                "pilot_id": 1,
                "callsign": "Wren",
                "from_channel": "R2",
                "from_mhz": 5695,
                "to_channel": "R1",
                "to_mhz": 5658,
            }
        ],
    )
    first, second = sheet.plan["heats"]
    first["slots"][1].update(margin_db=-9.04, picture_grade=3.3, grade_word="lines", antenna="lhcp")
    first.update(worst_margin_db=-9.04, site_ceiling_db=8.0)
    second["slots"][0].update(margin_db=None, power_mw=200.5)
    second.update(worst_margin_db=None, site_ceiling_db=None)
    return sheet


@cache
def large_sheet_of_a_day():
    """64 pilots with the longest callsigns, two rounds, on a day with the longest name."""
    callsigns = [("W" * 22 if index % 2 else "Otterly magnificent oo") + f"{index:02}" for index in range(64)]
    return large_sheet(callsigns, 2, name=f"The very long field day of {'Llanfair' * 6}gogo")


@cache
def large_files(size):
    """Each file of the large day with the text of its pages."""
    return [(pdf, pages_of(pdf)) for pdf in all_of(large_sheet_of_a_day(), size)]


def sheet_pdf(sheet, *sections, size="a4", drawings=None):
    return as_pdf(paper.heat_sheet(sheet, sections, drawings or {}), size)


def links_of(sheet):
    return {pilot.pilot_id: f"http://192.168.8.2:8000/slot/{pilot.pilot_id}" for pilot in sheet.pilots}


def all_of(sheet, size):
    """By heat, by pilot, by channel, pilot cards, channel cards."""
    sheets = (sheet_pdf(sheet, section, size=size) for section in ("heat", "pilot", "channel"))
    return (
        *sheets,
        as_pdf(paper.pilot_cards_of(sheet, links_of(sheet)), size),
        as_pdf(paper.channel_cards(sheet), size),
    )


def test_the_sheet_by_heat_says_each_slot(sheet):
    (text,) = pages_of(sheet_pdf(sheet, "heat"))
    assert (
        "Callsign Channel, MHz Power Antenna Picture, and its range by receiver Margin Clear "
        "Wren R1 5658 25 mW right-hand 4.6 clean 4.1\N{EN DASH}4.9 +1.0 dB "
        "Otter R8 5917 25 mW left-hand 3.3 lines 4.1\N{EN DASH}4.9 \N{MINUS SIGN}9.0 dB Heat 2 Round 1"
    ) in text
    assert (
        "Wren Retune: was on R1 5658 F4 5800 200.5 mW right-hand 4.6 clean 4.1\N{EN DASH}4.9 alone"
    ) in text
    assert "Heat 1 Round 1 worst margin \N{MINUS SIGN}9.0 dB; +8.0 dB is the most possible here" in text


def test_the_head_says_what_the_plan_is_and_what_it_replaces(sheet):
    text = pages_of(sheet_pdf(sheet, "heat"))[0]
    for words in (
        "Tern Meadow club day Heat sheet · Saturday, 16 May 2026",
        "Published 16 May 2026, 10:30 (Europe/Dublin). Replaces plan 3: throw away its sheets.",
        "Within the rules chosen for this day: Club permit (invented, 2026).",
        "PLAN 4",
        "192.168.8.2:8000/board/tern",
        "Caution Rook cannot go below 200 mW.",
        "Changed against plan 3: Wren from R2 5695 to R1 5658.",
    ):
        assert words in text
    assert "Replaced by" not in text


def test_the_sheet_by_channel_says_who_is_on_it_and_when_nobody_is(sheet):
    (text,) = pages_of(sheet_pdf(sheet, "channel"))
    assert (
        "R1 5658 MHz nobody in heat 2 Heat Callsign Power Antenna 1 Wren 25 mW right-hand "
        "F4 5800 MHz nobody in heat 1 Heat Callsign Power Antenna 2 Wren 200.5 mW right-hand "
        "R8 5917 MHz nobody in heat 2 Heat Callsign Power Antenna 1 Otter 25 mW left-hand"
    ) in text


def test_free_heats_are_told_as_ranges():
    heats = [[("Wren", "R1")] + ([("Otter", "R8")] if number in (3, 7) else []) for number in range(1, 9)]
    (text,) = pages_of(sheet_pdf(make_sheet(heats), "channel"))
    assert "R1 5658 MHz in every heat" in text
    assert "R8 5917 MHz nobody in heats 1\N{EN DASH}2, 4\N{EN DASH}6, 8" in text


def test_the_sheet_by_pilot_is_an_index_with_the_heat_of_each_round(sheet):
    (text,) = pages_of(sheet_pdf(sheet, "pilot"))
    assert (
        "Callsign Channel, MHz Power Round 1 O Otter R8 5917 25 mW 1 "
        "W Wren R1 5658 25 mW 1 then retune to F4 5800 200.5 mW 2"
    ) in text


def test_with_more_rounds_than_columns_a_pilots_heats_are_a_list():
    sheet = make_sheet([[("Wren", "R1")]] * 9, heats_a_round=1)
    (text,) = pages_of(sheet_pdf(sheet, "pilot"))
    assert "Power Heats W Wren R1 5658 25 mW 1, 2, 3, 4, 5, 6, 7, 8, 9" in text


def test_each_section_begins_on_a_page_of_its_own_in_the_usual_order(sheet):
    pages = pages_of(sheet_pdf(sheet, "channel", "heat", "pilot"))
    assert ["Heat 1 Round 1" in pages[0], "By pilot" in pages[1], "By channel" in pages[2]] == [True] * 3
    assert len(pages) == 3


def test_the_strip_of_a_heat_says_its_channels_and_the_rules_it_keeps(sheet):
    (text,) = pages_of(sheet_pdf(sheet, "heat"))
    assert "is the most possible here R1 5658 R8 5917 Callsign" in text
    assert "Hatched: outside the rules chosen for this day, 5650\N{EN DASH}5925 MHz." in text
    assert "Crossed" not in text
    down = {"callsign": "Rook", "mhz": 5785}
    (text,) = pages_of(sheet_pdf(make_sheet([[("Wren", "R1")]], down=[down]), "heat"))
    assert "R1 5658 DOWN 5785" in text
    assert "Crossed: a transmitter that is down and still on." in text


def test_a_sheet_says_in_small_print_what_it_assumes():
    known = [
        {"name": "iip3_dbm", "value": -10.0, "unit": "dBm", "source": "default"},
        {"name": "bans", "value": [], "unit": "MHz", "source": "default"},
        {"name": "allowed_bands", "value": ["A", "R"], "unit": "", "source": "default"},
    ]
    text = pages_of(sheet_pdf(make_sheet([[("Wren", "R1")]], assumptions=known), "pilot"))[-1]
    assert "intercept point \N{MINUS SIGN}10 dBm · out of use today none · bands in use A R." in text
    assert "A measurement on the site beats the calculation." in text


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_a_small_day_is_one_page_of_heats_and_channels(sheet, size):
    file = as_pdf(paper.one_page(sheet), size)
    (text,) = pages_of(file)
    assert (
        "Heat R1 5658 MHz F4 5800 MHz R8 5917 MHz 1 round 1 Wren 25 mW Otter 25 mW 2 round 1 Wren 200.5 mW"
        in text
    )
    assert "Replaces plan 3: throw away its sheets." in text
    assert sizes_of(file) == {SIZES_PT[size][::-1]}


def test_the_longest_callsigns_of_the_largest_small_day_fit_on_its_page():
    labels = (*LABELS, "F4", "F5")
    heats = [[(f"{'W' * 20}{label}{heat:02}", label) for label in labels] for heat in range(18)]
    sheet = make_sheet(heats)
    assert paper.too_large_for_one_page(sheet) is None
    (text,) = pages_of(as_pdf(paper.one_page(sheet), "letter"))
    assert all(callsign in unspaced(text) for heat in heats for callsign, _ in heat)


@pytest.mark.parametrize(
    ("heats", "reason"),
    [
        ([[("Wren", "R1")]] * 19, "One page holds 18 heats on 10 channels; here are 19 on 1."),
        (
            [[(f"Wren {mhz}", mhz) for mhz in range(5660, 5880, 20)]],
            "One page holds 18 heats on 10 channels; here are 1 on 11.",
        ),
        ([[("Wren", "R7"), ("Rook", "F8")]], "Two pilots of one heat are on one carrier"),
    ],
)
def test_a_plan_that_is_no_small_day_is_told_why(heats, reason):
    assert paper.too_large_for_one_page(make_sheet(heats)).startswith(reason)


def test_a_pilot_card_says_what_to_set_and_when(sheet):
    (text,) = pages_of(as_pdf(paper.pilot_cards_of(sheet, links_of(sheet)), "a4"))
    assert f"Otter R8 5917 MHz Power 25 mW Heat 1 Your page. Private. {PLAN_LINE} Stay off" in text
    assert "Wren R1 5658 MHz 25 mW Heat 1 F4 5800 MHz 200.5 mW Heat 2 Your page." in text


def test_a_pilot_card_without_a_link_has_no_code(sheet):
    file = as_pdf(paper.pilot_cards_of(sheet, {}), "a4")
    assert "Private" not in pages_of(file)[0]


def test_eight_pilot_cards_to_a_page_and_cut_lines_around_each():
    sheet = make_sheet([[(f"Wren {label}", label)] for label in (*LABELS, "F4")])
    pages = pages_of(as_pdf(paper.pilot_cards_of(sheet, {}), "a4"))
    assert [page.count("Stay off until your heat is called.") for page in pages] == [8, 1]


def test_a_pilot_with_many_heats_has_numbered_cards():
    sheet = make_sheet([[("Wren", "R1")] for _ in range(14)])
    (text,) = pages_of(as_pdf(paper.pilot_cards_of(sheet, {}), "a4"))
    assert f"10, 11, 12 {PLAN_LINE} Card 1 of 2: more heats on the next. Stay off" in text
    assert f"Heats 13, 14 {PLAN_LINE} Card 2 of 2. Stay off" in text


def test_a_card_says_its_channel_and_who_flies_on_it(sheet):
    (text,) = pages_of(as_pdf(paper.channel_cards(sheet), "a4"))
    for name, pilots in (("R1 5658", "Wren 1"), ("F4 5800", "Wren 2"), ("R8 5917", "Otter 1")):
        assert f"{name} MHz {pilots} {PLAN_LINE} callsign, heats" in text


def test_a_card_bears_both_labels_of_a_frequency_or_none():
    sheet = make_sheet([[("Wren", "R7")], [("Otter", "F8"), ("Rook", 5810)]])
    (text,) = pages_of(as_pdf(paper.channel_cards(sheet), "a4"))
    assert text.startswith("5810 MHz Rook 2")
    assert "R7/F8 5880 MHz Wren 1 Otter 2" in text


def test_eight_cards_to_a_page():
    labels = (*LABELS, "F4")
    sheet = make_sheet([[(f"Wren {label}", label)] for label in labels])
    first, second = pages_of(as_pdf(paper.channel_cards(sheet), "letter"))
    assert (first.count("callsign, heats"), second.count("callsign, heats")) == (8, 1)


def test_a_card_with_too_many_pilots_says_where_the_rest_stands():
    sheet = make_sheet([[(f"{'W' * 22}{number:02}", "R1")] for number in range(99)])
    (text,) = pages_of(as_pdf(paper.channel_cards(sheet), "a4"))
    left_out = int(re.search(r"and (\d+) more: see the heat sheet by channel", text)[1])
    named = set(re.findall(r"W(\d\d) ", text))
    assert named
    assert len(named) + left_out == 99


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_every_page_bears_its_plan_its_time_its_number_and_its_size(sheet, size):
    small_files = [(pdf, pages_of(pdf)) for pdf in all_of(sheet, size)]
    for pdf, pages in (*small_files, *large_files(size)):
        for number, text in enumerate(pages, start=1):
            assert PLAN_LINE in text
            assert f"Page {number} of {len(pages)}" in text
        assert sizes_of(pdf) == {SIZES_PT[size]}


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_nothing_of_a_large_day_is_lost(size):
    large = large_sheet_of_a_day()
    by_heat, by_pilot, by_channel, cards, _ = (unspaced("".join(pages)) for _, pages in large_files(size))
    for heat in large.heats:
        assert f"Heat{heat['heat']}Round{heat['round']}" in by_heat
        for slot in heat["slots"]:
            callsign = unspaced(slot["callsign"])
            assert f"{callsign}{slot['channel']}{slot['mhz']}25mW" in by_heat
            assert f"{heat['heat']}{callsign}25mW" in by_channel
    for pilot in large.pilots:
        (stay,) = pilot.stays
        (first, _), (second, _) = stay.heats
        callsign, tuned = unspaced(pilot.callsign), f"{stay.channel}{stay.mhz}"
        assert f"{callsign}{tuned}25mW{first}{second}" in by_pilot
        assert f"{callsign}{tuned}MHzPower25mWHeats{first},{second}" in cards
    assert unspaced(large.plan["day"]["name"]) in by_heat


def test_a_heat_is_not_torn_over_two_pages():
    _, pages = large_files("a4")[0]
    for heat in large_sheet_of_a_day().heats:
        (page,) = (unspaced(text) for text in pages if f"Heat {heat['heat']} Round" in text)
        assert all(unspaced(slot["callsign"]) in page for slot in heat["slots"])


def test_no_text_begins_outside_the_margins():
    for pdf, _ in large_files("letter"):
        for page in PdfReader(io.BytesIO(pdf)).pages:
            assert all(20 < x < 612 - 20 and 15 < y < 792 - 15 for x, y in starts_of(page))


def starts_of(page):
    """Where each piece of text begins, in points from the lower left corner."""
    starts = []

    def note(text, moved, set_at, _font, _size):
        if text.strip():
            starts.append((set_at[4] * moved[0] + moved[4], set_at[5] * moved[3] + moved[5]))

    page.extract_text(visitor_text=note)
    assert starts
    return starts


def test_a_replaced_plan_says_so_on_every_page():
    sheet = large_sheet([f"Wren {number}" for number in range(40)], 1, replaced_by=7)
    for pdf in all_of(sheet, "a4"):
        assert all("Replaced by plan 7: do not use this sheet" in text for text in pages_of(pdf))


@pytest.mark.parametrize("callsign", HOSTILE)
def test_what_was_typed_is_text_and_never_markup(callsign):
    sheet = make_sheet(
        [[(callsign, "R1")]],
        name=f"Day {callsign}",
        warnings=[f"Warned of {callsign}"],
        rules=rules(callsign),
    )
    for pdf in all_of(sheet, "a4"):
        text = unspaced("".join(pages_of(pdf)))
        assert text.count(unspaced(callsign)) >= 2  # in its slot and in the day's name
    text = unspaced(pages_of(sheet_pdf(sheet, "heat"))[0])
    assert unspaced(f"Warned of {callsign}") in text
    assert unspaced(f"chosen for this day: {callsign} (") in text


def rules(name):
    return {"name": name, "source": "a", "year": None, "tag": "own", "conditions": "", "responsibility": None}


@pytest.mark.parametrize("callsign", ["Дрозд", "Κορυδαλλός", "Dvořák Łukasz", "Nguyễn Ế", "Ærø Şahin ẞ"])
def test_other_letters_are_drawn_in_a_font_that_comes_along(callsign):
    pdf = sheet_pdf(make_sheet([[(callsign, "R1")]]), "heat")
    assert f"{callsign} R1 5658" in pages_of(pdf)[0]
    fonts = {
        font["/BaseFont"].partition("+")[2]
        for page in PdfReader(io.BytesIO(pdf)).pages
        for font in (one.get_object() for one in page["/Resources"]["/Font"].values())
    }
    assert {re.sub(r"-.*", "", font) for font in fonts} <= {
        "B612",
        "B612Mono",
        "DejaVuSansMono",
        "LibertinusSerif",
    }


def test_the_same_plan_gives_the_same_file(sheet):
    assert sheet_pdf(sheet, "heat") == sheet_pdf(sheet, "heat")


def test_nobodys_own_words_of_responsibility_are_printed():
    taken = {**rules("Club permit"), "responsibility": "I, Jo Example, answer for it."}
    sheet = make_sheet([[("Wren", "R1")]], rules=taken)
    for pdf in all_of(sheet, "a4"):
        assert "Example" not in "".join(pages_of(pdf))


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_a_blank_form_asks_for_everything_on_one_page(size):
    form = CheckInForm("Tern Meadow club day", date(2026, 5, 16), "http://192.168.8.2:8000/join/tern")
    pdf = as_pdf(paper.check_in_form(form), size)
    (text,) = pages_of(pdf)
    for head in ("Callsign", "Transmitter tunes", "Goggles receive", "Power steps", "Antenna", "Spotter"):
        assert head in text
    assert "Or check in by phone 192.168.8.2:8000/join/tern" in text
    assert "Check-in form, Saturday, 16 May 2026 Tern Meadow club day Page 1 of 1" in text
    assert text.count("right left linear") == 12
    assert sizes_of(pdf) == {SIZES_PT[size][::-1]}  # on its side


def test_a_form_without_an_address_for_phones_has_no_code():
    (text,) = pages_of(as_pdf(paper.check_in_form(CheckInForm("Tern Meadow", date(2026, 5, 16), None)), "a4"))
    assert "phone" not in text


def test_the_join_page_of_a_form_is_that_of_the_day(database):
    with database.write() as session:
        chosen = make_day(session, base_url="http://192.168.8.2:8000/")
        assert CheckInForm.of(chosen).join_url == f"http://192.168.8.2:8000/join/{chosen.code}"
        assert CheckInForm.of(make_day(session)).join_url is None


def test_paper_bears_the_cautions_of_the_pages(sheet):
    shown = str(make_templates().env.get_template("macros/notices.html").module.bench())
    cautions = re.findall(r"<strong>(.*?)</strong>(.*?)</li>", shown)
    assert len(cautions) == 4
    form = CheckInForm("Tern Meadow", date(2026, 5, 16), None)
    for pdf in (sheet_pdf(sheet, "heat"), as_pdf(paper.check_in_form(form), "a4")):
        text = pages_of(pdf)[0]
        assert all(f"{do} {why}" in text for do, why in cautions)


def test_the_sheet_by_heat_shows_the_spectrum_of_each_heat(sheet):
    drawn = make_sheet([[("Wren", "R1"), ("Otter", "R8")], [("Quill", "F4")]])
    drawn.plan["spectrum"] = {
        "low_mhz": 5658,
        "high_mhz": 5917,
        "ranges_mhz": [[5650, 5925]],
        "occupied_mhz": 10,
        "window_mhz": 27,
    }
    for heat in drawn.plan["heats"]:
        heat |= {"products": [], "weakest_wanted_dbm": -69.8}
    template = make_templates().env.get_template("spectrum/drawing.svg")
    drawings = {heat["heat"]: template.render(chart=charts[0]) for heat, charts in drawn.spectra}
    first, second = pages_of(sheet_pdf(drawn, "heat", "spectrum", drawings=drawings))
    assert "Spectrum of each heat" not in first
    for words in (
        "Heat 1 Round 1",
        "R1 Wren",
        "R8 Otter",
        "+1.0",
        "Heat 2 Round 1",
        "F4 Quill",
        "spoils a picture",
    ):
        assert words in second
    assert len(pages_of(sheet_pdf(drawn, "channel", drawings=drawings))) == 1
    assert "Spectrum" not in pages_of(sheet_pdf(sheet, "heat"))[-1]
