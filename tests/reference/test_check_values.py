"""The model against published and derived values, each with its source.

``check_values.json`` holds the values that the model touches: inputs, expected value, unit, absolute
tolerance in that unit, source with year and address where they are known, and how sure the value is.
``left_out_values.toml`` lists the values of the same collection that no formula of the model touches, by reason.
"""

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from server.radio import decibels
from server.radio.emission import carson_bandwidth_mhz
from server.radio.exposure import PUBLIC_LIMIT_W_PER_M2, limit_distance_m, power_density_w_per_m2
from server.radio.grade import picture_grade
from server.radio.interference import Station, margin_db, unwanted_level_dbm, wanted_level_dbm
from server.radio.mixing import product_frequency_mhz, product_level_dbm, third_order_products
from server.radio.propagation import free_space_loss_db, own_mismatch_db
from server.radio.receiver import (
    FM_THRESHOLD_DB,
    compression_level_dbm,
    link_margin_db,
    noise_level_dbm,
    off_tune_loss_db,
    protection_ratio_db,
)
from server.radio.rules import FLAGGED_RANGES, RULE_SETS
from server.radio.site import Receiver, Site, with_receiver
from tests.reference.golomb import OPTIMAL_RULERS

HERE = Path(__file__).parent
COLLECTION = json.loads((HERE / "check_values.json").read_text())
LEFT_OUT = tomllib.loads((HERE / "left_out_values.toml").read_text())

ISOTROPIC = Receiver(rx_gain_dbi=0)
NO_TEMPLATE_FLOOR_DB = -80.0
W_PER_M2_IN_1_MW_PER_CM2 = 10.0


def two_signal_dbm(doubled_dbm, other_dbm, iip3_dbm):
    return product_level_dbm(third_order_products(2), [doubled_dbm, other_dbm], iip3_dbm)[0]


def three_signal_dbm(levels_dbm, iip3_dbm):
    products = third_order_products(3)
    return product_level_dbm(products, levels_dbm, iip3_dbm)[products.is_three_signal][0]


def counts(n):
    products = third_order_products(n)
    three = int(products.is_three_signal.sum())
    return [len(products.first) - three, three, len(products.first)]


def is_free(marks):
    """Whether no product of either kind falls on a mark."""
    return not np.isin(product_frequency_mhz(third_order_products(len(marks)), marks), marks).any()


def ruler(marks):
    products = third_order_products(len(marks))
    at = product_frequency_mhz(products, marks)
    gap = np.abs(at[:, np.newaxis] - np.array(marks)).min(axis=1)
    return {
        "is_golomb": is_free(marks),
        "min_im_gap_steps": int(gap.min()),
        "two_signal_free": not (gap[~products.is_three_signal] == 0).any(),
    }


def free_ruler_span(n):
    """Length of a set of n marks that the mixing code finds free, -1 if it does not."""
    marks = OPTIMAL_RULERS[n - 2]
    return marks[-1] - marks[0] if is_free(marks) and len(set(marks)) == n else -1


def template_step_db(breakpoint_mhz):
    either_side = protection_ratio_db([breakpoint_mhz, breakpoint_mhz + 1e-9])
    return abs(float(either_side[0] - either_side[1]))


def ranges(key):
    return [[one.low_mhz, one.high_mhz] for one in RULE_SETS[key].ranges]


def edges_in_words(key, check):
    """The published edges, if the conditions of a rule set name them."""
    low, high = check["expected"]
    return check["expected"] if f"{low}-{high} MHz" in RULE_SETS[key].conditions else None


def flagged(check):
    return check["expected"] if tuple(check["expected"]) in FLAGGED_RANGES else None


def wanted_dbm(power_mw, distance_m):
    return wanted_level_dbm(Station("Wren", 5800, power_mw), Site(far_m=distance_m, receiver=ISOTROPIC))


def unwanted_dbm(power_mw, distance_m):
    stations = [Station("Wren", 5800, 25), Station("Otter", 5820, power_mw)]
    return float(unwanted_level_dbm(stations, Site(receiver=ISOTROPIC), distance_m)[0, 1])


def wanted_over_interferer_db(i):
    return wanted_dbm(i["wanted_mW"], i["wanted_m"]) - unwanted_dbm(i["interferer_mW"], i["interferer_m"])


def triple_beat_dbm(power_mw, distance_m, iip3_dbm):
    return three_signal_dbm([unwanted_dbm(power_mw, distance_m)] * 3, iip3_dbm)


def overall_db(margins_db):
    return float(margin_db(decibels.power_ratio(-np.array(margins_db, dtype=float)).sum()))


def power_density_dbw_per_m2(i):
    return decibels.db_from_power_ratio(power_density_w_per_m2(i["eirp_W"] * 1000, i["d_m"]))


