"""How many heats of the published plan have been flown: from then on they are history."""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from server.services.channel_confirmation import void_where_moved
from server.services.drafts import DraftContent, DraftHeat
from server.services.errors import InputError, RefusedError
from server.services.flight_line import line_to_change
from server.services.roles import acting
from server.services.standings import day_id, latest_snapshot
from server.storage import calls, logbook
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import ngettext

FLOWN = "heats flown"


def next_heat(session: Session, day: FieldDay, number: int, at: datetime) -> None:
    """Say which heat flies next; the ones before it are flown. Raises RefusedError or InputError."""
    published = latest_snapshot(session, day)
    if published is None:
        raise RefusedError(_("No plan is published, so no heat can have been flown. Publish one first."))
    heats = len(published["heats"])
    if not 1 <= number <= heats + 1:
        raise InputError(
            {
                "next_heat": _(
                    "Plan %(number)s has heats 1 to %(heats)s. Choose one of them.",
                    number=published["number"],
                    heats=heats,
                )
            }
        )
    flown = number - 1
    if day.flown_heats == flown:
        return
    if calls.live(session, day_id(day)) is not None:
        raise RefusedError(_("A heat is called: end it before you say which heat is next."))
    if flown < day.flown_heats:
        _count_from_now(session, day)
    before, day.flown_heats = day.flown_heats, flown
    session.flush()
    void_where_moved(session, day)
    facts = {"flown": flown, "before": before}
    logbook.append(session, day_id(day), acting(session), FLOWN, _words(flown, heats), facts, at)


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
        raise RefusedError(
            ngettext(
                "Heat %(number)s has been flown and stays as published. Change the heats ahead.",
                "Heats 1 to %(number)s have been flown and stay as published. Change the heats ahead.",
                flown,
            )
        )
    return replace(after, heats=(*history, *after.heats[flown:]))


def _crew(heat: DraftHeat) -> list[int]:
    return sorted(slot.pilot_id for slot in heat.slots)


def _words(flown: int, heats: int) -> str:
    if not flown:
        return _("No heat is flown yet: heat 1 is next.")
    if flown == heats:
        return ngettext("Heat %(number)s is flown.", "Heats 1 to %(number)s are flown.", flown)
    return ngettext(
        "Heat %(number)s is flown: heat %(next)s is next.",
        "Heats 1 to %(number)s are flown: heat %(next)s is next.",
        flown,
        next=flown + 1,
    )
