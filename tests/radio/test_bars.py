import pytest

from server.radio.bars import BarReading, consistent, is_consistent, next_tuning
from tests.radio.picture_checks import CARRIERS_MHZ


def shown(**bars_by_mhz):
    return [BarReading(int(name[1:]), bars) for name, bars in bars_by_mhz.items()]


@pytest.mark.parametrize(
    ("readings", "answer"),
    [
        (shown(m5800=5, m5820=4), True),  # 20 dB weaker: fewer bars
        (shown(m5800=5, m5820=5), False),
        (shown(m5800=4, m5820=5), False),
        (shown(m5820=4, m5800=5), True),  # in whatever order they were taken
        (shown(m5800=5, m5819=5), None),  # 17.1 dB weaker: too little to demand anything
        (shown(m5800=0, m5810=5), None),  # 1.5 dB
        (shown(m5800=5), None),
        ([], None),
        (shown(m5800=5, m5820=3, m5780=5), False),  # one demand that is not met is enough
        (shown(m5800=5, m5820=3, m5780=3), True),
        (shown(m5819=0, m5830=0), None),  # 22 dB weaker, but no meter shows less than no bar
        (shown(m5819=1, m5830=1), False),
        (shown(m5819=0, m5830=1), False),
        (shown(m5700=5, m5600=2), None),  # both far off: nothing to be read of it at either
    ],
)
def test_fewer_bars_have_to_show_where_the_carrier_is_much_weaker(readings, answer):
    assert is_consistent(readings, 5800) is answer


def test_the_consistent_ones_were_tested_and_come_ascending():
    readings = shown(m5800=5, m5825=2, m5775=1)
    found = consistent(readings, (5806, 5800, 5800, 5825, 5500, 5805))
    assert found == (5800, 5805, 5806)


def test_the_scale_of_the_bars_does_not_matter():
    few, many = shown(m5800=3, m5825=2), shown(m5800=90, m5825=10)
    assert consistent(few, CARRIERS_MHZ) == consistent(many, CARRIERS_MHZ)


def test_the_first_tunings_lie_to_either_side_of_the_claimed_channel():
    readings = shown(m5800=5)
    first = next_tuning(readings, 5800, CARRIERS_MHZ, CARRIERS_MHZ)
    second = next_tuning([*readings, BarReading(first, 3)], 5800, CARRIERS_MHZ, CARRIERS_MHZ)
    assert sorted([first > 5800, second > 5800]) == [False, True]
    assert all(15 <= abs(one - 5800) <= 40 for one in (first, second))


def test_it_asks_where_the_other_carrier_would_show_another_order():
    # From 5800 read, 5825 shows 39 dB less of 5800 than of 5825 itself; 5803 parts nothing.
    assert next_tuning(shown(m5800=5), 5800, (5800, 5825), (5803, 5825)) == 5825


@pytest.mark.parametrize(
    ("carriers", "tunings"),
    [
        ((5800, 5803), (5820, 5825)),  # 3 MHz away is the same channel
        ((5800,), (5820,)),
        ((5800, 5825), ()),
        ((5800, 5825), (5800,)),  # read already
        ((5800, 5825), (5803,)),
        ((5800, 5809), (5826,)),  # 35.8 dB less of the claimed one, but 10.6 dB of the other
    ],
)
def test_it_asks_for_nothing_that_parts_nobody(carriers, tunings):
    assert next_tuning(shown(m5800=5), 5800, carriers, tunings) is None


@pytest.mark.parametrize(
    ("other_mhz", "tuning_mhz"),
    [
        (5821, 5809),  # the tuning read already has to show less of the other than this one
        (5804, 5820),  # 20 dB less of the claimed one, 9.1 dB of the other
    ],
)
def test_a_demand_in_either_order_parts_two_carriers(other_mhz, tuning_mhz):
    assert next_tuning(shown(m5800=5), 5800, (5800, other_mhz), (tuning_mhz,)) == tuning_mhz


def test_carriers_that_are_ruled_out_are_not_asked_about_again():
    readings = shown(m5800=5, m5825=2)
    assert is_consistent(readings, 5825) is False
    assert next_tuning(readings, 5800, (5800, 5825), (5780, 5850)) is None


def test_among_equals_it_asks_for_the_nearest_then_the_lowest():
    assert next_tuning(shown(m5800=5), 5800, (5800, 5900), (5780, 5820, 5770)) == 5780
    assert next_tuning(shown(m5800=5), 5800, (5800, 5900), (5770, 5820)) == 5820