BY_ID = {
    "im-two-equal": lambda i, _: two_signal_dbm(i["P_dBm"], i["P_dBm"], i["IIP3_dBm"]),
    "im-two-eq-analog": lambda i, _: two_signal_dbm(i["P_dBm"], i["P_dBm"], i["IIP3_dBm"]),
    "im-two-unequal-a": lambda i, _: two_signal_dbm(i["P1_dBm"], i["P2_dBm"], i["IIP3_dBm"]),
    "im-two-unequal-b": lambda i, _: two_signal_dbm(i["P2_dBm"], i["P1_dBm"], i["IIP3_dBm"]),
    "im-three": lambda i, _: three_signal_dbm([i["P1_dBm"], i["P2_dBm"], i["P3_dBm"]], i["IIP3_dBm"]),
    "im-triple-vs-two": lambda i, _: (
        three_signal_dbm([i["P_dBm"]] * 3, i["IIP3_dBm"])
        - two_signal_dbm(i["P_dBm"], i["P_dBm"], i["IIP3_dBm"])
    ),
    # A product falls by twice what the intercept rises, so the level at 0 dBm tells the intercept.
    "im-iip3-from-im": lambda i, _: (two_signal_dbm(i["P_dBm"], i["P_dBm"], 0.0) - i["P_IM_dBm"]) / 2,
    "im-p1db-relation": lambda i, _: -compression_level_dbm(0.0),
    "im-bandwidth-two": lambda i, _: carson_bandwidth_mhz(2 * i["D1_MHz"] + i["D2_MHz"], i["fm_MHz"]),
    "im-bandwidth-three": lambda i, _: carson_bandwidth_mhz(sum(i["D_MHz"]), i["fm_MHz"]),
    "pr-r2-continuity-8p36": lambda i, _: template_step_db(8.36),
    "pr-r2-continuity-12p87": lambda i, _: template_step_db(12.87),
    "pr-r2-continuity-21p25": lambda i, _: template_step_db(21.25),
    # The ratio that the formula gives for a grade, as a margin over the plan's 28 dB, gives the grade back.
    "pr-634-D15p6-Q4p5": lambda i, check: (
        check["expected"] if picture_grade(check["expected"] - 28.0) == i["Q"] else None
    ),
    "pr-margin-single": lambda i, _: i["C_dBm"] - i["I_dBm"] - float(protection_ratio_db(i["offset_MHz"])),
    "pr-scale-check": lambda i, _: float(protection_ratio_db(i["offset_MHz"] * 24 / i["B_MHz"])) + 3.0,
    "fspl-constant": lambda i, _: float(free_space_loss_db(1000.0, 1.0)),
    "pfd-km-constant": lambda i, _: float(power_density_dbw_per_m2(i)),
    "eirp-15249": lambda i, _: RULE_SETS["us-unlicensed"].ranges[0].max_eirp_mw,
    "link-25mW-200m": lambda i, _: wanted_dbm(i["P_mW"], i["d_m"]),
    "carson-roddy-9-2": lambda i, _: carson_bandwidth_mhz(i["D_kHz"], i["fm_kHz"]),
    "carson-roddy-9-1": lambda i, _: carson_bandwidth_mhz(i["D_MHz"], i["fm_MHz"]),
    "carson-small-tx": lambda i, _: carson_bandwidth_mhz(i["Dv_pp_MHz"] / 2, i["fm_MHz"]),
    "carson-small-tx-sound": lambda i, _: carson_bandwidth_mhz(i["Dv_pp_MHz"] / 2, i["fm_MHz"]),
    "noise-density": lambda i, _: noise_level_dbm(1e-6, 0.0),
    "sens-27MHz": lambda i, _: noise_level_dbm(i["B_MHz"], i["NF_dB"]) + FM_THRESHOLD_DB,
    "pol-cp-lp": lambda i, _: own_mismatch_db("linear", "rhcp", Receiver()),
    "reg-rr5150": lambda i, _: ranges("eu-short-range")[0],
    "reg-rr5282": lambda i, check: edges_in_words("us-amateur", check),
    "reg-amsat-down": lambda i, check: edges_in_words("us-amateur", check),
    "reg-97301-r2": lambda i, _: ranges("us-amateur")[0],
    "reg-97301-r1r3": lambda i, _: ranges("amateur-regions-1-3")[0],
    "reg-15205": lambda i, check: flagged(check),
    "reg-tdwr": lambda i, check: flagged(check),
    "reg-jp-image": lambda i, _: ranges("japan-amateur-video"),
    "reg-cept-srd": lambda i, _: ranges("eu-short-range")[0],
    "reg-au-lipd": lambda i, _: ranges("australia-class-licence")[0],
    "rf-oet65-example": lambda i, _: (
        power_density_w_per_m2(i["P_mW"] * i["G"], i["R_cm"] / 100) / W_PER_M2_IN_1_MW_PER_CM2
    ),
    "rf-1W-20cm": lambda i, _: power_density_w_per_m2(i["eirp_W"] * 1000, i["R_m"]),
    "rf-fcc-limit": lambda i, _: PUBLIC_LIMIT_W_PER_M2 / W_PER_M2_IN_1_MW_PER_CM2,
    "rf-icnirp-wb": lambda i, _: PUBLIC_LIMIT_W_PER_M2,
    "blocking-1W-1m": lambda i, _: [
        unwanted_dbm(i["P_W"] * 1000, i["d_m"]),
        compression_level_dbm(i["IIP3_dBm"]),
    ],
    "scenario-c-minus-i": lambda i, _: wanted_over_interferer_db(i),
    "scenario-im-two": lambda i, _: two_signal_dbm(
        unwanted_dbm(i["P_mW"], i["d_m"]), unwanted_dbm(i["P_mW"], i["d_m"]), i["IIP3_dBm"]
    ),
    "scenario-im-three": lambda i, _: triple_beat_dbm(i["P_mW"], i["d_m"], i["IIP3_dBm"]),
    "scenario-im-margin": lambda i, _: (
        wanted_dbm(i["wanted_mW"], i["wanted_m"])
        - triple_beat_dbm(200, 10, -10)
        - float(protection_ratio_db(0))
    ),
    "scenario-noise-margin": lambda i, _: float(
        link_margin_db(
            wanted_dbm(25, 150),
            with_receiver(Site(), if_bandwidth_mhz=i["B_MHz"], noise_figure_db=i["NF_dB"]).receiver,
        )
    ),
    "scenario-overall": lambda i, _: overall_db(i["margins_dB"]),
}

