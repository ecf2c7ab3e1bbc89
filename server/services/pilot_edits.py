"""One page of a pilot saved at once: the pilot, every aircraft and a new spare, all of it or nothing."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial

from sqlmodel import Session

from server.services import aircraft, pilots, saved_forms
from server.services.errors import InputError, ServiceError
from server.services.stale_forms import Form, StaleFormError, check_fresh
from server.storage.tables import FieldDay, Pilot

Refusal = InputError | StaleFormError

OWN, NEW = "pilot", "new"
"""The parts of the page besides the aircraft, which go by their ids."""


class PageRefusedError(ServiceError):
    """What was wrong with the parts of a page, by part; nothing was saved."""

    def __init__(self, refusals: Mapping[str, Refusal]) -> None:
        super().__init__(" ".join(str(error) for error in refusals.values()))
        self.refusals = dict(refusals)


def save(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    own: Form,
    set_ups: Mapping[int, Form],
    spare: Mapping[str, str],
    who: str,
    at: datetime,
) -> None:
    """Save what was changed; a spare is added where its `tunes` or its `video` say something.

    set_ups  by aircraft id

    Raises PageRefusedError with the refusals of all parts; then the session must not be committed.
    """
    refusals: dict[str, Refusal] = {}

    def part(name: str, act: Callable[[], object]) -> None:
        try:
            act()
        except (InputError, StaleFormError) as error:
            refusals[name] = error

    part(OWN, lambda: check_fresh(own, saved_forms.pilot(session, day, pilot)))
    # Gear first: the pilot's own form is read beside it, so a new pin is held against the new channels.
    for aircraft_id, form in set_ups.items():
        one = aircraft.aircraft_of(session, pilot, aircraft_id)
        part(str(aircraft_id), partial(aircraft.change_set_up, session, day, pilot, one, form, who, at))
    if spare.get("tunes") or spare.get("video") == "other":
        part(NEW, lambda: aircraft.add_spare(session, day, pilot, spare, who, at))
    if OWN not in refusals:
        judged = replace(own, version=pilot.version)  # new gear has moved the version on
        part(OWN, lambda: pilots.edit(session, day, pilot, judged, who, at))
    if refusals:
        raise PageRefusedError(refusals)
