"""What follows by itself in open flying, in the transaction of whatever happened: places given to the queue, leave
to switch on, turns of pilots who left the day, nudges.

Nobody who may have switched on is ever moved: a place that fell in doubt is settled by people.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session

from server.allocator.open_flying import Place, Up, Waiting, do_fit, serve
from server.allocator.switching_on import OnTheGround, spoilt_by
from server.services import days, down_transmitters, pit_air, turn_log
from server.services.channel_confirmation import void_unless_on
from server.services.flight_line import line_of
from server.services.flight_states import ALARM_FIRST, WALKERS_FIRST
from server.services.turn_lineup import TurnLineup, turn_lineup
from server.services.turn_words import BY_ITSELF, on_outside, waits_because
from server.storage import turns as stored
from server.storage.tables import FLYING, LANDING, POWER_UP, READY, WAITING, FieldDay, OpenFlying, Turn
from server.wording import gettext as _
from server.wording import listed, marked, short_decimal

NUDGE_AFTER = timedelta(minutes=10)
"""On a place, before its holder and the desk are reminded that others wait."""


def settle(session: Session, day: FieldDay, at: datetime) -> None:
    """Bring a day's open flying to rest. The same turns, gear and site give the same result every time."""
    assert day.id is not None
    live = stored.live(session, day.id)
    if not live:
        return
    _Settling(session, day, live, at).run()


def is_nudge_due(turn: Turn, at: datetime) -> bool:
    return turn.nudged_at is None and turn.seated_at is not None and at - turn.seated_at >= NUDGE_AFTER


class _Settling:
    def __init__(self, session: Session, day: FieldDay, live: list[Turn], at: datetime) -> None:
        assert day.id is not None
        self._session, self._day, self._at, self._live = session, day, at, live
        self._lineup: TurnLineup = turn_lineup(session, day, live)
        self._open_flying: OpenFlying | None = stored.open_flying_of(session, day.id)
        self._line = line_of(session, day)
        self._unasked = pit_air.who_is_unasked(session, day)

    def run(self) -> None:
        self._end_of_those_who_left()
        self._end_of_those_who_are_down()
        if self._open_flying is not None and self._open_flying.is_open:
            self._take_back_what_does_not_hold()
            self._serve()
            self._let_power_up()
        self._nudge()
        self._session.flush()

    def _end_of_those_who_left(self) -> None:
        for turn in list(self._live):
            if self._lineup.is_here(turn):
                continue
            if turn.stage in (WAITING, READY):
                end(turn, marked("left the day"), self._at)
                self._live.remove(turn)
                self._log(
                    turn, "turn ended", _("%(name)s left the day and open flying.", name=self._name(turn))
                )
            elif turn.stage in (POWER_UP, FLYING):
                turn.stage = LANDING
                text = _("%(name)s left the day and is called to land.", name=self._name(turn))
                self._log(turn, "called to land", text)
        self._session.flush()

    def _end_of_those_who_are_down(self) -> None:
        """Whose aircraft of today is lost, still on, has nothing to get ready."""
        grounded = down_transmitters.grounded(self._session, self._day)
        for turn in [one for one in self._live if one.stage in (WAITING, READY) and one.pilot_id in grounded]:
            end(turn, marked("is down, still on"), self._at)
            self._live.remove(turn)
            text = _("%(name)s is down, still on, and leaves open flying.", name=self._name(turn))
            self._log(turn, "turn ended", text)
        self._session.flush()

    def _take_back_what_does_not_hold(self) -> None:
        """Places of pilots who were not told to power up, and whose gear or channel changed since."""
        for turn in self._live:
            if turn.stage != READY or not self._lineup.is_in_doubt(turn):
                continue
            channels = self._lineup.problem.choices_mhz(self._lineup.planned[turn.pilot_id])
            if turn.mhz in channels and do_fit(self._lineup.up(self._live), self._lineup.problem):
                turn.gear, turn.confirmed_at = self._lineup.gear[turn.pilot_id], None
                text = _("%(name)s: other gear, so the channel is to be set anew.", name=self._name(turn))
                self._log(turn, "gear changed", text)
                continue
            was = self._lineup.named(turn)
            back_to_queue(turn)
            self._session.flush()
            text = _("%(name)s: %(was)s does not hold any more.", name=self._name(turn), was=was)
            self._log(turn, "place taken back", text)

    def _serve(self) -> None:
        waiting = [turn for turn in self._live if turn.stage == WAITING]
        why_nobody = days.can_publish(self._day)
        if why_nobody:
            for turn in waiting:
                turn.why = why_nobody
            return
        waiting = self._without_who_is_on(waiting)
        queue = [Waiting(self._lineup.planned[turn.pilot_id], turn.passed_over) for turn in waiting]
        answers = serve(queue, self._lineup.up(self._live), self._lineup.problem)
        for turn, served in zip(waiting, answers, strict=True):
            turn.passed_over = served.passed_over
            if isinstance(served.answer, Place):
                seat(self._session, turn, served.answer, self._live, self._lineup, BY_ITSELF, self._at)
            else:
                turn.why = waits_because(self._name(turn), served.answer)

    def _without_who_is_on(self, waiting: Sequence[Turn]) -> list[Turn]:
        """A place says not to power: whoever may be on outside a call lets others pass until it is off."""
        on = pit_air.may_be_on_outside(self._session, [turn.pilot_id for turn in waiting])
        for turn in waiting:
            if turn.pilot_id in on:
                turn.why = on_outside(self._name(turn))
        return [turn for turn in waiting if turn.pilot_id not in on]

    def _let_power_up(self) -> None:
        """One after the other, in the order in which the channels were confirmed."""
        set_to_go = [turn for turn in self._live if turn.stage == READY and turn.confirmed_at is not None]
        for turn in sorted(set_to_go, key=lambda one: (one.confirmed_at, one.id)):
            turn.why = self._why_not_on(turn)
            if not turn.why:
                turn.stage = POWER_UP
                self._log(
                    turn, "cleared", _("%(name)s may power up: clear by computation.", name=self._name(turn))
                )

    def _why_not_on(self, turn: Turn) -> str:
        assert self._open_flying is not None
        if self._line.everybody_land_at is not None:
            return _(ALARM_FIRST)
        if self._line.walkers_since is not None:
            return _(WALKERS_FIRST)
        if self._unasked:
            return _(
                "%(unasked)s on, unasked: %(name)s powers up once that is off.",
                unasked=self._unasked,
                name=self._name(turn),
            )
        on = [self._lineup.up_of(one) for one in self._live if one.stage not in (WAITING, READY)]
        mine = self._lineup.up_of(turn)
        ground = pit_air.on_the_ground(self._session, self._day, [*on, mine], turn.pilot_id)
        if not on and not ground:
            return ""
        if not self._open_flying.may_power_up_beside:
            return _(
                "Others are %(where)s: the director says when to power up.",
                where=_where_they_are(on, ground),
            )
        return self._why_not_beside(turn, mine, on, ground)

    def _why_not_beside(self, turn: Turn, mine: Up, on: Sequence[Up], ground: Sequence[OnTheGround]) -> str:
        """By computation: nobody in the air may suffer by it, and its own picture not by who is on the ground."""
        in_the_pits = OnTheGround(Up(mine.pilot, mine.mhz, self._lineup.pit_mw[turn.pilot_id]))
        disturbed = spoilt_by([*ground, in_the_pits], on, self._lineup.problem)
        if disturbed:
            return _(
                "Powering up now could spoil the picture of %(pilots)s: the director says when.",
                pilots=", ".join(disturbed),
            )
        if ground and spoilt_by(ground, [*on, mine], self._lineup.problem):
            others = _where_they_are([], ground)
            return _(
                "Others are %(where)s and could spoil this picture: the director says when.", where=others
            )
        return ""

    def _nudge(self) -> None:
        for turn in self._live:
            if is_nudge_due(turn, self._at):
                turn.nudged_at = self._at
                minutes = round(NUDGE_AFTER.total_seconds() / 60)
                text = _(
                    "%(name)s has had the place for %(minutes)s minutes.",
                    name=self._name(turn),
                    minutes=minutes,
                )
                self._log(turn, "nudged", text)

    def _name(self, turn: Turn) -> str:
        return self._lineup.callsign(turn)

    def _log(self, turn: Turn, action: str, words: str) -> None:
        turn_log.log(self._session, turn, BY_ITSELF, action, words, self._at)


