"""A pilot's turn at open flying: ask, set the channel, power up, fly, give the place back.

Every act is one transaction, names the turn, and repeats what its page showed of it: of two people who press at
once the second is told what the first did.
"""

from collections.abc import Callable, Collection
from datetime import datetime

from sqlmodel import Session

from server.allocator.open_flying import Place, do_fit, offer
from server.services import down_transmitters, lineup, open_flying, pit_air, provisional
from server.services.errors import NotFoundError, OvertakenError, RefusedError
from server.services.flight_line import line_of, why_overridden
from server.services.flight_states import ALARM_FIRST, WALKERS_FIRST
from server.services.joins import PILOT
from server.services.turn_lineup import TurnLineup, turn_lineup
from server.services.turn_log import log
from server.services.turn_settling import back_to_queue, end, seat, settle
from server.services.turn_words import on_outside, waits_because
from server.services.video import ANALOGUE
from server.storage import clearances, pilots
from server.storage import turns as stored
from server.storage.tables import (
    CHECKED_IN,
    DOWN,
    FLYING,
    LANDING,
    POWER_UP,
    READY,
    UNASKED,
    WAITING,
    FieldDay,
    Pilot,
    Turn,
)
from server.wording import gettext as _
from server.wording import marked

CLOSED = marked("Open flying is closed. The director opens it.")
GIVEN_BACK = {WAITING: marked("left the queue"), READY: marked("gave the place back")}
LANDED = marked("landed and powered off")
TAKEN_BACK = marked("was taken off")

OVERRIDE = "override"
"""Not one of ACTS: it takes words."""

Act = Callable[[Session, FieldDay, Turn, str, datetime], None]


def ask(session: Session, day: FieldDay, pilot: Pilot, who: str, at: datetime) -> Turn:
    """Ask to fly: a place at once where one fits, else the end of the queue. A second press changes nothing.

    Raises RefusedError where the pilot cannot fly at all, or open flying is closed.
    """
    assert day.id is not None
    assert pilot.id is not None
    turn = stored.live_of(session, pilot.id)
    if turn is not None:
        return turn
    if not open_flying.is_open(session, day):
        raise RefusedError(_(CLOSED))
    if pilot.state != CHECKED_IN:
        raise RefusedError(
            _(
                "%(callsign)s is %(state)s: bring the pilot back at the desk first.",
                callsign=pilot.callsign,
                state=_(pilot.state),
            )
        )
    _check_gear(session, day, pilot)
    if pilot.id in down_transmitters.grounded(session, day):
        raise RefusedError(
            _(
                "%(callsign)s is down, still on: press Found once it is, or choose a spare at the desk.",
                callsign=pilot.callsign,
            )
        )
    turn = stored.add(session, Turn(field_day_id=day.id, pilot_id=pilot.id, asked_at=at))
    log(session, turn, who, "asked to fly", _("%(callsign)s asks to fly.", callsign=pilot.callsign), at)
    settle(session, day, at)
    return turn


def turn_of(session: Session, day: FieldDay, turn_id: int) -> Turn:
    """Raises NotFoundError, also for a turn of another day."""
    assert day.id is not None
    turn = stored.by_id(session, day.id, turn_id)
    if turn is None:
        raise NotFoundError(_("There is no such turn at open flying on this day."))
    return turn


def act_of_pilot(
    session: Session, day: FieldDay, pilot: Pilot, turn_id: int, seen: str, name: str, at: datetime
) -> None:
    """What a pilot does to the own turn from the own phone; raises as `act` does."""
    turn = turn_of(session, day, turn_id)
    if turn.pilot_id != pilot.id or name not in PILOTS_ACTS:
        raise NotFoundError(_("There is no such turn of this pilot."))
    act(session, day, turn, seen, name, PILOT, at)


def act(session: Session, day: FieldDay, turn: Turn, seen: str, name: str, who: str, at: datetime) -> None:
    """Do one of ACTS to a turn, then what follows from it.

    seen   `Turn.seen` as the page showed it

    Raises OvertakenError where the turn has ended or moved on since, RefusedError where it is not the time for it.
    """
    if name not in ACTS:
        raise NotFoundError(_("There is nothing of this name to be done to a turn."))
    stages, do = ACTS[name]
    _check_press(session, day, turn, seen, name, stages)
    do(session, day, turn, who, at)
    settle(session, day, at)


def override(
    session: Session, day: FieldDay, turn: Turn, seen: str, words: str, who: str, at: datetime
) -> None:
    """Let a turn power up that is held by somebody on unasked, by the director's word.

    Raises InputError without words or with too many, and as `act` does.
    """
    _check_press(session, day, turn, seen, OVERRIDE, (READY,))
    unasked = pit_air.who_is_unasked(session, day)
    if not unasked:
        raise RefusedError(_("Nobody on unasked holds the turn up: let it power up without words."))
    own = clearances.live_of(session, turn.pilot_id)
    if own is not None and own.stage == UNASKED:
        raise RefusedError(
            _("%(unasked)s on, unasked: the own transmitter goes off before its turn.", unasked=unasked)
        )
    field = _ready_to_power_up(session, day, turn)
    why = why_overridden(words)
    turn.stage, turn.why = POWER_UP, ""
    text = _(
        "%(callsign)s may power up by the director's word, though %(unasked)s on, unasked: %(why)s",
        callsign=field.callsign(turn),
        unasked=unasked,
        why=why,
    )
    log(session, turn, who, "turn overridden", text, at)
    settle(session, day, at)


