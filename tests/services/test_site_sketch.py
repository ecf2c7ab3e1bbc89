"""The drawing of a site against free space, and its words and places against each other."""

import math
from itertools import combinations

import pytest

from server.radio.site import PRESETS, Site, with_receiver
from server.services.site_facts import site_facts
from server.services.site_sketch import CHARACTER, HEIGHT, LEFT, LINE, WIDTH, site_sketch

EXTREMES = (Site(0.5, 20000, 5000), Site(60, 60, 60), Site(8, 400, 390), Site(8, 80, 7), Site(50, 60, 1))
SITES = (*PRESETS.values(), *EXTREMES)


def friis_dbm(metres, power_mw, frequency_mhz=5800.0, gain_dbi=2.0):
    """Friis, 1946, with the loss in the form of ITU-R P.525-5 (2024) (4): 32.4 + 20 log f/MHz + 20 log d/km."""
    loss_db = 32.4 + 20 * math.log10(frequency_mhz) + 20 * math.log10(metres / 1000)
    return 10 * math.log10(power_mw) + gain_dbi - loss_db


@pytest.mark.parametrize("site", SITES)
@pytest.mark.parametrize("power_mw", [25, 600])
def test_levels_are_those_of_free_space(site, power_mw):
    for point in site_sketch(site, power_mw).points:
        assert point.dbm == pytest.approx(friis_dbm(point.metres, power_mw), abs=0.06)  # 32.4 is rounded
        assert f"{point.dbm:.1f} dBm".replace("-", "\N{MINUS SIGN}") in point.level


@pytest.mark.parametrize("site", SITES)
def test_points_stand_at_their_distances_on_the_line_of_free_space(site):
    sketch = site_sketch(site, 25)
    x1, y1, x2, y2 = sketch.slope
    assert [point.metres for point in sketch.points] == sorted((site.near_m, site.pit_m, site.far_m))
    for point in sketch.points:
        on_line = y1 + (point.x - x1) * (y2 - y1) / (x2 - x1)
        assert point.y == pytest.approx(on_line, abs=0.2)


def test_a_step_of_a_decade_is_as_wide_as_its_marks_say():
    sketch = site_sketch(Site(near_m=10, far_m=100, pit_m=31.6227766), 25)
    near, pits, far = (point.x for point in sketch.points)
    assert pits - near == pytest.approx(far - pits, abs=0.2)
    assert dict(sketch.metres)["10"] == near
    assert dict(sketch.metres)["100"] == far


def test_a_wide_range_is_marked_at_decades_alone():
    assert [words for words, _ in site_sketch(Site(0.5, 20000, 5000), 25).metres] == [
        "1",
        "10",
        "100",
        "1000",
        "10000",
    ]
    assert [words for words, _ in site_sketch(Site(), 25).metres] == ["10", "20", "50", "100"]


@pytest.mark.parametrize("site", SITES)
def test_no_name_and_no_level_lies_over_another(site):
    points = site_sketch(site, 25).points
    levels = [
        (one.level_x - len(one.level) * CHARACTER * one.is_left, one.level_y, len(one.level))
        for one in points
    ]
    names = [(one.name_x - len(one.name) * CHARACTER / 2, one.name_y, len(one.name)) for one in points]
    for boxes in (levels, [*names, (LEFT - 3 * CHARACTER, min(y for _, y, _ in names), 6)]):
        for (x, y, letters), (other_x, other_y, other_letters) in combinations(boxes, 2):
            is_beside = x + letters * CHARACTER <= other_x or other_x + other_letters * CHARACTER <= x
            assert is_beside or abs(y - other_y) >= LINE - 0.11
    assert all(x >= 0 and x + letters * CHARACTER <= WIDTH + 0.1 for x, _, letters in names)


def test_the_drawing_is_as_high_for_every_usual_site():
    assert {site_sketch(site, 25).height for site in PRESETS.values()} == {HEIGHT}


def test_a_third_row_of_names_makes_room_for_itself():
    sketch = site_sketch(Site(60, 60, 60), 25)
    assert sketch.height == max(point.name_y for point in sketch.points) + LINE > HEIGHT


def test_the_step_is_the_ratio_of_the_distances():
    assert site_sketch(Site(), 25).step == site_sketch(Site(), 600).step == "20.0 dB"
    assert site_sketch(Site(60, 60, 60), 25).step == "0.0 dB"


def test_the_limits_are_those_of_the_receiver():
    overload, least = site_sketch(Site(), 25).limits
    assert overload.words == "overload from \N{MINUS SIGN}19.6 dBm"  # 9.64 dB under the intercept of -10 dBm
    # k T0 B of 27 MHz, noise figure 6 dB, threshold 10 dB, fades 6 dB: -174 + 74.3 + 6 + 10 + 6
    assert least.dbm == pytest.approx(-174 + 10 * math.log10(27e6) + 22, abs=0.1)
    assert overload.y < least.y


def test_a_level_beyond_a_limit_says_so():
    deaf = with_receiver(Site(near_m=2, far_m=15), iip3_dbm=-30)
    assert site_sketch(deaf, 25).point("near").level.endswith(", overload")
    assert site_sketch(Site(far_m=250), 25).point("far").level.endswith(", too weak")
    assert [point.level[-3:] for point in site_sketch(Site(), 25).points] == ["dBm", "dBm", "dBm"]


def test_the_words_and_the_table_tell_the_same_levels():
    facts = site_facts(Site(), 6)
    weakest = facts.levels[0]
    drawn = {point.kind: point.dbm for point in facts.sketch.points}
    assert facts.sketch.power_mw == weakest.power_mw
    assert drawn == {"near": weakest.unwanted_dbm, "pits": weakest.pits_dbm, "far": weakest.wanted_dbm}
    assert all(point.level in facts.sketch.words for point in facts.sketch.points)
