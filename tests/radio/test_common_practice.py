"""What everybody who flies knows, and the model must agree with. Common practice, no source."""

import pytest

from server.radio.grade import is_flyable
from server.radio.interference import Station, heat_margins
from server.radio.site import PRESETS, Site


def worst_db(mhz, power_mw, site=None):
    stations = [Station(f"P{f}", f, power_mw) for f in mhz]
    return heat_margins(stations, site or Site()).worst_margin_db


def even_comb(count):
    """Carriers as far apart as band R of eight would have them at any count: 5658 to 5917 MHz, even steps."""
    return [5658 + round(x * 259 / (count - 1)) for x in range(count)]


@pytest.mark.parametrize("preset", PRESETS)
def test_two_pilots_10_mhz_apart_cannot_fly_together(preset):
    assert not is_flyable(worst_db((5800, 5810), 25, PRESETS[preset]))


def test_two_pilots_40_mhz_apart_can():
    assert is_flyable(worst_db((5800, 5840), 25))


def test_two_pilots_on_one_channel_cannot_fly_together():
    assert not is_flyable(worst_db((5800, 5800), 25))


@pytest.mark.parametrize(
    "uneven",
    [
        (5658, 5695, 5733, 5828, 5885, 5945),
        (5665, 5710, 5765, 5840, 5885, 5945),
    ],
)
def test_at_600_mw_an_even_comb_is_worse_than_an_uneven_set(uneven):
    assert worst_db(even_comb(6), 600) < worst_db(uneven, 600) - 3


def test_at_25_mw_an_even_comb_is_no_problem():
    assert worst_db(even_comb(6), 25) > worst_db((5658, 5695, 5733, 5828, 5885, 5945), 25) - 0.5


@pytest.mark.parametrize(
    "mhz",
    [
        even_comb(6),
        (5658, 5700, 5744, 5833, 5880, 5925),
        (5658, 5695, 5733, 5828, 5885, 5945),
    ],
)
def test_when_six_fly_25_mw_for_all_beats_600_mw_for_all(mhz):
    assert worst_db(mhz, 25) > worst_db(mhz, 600)


def test_fewer_up_is_cleaner():
    comb = even_comb(8)
    assert [worst_db(comb[:count], 200) for count in range(2, 9)] == sorted(
        (worst_db(comb[:count], 200) for count in range(2, 9)), reverse=True
    )


def test_starting_farther_from_the_pilots_is_cleaner():
    assert worst_db(even_comb(6), 25, Site(near_m=16)) > worst_db(even_comb(6), 25, Site(near_m=8)) + 5


def test_one_hot_transmitter_harms_the_others_and_not_itself():
    quiet = [Station(f"P{f}", f, 25) for f in even_comb(4)]
    hot = [*quiet[:1], Station("Hot", quiet[1].mhz, 600), *quiet[2:]]
    before = [slot.margin_db for slot in heat_margins(quiet, Site()).slots]
    after = [slot.margin_db for slot in heat_margins(hot, Site()).slots]
    assert all(after[x] < before[x] - 3 for x in (0, 2, 3))
    assert after[1] > before[1] + 10
