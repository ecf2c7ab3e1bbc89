import math

import pytest

from server.radio.errors import RadioError, SiteError
from server.radio.site import (
    PRESETS,
    RECEIVER_PRESETS,
    Receiver,
    Site,
    parameters_of,
    with_receiver,
)

# name, default, unit, lowest, highest
OF_SITE = [
    ("near_m", 8, "m", 0.5, 1000),
    ("far_m", 80, "m", 0.5, 20000),
    ("pit_m", 30, "m", 0.5, 5000),
    ("indifference_db", 0.5, "dB", 0, 6),
    ("ample_db", 5, "dB", 0, 40),
]
OF_RECEIVER = [
    ("rx_gain_dbi", 2, "dBi", -10, 30),
    ("iip3_dbm", -10, "dBm", -40, 30),
    ("noise_figure_db", 6, "dB", 0, 30),
    ("if_bandwidth_mhz", 27, "MHz", 1, 100),
    ("pr_floor_db", -28, "dB", -80, 27),
    ("occupied_mhz", 10, "MHz", 1, 60),
    ("necessary_mhz", 18, "MHz", 1, 60),
    ("fade_allowance_db", 6, "dB", 0, 40),
    ("cross_polar_db", 6, "dB", 0, 30),
    ("mismatch_linear_db", 3, "dB", 0, 30),
    ("mismatch_opposite_db", 10, "dB", 0, 40),
    ("reference_mhz", 5800, "MHz", 1000, 10000),
]


@pytest.mark.parametrize(("kind", "table"), [(Site, OF_SITE), (Receiver, OF_RECEIVER)])
def test_parameters_have_their_defaults_units_and_ranges(kind, table):
    found = parameters_of(kind)
    assert list(found) == [row[0] for row in table]
    for name, default, unit, lowest, highest in table:
        assert getattr(kind(), name) == default
        assert (found[name].unit, found[name].lowest, found[name].highest) == (unit, lowest, highest)
        assert found[name].meaning


@pytest.mark.parametrize(("name", "lowest", "highest"), [(row[0], row[3], row[4]) for row in OF_RECEIVER])
def test_receiver_takes_its_ranges_and_nothing_beyond(name, lowest, highest):
    assert getattr(Receiver(**{name: lowest}), name) == lowest
    assert getattr(Receiver(**{name: highest}), name) == highest
    for value in (lowest - 0.01, highest + 0.01):
        with pytest.raises(SiteError) as caught:
            Receiver(**{name: value})
        assert (caught.value.name, caught.value.value) == (name, value)


@pytest.mark.parametrize(("name", "lowest", "highest"), [(row[0], row[3], row[4]) for row in OF_SITE])
def test_site_takes_its_ranges_and_nothing_beyond(name, lowest, highest):
    everywhere = {"near_m": 0.5, "far_m": 20000}
    assert getattr(Site(**everywhere | {name: lowest}), name) == lowest
    assert getattr(Site(**everywhere | {name: highest}), name) == highest
    for value in (lowest - 0.01, highest + 0.01):
        with pytest.raises(SiteError):
            Site(**everywhere | {name: value})


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, True, "8", None])
def test_only_real_numbers_are_taken(value):
    with pytest.raises(SiteError) as caught:
        Site(near_m=value)
    assert "near_m cannot be" in str(caught.value)


def test_a_refusal_says_what_would_be_right():
    with pytest.raises(SiteError) as caught:
        Receiver(iip3_dbm=31)
    assert str(caught.value) == "iip3_dbm cannot be 31: give a number from -40 to 30 dBm"
    assert caught.value.cure == "give a number from -40 to 30 dBm"
    assert isinstance(caught.value, RadioError)


def test_far_is_not_nearer_than_near():
    assert Site(near_m=20, far_m=20).far_m == 20
    with pytest.raises(SiteError) as caught:
        Site(near_m=20, far_m=19)
    assert (caught.value.name, caught.value.value) == ("far_m", 19)
    assert "at least near_m (20 m)" in caught.value.cure


def test_presets_of_the_site():
    distances = {name: (site.near_m, site.far_m, site.pit_m) for name, site in PRESETS.items()}
    assert distances == {"hall": (2, 15, 5), "club field": (8, 80, 30), "long field": (15, 150, 50)}


def test_presets_of_the_receiver():
    intercepts = {name: receiver.iip3_dbm for name, receiver in RECEIVER_PRESETS.items()}
    assert intercepts == {"separate module": -10, "built into goggles": -15}


def test_receiver_of_a_site_is_changed_without_touching_the_site():
    site = Site(near_m=10)
    changed = with_receiver(site, iip3_dbm=-15, noise_figure_db=8)
    assert (changed.near_m, changed.receiver.iip3_dbm, changed.receiver.noise_figure_db) == (10, -15, 8)
    assert site.receiver == Receiver()
    with pytest.raises(SiteError):
        with_receiver(site, iip3_dbm=-41)
