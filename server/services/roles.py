"""Who signs in: three roles in one line, each of which may do all that the next may.

A club's organizer says who may do what, makes field days and sets their site and rules; its director plans,
publishes and runs the flight line; its helper checks pilots in and does the bench checks.
"""

from sqlmodel import Session

from server.wording import marked

ORGANIZER = marked("organizer")
DIRECTOR = marked("director")
HELPER = marked("helper")

ROLES = (ORGANIZER, DIRECTOR, HELPER)
"""From the one that may do most to the one that may do least."""


def may(role: str, least: str) -> bool:
    """Whether a role may do what `least` is needed for."""
    return ROLES.index(role) <= ROLES.index(least)


def allowed_to(least: str) -> tuple[str, ...]:
    """Every role that may, the least of them first."""
    return tuple(role for role in reversed(ROLES) if may(role, least))


def acting(session: Session) -> str:
    """Whose work this session does: the role of the browser that asked.

    Where no browser asked, as in the demonstration, it is the director's.
    """
    return str(session.info.get("acting") or DIRECTOR)