def _where_they_are(on: Sequence[Up], ground: Sequence[OnTheGround]) -> str:
    """ "up (Wren and Otter)", "on outside a call (Rook)"."""
    up, others = ([one.pilot.callsign for one in on], [one.up.pilot.callsign for one in ground])
    told = [_("up (%(pilots)s)", pilots=_first_two(up))] if up else []
    if others:
        told.append(_("on outside a call (%(pilots)s)", pilots=_first_two(others)))
    return listed(told)


def _first_two(callsigns: Sequence[str]) -> str:
    names = listed(callsigns[:2])
    return _("%(pilots)s and others", pilots=names) if len(callsigns) > 2 else names


def seat(
    session: Session,
    turn: Turn,
    place: Place,
    live: list[Turn],
    lineup: TurnLineup,
    who: str,
    at: datetime,
) -> None:
    """Give a turn the lowest free place, with its channel and power."""
    taken = {one.place for one in live}
    turn.place = next(number for number in range(1, len(live) + 2) if number not in taken)
    turn.stage, turn.why, turn.seated_at = READY, "", at
    turn.mhz, turn.power_mw, turn.gear = place.mhz, place.power_mw, lineup.gear[turn.pilot_id]
    void_unless_on(session, turn.pilot_id, place.mhz)
    words = _(
        "%(callsign)s has place %(place)s: %(channel)s at %(power)s mW.",
        callsign=lineup.callsign(turn),
        place=turn.place,
        channel=lineup.named(turn),
        power=short_decimal(place.power_mw),
    )
    turn_log.log(session, turn, who, "place given", words, at, {"worst_margin_db": place.worst_margin_db})


def back_to_queue(turn: Turn) -> None:
    """Where it was in the queue: the order is that of asking."""
    turn.stage, turn.why = WAITING, ""
    turn.place = turn.mhz = turn.power_mw = None
    turn.seated_at = turn.confirmed_at = turn.picture_at = turn.nudged_at = None
    turn.gear = ""


def end(turn: Turn, how: str, at: datetime) -> None:
    """The rest stays as it was, so that it can be undone."""
    turn.ended_at, turn.ended_how = at, how
