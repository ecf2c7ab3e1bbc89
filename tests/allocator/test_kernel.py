"""The sums of a heat against the slow model."""

import numpy as np
import pytest

from server.allocator import kernel
from tests.allocator.mixes import mix, usual_mhz
from tests.radio import slow_model
from tests.radio.slow_model import place_of


@pytest.mark.parametrize("seed", range(10))
def test_loads_are_those_of_the_slow_model(seed):
    heat = mix(seed, 1 + seed % 5, 8)
    place = place_of(heat.problem.site)
    lower = place._replace(iip3_dbm=place.iip3_dbm - 10)
    members = np.arange(len(heat.entries))
    mhz = np.array(usual_mhz()[seed::7][: len(members)])
    load, stressed = np.empty(len(members)), np.empty(len(members))
    kernel.heat_loads(heat.gear, members, mhz, load, stressed)
    up = [entry.on(int(f)) for entry, f in zip(heat.entries, mhz, strict=True)]
    for x, one in enumerate(up):
        assert load[x] == pytest.approx(10 ** (-slow_model.margin_db(one, up, place) / 10))
        assert stressed[x] == pytest.approx(10 ** (-slow_model.margin_db(one, up, lower) / 10))


def test_loads_do_not_depend_on_the_order_of_the_pilots():
    gear = mix(4, 5, 8).gear
    members, mhz = np.arange(5), np.array([5658, 5695, 5752, 5843, 5905])
    load, stressed, turned, turned_stressed = (np.empty(5) for _ in range(4))
    kernel.heat_loads(gear, members, mhz, load, stressed)
    order = np.array([3, 0, 4, 2, 1])
    kernel.heat_loads(gear, members[order], mhz[order], turned, turned_stressed)
    assert turned == pytest.approx(load[order])
    assert turned_stressed == pytest.approx(stressed[order])
