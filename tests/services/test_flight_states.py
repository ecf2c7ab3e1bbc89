import itertools
from pathlib import Path

import pytest

from server.services import flight_states
from server.services.errors import RefusedError
from server.services.flight_states import (
    CALL_EVENTS,
    CALL_MOVES,
    PILOT_EVENTS,
    PILOT_MOVES,
    Line,
    call_after,
    pilot_after,
    why_not,
)
from server.services.transmitter_words import Facts, word_for
from server.storage.tables import CALL_SLOT_STAGES, CALL_STAGES

DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"

PILOTS = {
    ("waiting", "your turn"): "power up",
    ("waiting", "turn overridden"): "power up",
    ("waiting", "leave out"): "left out",
    ("waiting", "on unasked"): "landed",
    ("power up", "picture is clear"): "picture clear",
    ("power up", "stand down"): "landed",
    ("power up", "down"): "down, still on",
    ("picture clear", "release"): "flying",
    ("picture clear", "not clear"): "power up",
    ("picture clear", "stand down"): "landed",
    ("picture clear", "down"): "down, still on",
    ("flying", "land"): "landing",
    ("flying", "landed"): "landed",
    ("flying", "down"): "down, still on",
    ("landing", "landed"): "landed",
    ("landing", "flies on"): "flying",
    ("landing", "down"): "down, still on",
    ("landed", "off"): "off",
    ("landed", "still up"): "landing",
    ("landed", "down"): "down, still on",
    ("off", "not off"): "landed",
    ("off", "still up"): "landing",
    ("off", "back in line"): "waiting",
    ("down, still on", "found"): "off",
    ("down, still on", "still up"): "landing",
    ("left out", "back in line"): "waiting",
    ("left out", "on unasked"): "landed",
}
CALLS = {
    ("powering up", "release"): "flying",
    ("powering up", "stop"): "landing",
    ("flying", "land"): "landing",
    ("flying", "stop"): "landing",
    ("landing", "end"): "over",
    ("landing", "fly on"): "flying",
    ("over", "reopen"): "landing",
}


def test_the_tables_know_every_stage():
    assert set(PILOT_MOVES) == set(CALL_SLOT_STAGES)
    assert set(CALL_MOVES) == set(CALL_STAGES)


@pytest.mark.parametrize(("stage", "event"), list(itertools.product(CALL_SLOT_STAGES, PILOT_EVENTS)))
def test_a_pilot_goes_where_the_table_says_or_is_refused_with_a_sentence(stage, event):
    if (stage, event) in PILOTS:
        assert pilot_after(stage, event, "Wren") == PILOTS[stage, event]
        return
    with pytest.raises(RefusedError, match=r"^Wren [a-z].+: [a-z].+\.$"):
        pilot_after(stage, event, "Wren")


@pytest.mark.parametrize(("stage", "event"), list(itertools.product(CALL_STAGES, CALL_EVENTS)))
def test_a_call_goes_where_the_table_says_or_is_refused_with_a_sentence(stage, event):
    if (stage, event) in CALLS:
        assert call_after(stage, event, "Heat 4") == CALLS[stage, event]
        return
    with pytest.raises(RefusedError, match=r"^Heat 4 is .+: [a-z].+\.$"):
        call_after(stage, event, "Heat 4")


def test_nobody_who_may_be_on_is_off_without_having_been_told_to_power_off():
    to_off = {stage for (stage, _), after in PILOTS.items() if after in ("off", "left out", "waiting")}
    assert to_off & set(flight_states.MAY_BE_ON) == {"landed", "down, still on"}


def test_standing_everybody_down_leaves_nobody_who_may_still_be_sent_up():
    after = {stage: pilot_after(stage, event, "Wren") for stage, event in flight_states.STAND_DOWN_BY.items()}
    assert after == {
        "waiting": "left out",
        "power up": "landed",
        "picture clear": "landed",
        "flying": "landing",
    }


