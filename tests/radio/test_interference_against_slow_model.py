"""Random heats judged twice: by the program, and by the model written a second time in plain Python."""

import random
from dataclasses import replace

import pytest

from server.radio.interference import Station, heat_margins
from server.radio.outside import OutsideSignal
from server.radio.site import Receiver, Site
from tests.radio import slow_model
from tests.radio.slow_model import Flyer, place_of

CLOSE_DB = 1e-9
NAMES = ("Wren", "Biscuit", "Juniper", "Sorrel", "Magpie", "Otter", "Pascal", "Quill")


def random_site(draw):
    near_m = draw.choice((2, 8, 15))
    return Site(
        near_m=near_m,
        far_m=near_m * draw.uniform(1, 15),
        receiver=Receiver(
            rx_gain_dbi=draw.uniform(0, 9),
            iip3_dbm=draw.uniform(-20, 0),
            noise_figure_db=draw.uniform(3, 10),
            if_bandwidth_mhz=draw.choice((18, 27)),
            pr_floor_db=draw.choice((-28, -20, -34.5)),
            cross_polar_db=draw.uniform(0, 12),
            mismatch_linear_db=draw.uniform(0, 4),
            mismatch_opposite_db=draw.uniform(5, 20),
            reference_mhz=draw.choice((5800, 5300)),
        ),
    )


def random_heat(draw, count):
    antennas = ("rhcp", "rhcp", "lhcp", "linear")
    return [
        Flyer(
            name,
            draw.randint(5300, 5950),
            draw.choice((25, 100, 200, 600, draw.uniform(1, 1000))),
            draw.choice(antennas),
            draw.choice(antennas),
            draw.choice((0, 0, draw.uniform(-3, 8))),
        )
        for name in NAMES[:count]
    ]


def stations(heat):
    return [
        Station(one.callsign, one.mhz, one.power_mw, one.antenna, one.rx_antenna, one.gain_dbi)
        for one in heat
    ]


@pytest.mark.parametrize("seed", range(100))
def test_margins_are_those_of_the_slow_model(seed):
    draw = random.Random(seed)
    site, heat = random_site(draw), random_heat(draw, 2 + seed % 6)
    place = place_of(site)
    found = heat_margins(stations(heat), site)
    for slot, flyer in zip(found.slots, heat, strict=True):
        margin_db = slow_model.margin_db(flyer, heat, place)
        assert slot.margin_db == pytest.approx(margin_db, abs=CLOSE_DB)
        assert slot.stressed_margin_db == pytest.approx(
            slow_model.stressed_margin_db(flyer, heat, place), abs=CLOSE_DB
        )
        assert slot.link_margin_db == pytest.approx(slow_model.link_margin_db(flyer, place), abs=CLOSE_DB)
        assert slot.picture_grade == slow_model.grade(margin_db)
        assert slot.grade_low == slow_model.grade(slow_model.stressed_margin_db(flyer, heat, place, 5))
        assert slot.grade_high == slow_model.grade(slow_model.stressed_margin_db(flyer, heat, place, -5))


@pytest.mark.parametrize("seed", range(200, 230))
def test_margins_beside_outside_signals_are_those_of_the_slow_model(seed):
    draw = random.Random(seed)
    signals = tuple(
        OutsideSignal(draw.randint(5300, 5950), draw.choice((0, 1, 20, 80)), draw.uniform(-100, -40))
        for _ in range(draw.randint(1, 4))
    )
    site, heat = replace(random_site(draw), outside=signals), random_heat(draw, 1 + seed % 5)
    place = place_of(site)
    for slot, flyer in zip(heat_margins(stations(heat), site).slots, heat, strict=True):
        assert slot.margin_db == pytest.approx(slow_model.margin_db(flyer, heat, place), abs=CLOSE_DB)
        assert slot.stressed_margin_db == pytest.approx(
            slow_model.stressed_margin_db(flyer, heat, place), abs=1e-3
        )


@pytest.mark.parametrize("seed", range(100, 120))
def test_causes_are_those_of_the_slow_model(seed):
    draw = random.Random(seed)
    site, heat = random_site(draw), random_heat(draw, 2 + seed % 6)
    place = place_of(site)
    for slot, flyer in zip(heat_margins(stations(heat), site).slots, heat, strict=True):
        terms = slow_model.terms(flyer, heat, place)
        whole = sum(10 ** (-term.margin_db / 10) for term in terms)
        share = {term: 10 ** (-term.margin_db / 10) / whole for term in terms}
        carriers = sum(part for term, part in share.items() if len(term.of) == 1)
        cause = slot.limiting_cause
        assert cause.kind == ("carriers" if carriers >= 0.5 else "products")
        assert cause.share == pytest.approx(max(carriers, 1 - carriers))
        for one in cause.by_pilot:
            assert one.share == pytest.approx(
                sum(part for term, part in share.items() if one.callsign in term.of)
            )
        least_db = min(term.margin_db for term in terms)
        largest = [
            (sorted(term.of), term.offset_mhz) for term in terms if term.margin_db < least_db + CLOSE_DB
        ]
        assert (sorted(cause.largest_term.of), cause.largest_term.offset_mhz) in largest
        assert cause.largest_term.margin_db == pytest.approx(least_db)
