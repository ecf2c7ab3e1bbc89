import math

import numpy as np
import pytest

from server.radio.channel_finding import (
    ERROR_DB,
    MOST_READINGS,
    SAME_MHZ,
    SURE,
    Finding,
    Group,
    Reading,
    find_channel,
    next_tuning,
)
from server.radio.receiver import off_tune_loss_db
from tests.radio.picture_checks import CARRIERS_MHZ


def read(truth_mhz, *tunings_mhz, gain_db=-50.0):
    """Readings without any error."""
    return [Reading(one, gain_db - float(off_tune_loss_db(one - truth_mhz))) for one in tunings_mhz]


def slow_chances(readings, carriers_mhz):
    """The same by numbers: the gain integrated over in small steps, one carrier after the other."""
    weights = []
    for carrier in carriers_mhz:
        total = 0.0
        for gain_db in np.arange(-150.0, 100.0, 0.05):
            errors = [
                one.level_db - gain_db + float(off_tune_loss_db(one.tuned_mhz - carrier)) for one in readings
            ]
            total += math.exp(-sum(error**2 for error in errors) / (2 * 3.0**2))
        weights.append(total)
    return [weight / sum(weights) for weight in weights]


def test_the_figures_of_the_model_are_those_of_its_design():
    assert (ERROR_DB, SAME_MHZ, SURE, MOST_READINGS) == (3.0, 3, 0.99, 4)


def test_before_any_reading_every_carrier_is_as_likely():
    finding = find_channel([], (5700, 5800, 5900, 5900))
    assert finding.chances == pytest.approx({5700: 1 / 3, 5800: 1 / 3, 5900: 1 / 3})
    assert finding.does_fit


def test_one_reading_tells_nothing_since_nobody_knows_the_gain():
    finding = find_channel([Reading(5800, -3.0)], (5700, 5800, 5900))
    assert list(finding.chances.values()) == pytest.approx([1 / 3] * 3)


def test_chances_are_those_of_an_integral_over_the_gain():
    readings = [Reading(5800, -41.0), Reading(5820, -55.0), Reading(5785, -49.0)]
    carriers = (5795, 5800, 5805, 5820, 5900)
    expected = slow_chances(readings, carriers)
    assert list(find_channel(readings, carriers).chances.values()) == pytest.approx(expected, abs=1e-4)


def test_the_scale_of_the_meter_does_not_matter():
    low = find_channel(read(5806, 5806, 5785, 5828, gain_db=-90.0), CARRIERS_MHZ)
    high = find_channel(read(5806, 5806, 5785, 5828, gain_db=20.0), CARRIERS_MHZ)
    assert low.chances == pytest.approx(high.chances)


def test_many_readings_do_not_underflow():
    finding = find_channel(read(5658, *CARRIERS_MHZ) * 10, CARRIERS_MHZ)
    assert finding.likeliest.carriers_mhz == (5658,)
    assert finding.likeliest.chance == pytest.approx(1.0)
    assert not find_channel([Reading(5800, 900.0), Reading(5820, -900.0)], CARRIERS_MHZ).does_fit


@pytest.mark.parametrize(
    ("truth_mhz", "carriers_mhz"),
    [
        (5865, (5865, 5866)),  # A1 and B8
        (5806, (5806, 5805)),  # R5 and A4
        (5658, (5658,)),
    ],
)
def test_twins_are_reported_as_one(truth_mhz, carriers_mhz):
    tunings = [truth_mhz + off for off in (-22, -20, -18, 0, 18, 20, 22)]
    likeliest = find_channel(read(truth_mhz, *tunings), CARRIERS_MHZ).likeliest
    assert likeliest.carriers_mhz == carriers_mhz
    assert likeliest.chance > SURE


def test_what_lies_within_3_mhz_is_reported_as_one_while_it_is_as_likely():
    finding = find_channel([], (5800, 5803, 5804, 5900))
    assert [group.carriers_mhz for group in finding.groups] == [(5800, 5803), (5804,), (5900,)]
    assert [group.chance for group in finding.groups] == pytest.approx([0.5, 0.25, 0.25])


def test_a_neighbour_within_3_mhz_that_is_ruled_out_is_not_named_but_a_twin_is():
    readings = read(5800, 5780, 5820, 5779, 5821, 5778, 5822, 5777, 5823)
    likeliest = find_channel(readings, (5797, 5799, 5800, 5803, 5850)).likeliest
    assert likeliest.carriers_mhz == (5800, 5799)
    assert likeliest.chance > 0.99


def test_groups_come_with_the_likeliest_first_and_together_are_certain():
    readings = [Reading(5800, -40.0), Reading(5820, -52.0)]
    groups = find_channel(readings, CARRIERS_MHZ).groups
    chances = [group.chance for group in groups]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) == pytest.approx(1.0)
    assert sorted(one for group in groups for one in group.carriers_mhz)[0] >= CARRIERS_MHZ[0]


@pytest.mark.parametrize(("mhz", "holds"), [(5803, True), (5797, True), (5804, False), (5796, False)])
def test_a_group_holds_what_is_within_3_mhz_of_its_likeliest(mhz, holds):
    assert Group((5800, 5801), 0.9).holds(mhz) == holds