OPEN = Line("powering up")


@pytest.mark.parametrize("event", PILOT_EVENTS)
def test_a_heat_that_is_over_takes_nothing_but_a_find(event):
    expected = "" if event == "found" else "This heat is over. Undo its end first."
    assert why_not(event, Line("over")) == expected


@pytest.mark.parametrize("event", [*PILOT_EVENTS, *CALL_EVENTS])
def test_everybody_land_stops_what_sends_anybody_up(event):
    held = {
        "your turn",
        "turn overridden",
        "picture is clear",
        "release",
        "flies on",
        "fly on",
        "not clear",
        "back in line",
    }
    refused = why_not(event, Line("flying", everybody_land=True, was_released=True))
    if event in held:
        assert refused == "EVERYBODY LAND is on: the director lifts it first."
    else:
        assert refused == ""


@pytest.mark.parametrize("event", [*PILOT_EVENTS, *CALL_EVENTS])
def test_walkers_stop_power_up_and_release(event):
    refused = why_not(event, Line("powering up", walkers=True, was_released=True, unasked="Rook is"))
    if event in ("your turn", "turn overridden", "release", "flies on", "fly on"):
        assert refused == "Walkers are on the field: wait until the director says that it is clear."
    else:
        assert refused == ""


@pytest.mark.parametrize("stage", ["flying", "landing"])
def test_a_turn_is_not_overridden_once_the_heat_was_released(stage):
    assert "does not power up any more" in why_not("turn overridden", Line(stage, unasked="Rook is"))


def test_somebody_on_unasked_holds_the_turn_but_not_the_directors_word():
    held = Line("powering up", unasked="Rook is")
    assert why_not("your turn", held).startswith("Rook is on, unasked: the next one powers up")
    assert why_not("turn overridden", held) == ""
    assert why_not("turn overridden", OPEN).startswith("Nobody on unasked holds the turn up")
    one_is_on = Line("powering up", who_powers_up="Otter", unasked="Rook is")
    assert why_not("turn overridden", one_is_on).startswith("Otter powers up now, one at a time")


@pytest.mark.parametrize("event", ["your turn", "not clear", "back in line"])
@pytest.mark.parametrize("stage", ["flying", "landing"])
def test_nobody_joins_a_heat_that_was_released(event, stage):
    assert "does not power up any more" in why_not(event, Line(stage))
    assert why_not(event, OPEN) == ""


def test_one_powers_up_at_a_time():
    refused = why_not("your turn", Line("powering up", who_powers_up="Otter"))
    assert refused.startswith("Otter powers up now, one at a time")
    assert why_not("picture is clear", Line("powering up", who_powers_up="Otter")) == ""


def test_one_flies_on_alone_only_while_the_heat_flies():
    assert why_not("flies on", Line("flying")) == ""
    assert "let the heat fly on" in why_not("flies on", Line("landing"))


def test_a_heat_that_was_never_released_cannot_fly_on():
    assert "never released" in why_not("fly on", Line("landing"))
    assert why_not("fly on", Line("landing", was_released=True)) == ""


def _row(stage: str, word: str, moves: dict[str, str]) -> str:
    return f"| {stage} | {word} | {'; '.join(f'{event} → {after}' for event, after in moves.items())} |"


@pytest.mark.parametrize("stage", CALL_SLOT_STAGES)
def test_the_documents_table_of_pilots_is_the_programs(stage):
    row = _row(stage, word_for(Facts(call=stage)), dict(PILOT_MOVES[stage]))
    assert row in DEVELOPERS.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("stage", CALL_STAGES)
def test_the_documents_table_of_calls_is_the_programs(stage):
    moves = "; ".join(f"{event} → {after}" for event, after in CALL_MOVES[stage].items())
    assert f"| {stage} | {moves} |" in DEVELOPERS.read_text(encoding="utf-8").splitlines()
