"""Calling heats: call, release, land, stop, end, and what takes each back.

Every act is one transaction with its row in the logbook, and repeats what its page showed: of two people who press
at once the second is told what the first did.
"""

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlmodel import Session

from server.services import call_lineup, call_settling, flight_states, open_flying, pit_air
from server.services.call_lineup import Lineup
from server.services.call_steps import ACTS, named
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.flight_line import (
    MOST_WORDS,
    check_open,
    line_of,
    log,
    remember,
    words_of,
)
from server.services.flight_states import ALARM_FIRST, why_not
from server.storage import calls as stored
from server.storage import turns
from server.storage.tables import (
    DOWN,
    LEFT_OUT,
    OVER,
    WAITING,
    Call,
    CallSlot,
    FieldDay,
)
from server.wording import gettext as _
from server.wording import listed, marked, ngettext

NO_PLAN = marked("No plan is published, so there is no heat to call. Publish one first.")


def seen_of(session: Session, day: FieldDay) -> str:
    """What a form for the whole line repeats, so that of two presses at once the second changes nothing."""
    assert day.id is not None
    last = stored.last(session, day.id)
    if last is not None and last.stage != OVER:
        return last.seen
    return f"after {last.id if last else 0} flown {day.flown_heats}"


def call(
    session: Session,
    day: FieldDay,
    heats: Sequence[int],
    seen: str,
    who: str,
    at: datetime,
    *,
    only: Collection[int] | None = None,
    override: str = "",
) -> Call:
    """Call a heat, a part of one, or several together; the first in the order may power up at once.

    only      pilots, by id, to whom the call is limited; None: everybody who is not through with these heats
    override  the director's words for calling it although pilots are blocked; they go to the logbook

    Raises InputError for heats that are not there and for too many words, RefusedError, and OvertakenError where
    `seen` does not hold.
    """
    assert day.id is not None
    if seen_of(session, day) != seen:
        raise OvertakenError(_who_was_faster(session, day))
    _check_may_call(session, day)
    snapshot = call_lineup.published_plan(session, day)
    if snapshot is None:
        raise RefusedError(_(NO_PLAN))
    numbers = sorted(set(heats))
    last = len(snapshot["heats"])
    if not numbers or not all(1 <= one <= last for one in numbers):
        raise InputError(
            {
                "heats": _(
                    "Plan %(number)s has heats 1 to %(last)s. Choose from them.",
                    number=snapshot["number"],
                    last=last,
                )
            }
        )
    lineup = call_lineup.lineup_of(session, day, snapshot, numbers, only)
    stands_against = (*lineup.blocked, *pit_air.against_call(session, day, lineup))
    _check_lineup(day, lineup)
    words = words_of(override, "override")
    if stands_against and not words:
        remedy = _("Mend it, leave them out, look at what the day's changes cost, or override it in words.")
        raise RefusedError(" ".join((*stands_against, remedy)))
    _check_nobody_is_on(session, lineup)
    made = Call(
        field_day_id=day.id, plan_number=lineup.plan_number, heats=numbers, reason=words, called_at=at
    )
    stored.add(session, made, _slots_of(lineup, at))
    facts = {"call_id": made.id, "heats": numbers, "plan": lineup.plan_number, "against": stands_against}
    text = _("%(heat)s is called: %(pilots)s", heat=named(made), pilots=read_out(lineup))
    if words and stands_against:
        text = f"{text} {_('Overridden: %(words)s', words=words)}"
    log(session, day, who, "heat called", text, facts, at)
    remember(session, day, {"words": _("the call is taken back"), "call": flight_states.STOP})
    call_settling.settle(session, day, at)
    return made


def act(
    session: Session,
    day: FieldDay,
    event: str,
    seen: str,
    who: str,
    at: datetime,
    *,
    reason: str = "",
    counts: bool = True,
) -> Call:
    """Do one of ACTS to the latest call, then what follows from it.

    reason  why it is stopped, where it is
    counts  whether a stopped heat counts as flown; one that was never released does not

    Raises OvertakenError where the call moved on since, RefusedError where it is not the time for it.
    """
    assert day.id is not None
    check_open(day)
    one = stored.last(session, day.id)
    if one is None or one.id is None or event not in ACTS:
        raise RefusedError(_("No heat is called."))
    if one.seen != seen:
        raise OvertakenError(_who_was_faster(session, day))
    slots = stored.slots_of(session, one.id)
    refused = why_not(event, call_settling.line_state(session, day, one, slots))
    if refused:
        raise RefusedError(refused)
    against = pit_air.against_flying_on(session, day) if event == flight_states.FLY_ON else ()
    if against:
        raise RefusedError(" ".join(against))
    one.reason = " ".join(reason.split())[:MOST_WORDS] or one.reason
    ACTS[event](session, day, one, slots, who, at)
    if event == flight_states.STOP:
        one.counts = counts and one.released_at is not None
    call_settling.settle(session, day, at)
    return one


