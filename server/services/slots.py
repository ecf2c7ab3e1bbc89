"""What a pilot's own page shows: the channel, the power, when to fly, and the word for the transmitter.

In a called heat the pilot's place in the call has the word, at open flying the pilot's turn; between them the word
is READY for who flies in the next heat and STAY OFF for everybody else.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Literal

from sqlmodel import Session

from server.services import call_words
from server.services.call_views import MyCall, MyClearance
from server.services.day_now import DayNow
from server.services.errors import NotFoundError
from server.services.margin_words import signed_db
from server.services.transmitter_words import NOT_YET, Word, is_known_on, word_for, word_on_a_stale_page
from server.services.trouble_views import MyTrouble, TroubleNow
from server.services.tuned import Lookalike, Tuned, provisional_of, similar
from server.services.turn_views import MyTurn
from server.storage import days, down_transmitters, pilots, published_plans
from server.storage.tables import (
    CLEARANCES_MAY_BE_ON,
    NO_SHOW,
    WITHDRAWN,
    Aircraft,
    FieldDay,
    Pilot,
)
from server.wording import decimal, language_tag, marked
from server.wording import gettext as _

Standing = Literal["planned", "flown", "not in the plan", "no plan yet", "withdrawn", "no-show", "day over"]

ASK_BELOW = marked("Open flying is on: ask to fly with the button. The channel comes with the place.")

REASONS: dict[Standing, str] = {
    "planned": marked("Not called yet. The director's voice outranks this screen."),
    "flown": marked("Your heats of this plan are flown. The director's voice outranks this screen."),
    "not in the plan": marked("You came after this plan. The director adds you with the next one."),
    "no plan yet": marked("No plan is published yet. Your heat appears here by itself."),
    "withdrawn": marked("You are withdrawn from this day. Tell the desk if you want to fly."),
    "no-show": marked("You are marked as not here. Tell the desk that you are."),
    "day over": marked("This field day is over. At the next one you get a new link."),
}

IS_DOWN = marked("Your transmitter is down and still on. Tell the director once it is found and off.")


@dataclass(frozen=True)
class MyHeat:
    """One heat of a pilot.

    picture  the margin of the worst moment with its grade, in words
    why      what takes most of that margin
    """

    number: int
    round: int
    tuned: Tuned
    power_mw: float
    picture: str
    why: str


@dataclass(frozen=True)
class MySlot:
    """One pilot's page.

    order         from the database; a page with a lower one is older
    called        the callsign in the published plan, which is the one that is called out
    heats         the pilot's heats ahead, the next first; none unless `standing` is "planned"
    moved_from    what the pilot had before, by the last plan or provisionally, where this plan moved the pilot
    place_tuned   the channel of the place at open flying
    provisional   the channel to set before a plan has the pilot
    is_down       a transmitter of the pilot's is down and still on
    known_on      whether the transmitter is known to be on
    may_ask       open flying is on, and this pilot can ask to fly
    turn          the pilot's turn at open flying; its place comes before any heat
    word          while the page is fresh, and `word_in_doubt` once it may be out of date
    call          the pilot's place in the heat that is called; it comes before everything else
    is_next       the pilot's heat is the next to be called
    clearance     what the pilot asked for outside a call; `may_ask_clearance` where the own phone can ask
    everybody_land  the director's reason while EVERYBODY LAND is on, else None
    trouble       the pilot's report of trouble; None for who is not up and has none open
    """

    order: int = field(compare=False)
    pilot_id: int
    link_token: str = field(repr=False)
    callsign: str
    called: str
    day_code: str
    day_name: str
    day_date: date
    time_zone: str
    plan_number: int | None
    published_at: datetime | None
    standing: Standing
    heats: tuple[MyHeat, ...]
    moved_from: Tuned | None
    provisional: Tuned | None
    is_down: bool
    known_on: bool
    word: Word
    word_in_doubt: Word
    may_ask: bool = False
    turn: MyTurn | None = None
    place_tuned: Tuned | None = None
    call: MyCall | None = None
    called_tuned: Tuned | None = None
    is_next: bool = False
    clearance: MyClearance | None = None
    may_ask_clearance: bool = False
    everybody_land: str | None = None
    trouble: MyTrouble | None = None

    @property
    def tuned(self) -> Tuned | None:
        """The channel to set: that of the called heat, of the place at open flying, of the next heat, or the
        provisional one. While open flying is on there is none without a place: it is given with the place.
        """
        if self.called_tuned is not None:
            return self.called_tuned
        if self.turn is not None or self.may_ask:
            return self.place_tuned
        return self.heats[0].tuned if self.heats else self.provisional

    @property
    def is_called(self) -> bool:
        """In the heat that is called now, and not through with it."""
        return self.called_tuned is not None

    @property
    def reason(self) -> str:
        if self.everybody_land is not None:
            return call_words.everybody_lands(self.everybody_land, self.word)
        if self.call is not None and (self.is_called or not self.is_next):
            return call_words.in_call(self.call.stage, self.word, self.call.channel_words)
        mine = self.clearance
        may_be_on = mine is not None and mine.stage in CLEARANCES_MAY_BE_ON
        if self.turn is not None and not (self.turn.stage in NOT_YET and may_be_on):
            return self.turn.what_next
        if mine is not None:
            return call_words.with_clearance(mine.stage, mine.why, mine.words, self.word)
        if self.is_down:
            return _(IS_DOWN)
        if self.is_next:
            return _(call_words.NEXT)
        if self.may_ask:
            return _(ASK_BELOW)
        return _(REASONS[self.standing])


def pilot_by_token(session: Session, link_token: str) -> tuple[FieldDay, Pilot]:
    """Whose private link it is. Raises NotFoundError for a link that nobody has, or no longer."""
    pilot = pilots.by_link_token(session, link_token)
    day = days.by_id(session, pilot.field_day_id) if pilot else None
    if pilot is None or day is None:
        raise NotFoundError(_("This link belongs to no pilot, or a newer one took its place."))
    return day, pilot


def slot_by_token(session: Session, link_token: str) -> MySlot:
    """The page behind a pilot's private link. Raises NotFoundError for a link that nobody has, or no longer."""
    day, pilot = pilot_by_token(session, link_token)
    assert pilot.id is not None
    return _Reading(session, DayNow(session, day)).slot(pilot, pilots.aircraft_of(session, pilot.id))


