"""What one plan changes against another, in sentences."""

from server.services.differences import newcomers, sentences

WREN, OTTER, ROOK, LATE = range(1, 5)
NAMES = {WREN: "Wren", OTTER: "Otter", ROOK: "Rook", LATE: "Late"}


def plan(*heats, rounds=None):
    """Heats of pilot ids, all in round 1 unless told, everybody on the channel of their own."""
    return {
        "heats": [
            {"heat": number, "round": (rounds or {}).get(number, 1), "slots": [slot(one) for one in crew]}
            for number, crew in enumerate(heats, start=1)
        ]
    }


def slot(pilot_id):
    return {
        "pilot_id": pilot_id,
        "callsign": NAMES[pilot_id],
        "channel": "R1",
        "mhz": 5600 + 20 * pilot_id,
        "power_mw": 25.0,
    }


def test_heats_behind_a_new_one_are_told_once():
    before, after = plan([WREN], [OTTER], [ROOK]), plan([WREN], [LATE], [OTTER], [ROOK])
    assert sentences(before, after) == [
        "Late comes in: R1 5680, heat 2",
        "Heats 2 and 3 are now heats 3 and 4",
    ]


def test_one_heat_behind_one_that_is_gone_is_told_as_one():
    assert sentences(plan([WREN], [OTTER]), plan([OTTER])) == ["Wren no longer flies", "Heat 2 is now heat 1"]


def test_who_flies_with_others_than_before_is_named():
    before, after = plan([WREN, OTTER], [ROOK]), plan([WREN], [OTTER, ROOK])
    assert sentences(before, after) == ["Otter flies in heat 2, not in heat 1"]


def test_heats_that_change_places_are_told_once():
    assert sentences(plan([WREN], [OTTER]), plan([OTTER], [WREN])) == ["Heats 1 and 2 are now heats 2 and 1"]


def test_the_same_pilots_in_another_round_are_another_heat():
    before = plan([WREN], [WREN], rounds={2: 2})
    after = plan([WREN], [OTTER], [WREN], rounds={2: 2, 3: 2})
    assert sentences(before, after)[-1] == "Heat 2 is now heat 3"


def test_newcomers_are_those_whom_the_plan_before_did_not_have():
    assert newcomers(plan([WREN], [OTTER]), plan([WREN], [LATE, ROOK])) == [ROOK, LATE]
    assert newcomers(None, plan([OTTER], [WREN], [OTTER])) == [WREN, OTTER]
