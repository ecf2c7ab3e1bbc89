"""What has to hold of a day at every moment, whoever pressed what."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session

from server.services import board, line_desk, slots, turn_views
from server.services.day_now import DayNow
from server.services.slots import MySlot
from server.services.transmitter_words import Word
from server.storage import calls, published_plans
from server.storage.tables import POWER_UP, FieldDay

MAY_BE_ON = ("POWER UP", "FLY", "LAND", "DISARM THEN POWER OFF", "DOWN, STILL ON", "ASK THE DIRECTOR")
NOT_TO_POWER = ("STAY OFF", "READY")
HEAT_OVER = "heat over"
SAYS_OFF = {HEAT_OVER, "off", "found", "down found", "clearance ended", "turn ended", "unasked taken back"}
"""Actions of the logbook; the end of a heat names nobody, since everybody is off by it."""


def check_plans(session: Session, day: FieldDay, known: dict[int, str]) -> None:
    """Numbers count up from 1; what was published stays to the letter. `known` is what was seen so far."""
    plans = {plan.number: plan.snapshot_json for plan in published_plans.newest_first(session, day.id or 0)}
    assert sorted(plans) == list(range(1, len(plans) + 1))
    assert len(plans) - len(known) in (0, 1), "more than one plan at a press"
    for number, snapshot in known.items():
        assert plans[number] == snapshot, f"plan {number} changed after it was published"
    for number in plans.keys() - known.keys():
        for heat in json.loads(plans[number])["heats"]:
            twice = Counter(slot["pilot_id"] for slot in heat["slots"])
            assert max(twice.values()) == 1, f"somebody flies twice in heat {heat['heat']}"
    known.update(plans)


def check_day(session: Session, day: FieldDay, at: datetime) -> dict[str, Word]:
    """The words of all pages, together with the flight line; by callsign, the word of each page."""
    pages = {page.pilot_id: page for page in slots.slots_of_day(session, DayNow(session, day))}
    desk = line_desk.line_desk(session, day, at)
    _check_words(desk, pages)
    _check_turn_to_power_up(session, day, pages)
    rows = desk.call.rows if desk.call else ()
    for row in rows:
        assert row.word == pages[row.pilot_id].word, f"{row.callsign}: the desk says {row.word}"
    _check_board(session, day, pages)
    _check_open_flying(session, day, pages)
    return {page.callsign: page.word for page in pages.values()}


def check_nobody_is_forgotten(
    before: Mapping[str, Word], after: Mapping[str, Word], told: Sequence[tuple[str, str]], walkers: bool
) -> None:
    """Who may be on is told to stay off only once somebody said that it is off.

    told     action and text of what the logbook says since `before`
    walkers  people walk on the field: READY then says what to do where it is on already
    """
    for callsign in before.keys() & after.keys():
        if before[callsign] not in MAY_BE_ON or after[callsign] not in NOT_TO_POWER:
            continue
        if walkers and after[callsign] == "READY":
            continue
        off = [action for action, text in told if action == HEAT_OVER or callsign in text]
        words = f"{callsign}: {before[callsign]}, then {after[callsign]}"
        assert set(off) & SAYS_OFF, f"{words}, and nobody said that it is off: {told}"


def _check_words(desk: line_desk.LineDesk, pages: dict[int, MySlot]) -> None:
    for page in pages.values():
        if desk.everybody_land is not None:
            assert page.word not in ("POWER UP", "FLY", "READY"), (
                f"{page.callsign}: {page.word}, EVERYBODY LAND"
            )
        if desk.walkers_since is not None:
            assert page.word != "POWER UP", f"{page.callsign}: POWER UP while walkers are on the field"
        if page.known_on and not (page.is_down and page.turn is not None):  # a spare is no lost aircraft
            assert page.word not in ("STAY OFF", "READY"), f"{page.callsign} is known to be on: {page.word}"


def _check_turn_to_power_up(session: Session, day: FieldDay, pages: dict[int, MySlot]) -> None:
    """One at a time, in the order of the call: the others with POWER UP have a clear picture and wait."""
    live = calls.live(session, day.id or 0)
    places = calls.slots_of(session, live.id or 0) if live else []
    turn = [place.callsign for place in places if place.stage == POWER_UP]
    assert len(turn) <= 1, f"told to power up at once: {turn}"
    pilots = Counter(place.pilot_id for place in places)
    assert all(number == 1 for number in pilots.values()), "somebody has two places in one call"
    told = [
        id for id in pilots if pages[id].word == "POWER UP" and pages[id].reason.startswith("Power up on")
    ]
    assert len(told) <= 1


def _check_open_flying(session: Session, day: FieldDay, pages: dict[int, MySlot]) -> None:
    """The desk of open flying says to each pilot what the own page says, unless a call has the word."""
    desk = turn_views.OpenFlyingNow(session, day).desk()
    words = {page.callsign: page.word for page in pages.values() if page.call is None or page.call.is_done}
    for turn in [*desk.queue, *(turn for _, turn in desk.places if turn is not None)]:
        assert turn.word == words.get(turn.callsign, turn.word), f"{turn.callsign}: open flying {turn.word}"


def _check_board(session: Session, day: FieldDay, pages: dict[int, MySlot]) -> None:
    """The board says to each pilot of the heat that is up what the own page says."""
    now = board.board_of_day(session, DayNow(session, day)).line.now
    words = {page.called: page.word for page in pages.values()}
    for pilot in now:
        assert pilot.word == words.get(pilot.callsign, pilot.word), f"{pilot.callsign}: board {pilot.word}"
