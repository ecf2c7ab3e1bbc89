"""One pilot of a roster, from the text of a row or a form to callsigns, video set-up and wishes."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from server.radio.errors import TuningError
from server.radio.tuning import parse_tuning
from server.services import gear
from server.services.callsigns import callsign_key, read_callsign, read_callsigns, tidy
from server.services.faults import FieldFault, FieldsError, shown
from server.services.gear import VideoSetup, read_setup
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import listed

REQUIRED = ("callsign", "tunes")
FREE_TEXT = ("name", "station_id", "note")
WISHES = ("pin", "apart", "together", "spotter", "after", "before", "heat")
COLUMNS = (*REQUIRED, *(name for name in gear.FIELDS if name not in REQUIRED), *FREE_TEXT, *WISHES)
"""Every column that a roster may have, the required ones first."""

LONGEST_TEXT = 400
HIGHEST_HEAT = 999

_HEAT_NUMBER = re.compile(r"[0-9]{1,3}")
_Part = TypeVar("_Part")


@dataclass(frozen=True)
class RosterPilot:
    """One pilot as a row describes it.

    pin_mhz          the only carriers this pilot may get; empty: all
    apart, together  callsigns as the roster spells them
    spotter          as the roster spells it where the spotter flies too, else as typed
    typed            the text of every column that was filled
    line             where the row starts in its file, 0 outside files
    """

    callsign: str
    setup: VideoSetup
    pin_mhz: tuple[int, ...] = ()
    apart: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    spotter: str | None = None
    after: int | None = None
    before: int | None = None
    heat: int | None = None
    typed: Mapping[str, str] = field(default_factory=dict, hash=False)
    line: int = 0


def read_pilot(typed: Mapping[str, str], known: Mapping[str, str], line: int = 0) -> RosterPilot:
    """One pilot from the text of COLUMNS; missing ones are empty. Raises FieldsError with all faults.

    known  callsigns of the whole roster by their key, for the lists of other pilots
    """
    reading = _Reading(typed)
    callsign = reading.part(lambda: read_callsign(reading.text("callsign"))) or ""
    setup = reading.part(lambda: read_setup(typed, callsign or _("this pilot")))
    pin_mhz = reading.pin(setup)
    apart = reading.callsigns("apart", known, callsign)
    together = reading.callsigns("together", known, callsign)
    spotter = reading.spotter(known, callsign)
    after, before, heat = (reading.heat_number(name) for name in ("after", "before", "heat"))
    reading.order(after, before, heat)
    reading.lengths()
    if reading.faults or setup is None:
        raise FieldsError(reading.faults)
    filled = {name: text for name, text in typed.items() if text}
    return RosterPilot(callsign, setup, pin_mhz, apart, together, spotter, after, before, heat, filled, line)


class _Reading:
    """Reads one column after another and keeps every fault."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self._typed = typed
        self.faults: list[FieldFault] = []

    def text(self, name: str) -> str:
        return (self._typed.get(name) or "").strip()

    def fault(self, name: str, problem: str, cure: str) -> None:
        self.faults.append(FieldFault(name, self.text(name), problem, cure))

    def part(self, read: Callable[[], _Part]) -> _Part | None:
        try:
            return read()
        except FieldsError as error:
            self.faults.extend(error.field_faults)
            return None

    def callsigns(self, name: str, known: Mapping[str, str], own: str) -> tuple[str, ...]:
        return self.part(lambda: read_callsigns(name, self.text(name), known, own)) or ()

    def spotter(self, known: Mapping[str, str], own: str) -> str | None:
        spotter = tidy(self.text("spotter"))
        if spotter and callsign_key(spotter) == callsign_key(own):
            self.fault(
                "spotter",
                _("%(own)s cannot spot for %(own)s", own=own),
                _("write who stands beside the pilot, or nothing"),
            )
        return known.get(callsign_key(spotter), spotter) or None

    def pin(self, setup: VideoSetup | None) -> tuple[int, ...]:
        if not self.text("pin"):
            return ()
        try:
            pin_mhz = parse_tuning(self.text("pin")).mhz
        except TuningError as error:
            self.faults.append(
                FieldFault("pin", error.word, translated(error.problem), translated(error.cure))
            )
            return ()
        if setup and not set(pin_mhz) & set(setup.usable_mhz):
            problem = _("“%(text)s” pins a channel that this gear cannot use", text=shown(self.text("pin")))
            self.fault(
                "pin", problem, _("pin a channel that stands in tunes and receives, or leave it empty")
            )
        return pin_mhz

    def heat_number(self, name: str) -> int | None:
        text = self.text(name)
        if not text:
            return None
        if not _HEAT_NUMBER.fullmatch(text) or int(text) < 1:
            self.fault(
                name,
                _("“%(text)s” is not a heat number", text=shown(text)),
                _("write 1 to %(highest)s, or nothing", highest=HIGHEST_HEAT),
            )
            return None
        return int(text)

    def order(self, after: int | None, before: int | None, heat: int | None) -> None:
        first, last = (after or 0) + 1, (before or HIGHEST_HEAT + 1) - 1
        if first > last and after and before:
            cure = _("write the earlier heat under after and the later one under before")
            self.fault(
                "before",
                _("no heat lies after %(after)s and before %(before)s", after=after, before=before),
                cure,
            )
        elif heat and not first <= heat <= last:
            bounds = listed(
                [
                    *([_("after %(heat)s", heat=after)] if after else []),
                    *([_("before %(heat)s", heat=before)] if before else []),
                ]
            )
            self.fault(
                "heat",
                _("heat %(heat)s is not %(bounds)s", heat=heat, bounds=bounds),
                _("change one of them"),
            )

    def lengths(self) -> None:
        for name, text in self._typed.items():
            # A callsign has its own, shorter limit.
            if name != "callsign" and len(text) > LONGEST_TEXT:
                problem = _("a text of %(number)s characters is too long", number=len(text))
                self.fault(name, problem, _("shorten it to %(longest)s characters", longest=LONGEST_TEXT))