def set_counts(session: Session, day: FieldDay, counts: bool, seen: str, who: str, at: datetime) -> None:
    """Say whether the heat that is landing counts as flown. Raises OvertakenError or RefusedError."""
    assert day.id is not None
    one = stored.live(session, day.id)
    if one is None or one.seen != seen:
        raise OvertakenError(_who_was_faster(session, day))
    if one.released_at is None:
        raise RefusedError(_("Nobody was released in this heat, so it does not count as flown."))
    if one.counts != counts:
        one.counts = counts
        action = "counts as flown" if counts else "does not count"

        text = _("%(heat)s counts as flown.", heat=named(one))
        if not counts:
            text = _("%(heat)s does not count as flown.", heat=named(one))
        log(session, day, who, action, text, {"call_id": one.id}, at)


def read_out(lineup: Lineup) -> str:
    """The line to read out, behind the name of the heat."""
    seats = lineup.flying
    pilots = ", ".join(f"{seat.callsign} {seat.named}" for seat in seats)
    if len(seats) == 1:
        return _("%(pilots)s; power up.", pilots=pilots)
    return _(
        "%(pilots)s; power up one at a time, %(callsign)s first.", pilots=pilots, callsign=seats[0].callsign
    )


def _check_may_call(session: Session, day: FieldDay) -> None:
    assert day.id is not None
    check_open(day)
    if line_of(session, day).everybody_land_at is not None:
        raise RefusedError(_(ALARM_FIRST))
    live = stored.live(session, day.id)
    if live is not None:
        raise RefusedError(_("%(heat)s is up: end it before you call another.", heat=named(live)))
    if open_flying.is_open(session, day):
        raise RefusedError(
            _("Open flying is on: close it, and wait until everybody is down, before a heat is called.")
        )
    held = [turn for turn in turns.live(session, day.id) if turn.stage not in (WAITING, DOWN)]
    if held:
        raise RefusedError(
            ngettext(
                "%(number)s still holds a place at open flying: wait until it is down, or note it as off there.",
                "%(number)s still hold a place at open flying: wait until they are down, or note them as off "
                "there.",
                len(held),
            )
        )


def _check_lineup(day: FieldDay, lineup: Lineup) -> None:
    heats = listed(str(number) for number in lineup.heats)
    if not lineup.flying:
        raise RefusedError(_("Nobody of heat %(heats)s is here to fly. Choose another heat.", heats=heats))
    twice = [
        seat.callsign
        for seat in lineup.flying
        if [one.pilot_id for one in lineup.seats].count(seat.pilot_id) > 1
    ]
    if twice:
        raise RefusedError(
            _(
                "%(callsign)s flies in more than one of heats %(heats)s: call them one after the other.",
                callsign=twice[0],
                heats=heats,
            )
        )
    if len(lineup.flying) > day.aircraft:
        raise RefusedError(
            _(
                "%(number)s would be up, and the day allows %(aircraft)s at once: leave some out.",
                number=len(lineup.flying),
                aircraft=day.aircraft,
            )
        )


def _check_nobody_is_on(session: Session, lineup: Lineup) -> None:
    """No word overrides this: whoever is on would be told not to power, and on again once the heat is over."""
    on = pit_air.may_be_on_outside(session, [seat.pilot_id for seat in lineup.flying])
    named_on = [seat.callsign for seat in lineup.flying if seat.pilot_id in on]
    if named_on:
        raise RefusedError(
            _(
                "%(pilots)s may be on outside a call, and would be told not to power: note it as off "
                "first, or leave the pilot out.",
                pilots=listed(named_on),
            )
        )


def _slots_of(lineup: Lineup, at: datetime) -> list[CallSlot]:
    return [
        CallSlot(
            call_id=0,
            pilot_id=seat.pilot_id,
            callsign=seat.callsign,
            heat=seat.heat,
            position=position,
            mhz=seat.mhz,
            channel=seat.channel,
            power_mw=seat.power_mw,
            margin_db=seat.margin_db,
            stage=LEFT_OUT if seat.absent else WAITING,
            changed_at=at,
        )
        for position, seat in enumerate(lineup.seats, start=1)
    ]


def _who_was_faster(session: Session, day: FieldDay) -> str:
    last = stored.last(session, day.id or 0)
    if last is None:
        return _("Somebody was faster: No heat is called now. Look at the page and press again.")
    return _(
        "Somebody was faster: %(heat)s %(state)s now. Look at the page and press again.",
        heat=named(last),
        state=_(flight_states.CALL_IS[last.stage]),
    )
