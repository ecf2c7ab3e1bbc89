"""Clubs: each sees only its own field days."""

from datetime import datetime

from sqlmodel import Session

from server.services.callsigns import tidy
from server.services.errors import InputError, NotFoundError
from server.services.faults import shown
from server.services.roles import ORGANIZER
from server.storage import clubs, logbook
from server.storage.tables import Club
from server.wording import gettext as _

LONGEST_NAME = 60


def all_clubs(session: Session) -> list[Club]:
    """The first made comes first."""
    return clubs.oldest_first(session)


def club_of(session: Session, club_id: int) -> Club:
    """Raises NotFoundError."""
    club = clubs.by_id(session, club_id)
    if club is None:
        raise NotFoundError(_("There is no such club."))
    return club


def club_named(session: Session, name: str) -> Club:
    """The club of this name, the only one where none is given. Raises NotFoundError, saying which there are."""
    everyone = all_clubs(session)
    found = [club for club in everyone if club.name == tidy(name)] if name else everyone
    if len(found) == 1:
        return found[0]
    names = ", ".join(club.name for club in everyone)
    if name:
        raise NotFoundError(
            _("There is no club %(name)s: name one of %(names)s.", name=shown(name), names=names)
        )
    raise NotFoundError(
        _("There are several clubs: add --club with the name of one of %(names)s.", names=names)
    )


def make_club(session: Session, name: str, at: datetime) -> Club:
    """A new club. Raises InputError if the name cannot be used."""
    club = clubs.add(session, _free_name(session, name), at)
    text = _("Made the club %(name)s.", name=club.name)
    logbook.append(session, None, ORGANIZER, "club made", text, {}, at, club.id)
    return club


def rename(session: Session, club_id: int, name: str, at: datetime) -> None:
    """Raises InputError if the name cannot be used, NotFoundError."""
    club = club_of(session, club_id)
    if tidy(name) == club.name:
        return
    text = _("Named the club %(name)s, before %(before)s.", name=tidy(name), before=club.name)
    club.name = _free_name(session, name)
    session.add(club)
    session.flush()
    logbook.append(session, None, ORGANIZER, "club named", text, {}, at, club.id)


def _free_name(session: Session, typed: str) -> str:
    name = tidy(typed)
    if not name:
        raise InputError({"name": _("Write the club's name.")})
    if len(name) > LONGEST_NAME:
        fault = _("Write a shorter name: %(most)s letters at most.", most=LONGEST_NAME)
        raise InputError({"name": fault})
    if clubs.by_name(session, name) is not None:
        raise InputError({"name": _("Another club has this name: write another.")})
    return name