def slots_of_day(session: Session, now: DayNow) -> list[MySlot]:
    """Every pilot's page, in the order in which the pilots came."""
    assert now.day.id is not None
    reading, aircraft = _Reading(session, now), pilots.aircraft_of_day(session, now.day.id)
    return [reading.slot(pilot, aircraft.get(pilot.id or 0, [])) for pilot in now.roster]


class _Reading:
    """What one moment of a day says to each pilot."""

    def __init__(self, session: Session, now: DayNow) -> None:
        assert now.day.id is not None
        self._now, self._day, self._plan = now, now.day, now.plan
        planned = _planned(now.plan.snapshot_json, language_tag()) if now.plan else {}
        self._called = {pilot_id: own.called for pilot_id, own in planned.items()}
        self._heats = {
            pilot_id: tuple(heat for heat in own.heats if heat.number > now.day.flown_heats)
            for pilot_id, own in planned.items()
        }
        self._down = {one.pilot_id for one in down_transmitters.still_on(session, now.day.id)}
        self._trouble = TroubleNow(session, now.day)
        moves = now.snapshot["moves"] if now.snapshot else ()
        self._newcomers = set(now.snapshot.get("newcomers", ())) if now.snapshot else set()
        self._moved_from = {move["callsign"]: Tuned(move["from_channel"], move["from_mhz"]) for move in moves}

    def slot(self, pilot: Pilot, aircraft: list[Aircraft]) -> MySlot:
        assert pilot.id is not None
        standing = self._standing(pilot)
        called = self._called.get(pilot.id, pilot.callsign)
        is_planned = standing == "planned"
        is_waiting = standing in ("not in the plan", "no plan yet")
        turn, call = self._now.flying.my_turn(pilot.id), self._now.line.my_call(pilot.id)
        clearance = self._now.line.my_clearance(pilot.id)
        facts = self._now.line.facts(pilot.id, self._now.flying.facts(pilot.id), pilot.id in self._down)
        is_here = is_planned or is_waiting or standing == "flown"
        return MySlot(
            order=self._now.order,
            pilot_id=pilot.id,
            link_token=pilot.link_token,
            callsign=pilot.callsign,
            called=called,
            day_code=self._day.code,
            day_name=self._day.name,
            day_date=self._day.date,
            time_zone=self._day.time_zone,
            plan_number=self._plan.number if self._plan else None,
            published_at=self._plan.published_at if self._plan else None,
            standing=standing,
            heats=self._heats[pilot.id] if is_planned else (),
            moved_from=self._moved_from_of(pilot, aircraft, called) if is_planned else None,
            provisional=provisional_of(pilot, aircraft) if is_waiting else None,
            is_down=facts.is_down,
            known_on=is_known_on(facts),
            word=word_for(facts),
            word_in_doubt=word_on_a_stale_page(facts),
            may_ask=turn is None and is_here and self._now.flying.is_open,
            turn=turn,
            place_tuned=_place_tuned(turn) if turn else None,
            call=call,
            called_tuned=_called_tuned(call) if call else None,
            is_next=facts.is_next,
            clearance=clearance,
            may_ask_clearance=is_here and not turn and clearance is None and (call is None or call.is_done),
            everybody_land=self._now.line.everybody_land,
            trouble=self._trouble.of(pilot.id),
        )

    def _moved_from_of(self, pilot: Pilot, aircraft: list[Aircraft], called: str) -> Tuned | None:
        assert pilot.id is not None
        if pilot.id not in self._newcomers:
            return self._moved_from.get(called)
        provisional = provisional_of(pilot, aircraft)
        if provisional is None or provisional.mhz in {heat.tuned.mhz for heat in self._heats[pilot.id]}:
            return None
        return provisional

    def _standing(self, pilot: Pilot) -> Standing:
        if self._day.archived_at is not None:
            return "day over"
        if pilot.state == WITHDRAWN:
            return "withdrawn"
        if pilot.state == NO_SHOW:
            return "no-show"
        if self._plan is None:
            return "no plan yet"
        if pilot.id not in self._called:
            return "not in the plan"
        return "planned" if self._heats.get(pilot.id or 0) else "flown"


