"""Rule sets as data, and the verdict on one transmission."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.radio.channels import CATALOGUE, channel_named
from server.radio.errors import RuleError
from server.radio.rules import (
    HOW_SURE,
    RULE_SETS,
    WHO_DECIDES,
    RuleRange,
    RuleSet,
    allowed_mhz,
    facts_of,
    judge,
    rule_set_from,
    rule_set_named,
    touches_flagged,
)

OCCUPIED_MHZ = 10
EUROPE = RULE_SETS["eu-short-range"]
PERMIT = RULE_SETS["tern-meadow"]


def own(*ranges, **facts):
    return RuleSet(key="own", name="Own", ranges=tuple(RuleRange(*one) for one in ranges), **facts)


@pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=RULE_SETS)
def test_every_rule_set_says_where_it_was_read_and_how_sure_it_is(rule_set):
    assert rule_set.source
    assert rule_set.conditions.endswith(".")
    assert rule_set.how_sure == HOW_SURE[rule_set.tag]
    assert rule_set.tested_width == "occupied"


@pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=RULE_SETS)
def test_no_rule_set_claims_that_anything_is_legal(rule_set):
    assert "legal" not in f"{rule_set.name} {rule_set.conditions}".lower()


def test_says_who_decides():
    assert WHO_DECIDES == "Local rules and the licensed operator decide."


def test_only_japan_counts_transmitters():
    assert {key: one.most_transmitters for key, one in RULE_SETS.items() if one.most_transmitters} == {
        "japan-amateur-video": 3
    }


def test_amateur_rules_and_the_club_permit_need_a_licence_and_short_range_rules_do_not():
    needing = {key for key, rule_set in RULE_SETS.items() if rule_set.licence_needed}
    assert needing == {key for key in RULE_SETS if "amateur" in key} | {"tern-meadow"}


@pytest.mark.parametrize(
    ("mhz", "inside"),
    [
        (5730, True),  # lower edge of the occupied width at 5725
        (5729, False),
        (5870, True),  # upper edge at 5875
        (5871, False),
        (5880, False),  # F8 and R7: the centre itself is outside
    ],
)
def test_both_edges_of_the_tested_width_lie_inside(mhz, inside):
    assert judge(mhz, 25, EUROPE, OCCUPIED_MHZ).inside is inside


def test_a_wider_signal_has_less_room():
    assert judge(5733, 25, EUROPE, 10).inside
    assert not judge(5733, 25, EUROPE, 18).inside


def test_a_signal_across_a_gap_lies_in_neither_range():
    japan = RULE_SETS["japan-amateur-video"]
    assert judge(5735, 25, japan, OCCUPIED_MHZ).inside
    verdict = judge(5756, 25, japan, OCCUPIED_MHZ)
    assert not verdict.inside
    assert "5756 MHz reaches from 5751 to 5761 MHz, outside 5690-5725" in verdict.reasons[0]


@pytest.mark.parametrize(
    ("eirp_mw", "inside", "warns"),
    [
        (25, True, False),  # at the limit
        (25.1, True, True),
        (49.8, True, True),  # 2.99 dB above
        (50, False, False),  # 3.01 dB above
        (600, False, False),
    ],
)
def test_up_to_3_db_above_the_limit_is_a_warning_and_more_is_outside(eirp_mw, inside, warns):
    verdict = judge(5800, eirp_mw, EUROPE, OCCUPIED_MHZ)
    assert (verdict.inside, bool(verdict.warnings)) == (inside, warns)
    for sentence in (*verdict.warnings, *verdict.reasons):
        assert f"{eirp_mw:g} mW e.i.r.p. is above the 25 mW of {EUROPE.name}" in sentence


def test_no_25_mw_transmitter_fits_the_unlicensed_limit_of_the_united_states():
    assert not judge(5800, 25, RULE_SETS["us-unlicensed"], OCCUPIED_MHZ).inside
    assert judge(5800, 0.75, RULE_SETS["us-unlicensed"], OCCUPIED_MHZ).warnings == ()


def test_without_a_limit_any_power_is_inside():
    assert judge(5800, 1000, PERMIT, OCCUPIED_MHZ).inside


def test_the_more_generous_of_two_overlapping_ranges_applies():
    rules = own((5725, 5875, 25), (5650, 5925, 200))
    assert judge(5800, 200, rules, OCCUPIED_MHZ).inside
    assert judge(5800, 200, own((5725, 5875, 25), (5650, 5925)), OCCUPIED_MHZ).inside


@pytest.mark.parametrize("label", ["L1", "L2", "L3", "L8", "E4"])
def test_radar_ranges_stay_flagged_whatever_is_chosen(label):
    verdict = judge(channel_named(label).mhz, 25, own((5300, 6000)), OCCUPIED_MHZ)
    assert verdict.inside
    assert verdict.flagged
    assert not verdict.is_plannable
    assert "where radars work" in verdict.reasons[0]


def test_nothing_else_of_the_table_is_flagged():
    flagged = {channel.label for channel in CATALOGUE if touches_flagged(channel.mhz, OCCUPIED_MHZ)}
    assert flagged == {"L1", "L2", "L3", "L8", "E4"}


@pytest.mark.parametrize(("mhz", "flagged"), [(5655, False), (5654, True), (5595, False), (5596, True)])
def test_touching_the_edge_from_outside_is_not_inside_a_flagged_range(mhz, flagged):
    assert touches_flagged(mhz, OCCUPIED_MHZ) is flagged


def test_a_plannable_transmission_is_inside_and_not_flagged():
    assert judge(5800, 25, EUROPE, OCCUPIED_MHZ).is_plannable
    assert not judge(5880, 25, EUROPE, OCCUPIED_MHZ).is_plannable


def test_a_flag_is_named_beside_other_reasons():
    verdict = judge(5645, 25, EUROPE, OCCUPIED_MHZ)
    assert (verdict.inside, verdict.flagged, len(verdict.reasons)) == (False, True, 2)


def test_too_much_power_on_a_flagged_carrier_is_outside_and_flagged():
    verdict = judge(5645, 200, own((5300, 6000, 25)), OCCUPIED_MHZ)
    assert (verdict.inside, verdict.flagged, len(verdict.reasons)) == (False, True, 2)


def test_a_carrier_is_allowed_that_lies_in_any_one_of_the_ranges():
    apart = own((5650, 5725), (5725, 5875))
    assert allowed_mhz([5700, 5800, 5725, 5900], apart, OCCUPIED_MHZ) == (5700, 5800)


def test_the_permit_allows_the_table_less_the_upper_channels_of_band_e_and_all_of_band_l():
    allowed = allowed_mhz([channel.mhz for channel in CATALOGUE], PERMIT, OCCUPIED_MHZ)
    refused = {channel.label for channel in CATALOGUE if channel.mhz not in allowed}
    assert refused == {"E4", "E7", "E8", *(f"L{number}" for number in range(1, 9))}


def test_allowed_carriers_are_ascending_and_leave_flagged_ranges_out():
    assert allowed_mhz([5800, 5645, 5473, 5800], own((5300, 6000)), OCCUPIED_MHZ) == (5473, 5800)


def test_finds_a_rule_set_by_key_or_name_in_any_case():
    assert rule_set_named("EU-short-range") is EUROPE
    assert rule_set_named(" tern meadow club permit ") is PERMIT


def test_an_unknown_rule_set_lists_those_that_exist():
    with pytest.raises(RuleError, match="no rule set Atlantis") as caught:
        rule_set_named("Atlantis")
    assert caught.value.value == "Atlantis"
    assert all(key in caught.value.cure for key in RULE_SETS)


@pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=RULE_SETS)
def test_a_stored_copy_is_the_same_rule_set(rule_set):
    assert rule_set_from(rule_set.key, facts_of(rule_set)) == rule_set


@pytest.mark.parametrize(
    ("edges", "cure"),
    [
        ([5875, 5725], "give the lower edge first"),
        ([5725, 5725], "give the lower edge first"),
        ([math.nan, 5875], "give MHz from"),
        ([5725, 10**400], "give MHz from"),
        ([5725, math.inf], "give MHz from"),
        ([True, 5875], "give MHz from"),
        (["5725", 5875], "give MHz from"),
        ([999, 5875], "give MHz from"),
        ([5725, 10001], "give MHz from"),
        ([5725, 5875, 0], "give mW above 0"),
        ([5725, 5875, -25], "give mW above 0"),
        ([5725, 5875, math.nan], "give mW above 0"),
        ([5725], "write [low MHz, high MHz, highest e.i.r.p. in mW]"),
        ([5725, 5875, 25, 1], "write [low MHz, high MHz, highest e.i.r.p. in mW]"),
        ("58", "write [low MHz, high MHz, highest e.i.r.p. in mW]"),
        (5800, "write [low MHz, high MHz, highest e.i.r.p. in mW]"),
    ],
)
def test_refuses_a_range_that_makes_no_sense(edges, cure):
    with pytest.raises(RuleError) as caught:
        rule_set_from("own", {"name": "Own", "ranges": [edges]})
    assert cure in caught.value.cure


@pytest.mark.parametrize(
    "facts",
    [
        {"tested_width": "total"},
        {"tag": "sure"},
        {"most_transmitters": 0},
        {"most_transmitters": True},
        {"most_transmitters": 2.5},
    ],
)
def test_refuses_a_rule_set_that_makes_no_sense(facts):
    with pytest.raises(RuleError):
        own((5725, 5875), **facts)


def test_refuses_a_rule_set_without_ranges():
    with pytest.raises(RuleError, match="without ranges"):
        own()


@given(
    mhz=st.integers(5300, 6000),
    eirp_mw=st.floats(0.01, 2000),
    width_mhz=st.floats(1, 40),
    key=st.sampled_from(list(RULE_SETS)),
)
def test_less_power_and_less_width_never_turn_inside_into_outside(mhz, eirp_mw, width_mhz, key):
    verdict = judge(mhz, eirp_mw, RULE_SETS[key], width_mhz)
    if verdict.inside:
        assert judge(mhz, eirp_mw / 2, RULE_SETS[key], width_mhz / 2).inside
    else:
        assert verdict.reasons


def test_half_a_mhz_of_an_odd_width_counts_on_both_sides():
    edge_to_edge = own((5794.5, 5805.5))
    assert judge(5800, 25, edge_to_edge, 11).inside
    assert not judge(5800, 25, own((5794.5, 5900)), 11.1).inside
    assert not judge(5800, 25, own((5700, 5805.5)), 11.1).inside
    assert "reaches from 5793.5 to 5806.5 MHz" in judge(5800, 25, edge_to_edge, 13).reasons[0]
    assert touches_flagged(5655, 11)
    assert touches_flagged(5595, 11)
    assert allowed_mhz([5800], edge_to_edge, 11) == (5800,)


def test_accepts_the_outermost_values():
    assert own((1000, 10000, 0.001)).ranges[0].max_eirp_mw == 0.001
    assert own((5725, 5875), most_transmitters=1).most_transmitters == 1
    assert own((5725, 5875), tested_width="necessary", tag="D").how_sure == "follows by arithmetic"


def test_own_rules_are_the_organisers_and_ask_for_nothing_unless_told():
    plain = own((5725, 5875))
    assert (plain.tag, plain.year, plain.most_transmitters, plain.licence_needed) == (
        "own",
        None,
        None,
        False,
    )
    assert (plain.conditions, plain.source, plain.tested_width) == ("", "", "occupied")


@pytest.mark.parametrize(
    ("key", "licence_needed", "year"),
    [("us-amateur", True, 2016), ("us-unlicensed", False, 2024), ("uk-amateur", True, None)],
)
def test_reads_the_facts_of_a_rule_set_from_its_file(key, licence_needed, year):
    assert (RULE_SETS[key].licence_needed, RULE_SETS[key].year) == (licence_needed, year)
    assert RULE_SETS[key].key == key
