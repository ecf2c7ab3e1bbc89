import json

import pytest
from sqlmodel import Session

from server.radio.interference import Station, heat_margins
from server.radio.version import MODEL_VERSION
from server.services import edits, plans, snapshots
from server.services.cause_words import ALONE, MINUS, TIMES, cause_words
from server.services.days import site_of
from server.services.drafts import DraftContent, DraftHeat, DraftSlot
from server.services.plan_basis import basis_of
from server.services.standings import standing
from server.storage import pilots
from tests.factories import NOW, make_pilot
from tests.services.planned_days import day_with_pilots, edit, plan_at_once

SLOT_FACTS = {
    "pilot_id",
    "callsign",
    "channel",
    "mhz",
    "power_mw",
    "antenna",
    "margin_db",
    "stressed_margin_db",
    "picture_grade",
    "grade_low",
    "grade_high",
    "grade_word",
    "link_margin_db",
    "link_enough",
    "range_kept_m",
    "range_threshold_m",
    "overloaded",
    "limiting_cause",
    "cause_words",
    "explanation",
    "lookalikes",
}


def planned(session: Session, *callsigns: str) -> dict:
    day = day_with_pilots(session, *callsigns)
    plan_at_once(session, day)
    return standing(session, day).draft.snapshot


def test_margins_are_those_of_the_radio_model(session):
    day = day_with_pilots(session, "Wren", "Otter", "Rook")
    plan_at_once(session, day)
    heat = standing(session, day).draft.snapshot["heats"][0]
    stations = [Station(slot["callsign"], slot["mhz"], slot["power_mw"]) for slot in heat["slots"]]
    model = heat_margins(stations, site_of(day))
    assert [slot["margin_db"] for slot in heat["slots"]] == [round(one.margin_db, 2) for one in model.slots]
    assert heat["worst_margin_db"] == round(model.worst_margin_db, 2)
    assert heat["site_ceiling_db"] == round(model.site_ceiling_db, 2)
    assert [slot["picture_grade"] for slot in heat["slots"]] == [one.picture_grade for one in model.slots]


def test_a_slot_has_every_fact_that_pages_show(session):
    slot = planned(session, "Wren", "Otter")["heats"][0]["slots"][0]
    assert set(slot) == SLOT_FACTS
    assert slot["channel"] == "R1"
    assert slot["lookalikes"][0] == {"channel": "E3", "mhz": 5665}


def test_a_pilot_alone_has_no_margin_and_no_cause(session):
    slot = planned(session, "Wren")["heats"][0]["slots"][0]
    assert slot["margin_db"] is None
    assert slot["limiting_cause"]["kind"] == "none"
    assert slot["cause_words"] == ALONE


def test_is_plain_json_without_nan(session):
    snapshot = planned(session)
    assert json.loads(json.dumps(snapshot, allow_nan=False)) == snapshot
    assert snapshot["model_version"] == MODEL_VERSION
    assert snapshot["number"] is None


def test_planning_facts_end_with_the_first_change_by_hand(session):
    day = day_with_pilots(session, "Wren", "Otter")
    plan_at_once(session, day)
    assert standing(session, day).draft.snapshot["bound_db"] == 9.0
    wren = pilots.by_callsign_key(session, day.id, "wren").id
    edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
    snapshot = standing(session, day).draft.snapshot
    assert snapshot["bound_db"] is None
    assert snapshot["status"] == "feasible"
    assert not snapshot["heats"][0]["proved"]
    assert snapshot["search_notes"] == [snapshots.CHANGED_BY_HAND]


def test_a_worst_picture_below_two_and_a_half_is_unflyable(session):
    day = day_with_pilots(session, "Wren", "Otter")
    wren, otter = (pilot.id for pilot in pilots.of_day(session, day.id))
    heat = DraftHeat(1, (DraftSlot(wren, 5658, 25), DraftSlot(otter, 5665, 25)))
    content = DraftContent((heat,))
    snapshot = snapshots.compose(day, content, basis_of(session, day, content), None)
    assert snapshot["status"] == "unflyable"
    assert snapshot["heats"][0]["slots"][0]["grade_word"] == "do not fly"


def test_names_what_was_chosen_apart_from_what_is_usual(session):
    day = day_with_pilots(session, "Wren", settings_json='{"site": {"near_m": 12}}')
    plan_at_once(session, day)
    rows = {row["name"]: row for row in standing(session, day).draft.snapshot["assumptions"]}
    assert rows["near_m"] == {"name": "near_m", "value": 12, "unit": "m", "source": "site and rules"}
    assert rows["far_m"] == {"name": "far_m", "value": 80, "unit": "m", "source": "default"}
    assert rows["iip3_dbm"]["source"] == "default"


def test_lists_what_nobody_knew_of_the_gear(session):
    day = day_with_pilots(session, "Wren")
    make_pilot(session, day, "Otter", power_mw="?")
    plan_at_once(session, day)
    snapshot = standing(session, day).draft.snapshot
    row = {"name": "Otter: power_mw", "value": "25", "unit": "", "source": "not known at check-in"}
    assert row in snapshot["assumptions"]
    assert "Otter: nobody knew the power, 25 mW taken. Ask, and plan again." in snapshot["warnings"]