@dataclass(frozen=True)
class _Planned:
    """What a plan says of one pilot: the callsign that is called out, and the heats, in order."""

    called: str
    heats: tuple[MyHeat, ...]


@lru_cache(maxsize=8)
def _planned(snapshot_json: str, _language: str) -> Mapping[int, _Planned]:
    """By pilot id. Kept, since every change of a day asks what it means to every phone."""
    found: dict[int, _Planned] = {}
    for heat in published_plans.facts_of(snapshot_json)["heats"]:
        for slot in heat["slots"]:
            before = found.get(slot["pilot_id"])
            heats = (*before.heats, _heat(heat, slot)) if before else (_heat(heat, slot),)
            found[slot["pilot_id"]] = _Planned(slot["callsign"], heats)
    return MappingProxyType(found)


def _heat(heat: Mapping[str, Any], slot: Mapping[str, Any]) -> MyHeat:
    mhz, others = slot["mhz"], slot["lookalikes"]
    similar = tuple(Lookalike(one["channel"], one["mhz"], one["mhz"] - mhz) for one in others)
    return MyHeat(
        heat["heat"],
        heat["round"],
        Tuned(slot["channel"], mhz, similar),
        slot["power_mw"],
        _picture(slot),
        slot["cause_words"],
    )


def _picture(slot: Mapping[str, Any]) -> str:
    """As it was stored, so that a better model does not rewrite it."""
    grade = f"{decimal(slot['picture_grade'], 1)} {_(slot['grade_word'])}"
    return grade if slot["margin_db"] is None else f"{grade}, {signed_db(slot['margin_db'])}"


def _place_tuned(turn: MyTurn) -> Tuned | None:
    if turn.mhz is None:
        return None
    return Tuned(turn.label, turn.mhz, similar(turn.mhz))


def _called_tuned(call: MyCall) -> Tuned | None:
    """What the call says, whatever was published since; nothing more once the pilot is through with it."""
    if call.is_done:
        return None
    return Tuned(call.label, call.mhz, similar(call.mhz))
