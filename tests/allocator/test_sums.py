"""What a newcomer hears and does, kept by rows, against the loads of the whole heat counted anew."""

import numpy as np
import pytest

from server.allocator import sums as compiled_sums
from server.allocator.kernel import heat_loads
from server.allocator.sums import new_sums, rows_of
from tests.allocator.called import called
from tests.allocator.mixes import equal_pilots, mix, usual_mhz

newcomer_loads, place = called(compiled_sums.newcomer_loads), called(compiled_sums.place)


def filled(gear, order, channel):
    rows, sums = rows_of(gear), new_sums(gear)
    for depth, pilot in enumerate(order):
        place(gear, rows, sums, depth, pilot, channel[pilot])
    return rows, sums


def drawn(seed):
    heat = mix(seed, 2 + seed % 4, 8)
    draw = np.random.default_rng(seed)
    order = draw.permutation(len(heat.entries))
    return heat.gear, order, draw.integers(len(heat.gear.mhz), size=len(order))


@pytest.mark.parametrize("seed", range(24))
def test_loads_with_a_newcomer_on_any_channel_are_those_of_the_whole_heat(seed):
    gear, order, channel = drawn(seed)
    newcomer = order[-1]
    rows, sums = filled(gear, order[:-1], channel)
    found, found_stressed = np.empty(len(gear.mhz)), np.empty(len(gear.mhz))
    newcomer_loads(gear, rows, sums, len(order) - 1, newcomer, found, found_stressed)
    load, stressed = np.empty(len(order)), np.empty(len(order))
    for f in range(len(gear.mhz)):
        channel[newcomer] = f
        heat_loads(gear, order, gear.mhz[channel[order]], load, stressed)
        assert found[f] == pytest.approx(load.max())
        assert found_stressed[f] == pytest.approx(stressed.max())


@pytest.mark.parametrize("seed", range(24))
def test_sums_at_every_receiver_of_a_full_heat_are_those_counted_anew(seed):
    gear, order, channel = drawn(seed)
    _, sums = filled(gear, order, channel)
    load, stressed = np.empty(len(order)), np.empty(len(order))
    heat_loads(gear, order, gear.mhz[channel[order]], load, stressed)
    carriers, products = sums.own_carriers[len(order), order], sums.own_products[len(order), order]
    wanted = gear.wanted_mw[order]
    assert (carriers + products) / wanted == pytest.approx(load)
    assert (carriers + 100 * products) / wanted == pytest.approx(stressed)


def test_sums_can_be_filled_again_from_any_depth():
    gear = mix(4, 5, 8).gear
    order = np.arange(5)
    rows, sums = filled(gear, order, np.array([0, 3, 6, 9, 5]))
    channel = np.array([0, 3, 1, 7, 8])
    for depth in range(2, 5):
        place(gear, rows, sums, depth, order[depth], channel[depth])
    _, anew = filled(gear, order, channel)
    assert sums.own_carriers[5].tolist() == anew.own_carriers[5].tolist()
    assert sums.own_products[5].tolist() == anew.own_products[5].tolist()


def test_rows_hold_every_frequency_that_a_product_can_have():
    gear = equal_pilots(2, usual_mhz()).gear
    rows = rows_of(gear)
    lowest, highest = int(gear.mhz[0]), int(gear.mhz[-1])
    assert (rows.once_from, rows.once_from + len(rows.once) - 1) == (
        2 * lowest - highest,
        2 * highest - lowest,
    )
    assert (rows.twice_from, rows.twice_from + len(rows.twice) - 1) == (2 * lowest, 2 * highest)
    last = len(gear.protection) - 1
    for mhz in (lowest, 5800, 2 * highest - lowest):
        offsets = np.minimum(np.abs(gear.mhz - mhz), last)
        assert rows.once[mhz - rows.once_from].tolist() == gear.protection[offsets].tolist()
    offsets = np.minimum(np.abs(2 * gear.mhz - 11_600), last)
    assert rows.twice[11_600 - rows.twice_from].tolist() == gear.protection[offsets].tolist()
