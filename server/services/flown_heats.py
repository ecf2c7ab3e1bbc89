"""How many heats of the published plan have been flown: from then on they are history."""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from server.services.access import DIRECTOR
from server.services.channel_confirmation import void_where_moved
from server.services.drafts import DraftContent, DraftHeat
from server.services.errors import InputError, RefusedError
from server.services.flight_line import line_to_change
from server.services.standings import day_id, latest_snapshot
from server.storage import calls, logbook
from server.storage.tables import FieldDay

FLOWN = "heats flown"


def next_heat(session: Session, day: FieldDay, number: int, at: datetime) -> None:
    """Say which heat flies next; the ones before it are flown. Raises RefusedError or InputError."""
    published = latest_snapshot(session, day)
    if published is None:
        raise RefusedError("No plan is published, so no heat can have been flown. Publish one first.")
    heats = len(published["heats"])
    if not 1 <= number <= heats + 1:
        raise InputError(
            {"next_heat": f"Plan {published['number']} has heats 1 to {heats}. Choose one of them."}
        )
    flown = number - 1
    if day.flown_heats == flown:
        return
    if calls.live(session, day_id(day)) is not None:
        raise RefusedError("A heat is called: end it before you say which heat is next.")
    if flown < day.flown_heats:
        _count_from_now(session, day)
    before, day.flown_heats = day.flown_heats, flown
    session.flush()
    void_where_moved(session, day)
    facts = {"flown": flown, "before": before}
    logbook.append(session, day_id(day), DIRECTOR, FLOWN, _words(flown, heats), facts, at)


def _count_from_now(session: Session, day: FieldDay) -> None:
    """Heats that are ahead again are flown anew, whoever was in an earlier call of them."""
    last = calls.last(session, day_id(day))
    if last is not None and last.id is not None:
        line_to_change(session, day).counted_from_call = last.id


def kept(before: DraftContent, after: DraftContent, flown: int) -> DraftContent:
    """The edited draft with the flown heats as they were: a channel changed everywhere is changed ahead.

    Raises RefusedError where the edit would change who flew in them.
    """
    history = before.heats[:flown]
    if [_crew(heat) for heat in after.heats[:flown]] != [_crew(heat) for heat in history]:
        which = (
            "Heat 1 has been flown and stays"
            if flown == 1
            else f"Heats 1 to {flown} have been flown and stay"
        )
        raise RefusedError(f"{which} as published. Change the heats ahead.")
    return replace(after, heats=(*history, *after.heats[flown:]))


def _crew(heat: DraftHeat) -> list[int]:
    return sorted(slot.pilot_id for slot in heat.slots)


def _words(flown: int, heats: int) -> str:
    if not flown:
        return "No heat is flown yet: heat 1 is next."
    done = "Heat 1 is flown" if flown == 1 else f"Heats 1 to {flown} are flown"
    return f"{done}." if flown == heats else f"{done}: heat {flown + 1} is next."
