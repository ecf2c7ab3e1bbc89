import math

import numpy as np
import pytest

from server.radio import decibels


@pytest.mark.parametrize(
    ("power_mw", "level_dbm"),
    [(1, 0.0), (10, 10.0), (25, 13.9794), (1000, 30.0), (0.001, -30.0)],
)
def test_a_power_and_its_level_are_one_thing(power_mw, level_dbm):
    assert float(decibels.dbm_from_mw(power_mw)) == pytest.approx(level_dbm, abs=1e-4)
    assert float(decibels.mw_from_dbm(level_dbm)) == pytest.approx(power_mw, rel=1e-5)


@pytest.mark.parametrize(("ratio", "ratio_db"), [(1, 0.0), (2, 3.0103), (100, 20.0), (0.5, -3.0103)])
def test_a_ratio_and_its_decibels_are_one_thing(ratio, ratio_db):
    assert float(decibels.db_from_power_ratio(ratio)) == pytest.approx(ratio_db, abs=1e-4)
    assert float(decibels.power_ratio(ratio_db)) == pytest.approx(ratio, rel=1e-4)


def test_no_power_is_minus_infinity_without_a_warning():
    assert float(decibels.dbm_from_mw(0)) == -math.inf
    assert float(decibels.db_from_power_ratio(0.0)) == -math.inf


def test_any_shape_is_kept():
    assert decibels.mw_from_dbm(np.zeros((2, 3))).shape == (2, 3)
    assert decibels.dbm_from_mw(np.ones((4, 1))).tolist() == [[0.0]] * 4
