"""The flight line as the public board shows it: the heat that is up, the next one, and the word of everybody else.

Every word is the one that the pilot's own phone says, with the one that holds once the board may be out of date.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.services import down_transmitters
from server.services.call_steps import named
from server.services.call_views import FlightLineNow
from server.services.gear import label_at
from server.services.transmitter_words import (
    ASK_THE_DIRECTOR,
    DISARM_THEN_POWER_OFF,
    DOWN_STILL_ON,
    FLY,
    LAND,
    POWER_UP,
    READY,
    STAY_OFF,
    Facts,
    Word,
    word_for,
    word_on_a_stale_page,
)
from server.services.turn_views import OpenFlyingNow
from server.storage.tables import FieldDay

ORDER_OF_WORDS = (
    LAND,
    DISARM_THEN_POWER_OFF,
    DOWN_STILL_ON,
    ASK_THE_DIRECTOR,
    FLY,
    POWER_UP,
    READY,
    STAY_OFF,
)
"""Who may be on comes first, who stays off last."""


@dataclass(frozen=True)
class LinePilot:
    """One pilot of the heat that is up or next.

    key             marks the pilot's place, so that what changed there can be seen
    word            what the pilot's own phone says; `word_in_doubt` once the board may be out of date
    note            what for the pilot may be on outside a call, so that nobody takes the word for a call
    """

    key: str
    callsign: str
    channel: str | None
    mhz: int
    word: Word
    word_in_doubt: Word
    note: str = ""


@dataclass(frozen=True)
class SameWord:
    """Everybody with one word, by the alphabet, so that a name is found.

    callsigns  a transmitter that is down carries its channel, "Teasel R3 5732", and one that may be on outside
               a call what for, "Sorrel (bench check)"
    """

    word: Word
    callsigns: tuple[str, ...]


@dataclass(frozen=True)
class LineOnBoard:
    """What everybody may know of the flight line.

    everybody_land  the reason while EVERYBODY LAND is on, else None
    now_named       the heat that is up, "Heat 4"; empty while none is called; `stage` is the call's
    heats_up        the numbers of the heats that are up; `flown_heats` says how many are flown
    now, upcoming   its pilots, in the order of powering up, and those of the next heat
    everybody       all who are here or down, by word; `others` without who stands in `now` or `upcoming`
    """

    everybody_land: str | None
    walkers: bool
    now_named: str
    stage: str
    heats_up: tuple[int, ...]
    flown_heats: int
    now: tuple[LinePilot, ...]
    next_heat: int | None
    upcoming: tuple[LinePilot, ...]
    everybody: tuple[SameWord, ...]
    others: tuple[SameWord, ...]

    @property
    def is_in_use(self) -> bool:
        """A heat is up or next, or something holds for everybody."""
        return bool(self.now or self.upcoming) or self.walkers or self.everybody_land is not None

    @property
    def columns(self) -> int:
        """Of the fuller heat on a wide screen: two rows up to eight pilots."""
        return min(4, max(2, (max(len(self.now), len(self.upcoming)) + 1) // 2))

    def state_of(self, heat: int) -> str:
        """Where a heat of the plan stands, in a word or two; empty for one that comes later."""
        if heat in self.heats_up:
            return self.stage
        if heat == self.next_heat:
            return "next"
        return "flown" if heat <= self.flown_heats else ""


def line_on_board(session: Session, day: FieldDay, line: FlightLineNow, flying: OpenFlyingNow) -> LineOnBoard:
    down = {one.pilot_id: one for one in down_transmitters.still_on(session, day)}
    lost = {id: f"{one.callsign} {label_at(one.mhz, {}) or ''} {one.mhz}" for id, one in down.items()}
    seen = sorted({*line.here, *down})
    facts = {id: line.facts(id, flying.facts(id), id in down) for id in {*seen, *line.called}}
    names = {id: " ".join(lost.get(id, line.here.get(id, "")).split()) for id in seen}
    names |= {id: f"{names[id]} ({why})" for id in seen if (why := line.why_on_outside(id))}
    shown = {*line.called, *(line.next[1] if line.next else ())}
    return LineOnBoard(
        everybody_land=line.everybody_land,
        walkers=line.line.walkers_since is not None,
        now_named=named(line.call) if line.call else "",
        stage=line.call.stage if line.call else "",
        heats_up=tuple(line.call.heats) if line.call else (),
        flown_heats=day.flown_heats,
        now=_now(line, facts),
        next_heat=line.next[0] if line.next else None,
        upcoming=_upcoming(line, facts),
        everybody=_by_word(seen, facts, names),
        others=_by_word([id for id in seen if id not in shown], facts, names),
    )


def _now(line: FlightLineNow, facts: Mapping[int, Facts]) -> tuple[LinePilot, ...]:
    return tuple(
        LinePilot(
            f"now-{slot.callsign}",
            slot.callsign,
            slot.channel,
            slot.mhz,
            word_for(facts[slot.pilot_id]),
            word_on_a_stale_page(facts[slot.pilot_id]),
        )
        for slot in line.slots
    )


def _upcoming(line: FlightLineNow, facts: Mapping[int, Facts]) -> tuple[LinePilot, ...]:
    if line.next is None or line.snapshot is None:
        return ()
    number, crew = line.next
    heat = next(one for one in line.snapshot["heats"] if one["heat"] == number)
    return tuple(
        LinePilot(
            f"next-{slot['callsign']}",
            slot["callsign"],
            slot["channel"],
            slot["mhz"],
            word_for(facts[slot["pilot_id"]]),
            word_on_a_stale_page(facts[slot["pilot_id"]]),
            line.why_on_outside(slot["pilot_id"]),
        )
        for slot in heat["slots"]
        if slot["pilot_id"] in crew and slot["pilot_id"] in line.here
    )


def _by_word(
    pilot_ids: Sequence[int], facts: Mapping[int, Facts], names: Mapping[int, str]
) -> tuple[SameWord, ...]:
    found: defaultdict[Word, list[str]] = defaultdict(list)
    for id in pilot_ids:
        found[word_for(facts[id])].append(names[id])
    return tuple(
        SameWord(word, tuple(sorted(found[word], key=str.casefold)))
        for word in ORDER_OF_WORDS
        if word in found
    )