def _check_press(
    session: Session, day: FieldDay, turn: Turn, seen: str, name: str, stages: Collection[str]
) -> None:
    _check_day(day)
    callsign = _callsign(session, day, turn)
    if turn.ended_at is not None:
        raise OvertakenError(
            _(
                "Somebody was faster: %(callsign)s %(ended_how)s already.",
                callsign=callsign,
                ended_how=_(turn.ended_how),
            )
        )
    if turn.seen != seen:
        raise OvertakenError(
            _(
                "%(callsign)s's turn changed since this page was loaded. Look at it and press again.",
                callsign=callsign,
            )
        )
    refused = _why_not_now(session, day, name)
    if refused:
        raise RefusedError(refused)
    if turn.stage not in stages:
        raise RefusedError(
            _("%(callsign)s's turn is not at that point: look at the page as it is now.", callsign=callsign)
        )


def restore(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    """Undo the end of a turn: back to its place, or to its old place in the queue.

    Places that were given since, and whose pilots were not told to power up yet, give way, the latest first.
    Raises OvertakenError or RefusedError where it cannot be had any more.
    """
    assert day.id is not None
    _check_day(day)
    callsign = _callsign(session, day, turn)
    if turn.ended_at is None:
        raise OvertakenError(_("%(callsign)s is back already.", callsign=callsign))
    if stored.live_of(session, turn.pilot_id) is not None:
        raise RefusedError(_("%(callsign)s has asked again since: go on with that turn.", callsign=callsign))
    others = stored.live(session, day.id)
    field = turn_lineup(session, day, [*others, turn])
    if not field.is_here(turn):
        raise RefusedError(
            _("%(callsign)s is not on the roster: bring the pilot back at the desk first.", callsign=callsign)
        )
    if turn.stage == READY and pit_air.may_be_on_outside(session, [turn.pilot_id]):
        raise RefusedError(on_outside(callsign))
    if turn.stage != WAITING:
        _make_room(session, field, turn, others, who, at)
    turn.ended_at, turn.ended_how = None, ""
    log(session, turn, who, "turn restored", _("%(callsign)s is back: undone.", callsign=callsign), at)
    settle(session, day, at)


def _make_room(
    session: Session, field: TurnLineup, turn: Turn, others: list[Turn], who: str, at: datetime
) -> None:
    seated = [one for one in others if one.stage != WAITING]
    assert turn.ended_at is not None
    since = [one for one in seated if one.stage == READY and (one.seated_at or at) >= turn.ended_at]
    while not do_fit([field.up_of(one) for one in [*seated, turn]], field.problem):
        if not since:
            raise RefusedError(
                _(
                    "%(callsign)s does not fit in any more beside who was told to power up since. If the "
                    "transmitter is on, call by voice: land, and power off %(channel)s.",
                    callsign=field.callsign(turn),
                    channel=field.named(turn),
                )
            )
        latest = max(since, key=lambda one: (one.seated_at, one.id))
        since.remove(latest)
        seated.remove(latest)
        was = field.named(latest)
        back_to_queue(latest)
        words = _(
            "%(callsign)s gives %(was)s back: %(other)s still holds a place.",
            callsign=field.callsign(latest),
            was=was,
            other=field.callsign(turn),
        )
        log(session, latest, who, "place taken back", words, at)
    if turn.place in {one.place for one in seated}:
        taken = {one.place for one in seated}
        turn.place = next(number for number in range(1, len(seated) + 2) if number not in taken)


def _confirm(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    field = turn_lineup(session, day, [turn])
    if turn.mhz not in field.problem.choices_mhz(field.planned[turn.pilot_id]):
        raise RefusedError(
            _(
                "%(channel)s is out of use for %(callsign)s now: take the place back.",
                channel=field.named(turn),
                callsign=field.callsign(turn),
            )
        )
    turn.confirmed_at, turn.gear = at, field.gear[turn.pilot_id]
    text = _("%(callsign)s: set to %(channel)s.", callsign=field.callsign(turn), channel=field.named(turn))
    log(session, turn, who, "channel set", text, at)


def _let_power_up(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    field = _ready_to_power_up(session, day, turn)
    turn.stage, turn.why = POWER_UP, ""
    text = _("%(callsign)s may power up: the director said so.", callsign=field.callsign(turn))
    log(session, turn, who, "cleared", text, at)


def _ready_to_power_up(session: Session, day: FieldDay, turn: Turn) -> TurnLineup:
    """Raises RefusedError while it is not known what the transmitter is set to."""
    field = turn_lineup(session, day, [turn])
    callsign = field.callsign(turn)
    if not open_flying.is_open(session, day):
        raise RefusedError(_(CLOSED))
    if turn.confirmed_at is None or field.is_in_doubt(turn):
        raise RefusedError(
            _(
                "Ask first what %(callsign)s's transmitter is set to, and press Channel is set.",
                callsign=callsign,
            )
        )
    return field


def _picture_is_clear(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    turn.stage, turn.picture_at, turn.why = FLYING, at, ""
    text = _("%(callsign)s: picture is clear, flies.", callsign=_callsign(session, day, turn))
    log(session, turn, who, "picture clear", text, at)


def _give_back(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    _end(session, day, turn, GIVEN_BACK.get(turn.stage, LANDED), who, at)


def _take_off(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    """Who may be on keeps the place until the transmitter is off."""
    if turn.stage in (WAITING, READY):
        _end(session, day, turn, TAKEN_BACK, who, at)
        return
    turn.stage = LANDING
    text = _("%(callsign)s is called to land.", callsign=_callsign(session, day, turn))
    log(session, turn, who, "called to land", text, at)


def _fly_on(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    turn.stage = FLYING if turn.picture_at is not None else POWER_UP
    text = _("%(callsign)s flies on after all.", callsign=_callsign(session, day, turn))
    log(session, turn, who, "flies on", text, at)


def _is_down(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    turn.stage, turn.picture_at = DOWN, turn.picture_at or at
    text = _("%(callsign)s is down, still on.", callsign=_callsign(session, day, turn))
    log(session, turn, who, "down, still on", text, at)


def _seat_now(session: Session, day: FieldDay, turn: Turn, who: str, at: datetime) -> None:
    """By the director's word before others in the queue; nobody counts as passed over."""
    assert day.id is not None
    if not open_flying.is_open(session, day):
        raise RefusedError(_(CLOSED))
    live = stored.live(session, day.id)
    field = turn_lineup(session, day, live)
    if pit_air.may_be_on_outside(session, [turn.pilot_id]):
        raise RefusedError(on_outside(field.callsign(turn)))
    answer = offer(field.planned[turn.pilot_id], field.up(live), field.problem)
    if not isinstance(answer, Place):
        raise RefusedError(waits_because(field.callsign(turn), answer))
    seat(session, turn, answer, live, field, who, at)


def _end(session: Session, day: FieldDay, turn: Turn, how: str, who: str, at: datetime) -> None:
    end(turn, how, at)
    log(session, turn, who, "turn ended", f"{_callsign(session, day, turn)} {_(how)}.", at)


_MAYBE_ON = (POWER_UP, FLYING, LANDING)

ACTS: dict[str, tuple[tuple[str, ...], Act]] = {
    "set": ((READY, POWER_UP, FLYING), _confirm),
    "up": ((READY,), _let_power_up),
    "clear": ((POWER_UP,), _picture_is_clear),
    "off": ((WAITING, READY, *_MAYBE_ON, DOWN), _give_back),
    "land": ((WAITING, READY, POWER_UP, FLYING), _take_off),
    "fly-on": ((LANDING, DOWN), _fly_on),
    "down": (_MAYBE_ON, _is_down),
    "seat": ((WAITING,), _seat_now),
}
"""What can be done to a turn, at which stages, by the word that names it in addresses and in the desk's line."""

PILOTS_ACTS = ("set", "clear", "off")
"""Those that a pilot may do alone, from the own phone."""


def _why_not_now(session: Session, day: FieldDay, name: str) -> str:
    """What holds for the whole line, against what sends a pilot up."""
    line = line_of(session, day)
    if name in ("up", OVERRIDE, "clear", "fly-on", "seat") and line.everybody_land_at is not None:
        return _(ALARM_FIRST)
    if name in ("up", OVERRIDE, "clear", "fly-on") and line.walkers_since is not None:
        return _(WALKERS_FIRST)
    unasked = pit_air.who_is_unasked(session, day) if name == "up" else ""
    return (
        _("%(unasked)s on, unasked: wait until it is off, or override it in words.", unasked=unasked)
        if unasked
        else ""
    )


def _check_day(day: FieldDay) -> None:
    if day.archived_at is not None:
        raise RefusedError(_("This field day is archived: bring it back first."))


def _check_gear(session: Session, day: FieldDay, pilot: Pilot) -> None:
    assert pilot.id is not None
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    if flying is None or flying.video != ANALOGUE:
        raise RefusedError(_(provisional.OTHER_VIDEO))
    planned = lineup.planned_pilot(day, pilot, flying, {}, {})
    if not planned.choices_mhz:
        raise RefusedError(provisional.why_no_channel(planned))


def _callsign(session: Session, day: FieldDay, turn: Turn) -> str:
    assert day.id is not None
    pilot = pilots.by_id(session, day.id, turn.pilot_id)
    assert pilot is not None
    return pilot.callsign