def test_warns_of_power_near_the_limit_of_the_rules(session):
    rules = {
        "key": "own",
        "name": "Club permit",
        "ranges": [[5650, 5925, 20]],
        "tested_width": "occupied",
        "most_transmitters": None,
        "licence_needed": True,
        "conditions": "",
        "source": "the organiser",
        "year": 2026,
        "tag": "own",
    }
    day = day_with_pilots(session, "Wren", "Otter", responsibility=None)
    plan_at_once(session, day)
    wren = pilots.by_callsign_key(session, day.id, "wren").id
    edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, 200))
    day.rule_set_json = json.dumps(rules)
    now = standing(session, day).draft
    assert now.snapshot["rules"]["name"] == "Club permit"
    over = "Otter: 25 mW e.i.r.p. is above the 20 mW of Club permit, by no more than a label is uncertain."
    assert over in now.snapshot["warnings"]
    assert now.faults.forbidden == ("Wren: 200 mW e.i.r.p. is above the 20 mW of Club permit.",)
    assert now.faults.forbidden[0] not in now.snapshot["warnings"]


def test_counts_channel_changes_and_pairs_that_meet_again(session):
    content = DraftContent(
        (
            DraftHeat(1, (DraftSlot(1, 5658, 25), DraftSlot(2, 5695, 25))),
            DraftHeat(2, (DraftSlot(1, 5732, 25), DraftSlot(2, 5695, 25))),
            DraftHeat(3, (DraftSlot(1, 5732, 25), DraftSlot(2, 5695, 25), DraftSlot(3, 5806, 25))),
        )
    )
    assert snapshots.retunes(content) == 1
    assert snapshots.repeat_pairings(content) == 2


def test_moves_name_channels_against_the_plan_before(session):
    day = day_with_pilots(session, "Wren", "Otter")
    plan_at_once(session, day)
    now = standing(session, day).draft
    plans.publish(session, day, now.version, now.seen, False, NOW)
    wren = pilots.by_callsign_key(session, day.id, "wren").id
    edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5800))
    now = standing(session, day)
    assert now.draft.snapshot["moves"] == [
        {
            "pilot_id": wren,
            "callsign": "Wren",
            "from_channel": "R1",
            "from_mhz": 5658,
            "to_channel": "F4",
            "to_mhz": 5800,
        }
    ]
    assert now.differences == ("Wren moves from R1 5658 to F4 5800",)


def test_differences_name_heat_power_and_who_comes(session):
    day = day_with_pilots(session, "Wren", "Otter", aircraft=2)
    plan_at_once(session, day)
    now = standing(session, day).draft
    plans.publish(session, day, now.version, now.seen, False, NOW)
    make_pilot(session, day, "Rook")
    wren = pilots.by_callsign_key(session, day.id, "wren").id
    edit(session, day, lambda content, basis: edits.put_in(content, basis, "rook"))
    edit(session, day, lambda content, basis: edits.move(content, basis, 1, wren, 2))
    edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, 200))
    rook = standing(session, day).draft.snapshot["heats"][1]["slots"][0]
    assert standing(session, day).differences == (
        "Wren flies in heat 2, not in heat 1",
        "Wren sets 200 mW, not 25 mW",
        f"Rook comes in: {rook['channel']} {rook['mhz']}, heat 2",
    )


@pytest.mark.parametrize(
    ("power_mw", "stations", "words"),
    [
        (25, [("Wren", 5658), ("Otter", 5695)], "Otter's carrier, 37 MHz above, takes 100 %"),
        # Both lie past the floor of the protection ratio, so neither is to blame.
        (25, [("Wren", 5658), ("Otter", 5740), ("Rook", 5905)], "Both carriers alike, 50 % each"),
        (
            25,
            [("Wren", 5658), ("Otter", 5740), ("Rook", 5905), ("Quill", 5790)],
            "All 3 carriers alike, 33 %",
        ),
        (
            25,
            [("Wren", 5658), ("Otter", 5740), ("Rook", 5905), ("Quill", 5690)],
            "Quill's carrier, 32 MHz above",
        ),
        # Quill and Rook are near on either side, Otter is far off.
        (
            25,
            [("Wren", 5740), ("Quill", 5772), ("Rook", 5708), ("Otter", 5905)],
            "Quill's and Rook's carriers take 4",
        ),
        # 2 * 5732 - 5769 = 5695, at much power 4 MHz below and right on the channel.
        (
            3000,
            [("Wren", 5699), ("Otter", 5732), ("Rook", 5769)],
            f"2 {TIMES} Otter {MINUS} Rook lands 4 MHz below, takes",
        ),
        (
            3000,
            [("Wren", 5695), ("Otter", 5732), ("Rook", 5769)],
            f"2 {TIMES} Otter {MINUS} Rook lands right on this",
        ),
        # An even comb at much power: many products land on each channel, none of them takes half.
        (
            600,
            [(f"P{place}", 5658 + 37 * place) for place in range(8)],
            f"P1 + P2 {MINUS} P3 lands right on this channel, takes 10 %; all products 93 %",
        ),
    ],
)
def test_causes_in_words(session, power_mw, stations, words):
    day = day_with_pilots(session, "Wren")
    margins = heat_margins([Station(name, mhz, power_mw) for name, mhz in stations], site_of(day))
    assert cause_words(margins.slots[0]).startswith(words)
