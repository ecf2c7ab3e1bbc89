"""Who may be on, worked out from what the director and the pilots did: a second reading of the words, on its own.

It imports nothing of the application. The order of powering up is what the director reads out.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

STAY_OFF, READY, POWER_UP, FLY = "STAY OFF", "READY", "POWER UP", "FLY"
LAND, DISARM, DOWN, ASK = "LAND", "DISARM THEN POWER OFF", "DOWN, STILL ON", "ASK THE DIRECTOR"
MAY_SWITCH_ON = (POWER_UP, FLY)

WORD_AT = {
    "waits": READY,
    "has the turn": POWER_UP,
    "has a picture": POWER_UP,
    "flies": FLY,
    "comes down": LAND,
    "is down safely": DISARM,
    "is lost": DOWN,
}
SURELY_ON = ("has a picture", "flies", "comes down", "is down safely", "is lost")
CALLED_OFF = {
    "waits": "is out",
    "has the turn": "is down safely",
    "has a picture": "is down safely",
    "flies": "comes down",
}

Words = frozenset[str]


@dataclass
class Called:
    """A heat that is up: where each pilot of it stands, in the order of powering up."""

    heat: int
    at: dict[str, str]
    released: set[str] = field(default_factory=set)
    is_released: bool = False
    is_coming_down: bool = False
    counts: bool = True


class Judge:
    """What must be on each phone.

    crews    callsigns by heat, of the published plan
    flights  what each pilot has flown in heats that count
    """

    def __init__(self) -> None:
        self.crews: dict[int, list[str]] = {}
        self.known: set[str] = set()
        self.here: set[str] = set()
        self.through: set[tuple[int, str]] = set()
        self.call: Called | None = None
        self.lost: set[str] = set()
        self.pits: dict[str, str] = {}
        self.alarm = False
        self.walkers = False
        self.flights: Counter[str] = Counter()

    # What happens

    def published(self, crews: Mapping[int, Sequence[str]]) -> None:
        self.crews = {heat: list(crew) for heat, crew in crews.items()}

    def called(self, heat: int, order: Iterable[str]) -> None:
        fit = self.here - self.lost
        order = list(order)
        flying = [name for name in order if name in fit]
        self.call = Called(heat, {name: "waits" if name in fit else "is out" for name in (*flying, *order)})
        self._settle()

    def picture_is_clear(self, name: str) -> None:
        self._move(name, "has the turn", "has a picture")

    def not_clear(self, name: str) -> None:
        self._move(name, "has a picture", "has the turn")

    def stands_down(self, name: str) -> None:
        self._up.at[name] = CALLED_OFF[self._up.at[name]]
        self._settle()

    def back_in_line(self, name: str) -> None:
        self._move(name, "is off", "waits")

    def released(self) -> None:
        self._up.is_released = True
        self._up.released = self._all("has a picture", "flies")

    def called_to_land(self) -> None:
        self._up.is_coming_down = True
        self._all("flies", "comes down")

    def stopped(self, counts: bool) -> None:
        self._call_off()
        self._up.counts = counts and self._up.is_released

    def all_landed(self) -> None:
        self._all("comes down", "is down safely")

    def landed(self, name: str) -> None:
        assert self._up.at[name] in ("flies", "comes down")
        self._up.at[name] = "is down safely"

    def still_up(self, name: str) -> None:
        self._move(name, "is down safely", "comes down")

    def is_off(self, name: str) -> None:
        self._move(name, "is down safely", "is off")

    def ended(self) -> None:
        """Whoever has landed is off with it."""
        up = self._up
        if up.counts:
            self.through |= {(up.heat, name) for name in up.at}
            self.flights.update(up.released)
        self.call = None
        self._settle()

    def went_down(self, name: str) -> None:
        self._up.at[name] = "is lost"
        self.lost.add(name)
        self._settle()

    def was_found(self, name: str) -> None:
        self.lost.discard(name)
        if self.call and self.call.at.get(name) == "is lost":
            self.call.at[name] = "is off"

    def everybody_lands(self) -> None:
        self.alarm = True
        if self.call:
            self._call_off()
            self.call.counts = False

    def lifted(self) -> None:
        self.alarm = False
        self._settle()

    def walk(self, are_there: bool) -> None:
        self.walkers = are_there
        self._settle()

    def arrives(self, name: str) -> None:
        self.known.add(name)
        self.here.add(name)

    def leaves(self, name: str) -> None:
        self.here.discard(name)
        if self.call and self.call.at.get(name) in CALLED_OFF:
            self.stands_down(name)

    def in_the_pits(self, name: str, stage: str) -> None:
        """`stage`: waits, is on, is off; who waits may switch on as soon as nobody is up."""
        self.pits[name] = stage
        self._settle()

    # What must be seen

    @property
    def next_heat(self) -> int | None:
        """The first heat of which somebody who is here did not fly yet, and is not up in it now."""
        for heat in sorted(self.crews):
            if self._waiting_for(heat):
                return heat
        return None

    @property
    def has_the_turn(self) -> str | None:
        at = self.call.at if self.call else {}
        return next((name for name, where in at.items() if where == "has the turn"), None)

    def words(self) -> dict[str, Words]:
        """By callsign, what the phone may show; more than one word where either says to keep the power off."""
        upcoming, repeated = self._ready()
        found = {}
        for name in sorted(self.known):
            words = {self._word(name, upcoming)}
            if repeated and words <= {READY, STAY_OFF} and not self._is_up(name) and not self.alarm:
                words = {READY, STAY_OFF}
            found[name] = frozenset(words)
        return found

    def in_doubt(self) -> dict[str, str]:
        """By callsign, what a phone shows that has lost the server."""
        return {name: ASK if self.is_surely_on(name) else STAY_OFF for name in self.words()}

    def is_surely_on(self, name: str) -> bool:
        at = self.call.at.get(name, "") if self.call else ""
        return at in SURELY_ON or name in self.lost or self.pits.get(name) == "is on"

    def _word(self, name: str, upcoming: set[str]) -> str:
        at = self.call.at.get(name, "") if self.call else ""
        word = WORD_AT.get(at, "")
        if not word and self.pits.get(name) in ("may switch on", "is on"):
            word = POWER_UP
        if not word and name in self.lost:
            word = DOWN
        if not word:
            word = READY if name in upcoming and name in self.here else STAY_OFF
        if self.alarm or (name not in self.here and word == POWER_UP):
            return {READY: STAY_OFF, POWER_UP: DISARM, FLY: LAND}.get(word, word)
        if self.walkers and word == POWER_UP:
            return ASK if self.is_surely_on(name) else READY
        return word

    def _ready(self) -> tuple[set[str], bool]:
        """Who is in the next heat, and whether that may as well be the one that is up now, to be flown again."""
        heat = self.next_heat
        repeated = self.call is not None and not self.call.counts
        return self._waiting_for(heat) if heat is not None else set(), repeated

    def _waiting_for(self, heat: int) -> set[str]:
        up = set(self.call.at) if self.call and self.call.heat == heat else set()
        return {
            name for name in self.crews[heat] if name in self.here and (heat, name) not in self.through
        } - up

    def _is_up(self, name: str) -> bool:
        return self.call is not None and self.call.at.get(name) in WORD_AT

    # How it happens

    @property
    def _up(self) -> Called:
        assert self.call is not None, "no heat is up"
        return self.call

    def _move(self, name: str, before: str, after: str) -> None:
        assert self._up.at[name] == before, f"{name} {self._up.at[name]}, not: {before}"
        self._up.at[name] = after
        self._settle()

    def _all(self, before: str, after: str) -> set[str]:
        moved = {name for name, at in self._up.at.items() if at == before}
        self._up.at.update(dict.fromkeys(moved, after))
        return moved

    def _call_off(self) -> None:
        self._up.at = {name: CALLED_OFF.get(at, at) for name, at in self._up.at.items()}
        self._up.is_coming_down = True

    def _settle(self) -> None:
        """The turn goes to one at a time, in the order that was read out, and to nobody while one who stood down
        may be on; who waits in the pits is clear once nobody of the heat may be on or will be.
        """
        up = self.call
        if self.alarm or self.walkers:
            return
        if up is not None and not up.is_released and not up.is_coming_down and self.has_the_turn is None:
            first = next((name for name, at in up.at.items() if at == "waits"), None)
            if first and "is down safely" not in up.at.values():
                up.at[first] = "has the turn"
        if up is None or not any(at in WORD_AT and at != "is lost" for at in up.at.values()):
            self.pits = {name: "may switch on" if at == "waits" else at for name, at in self.pits.items()}
