import math

import pytest

from server.radio.exposure import (
    ADVISED_DISTANCE_M,
    PUBLIC_LIMIT_W_PER_M2,
    limit_distance_m,
    power_density_w_per_m2,
)


def test_power_spreads_over_a_sphere():
    assert power_density_w_per_m2(1000, 1.0) == pytest.approx(1 / (4 * math.pi))
    assert power_density_w_per_m2(1000, 2.0) == pytest.approx(1 / (16 * math.pi))


@pytest.mark.parametrize("eirp_mw", [0.75, 25, 600, 4000])
def test_the_limit_is_met_at_the_limit_distance(eirp_mw):
    assert power_density_w_per_m2(eirp_mw, limit_distance_m(eirp_mw)) == pytest.approx(PUBLIC_LIMIT_W_PER_M2)


def test_the_public_limit_is_10_watts_a_square_metre():
    assert PUBLIC_LIMIT_W_PER_M2 == 10.0


def test_20_cm_is_enough_for_every_power_that_flies():
    assert ADVISED_DISTANCE_M == 0.20
    assert limit_distance_m(1000) < ADVISED_DISTANCE_M / 2