@pytest.mark.parametrize(
    ("chances", "claimed_mhz", "verdict"),
    [
        ({5800: 0.99, 5900: 0.01}, 5800, "right"),
        ({5800: 0.98, 5900: 0.02}, 5800, "in doubt"),
        ({5800: 0.6, 5803: 0.39, 5900: 0.01}, 5800, "right"),  # 3 MHz away is the same channel
        ({5800: 0.6, 5804: 0.39, 5900: 0.01}, 5800, "in doubt"),
        ({5800: 0.01, 5900: 0.99}, 5800, "wrong"),
        ({5800: 0.02, 5900: 0.98}, 5800, "in doubt"),
        ({5800: 0.01, 5900: 0.60, 5910: 0.39}, 5800, "in doubt"),  # not there, but where?
        ({5800: 0.6, 5803: 0.4}, 5805, "in doubt"),  # sure of 5800 or 5803, and 5803 would be right
        ({5800: 1.0, 5803: 0.0}, 5803, "right"),
    ],
)
def test_a_verdict_is_sure_of_where_it_is_or_none(chances, claimed_mhz, verdict):
    largest = max(chances, key=chances.__getitem__)
    within = sum(chance for mhz, chance in chances.items() if abs(mhz - largest) <= 3)
    finding = Finding((Group((largest,), within),), chances, does_fit=True)
    assert finding.verdict(claimed_mhz) == verdict


def test_nothing_is_sure_where_no_carrier_explains_the_readings():
    # 40 dB down 5 MHz off: somebody else's transmitter, or a slip of the pen.
    finding = find_channel([Reading(5800, -40.0), Reading(5805, -80.0)], (5800, 5805))
    assert not finding.does_fit
    assert Finding((Group((5800,), 1.0),), {5800: 1.0}, does_fit=False).verdict(5800) == "in doubt"


@pytest.mark.parametrize(
    ("number", "limit"),
    # Chi-squared, one in a thousand beyond, 1, 2, 3 and 5 degrees of freedom: tables of statistics, from memory.
    [(2, 10.828), (3, 13.816), (4, 16.266), (6, 20.515)],
)
def test_readings_fit_unless_one_true_set_in_a_thousand_is_as_far_off(number, limit):
    def fits(misfit):
        # Alone with its carrier, one reading off by x and all others equal: the misfit is x² (n - 1)/n over 3².
        off_db = 3.0 * math.sqrt(misfit * number / (number - 1))
        readings = [Reading(5800, off_db), *[Reading(5800, 0.0)] * (number - 1)]
        return find_channel(readings, (5800,)).does_fit

    assert fits(0.95 * limit)
    assert not fits(1.05 * limit)


def test_the_next_tuning_is_on_the_slope_of_the_filter_and_not_where_the_loss_is_flat():
    tuning = next_tuning(read(5800, 5800), (5790, 5800, 5810), range(5700, 5901))
    assert 10 <= abs(tuning - 5800) <= 35


def test_the_next_tuning_is_the_one_that_tells_most():
    # At 5900 all three are read alike; at 5830 they are read 34.5, 39 and 20 dB down; at 5801 nearly alike.
    readings = [Reading(5800, -40.0)]
    assert next_tuning(readings, (5790, 5805, 5810), (5801, 5830, 5900)) == 5830


def test_no_tuning_is_asked_for_twice():
    readings = [Reading(5800, -40.0), Reading(5830, -60.0)]
    assert next_tuning(readings, (5790, 5805, 5810), (5800, 5830)) is None
    assert next_tuning(readings, (5790, 5805, 5810), (5800, 5830, 5785)) == 5785


def test_nothing_is_asked_where_no_tuning_tells_anything():
    assert next_tuning([Reading(5800, -40.0)], (5500, 5510), (5900, 5940)) is None
    assert next_tuning([Reading(5800, -40.0)], (5800,), CARRIERS_MHZ) is None


def test_of_two_tunings_that_tell_as_much_the_lower_is_asked_for():
    assert next_tuning([Reading(5800, -40.0)], (5790, 5810), (5780, 5820)) == 5780


def slow_bits(levels_db, error_db):
    """Information of one reading about which of two equally likely carriers it is, summed up in small steps."""
    total = 0.0
    for level_db in np.arange(min(levels_db) - 8 * error_db, max(levels_db) + 8 * error_db, 0.01):
        densities = [math.exp(-(((level_db - one) / error_db) ** 2) / 2) for one in levels_db]
        for density in densities:
            if density:
                total += density / 2 * math.log2(density / (sum(densities) / 2)) * 0.01
    return total / (error_db * math.sqrt(2 * math.pi))


@pytest.mark.parametrize(
    ("number", "carriers", "tuning_mhz", "is_asked"),
    [
        (1, (5799, 5801), 5812, True),
        (1, (5799, 5800), 5813, False),
        # The more was read, the better the gain is known, and the more the same reading tells.
        (3, (5799, 5801), 5811, True),
        (3, (5797, 5802), 5807, False),
        (3, (5798, 5802), 5808, False),
    ],
)
def test_a_tuning_is_asked_for_from_a_fiftieth_of_a_bit_on(number, carriers, tuning_mhz, is_asked):
    readings = [Reading(5800, -40.0)] * number
    levels = [
        float(off_tune_loss_db(5800 - one)) - float(off_tune_loss_db(tuning_mhz - one)) for one in carriers
    ]
    bits = slow_bits(levels, 3.0 * math.sqrt(1.0 + 1.0 / number))
    assert 0.8 * 0.02 < bits < 1.2 * 0.02
    assert (bits >= 0.02) == is_asked
    assert (next_tuning(readings, carriers, (tuning_mhz,)) is not None) == is_asked


def test_a_group_forms_around_its_likeliest_carrier_however_small_its_chance():
    finding = find_channel(read(5802, 5802, 5818), (5800, 5802, 5804))
    assert max(finding.chances.values()) < 0.5
    assert finding.likeliest.carriers_mhz[0] == 5802


def test_it_is_the_likeliest_carrier_that_has_to_explain_the_readings():
    assert find_channel(read(5800, 5800, 5820), (5800, 5900)).does_fit


def test_findings_can_be_kept_in_a_set():
    assert len({find_channel([], (5800,)), find_channel([], (5800,))}) == 1