BY_FAMILY = {
    "im-count-": lambda i, _: counts(i["n"]),
    "pr-r2-": lambda i, _: float(protection_ratio_db(i["offset_MHz"], NO_TEMPLATE_FLOOR_DB)),
    "pr-default-": lambda i, _: float(protection_ratio_db(i["offset_MHz"], i["floor_dB"])),
    "pr-eqmargin-": lambda i, _: overall_db(i["margins_dB"]),
    "fspl-": lambda i, _: float(free_space_loss_db(i["d_m"], i["f_MHz"])),
    "dbm-": lambda i, _: float(decibels.dbm_from_mw(i["P_mW"])),
    # Published the other way round: the deviation whose Carson width is the channel.
    "carson-": lambda i, check: (
        check["expected"] + i["B_MHz"] - carson_bandwidth_mhz(check["expected"] / 2, i["fm_MHz"])
    ),
    "noise-": lambda i, _: noise_level_dbm(i["B_MHz"], i["NF_dB"]),
    "offtune-": lambda i, _: float(off_tune_loss_db(i["offset_MHz"], i.get("B_MHz", 27))),
    "golomb-len-": lambda i, _: free_ruler_span(i["n"]),
    "golomb-": lambda i, check: {name: ruler(i["marks"])[name] for name in check["expected"]},
    "rf-dist-": lambda i, _: limit_distance_m(i["eirp_mW"]) * 100,
    "scenario-adjacent-": lambda i, _: (
        wanted_over_interferer_db(i) - float(protection_ratio_db(i["offset_MHz"]))
    ),
}


def model_of(check):
    """The formula of the model that a value is about."""
    if check["id"] in BY_ID:
        return BY_ID[check["id"]]
    return next(formula for family, formula in BY_FAMILY.items() if check["id"].startswith(family))


def is_close(computed, expected, tolerance):
    if isinstance(expected, list):
        return len(computed) == len(expected) and all(
            is_close(x, y, tolerance) for x, y in zip(computed, expected, strict=True)
        )
    if isinstance(expected, dict | bool) or computed is None:
        return computed == expected
    return math.isclose(computed, expected, rel_tol=0.0, abs_tol=tolerance)


@pytest.mark.parametrize("check", COLLECTION["checks"], ids=lambda check: check["id"])
def test_model_meets(check):
    computed = model_of(check)(check["inputs"], check)
    assert is_close(computed, check["expected"], check["tolerance"]), (
        f"{check['quantity']}: {computed} {check['unit']} against {check['expected']} of {check['source']}"
    )


def test_every_value_is_touched_or_left_out_with_a_reason():
    touched = [check["id"] for check in COLLECTION["checks"]]
    left_out = [one for group in LEFT_OUT.values() for one in group["ids"]]
    assert len(COLLECTION["every_id"]) == 243
    assert sorted(touched + left_out) == sorted(COLLECTION["every_id"])
    assert all(len(group["reason"]) > 30 for group in LEFT_OUT.values())


def test_every_value_names_its_source():
    assert [check["id"] for check in COLLECTION["checks"] if len(check["source"]) < 3] == []
    assert {check["confidence"] for check in COLLECTION["checks"]} <= set(COLLECTION["confidence"])


def test_every_formula_is_used():
    ids = [check["id"] for check in COLLECTION["checks"]]
    assert set(BY_ID) <= set(ids)
    assert [family for family in BY_FAMILY if not any(one.startswith(family) for one in ids)] == []
